import { readFileSync } from 'node:fs';
import { stripTypeScriptTypes } from 'node:module';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { plantedInTheHouse } from './house-planted.ts';
import { one, programUnder, withFault } from './planted-fault.ts';
import { plantedFaults } from './planted.ts';

const all = [...plantedFaults, ...plantedInTheHouse];
const program = programUnder(join(import.meta.dirname, '..', '..'));

describe('planted faults', () => {
  it.each(all)('STORM-75 can be planted: $name', (fault) => {
    const changed = withFault(fault, program);
    if (typeof changed === 'string') throw new Error(changed);
    expect(changed.size).toBeGreaterThan(0);
    for (const [path, text] of changed) {
      expect(text).not.toBe(program(path.slice(0, path.indexOf('/', path.indexOf('/') + 1))).get(path));
      // It is a program still: one that cannot be read would be found by everybody.
      stripTypeScriptTypes(text);
    }
  });

  it('STORM-75 have each a name of their own, and those and no others stand in the tables of what was found', () => {
    const readme = readFileSync(join(import.meta.dirname, 'README.md'), 'utf8');
    expect(new Set(all.map(({ name }) => name)).size).toBe(all.length);
    const rows = [...readme.matchAll(/^\| ([^|]+?)(?: \([+*†‡]\))? \| STORM-\d+ [^|]+ \| \d+ \| [\d.]+ \|$/gm)].map(([, name]) => name);
    expect(rows.toSorted()).toEqual(all.filter(({ harmless }) => harmless === undefined).map(({ name }) => name).toSorted());
  });

  it('STORM-75 says so when a text is not there, or there twice', () => {
    const rooms = new Map([['app/run', new Map([['app/run/a.ts', 'let a = 1;'], ['app/run/parts/b.ts', 'let a = 1;\nlet b = 2;\nlet b = 2;']])]]);
    const small = (room: string): ReadonlyMap<string, string> => rooms.get(room) ?? new Map<string, string>();
    expect(withFault(one('gone', 'app/run', 'let c', 'let d'), small)).toMatch(/stands there 0 times/);
    expect(withFault(one('in two files', 'app/run', 'let a = 1;', ''), small)).toMatch(/stands there 2 times/);
    expect(withFault(one('twice in a file', 'app/run', 'let b', ''), small)).toMatch(/stands there 2 times/);
    expect(withFault(one('once', 'app/run', '\nlet b = 2;\nlet b', '\nlet b'), small)).toEqual(new Map([['app/run/parts/b.ts', 'let a = 1;\nlet b = 2;']]));
    expect(withFault({ name: 'one after the other', swaps: [{ room: 'app/run', find: 'let a = 1;\nlet b', put: 'c' }, { room: 'app/run', find: 'c = 2', put: 'd' }] }, small)).toEqual(new Map([['app/run/parts/b.ts', 'd;\nlet b = 2;']]));
  });
});
