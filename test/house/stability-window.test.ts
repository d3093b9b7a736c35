/** The stability of a held point in the window, against what the command says. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePath } from '../../main/samples/samples.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

const root = join(import.meta.dirname, '../..');
let opened: OpenedWindow | undefined;
let page: Page;
let complaints: string[];
let said = '';

const command = (folder: string, ...rest: readonly string[]): string => execFileSync(process.execPath, [join(root, 'main/cli/main.ts'), ...rest, '--archive', join(folder, 'archive.sqlite')], { encoding: 'utf8', stdio: 'pipe' });

/** A point that is held for ten minutes. */
function holdInto(folder: string): void {
  const plan = join(folder, 'plan.json');
  const sample = JSON.parse(readFileSync(samplePath('reference-hold'), 'utf8')) as { window: object };
  writeFileSync(plan, JSON.stringify({ ...sample, look: { windowS: 0 }, zero: { windowS: 10 }, window: { ...sample.window, minS: 600, maxS: 660 } }));
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
});
