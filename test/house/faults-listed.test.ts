/** A fault of the simulated bench that is not described, or that no test uses, is not finished. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';

const root = join(import.meta.dirname, '../..');
const readme = readFileSync(join(root, 'firmware-protocol/simulator/README.md'), 'utf8');
const users = execFileSync('git', ['ls-files', '-z', '-o', '-c', '--exclude-standard', 'test/*.ts', '*.test.ts'], { cwd: root, encoding: 'utf8' })
  .split('\0')
  .filter((path) => path !== '' && !path.endsWith('faults-listed.test.ts'))
  .map((path) => readFileSync(join(root, path), 'utf8'))
  .join('\n');

/** The values of `key` in the schema, wherever it stands. */
function constants(schema: unknown, key: string): readonly string[] {
  if (typeof schema !== 'object' || schema === null) return [];
  return Object.entries(schema).flatMap(([name, part]) =>
    name === key && typeof part === 'object' && part !== null && 'const' in part ? [String((part as { const: unknown }).const)] : constants(part, key),
  );
}

/** What the table after the given heading cell lists in its first column. */
function listed(heading: string): readonly string[] {
  const rows = readme.slice(readme.indexOf(`| ${heading} |`)).split('\n');
  const end = rows.findIndex((row) => !row.startsWith('|'));
  return rows.slice(2, end < 0 ? undefined : end).flatMap((row) => [...(row.split(' | ')[0] ?? '').matchAll(/`([^`]+)`/g)].map(([, name = '']) => name));
}

const schema = z.toJSONSchema(scenarioSchema, { io: 'input' });
const faults = [...new Set(constants(schema, 'kind'))];
const misbehaviours = [...new Set(constants(schema, 'what'))];

describe('faults of the simulated bench', () => {
  it.each([
    ['SCN-1 those of a scenario', faults, 'fault', 28],
    ['SCN-2 those of its controller', misbehaviours, 'misbehaviour', 22],
  ] as const)('%s are all in the table of firmware-protocol/simulator/README.md', (_, kinds, heading, least) => {
    expect(kinds.length).toBeGreaterThanOrEqual(least);
    expect(listed(heading).toSorted()).toEqual([...kinds].toSorted());
  });

  it('SCN-1 SCN-2 and each is used by a test or the storm', () => {
    expect([...faults, ...misbehaviours].filter((kind) => !users.includes(`'${kind}'`))).toEqual([]);
  });
});
