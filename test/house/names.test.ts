/** An exported name stands for one thing in the whole product: whoever finds it twice would have to ask which is meant. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';

const root = join(import.meta.dirname, '../..');

/** Names that two files may export, with the reason. */
const twice: Readonly<Record<string, string>> = {
  ask: 'the step of a procedure that asks the bench, and the request of a window to the host: never in one room, and the plain word for both',
};

const exported = /^export (?:declare )?(?:abstract )?(?:async )?(?:const|function\*?|class|interface|type|enum|let) +(\w+)/gm;

function homesOf(files: readonly (readonly [path: string, text: string])[]): ReadonlyMap<string, readonly string[]> {
  const homes = new Map<string, string[]>();
  for (const [path, text] of files) {
    // Overloads and a type beside its value of the same name are one thing.
    for (const name of new Set([...text.matchAll(exported)].map(([, name = '']) => name))) homes.set(name, [...(homes.get(name) ?? []), path]);
  }
  return homes;
}

const several = (homes: ReadonlyMap<string, readonly string[]>) => [...homes].filter(([name, paths]) => paths.length > 1 && !(name in twice));

it('no name is exported by two files', () => {
  const files = execFileSync('git', ['ls-files', '-z', 'app', 'main', 'renderer', 'firmware-protocol'], { cwd: root, encoding: 'utf8' })
    .split('\0')
    .filter((path) => /\.tsx?$/.test(path) && !/\.test(-helper)?\.tsx?$/.test(path));
  const homes = homesOf(files.map((path) => [path, readFileSync(join(root, path), 'utf8')] as const));
  expect(homes.size).toBeGreaterThan(800);
  expect(several(homes)).toEqual([]);
  expect(Object.keys(twice).filter((name) => (homes.get(name)?.length ?? 0) < 2)).toEqual([]);
});

it('one that is, is found', () => {
  expect(several(homesOf([['a.ts', 'export interface Cell {\n}\nexport function cell() {}'], ['b.ts', 'export type Cell = number;\nexport function* cells() {}']]))).toEqual([['Cell', ['a.ts', 'b.ts']]]);
});
