/** What hours buy, by command: CLI-60. */
import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';

const main = join(import.meta.dirname, '../../main/cli/main.ts');
const sample = (name: string): string => join(import.meta.dirname, '../../main/samples', name);

describe('CLI-60 the command forecast --hours', () => {
  const folder = scratchFolder();
  const ask = (...args: readonly string[]) => {
    const { status, stdout, stderr } = spawnSync(process.execPath, [main, 'forecast', ...args], { cwd: folder, env: bareEnvironment(folder), encoding: 'utf8', timeout: 120_000 });
    return { code: status, out: stdout, err: stderr };
  };

  it('tells the curve of hours against U95: a line for each budget, never beyond it, each no worse than the one before and none below what instruments leave', { timeout: 120_000 }, () => {
    const { code, out, err } = ask(sample('plan.json'), '--hours', '0.5,1,3', '--json');
    expect({ code, err }).toEqual({ code: 0, err: '' });
    const lines = out.trim().split('\n').map((line) => JSON.parse(line) as { readonly kind: string; readonly hours: number; readonly took: number; readonly cells: readonly { readonly expandedS: number; readonly leastS: number }[] });
    expect(lines.map(({ kind, hours }) => [kind, hours])).toEqual([['hours', 0.5], ['hours', 1], ['hours', 3]]);
    const worst = lines.map(({ cells }) => Math.max(...cells.map((c) => c.expandedS)));
    expect(worst[1]).toBeLessThan(worst[0] ?? 0);
    expect(worst[2]).toBeLessThanOrEqual(worst[1] ?? 0);
    for (const { hours, took, cells } of lines) {
      expect(took).toBeLessThanOrEqual(hours);
      expect(cells).toHaveLength(5);
      for (const { expandedS, leastS } of cells) expect(expandedS).toBeGreaterThan(leastS);
    }
    const told = ask(sample('plan.json'), '--hours', '0.5').out;
    expect(told).toMatch(/at most +taken +9 V, 400 kPa/);
    expect(told).toContain(`${((lines[0]?.cells[0]?.expandedS ?? 0) * 1e6).toFixed(1)} us`);
    expect(told).toContain('instruments alone');
  });

  it('refuses a plan whose axes leave nothing to choose, and hours that do not rise', () => {
    const few = ask(sample('small-plan.json'), '--hours', '1');
    expect([few.code, few.out]).toEqual([2, '']);
    expect(few.err).toContain('cannot be measured by hours');
    expect(few.err).toContain('too few');
    for (const hours of ['2,1', '0', '1,x', '']) expect(ask(sample('plan.json'), '--hours', hours).code, hours).toBe(2);
  });
});
