/**
 * No circles between folders. dependency-cruiser sees circles of files; two folders can need each other through files that lie in no
 * circle, and then neither can be understood, tested or replaced by itself.
 */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join, posix } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '../..');

/** One thing that is laid in two levels: the file is what others see, the folder beside it its parts. */
const oneThing: Readonly<Record<string, string>> = { 'app/run/engine': 'app/run' };

interface Import {
  readonly from: string;
  readonly to: string;
}

/** Imports of the product, types too; tests and their helpers may look into every room. */
function importsOf(files: readonly string[], textOf: (path: string) => string): readonly Import[] {
  return files
    .filter((path) => /\.tsx?$/.test(path) && !/\.test(-helper)?\.tsx?$/.test(path))
    .flatMap((from) => [...textOf(from).matchAll(/(?:\bfrom|\bimport)\s*\(?\s*'(\.[^']+)'/g)].map(([, to = '']) => ({ from, to: posix.join(posix.dirname(from), to) })));
}

/** In `folder`, what a file belongs to: the folder below it, or the files that lie in it directly. null: it lies elsewhere. */
function childOf(folder: string, path: string): string | null {
  if (folder !== '' && !path.startsWith(`${folder}/`)) return null;
  const rest = path.slice(folder === '' ? 0 : folder.length + 1).split('/');
  const child = rest.length === 1 ? folder : posix.join(folder, rest[0] ?? '');
  return oneThing[child] ?? child;
}

/** Circles among the folders of each folder, each as `a -> b -> a` with the files that make it. */
function circles(imports: readonly Import[]): readonly string[] {
  const folders = new Set(imports.flatMap(({ from }) => from.split('/').map((_, i, parts) => parts.slice(0, i).join('/'))));
  return [...folders].flatMap((folder) => {
    const edges = new Map<string, Map<string, string>>();
    for (const { from, to } of imports) {
      const [a, b] = [childOf(folder, from), childOf(folder, to)];
      if (a === null || b === null || a === b) continue;
      const out = edges.get(a) ?? new Map<string, string>();
      edges.set(a, out.set(b, `${from} -> ${to}`));
    }
    return [...edges.keys()].flatMap((start) => {
      const way = wayBack(edges, start);
      // Each circle is told once, from its first folder in the alphabet.
      return way === null || way.some((one) => one < start) ? [] : [[...way, start].map((one, i, all) => (i === 0 ? one : `${one} (${edges.get(all[i - 1] ?? '')?.get(one) ?? ''})`)).join(' -> ')];
    });
  });
}

/** The shortest way from `start` back to it; null: there is none. */
function wayBack(edges: ReadonlyMap<string, ReadonlyMap<string, string>>, start: string): readonly string[] | null {
  const ways: string[][] = [[start]];
  const seen = new Set<string>();
  for (let way = ways.shift(); way !== undefined; way = ways.shift()) {
    for (const next of edges.get(way.at(-1) ?? '')?.keys() ?? []) {
      if (next === start) return way;
      if (seen.has(next)) continue;
      seen.add(next);
      ways.push([...way, next]);
    }
  }
  return null;
}

describe('folders', () => {
  it('do not need each other in a circle', () => {
    const files = execFileSync('git', ['ls-files', '-z', 'app', 'main', 'renderer', 'firmware-protocol'], { cwd: root, encoding: 'utf8' }).split('\0');
    const imports = importsOf(files, (path) => readFileSync(join(root, path), 'utf8'));
    expect(imports.length).toBeGreaterThan(1000);
    expect(circles(imports)).toEqual([]);
  });

  it('of which two do are found, also where no file lies in a circle and where one lies in the other', () => {
    const text: Readonly<Record<string, string>> = {
      'app/a/one.ts': "import type { B } from '../b/one.ts';",
      'app/b/one.ts': '',
      'app/b/two.ts': "export { A } from '../a/two.ts';",
      'app/a/two.ts': "import { C } from './c/one.ts';",
      'app/a/c/one.ts': "const a = await import('../three.ts');",
      'app/a/three.ts': '',
      'app/a/three.test.ts': "import '../../main/x.ts';",
      'main/x.ts': "import '../app/a/three.ts';",
    };
    expect(circles(importsOf(Object.keys(text), (path) => text[path] ?? ''))).toEqual([
      'app/a -> app/b (app/a/one.ts -> app/b/one.ts) -> app/a (app/b/two.ts -> app/a/two.ts)',
      'app/a -> app/a/c (app/a/two.ts -> app/a/c/one.ts) -> app/a (app/a/c/one.ts -> app/a/three.ts)',
    ]);
  });
});
