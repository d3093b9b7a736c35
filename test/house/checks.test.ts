/** CLI-39: what the test command does for what it was asked, and which files' style is looked at again. */
import { describe, expect, it } from 'vitest';
import { otherChecks, toLookAt, typeChecks, whatToDo } from '../checks.ts';

describe('CLI-39 the test command', () => {
  it('checks types whatever it is asked, and everything when it is asked nothing', () => {
    expect(whatToDo(['app/run', 'app/plan'])).toEqual({ checks: typeChecks, tests: ['app/run', 'app/plan'] });
    expect(whatToDo([])).toEqual({ checks: [...typeChecks, ...otherChecks], tests: [] });
    expect(whatToDo(['check'])).toEqual({ checks: [...typeChecks, ...otherChecks], tests: null });
    const quick = whatToDo(['quick', 'test/house/rules']);
    expect(quick.checks).toEqual(typeChecks);
    expect(quick.tests).toEqual(expect.arrayContaining(['app', 'test/house/rules']));
  });

  const files = (change: Readonly<Record<string, string>> = {}): ReadonlyMap<string, string> =>
    new Map(Object.entries({
      'a/kinds.ts': "export type Kind = 'x' | 'y';",
      'a/between.ts': "import type { Kind } from './kinds.ts';\nexport type Fault = { kind: Kind };",
      'b/plant.ts': "import type { Fault } from '../a/between.ts';\nexport const act = (fault: Fault) => { switch (fault.kind) {} };",
      'b/lazy.ts': "export const load = () => import('../a/kinds.ts');",
      'b/other.ts': 'export const other = 1;',
      ...change,
    }));
  const look = (tree: ReadonlyMap<string, string>, known: Readonly<Record<string, string>>, settings = 'rules 1') => toLookAt(tree, settings, known, (text) => text);

  it('looks again at what was changed and at all that imports it, over however many others, and at nothing else', () => {
    const known = look(files(), {}).marks;
    expect(look(files(), {}).paths).toHaveLength(5);
    expect(look(files(), known).paths).toEqual([]);
    // A case more, in a file that the switch imports over another one.
    expect(look(files({ 'a/kinds.ts': "export type Kind = 'x' | 'y' | 'z';" }), known).paths).toEqual(['a/between.ts', 'a/kinds.ts', 'b/lazy.ts', 'b/plant.ts']);
    expect(look(files({ 'b/other.ts': 'export const other = 2;' }), known).paths).toEqual(['b/other.ts']);
    expect(look(files(), known, 'rules 2').paths).toHaveLength(5);
  });

  it('files that import each other in a circle are no trouble', () => {
    const circle = new Map([['a.ts', "import './b.ts';"], ['b.ts', "import './a.ts';"]]);
    expect(look(circle, look(circle, {}).marks).paths).toEqual([]);
  });
});
