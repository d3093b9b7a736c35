/** The stability of a held point in the window, against what the command says. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Plan } from '../../app/plan/plan.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, startRun, violations } from '../builders/window.ts';

const root = join(import.meta.dirname, '../..');
let opened: OpenedWindow | undefined;
let page: Page;
let complaints: string[];
let said = '';

const command = (folder: string, ...rest: readonly string[]): string => execFileSync(process.execPath, [join(root, 'main/cli/main.ts'), ...rest, '--archive', join(folder, 'archive.sqlite')], { encoding: 'utf8', stdio: 'pipe' });

/** A point that is held `replicates` times for so many seconds. */
function holdOf(seconds: number, replicates: number): Plan {
  const sample = JSON.parse(readFileSync(samplePath('reference-hold'), 'utf8')) as { readonly window: object; readonly axes: object };
  const parsed = parsePlan({ ...sample, look: { windowS: 0 }, zero: { windowS: 10 }, axes: { ...sample.axes, replicates }, window: { ...sample.window, minS: seconds, maxS: 1.1 * seconds } });
  if (!parsed.ok) throw new Error(parsed.problems.map(({ text }) => text).join(' '));
  return parsed.plan;
}

/** A point that is held for ten minutes. */
function holdInto(folder: string): void {
  const plan = join(folder, 'plan.json');
  writeFileSync(plan, JSON.stringify(holdOf(600, 1)));
  command(folder, 'sweep', plan, '--operator', 'A. Tester', '--quiet');
  said = command(folder, 'stability', '--json');
}

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: holdInto, name: 'B. Reader' });
  ({ page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

describe.skipIf(browserPath === null)('stability in the window', () => {
  it('WIN-200 the view Drift tells the Allan deviation of the held point as the command does', async () => {
    const told = said.trim().split('\n').map((line) => JSON.parse(line) as { run: string; signal: string; rows: { timeS: number; deviation: number; noise: string }[] });
    await page.goto(`${page.url().replace(/#.*$/u, '')}#/results/${told[0]?.run ?? ''}/drift`);
    const region = page.getByRole('region', { name: /^Stability of a held point: RH4-0117 at 14 V/u });
    const table = region.getByRole('region', { name: 'Allan deviation: mass per pulse' });
    await table.waitFor({ timeout: 120_000 });
    const rows = table.getByRole('row');
    const mass = told.find((one) => one.signal === 'mass');
    expect(await rows.count()).toBe((mass?.rows.length ?? 0) + 1);
    for (const [i, { timeS, deviation, noise }] of (mass?.rows ?? []).entries()) {
      expect(await rows.nth(i + 1).getByRole('rowheader').textContent()).toBe(String(timeS));
      const cells = await rows.nth(i + 1).getByRole('cell').allTextContents();
      expect(Math.abs(Number(cells[0]) / (100 * deviation) - 1)).toBeLessThan(5e-3);
      expect(cells[3]).toBe(noise === 'walk' ? 'random walk' : noise);
    }
    expect(await region.textContent()).toMatch(/Averaging pays.*Drift: .*Window, at least|Window, at least.*Averaging pays.*Drift: /su);
    expect(await violations(page)).toEqual([]);
    await region.scrollIntoViewIfNeeded();
    await keepScreen(page, 'stability-1366');
    const pressure = region.getByText(/^Rail pressure: Averaging pays/u);
    await pressure.focus();
    await page.keyboard.press('Enter');
    await region.getByRole('region', { name: 'Allan deviation: rail pressure' }).waitFor();
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'stability-1920');
    expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
    await page.emulateMedia({ colorScheme: 'dark' });
    await keepScreen(page, 'stability-1920-dark');
    expect(complaints).toEqual([]);
  }, 300_000);

  it('WIN-207 follows a run that goes on: it is told again as windows come, stays as it was opened, and ends as the command has it', async () => {
    if (opened === undefined) throw new Error('there is no window');
    await page.setViewportSize({ width: 1366, height: 768 });
    await page.emulateMedia({ colorScheme: 'light' });
    await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: 'Bench', exact: true }).click();
    await startRun(page, opened.folder, holdOf(40, 8), 8);
    const run = await page.getByRole('main').getByRole('link', { name: 'Results', exact: true }).first().getAttribute('href', { timeout: 120_000 });
    await page.evaluate(`window.location.hash = ${JSON.stringify(`${(run ?? '').replace(/^.*#/u, '#')}/drift`)}`);
    const region = page.getByRole('region', { name: /^Stability of a held point/u });
    const windows = async (): Promise<number> => {
      const found = /(One|\d+) windows?, /u.exec(await region.innerText())?.[1];
      return found === undefined ? 0 : found === 'One' ? 1 : Number(found);
    };
    await expect.poll(windows, { timeout: 120_000 }).toBeGreaterThan(0);
    const first = await windows();
    expect(await region.innerText()).toContain('The run goes on: it is worked out again');
    await region.getByText(/^Rail pressure: /u).click();
    const opens = region.getByRole('region', { name: 'Allan deviation: rail pressure' });
    await opens.waitFor();
    await expect.poll(windows, { timeout: 120_000 }).toBeGreaterThan(first);
    // Nothing of it went away meanwhile.
    expect(await opens.isVisible()).toBe(true);
    await keepScreen(page, 'stability-follows');
    await expect.poll(windows, { timeout: 240_000 }).toBe(8);
    await expect.poll(() => region.innerText(), { timeout: 60_000 }).not.toContain('The run goes on');
    const [told] = command(opened.folder, 'stability', '--json').trim().split('\n').map((line) => JSON.parse(line) as { readonly windows: number; readonly rows: readonly { readonly deviation: number }[] });
    const table = region.getByRole('region', { name: 'Allan deviation: mass per pulse' });
    await expect.poll(async () => (await table.getByRole('row').count()) - 1, { timeout: 60_000 }).toBe(told?.rows.length);
    const shown = (await table.getByRole('row').nth(1).getByRole('cell').allTextContents())[0];
    expect(Math.abs(Number(shown) / (100 * (told?.rows[0]?.deviation ?? 0)) - 1)).toBeLessThan(5e-3);
    expect(complaints).toEqual([]);
  }, 600_000);
});
