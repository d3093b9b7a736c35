/** Heads, proofs and exports as a shell sees them: what a lab keeps, and what it finds out with it. */
import { spawnSync } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { samplePlan, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';
import { forge, forgeries, rewriteLedger } from './forgeries.ts';

const command = join(import.meta.dirname, '../../main/cli/main.ts');
let folder = '';
const at = (name: string): string => join(folder, name);
let publicKey = '';

function cli(...args: readonly string[]): { readonly code: number | null; readonly said: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...args], { encoding: 'utf8' });
  return { code: status, said: stdout + stderr };
}

const headIn = (said: string): string => /head (\d+:[0-9a-f]{64})/u.exec(said)?.[1] ?? '';

beforeAll(() => {
  folder = scratchFolder();
  writeFileSync(at('plan.json'), JSON.stringify(withoutLeakChecks(samplePlan('small-plan'))));
  const made = cli('make-head-key', at('key.pem'));
  publicKey = /public key (\S+)/u.exec(made.said)?.[1] ?? '';
  for (let i = 0; i < 2; i += 1) {
    const swept = cli('sweep', at('plan.json'), '--operator', 'A. Tester', '--archive', at('archive.sqlite'), '--heads', at('heads.txt'), '--heads-key', at('key.pem'));
    if (swept.code !== 0) throw new Error(swept.said);
    expect(swept.said).toContain(`the public key is ${publicKey}`);
  }
}, 120_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

test('ARC-9, ARC-16 the archive holds against its head and the heads that were kept, and the lists name it', () => {
  const listed = cli('runs', '--archive', at('archive.sqlite'));
  const head = headIn(listed.said);
  expect(listed.said).toContain('simulated bench');
  expect(headIn(cli('reduce', '--archive', at('archive.sqlite')).said)).toBe(head);
  const verified = cli('verify', at('archive.sqlite'), '--head', head, '--heads', at('heads.txt'), '--public-key', publicKey);
  expect(verified).toMatchObject({ code: 0 });
  expect(headIn(verified.said.split('\n').find((line) => line.startsWith('Archive ')) ?? '')).toBe(head);
  expect(cli('verify', at('archive.sqlite'), '--head', '5').code).toBe(2);
  expect(cli('verify', at('archive.sqlite'), '--heads', at('heads.txt'), '--public-key', 'A'.repeat(43)).code).toBe(8);
}, 60_000);

test('ARC-10 a forger who writes everything anew passes verify, and is found by the heads that were kept', () => {
  const copy = at('forged.sqlite');
  expect(cli('backup', copy, '--archive', at('archive.sqlite')).code).toBe(0);
  const forgery = forgeries.find((one) => one.what.startsWith('every mass is 3 % larger'));
  forge(copy, (db) => {
    forgery?.forge(db);
    rewriteLedger(db);
  });
  expect(cli('verify', copy).code).toBe(0);
  const found = cli('verify', copy, '--heads', at('heads.txt'), '--public-key', publicKey);
  expect(found.code).toBe(8);
  expect(found.said).toContain('It was rewritten, or the head is of another archive.');
  // Nor do heads help that the forger writes anew too: the key is not there.
  const forgedHead = headIn(cli('runs', '--archive', copy).said);
  const lines = readFileSync(at('heads.txt'), 'utf8').trim().split('\n');
  writeFileSync(at('forged-heads.txt'), `${(lines.at(-1) ?? '').replace(/\d+:[0-9a-f]{64}/u, forgedHead)}\n`);
  expect(cli('verify', copy, '--heads', at('forged-heads.txt')).code).toBe(0);
  expect(cli('verify', copy, '--heads', at('forged-heads.txt'), '--public-key', publicKey).code).toBe(8);
}, 60_000);

test('ARC-12, ARC-13, ARC-19 proofs and an export are checked without the archive', () => {
  const head = headIn(cli('runs', '--archive', at('archive.sqlite')).said);
  const early = /\d+:[0-9a-f]{64}/u.exec(readFileSync(at('heads.txt'), 'utf8'))?.[0] ?? '';
  expect(early).not.toBe(head);
  expect(cli('prove', '--archive', at('archive.sqlite'), '--to', at('place.json')).code).toBe(0);
  expect(cli('prove', '--archive', at('archive.sqlite'), '--since', early, '--to', at('since.json')).code).toBe(0);
  expect(cli('export', '--archive', at('archive.sqlite'), '--to', at('tables')).code).toBe(0);
  for (const args of [['check-proof', at('place.json')], ['check-proof', at('since.json')], ['check-export', at('tables')]]) {
    expect(cli(...args, '--head', head)).toMatchObject({ code: 0 });
    expect(cli(...args, '--head', early).code).toBe(8);
  }
  writeFileSync(at('place.json'), readFileSync(at('place.json'), 'utf8').replace(/"n": \d+/u, '"n": 3'));
  expect(cli('check-proof', at('place.json')).code).toBe(8);
  expect(cli('prove', '--archive', at('archive.sqlite'), '--since', `3:${'0'.repeat(64)}`).code).toBe(8);
  expect(cli('check-proof', at('absent.json')).code).toBe(2);
}, 120_000);

test('ARC-14 the archive itself is refused as the file for heads', () => {
  const refused = cli('sweep', at('plan.json'), '--operator', 'A. Tester', '--archive', at('archive.sqlite'), '--heads', at('archive.sqlite'));
  expect(refused).toMatchObject({ code: 2 });
  expect(refused.said).toContain('that belongs to the archive');
});
