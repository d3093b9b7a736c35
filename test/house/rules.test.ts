/** Rule, code and test are tied together by the rule's number; this holds the ties. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '../..');
const self = 'test/house/rules.test.ts';
const files = execFileSync('git', ['ls-files', '-z', '*.md', '*.ts', '*.tsx'], { cwd: root, encoding: 'utf8' }).split('\0').filter((path) => path !== '');
const textOf = (path: string): string => readFileSync(join(root, path), 'utf8');

/** Rules that no program can show, with the reason. */
const notTested: Readonly<Record<string, string>> = {
  'LINE-50': 'it says what software is not',
  'LINE-51': 'it is a rule for the wiring of a bench',
  'LINE-104': 'it takes an analog source beside the controller',
  'LINE-105': 'the safe supply of every bench that is simulated or emulated here is 0',
};

const written = files.filter((path) => path.endsWith('.md')).flatMap((path) => [...textOf(path).matchAll(/\*\*([A-Z]{2,5}-\d+)\*\*/g)].map(([, id = '']) => id));
const kinds = new Set(written.map((id) => id.replace(/-\d+$/, '')));
const isRule = (id: string): boolean => kinds.has(id.replace(/-\d+$/, ''));

/** All ids of a text; "RED-4 to RED-7" names four. */
function idsIn(text: string): readonly string[] {
  const single = [...text.matchAll(/(?<![A-Z-])[A-Z]{2,5}-\d+(?!\d|-\d)/g)].map(([id]) => id);
  const ranges = [...text.matchAll(/\b([A-Z]{2,5})-(\d+) to \1-(\d+)/g)].flatMap(([, kind = '', from, to]) =>
    Array.from({ length: Number(to) - Number(from) + 1 }, (_, i) => `${kind}-${Number(from) + i}`),
  );
  return [...single, ...ranges].filter(isRule);
}

/** Names of tests and the tables that they are made from, of judges of the storm and of checks of the conformance suite: what fails when the rule is broken. */
function holders(path: string): string {
  const text = textOf(path);
  if (path !== self && /\.test\.tsx?$/.test(path)) return [...text.matchAll(/'[^'\n]*'|"[^"\n]*"|`[^`]*`/g)].map(([literal]) => literal).join('\n');
  if (path.startsWith('test/storm/')) return [...text.matchAll(/rule: '[^']*'/g)].map(([rule]) => rule).join('\n');
  if (path.startsWith('firmware-protocol/conformance/') && path.endsWith('-checks.ts')) return text;
  return '';
}

describe('numbered rules', () => {
  it('each is written in one place', () => {
    expect(written.length).toBeGreaterThan(450);
    expect(written.filter((id, i) => written.indexOf(id) !== i)).toEqual([]);
  });

  it('none is named that is not written', () => {
    const strangers = files.flatMap((path) => idsIn(textOf(path)).flatMap((id) => (written.includes(id) ? [] : [`${id} in ${path}`])));
    expect(strangers).toEqual([]);
  });

  it('and each room has the decisions beside them that a newcomer would undo, with the reason', () => {
    const elsewhere: Readonly<Record<string, string>> = {
      'app/boundary': 'texts of problems', 'app/distributions': 'app/reduce', 'main/electron': 'main/host', 'main/ending': 'main/host', 'main/samples': 'no code',
    };
    const rooms = [...new Set(files.flatMap((path) => /^(?:app|main)\/[^/]+(?=\/)/.exec(path)?.[0] ?? []))];
    expect(rooms.length).toBeGreaterThan(30);
    const reasons = (room: string): number => (files.includes(`${room}/README.md`) ? (textOf(`${room}/README.md`).split(/^## (?:\d+\. )?Decisions$/m)[1]?.match(/^- (?:\*\*|\*)\S/gm)?.length ?? 0) : 0);
    expect([...rooms, 'renderer', 'firmware-protocol', 'firmware-protocol/firmware', 'firmware-protocol/simulator', 'test/storm'].filter((room) => reasons(room) === 0 && !(room in elsewhere))).toEqual([]);
    expect(Object.keys(elsewhere).filter((room) => !rooms.includes(room) || reasons(room) > 0)).toEqual([]);
  });

  it('each is in the name of a test, but for those that no program can show', () => {
    const held = new Set(files.flatMap((path) => idsIn(holders(path))));
    expect(written.filter((id) => !held.has(id) && !(id in notTested))).toEqual([]);
    expect(Object.keys(notTested).filter((id) => held.has(id) || !written.includes(id))).toEqual([]);
  });
});
