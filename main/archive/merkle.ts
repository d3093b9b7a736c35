/**
 * The Merkle tree of RFC 6962, section 2.1 (the same in RFC 9162, section 2.1), with SHA-256: one hash over a list that grows at its
 * end, short proofs that something is in the list at its place, and that a later list goes on from an earlier one.
 */
import { hash } from 'node:crypto';

const sha256 = (bytes: Buffer): Buffer => hash('sha256', bytes, 'buffer');

const LEAF = Buffer.from([0]);
const NODE = Buffer.from([1]);

/** The leaf of one item of the list. */
export const leafHash = (item: Buffer): Buffer => sha256(Buffer.concat([LEAF, item]));
const nodeHash = (left: Buffer, right: Buffer): Buffer => sha256(Buffer.concat([NODE, left, right]));

/** The right edge of a tree that grows: all that its root needs, one hash for each bit of its size. */
export class GrowingTree {
  /** Roots of whole subtrees, the largest first: one for each bit that is set in `size`. */
  readonly #whole: Buffer[] = [];
  #size = 0;

  get size(): number {
    return this.#size;
  }

  add(leaf: Buffer): void {
    let right = leaf;
    // Each trailing bit that is set is a subtree that this one fills up.
    for (let rest = this.#size; rest % 2 === 1; rest = (rest - 1) / 2) {
      const left = this.#whole.pop();
      if (left === undefined) throw new Error('the tree has lost a part');
      right = nodeHash(left, right);
    }
    this.#whole.push(right);
    this.#size += 1;
  }

  /** Of an empty list: SHA-256 of nothing. */
  root(): Buffer {
    return this.#whole.length === 0 ? sha256(Buffer.alloc(0)) : this.#whole.reduceRight((right, left) => nodeHash(left, right));
  }
}

/** MTH of RFC 6962 over leaves. */
export function rootOf(leaves: readonly Buffer[]): Buffer {
  const tree = new GrowingTree();
  for (const leaf of leaves) tree.add(leaf);
  return tree.root();
}

/** The largest power of two below `size` (2 or more). */
function split(size: number): number {
  let k = 1;
  while (k * 2 < size) k *= 2;
  return k;
}

/** PATH(index, leaves): what is needed beside a leaf to come to the root, from the leaf up. */
export function inclusionPath(index: number, leaves: readonly Buffer[]): Buffer[] {
  if (leaves.length <= 1) return [];
  const k = split(leaves.length);
  const left = leaves.slice(0, k);
  const right = leaves.slice(k);
  return index < k ? [...inclusionPath(index, left), rootOf(right)] : [...inclusionPath(index - k, right), rootOf(left)];
}

/** PROOF(first, leaves): what joins the root of the first `first` leaves to that of all. `first` from 1 to their number. */
export function consistencyPath(first: number, leaves: readonly Buffer[]): Buffer[] {
  const sub = (m: number, part: readonly Buffer[], known: boolean): Buffer[] => {
    if (m === part.length) return known ? [] : [rootOf(part)];
    const k = split(part.length);
    return m <= k ? [...sub(m, part.slice(0, k), known), rootOf(part.slice(k))] : [...sub(m - k, part.slice(k), false), rootOf(part.slice(0, k))];
  };
  return sub(first, leaves, true);
}

/** The root that a leaf at `index` of `size` leaves comes to by a path; null: the path is of another length. RFC 9162, 2.1.3.2. */
export function rootByPath(leaf: Buffer, index: number, size: number, path: readonly Buffer[]): Buffer | null {
  if (index < 0 || index >= size) return null;
  let at = index;
  let end = size - 1;
  let root = leaf;
  for (const step of path) {
    if (end === 0) return null;
    if (at % 2 === 1 || at === end) {
      root = nodeHash(step, root);
      while (at % 2 === 0 && at !== 0) {
        at /= 2;
        end = Math.floor(end / 2);
      }
    } else {
      root = nodeHash(root, step);
    }
    at = Math.floor(at / 2);
    end = Math.floor(end / 2);
  }
  return end === 0 ? root : null;
}

interface TreeHead {
  readonly size: number;
  readonly root: Buffer;
}

/** Does the list with head `later` begin with the list with head `earlier`? RFC 9162, 2.1.4.2. */
export function isContinued(earlier: TreeHead, later: TreeHead, path: readonly Buffer[]): boolean {
  if (earlier.size < 1 || earlier.size > later.size) return false;
  if (earlier.size === later.size) return path.length === 0 && earlier.root.equals(later.root);
  // A whole tree of its own is a node of the later one: the path begins with it.
  const steps = Number.isInteger(Math.log2(earlier.size)) ? [earlier.root, ...path] : [...path];
  const begin = steps.shift();
  if (begin === undefined) return false;
  let at = earlier.size - 1;
  let end = later.size - 1;
  while (at % 2 === 1) {
    at = Math.floor(at / 2);
    end = Math.floor(end / 2);
  }
  let before = begin;
  let after = begin;
  for (const step of steps) {
    if (end === 0) return false;
    if (at % 2 === 1 || at === end) {
      before = nodeHash(step, before);
      after = nodeHash(step, after);
      while (at % 2 === 0 && at !== 0) {
        at /= 2;
        end = Math.floor(end / 2);
      }
    } else {
      after = nodeHash(after, step);
    }
    at = Math.floor(at / 2);
    end = Math.floor(end / 2);
  }
  return end === 0 && before.equals(earlier.root) && after.equals(later.root);
}
