/** What a plan will come to, by command and on the page of plans. */
import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

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
    // Scatter is known by few replicates then; what a self-check might call is chance, which is not to be expected.
    const thin = JSON.parse(ask(sample('targets.json'), '--hours', '0.68', '--json').out) as (typeof lines)[number];
    expect(Math.max(...thin.cells.map((c) => c.expandedS))).toBeLessThan(8e-6);
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

describe.skipIf(browserPath === null)('the page Plans', () => {
  let opened: OpenedWindow | undefined;
  beforeAll(async () => {
    opened = await openWindow({ scenario: { seed: 3 } });
  }, 180_000);
  afterAll(() => opened?.close());

  it('WIN-162: tells hours, U95 and what stands in the way as the command does, and the curve of hours, beside the page; a change says so', { timeout: 300_000 }, async () => {
    if (opened === undefined) throw new Error('no window');
    const { page, complaints } = opened;
    page.setDefaultTimeout(60_000);
    await goToPage(page, 'Plans');
    await page.getByLabel('Plan file').setInputFiles(sample('targets.json'));
    const part = page.getByRole('region', { name: 'What to expect' });
    const workOut = part.getByRole('button', { name: 'Work it out' });
    await expect.poll(() => workOut.getAttribute('aria-disabled')).not.toBe('true');
    await workOut.click();
    await part.getByText('Hours against U95').waitFor({ timeout: 120_000 });
    const rows = part.getByRole('table', { name: /that hours of bench time buy/ }).locator('tbody tr');
    await expect.poll(() => rows.count(), { timeout: 120_000 }).toBe(5);
    const { stdout } = spawnSync(process.execPath, [main, 'forecast', sample('targets.json'), '--json'], { cwd: opened.folder, env: bareEnvironment(opened.folder), encoding: 'utf8', timeout: 120_000 });
    const { cells, hours } = JSON.parse(stdout) as { readonly hours: number; readonly cells: readonly { readonly voltage: number; readonly expandedS: number; readonly leastS: number }[] };
    for (const { voltage, expandedS, leastS } of cells) {
      const told = await part.getByRole('row', { name: new RegExp(`^${voltage} V`) }).first().textContent();
      expect(told).toContain(`${(expandedS * 1e6).toFixed(1)}\u00a0µs`);
      expect(told).toContain(`${(leastS * 1e6).toFixed(1)}\u00a0µs`);
      expect(told).toMatch(/reached.*without it/);
    }
    // The fourth of the curve is for as long as the plan takes.
    expect(Number(await rows.nth(3).getByRole('rowheader').textContent())).toBe(Number(hours.toPrecision(2)));
    expect(await violations(page)).toEqual([]);
    for (const [width, height] of [[1366, 768], [1920, 1080]] as const) {
      await page.setViewportSize({ width, height });
      await part.scrollIntoViewIfNeeded();
      expect(await page.evaluate<number>('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
      await keepScreen(page, `plans-forecast-${width}`);
    }
    await page.setViewportSize({ width: 1366, height: 768 });
    await page.getByRole('textbox', { name: 'Name', exact: true }).first().fill('Another');
    await part.getByText('The plan has changed since.').waitFor();
    expect(complaints).toEqual([]);
  });
});
