/**
 * ARC-11 against the test vectors of Certificate Transparency for RFC 6962: the eight leaves, their roots and the paths between them that
 * its reference implementation is tested with (google/certificate-transparency, python/ct/crypto/merkle_test.py and
 * cpp/merkletree/merkle_tree_test.cc; the same vectors stand in the tests of many other implementations).
 */
import { describe, expect, test } from 'vitest';
import { consistencyPath, GrowingTree, inclusionPath, isContinued, leafHash, rootByPath, rootOf } from './merkle.ts';

const leaves = ['', '00', '10', '2021', '3031', '40414243', '5051525354555657', '606162636465666768696a6b6c6d6e6f'].map((hex) => leafHash(Buffer.from(hex, 'hex')));

const roots = [
  'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855',
  '6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d',
  'fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125',
  'aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77',
  'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7',
  '4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4',
  '76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef',
  'ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c',
  '5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328',
];

const hexes = (path: readonly Buffer[]): string[] => path.map((step) => step.toString('hex'));

describe('ARC-11 the Merkle tree of RFC 6962', () => {
  test('roots of the first 0 to 8 leaves, at once and as the tree grows', () => {
    const tree = new GrowingTree();
    expect(tree.root().toString('hex')).toBe(roots[0]);
    for (let size = 1; size <= 8; size += 1) {
      tree.add(leaves[size - 1] ?? Buffer.alloc(0));
      expect(tree.root().toString('hex')).toBe(roots[size]);
      expect(rootOf(leaves.slice(0, size)).toString('hex')).toBe(roots[size]);
    }
  });

  test.each<[index: number, size: number, path: string[]]>([
    [0, 1, []],
    [0, 8, ['96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7', '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e', '6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4']],
    [5, 8, ['bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b', 'ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0', 'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7']],
    [2, 3, ['fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125']],
    [1, 5, ['6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d', '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e', 'bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b']],
  ])('path of leaf %i of %i', (index, size, path) => {
    expect(hexes(inclusionPath(index, leaves.slice(0, size)))).toEqual(path);
  });

  test.each<[earlier: number, later: number, path: string[]]>([
    [1, 1, []],
    [1, 8, ['96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7', '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e', '6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4']],
    [6, 8, ['0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a', 'ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0', 'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7']],
    [2, 5, ['5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e', 'bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b']],
  ])('path from the first %i to %i', (earlier, later, path) => {
    expect(hexes(consistencyPath(earlier, leaves.slice(0, later)))).toEqual(path);
  });

  test('every path of every tree up to 70 leaves leads to its root, and to no other', () => {
    const many = Array.from({ length: 70 }, (_, i) => leafHash(Buffer.from(`leaf ${i}`)));
    const all = many.map((_, i) => rootOf(many.slice(0, i + 1)));
    const rootAt = (size: number): Buffer => all[size - 1] ?? Buffer.alloc(0);
    for (let size = 1; size <= many.length; size += 1) {
      const tree = many.slice(0, size);
      for (let index = 0; index < size; index += 1) {
        const path = inclusionPath(index, tree);
        const leaf = tree[index] ?? Buffer.alloc(0);
        expect(rootByPath(leaf, index, size, path)).toEqual(rootAt(size));
        expect(rootByPath(leaf, index + 1, size, path)?.equals(rootAt(size)) ?? false).toBe(false);
        expect(rootByPath(leaf, index, size, [...path, leaf])).toBeNull();
        if (path.length > 0) expect(rootByPath(leaf, index, size, path.slice(1))?.equals(rootAt(size)) ?? false).toBe(false);
        const first = index + 1;
        const joins = consistencyPath(first, tree);
        const [earlier, later] = [{ size: first, root: rootAt(first) }, { size, root: rootAt(size) }];
        expect(isContinued(earlier, later, joins)).toBe(true);
        expect(isContinued({ ...earlier, root: leafHash(earlier.root) }, later, joins)).toBe(false);
        expect(isContinued(earlier, { ...later, root: leafHash(later.root) }, joins)).toBe(false);
        if (first > 1) expect(isContinued({ size: first - 1, root: rootAt(first) }, later, joins)).toBe(false);
      }
    }
  });
});
