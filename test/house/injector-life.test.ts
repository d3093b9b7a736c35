/** The life of an injector over two jobs, in a browser. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { parse } from 'csv-parse/sync';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

const command = join(import.meta.dirname, '../../main/cli/main.ts');
let opened: OpenedWindow | undefined;

/** Twice the same injector on the same bench, for two jobs; and a longer serial number that begins like it, once. */
function jobsInto(archives: string): void {
  const small = samplePlan('small-plan');
  const plan = join(archives, 'plan.json');
  for (const [order, replicates, serials] of [['J-1', 1, ['RH4-0117', 'RH4-0118']], ['J-2', 2, ['RH4-0117', 'RH4-01178']]] as const) {
    writeFileSync(plan, JSON.stringify({
      ...small, name: `Sweep of ${order}`, order, injectors: serials.map((serialNumber, i) => ({ serialNumber, type: 'RH-P4', channel: i + 1 })),
      axes: { ...small.axes, widthMs: [2.5, 3, 5, 8], replicates }, reduction: { ...small.reduction, linearFromMs: 3 }, zero: { windowS: 0 }, pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 0 },
    }));
    execFileSync(process.execPath, [command, 'sweep', plan, '--operator', 'A. Tester', '--quiet', '--archive', join(archives, 'archive.sqlite')], { stdio: 'pipe' });
  }
}

beforeAll(async () => {
  if (browserPath !== null) opened = await openWindow({ prepare: jobsInto });
}, 600_000);

afterAll(() => opened?.close());

describe.skipIf(browserPath === null)('the life of an injector', () => {
  it('WIN-64, HOST-111 has its visits and runs over all jobs, with changes that know what both runs share', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page, complaints } = opened;
    await goToPage(page, 'Injectors');
    await page.getByRole('button', { name: /^(Book in|Add|New)/ }).first().click();
    await page.getByLabel(/^Type of/).first().fill('RH-P4');
    await page.getByLabel(/^Serial number of/).first().fill('RH4-0117');
    await page.getByLabel(/^Condition of/).first().fill('as found: varnish on the nozzle');
    await page.keyboard.press('Control+s');
    await page.getByText(/part saved/).waitFor();
    await page.getByLabel('Condition of RH4-0117').fill('cleaned');
    await page.keyboard.press('Control+s');
    await page.getByRole('link', { name: 'Life of RH4-0117' }).click();
    await page.getByRole('heading', { name: 'Injector RH4-0117', level: 1 }).waitFor();
    const visits = page.getByRole('region', { name: /^What was saved of it/ });
    await visits.getByText('as found: varnish on the nozzle').waitFor({ timeout: 60_000 });
    expect(await visits.getByRole('row').allTextContents()).toHaveLength(3);
    expect((await visits.getByRole('row').last().textContent()) ?? '').toContain('cleaned');
    const runs = page.getByRole('region', { name: /^Dead time, 10 V, 400 kPa, 20 ms of RH4-0117/ });
    expect(await runs.getByRole('row').count()).toBe(3);
    const [, first, second] = await runs.getByRole('row').allTextContents();
    expect(first).toContain('J-1');
    expect(first).toContain('first');
    expect(second).toContain('J-2');
    const download = page.waitForEvent('download');
    await page.getByRole('button', { name: 'Save as CSV' }).click();
    const rows: Record<string, string>[] = parse(readFileSync(await (await download).path()), { columns: true });
    expect(new Set(rows.map((row) => row['injector']))).toEqual(new Set(['RH4-0117']));
    const changes = rows.filter((row) => row['change_since_first'] !== '');
    expect(changes.length).toBeGreaterThanOrEqual(4);
    expect(changes.some((row) => Number(row['change_since_first']) !== 0)).toBe(true);
    // Nothing changed, and the same meter is in both: a change of slope is known better than the slope.
    for (const row of changes) expect(Math.abs(Number(row['change_since_first']))).toBeLessThan(2.5 * Number(row['change_U95']));
    for (const row of changes.filter((one) => one['quantity'] === 'slope')) expect(Number(row['change_U95'])).toBeLessThan(Number(row['U95']));
    for (const theme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme: theme });
      expect(await violations(page)).toEqual([]);
      for (const [width, height] of [[1366, 768], [1920, 1080]] as const) {
        await page.setViewportSize({ width, height });
        await keepScreen(page, `injector-life-${width}-${theme}`);
        expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
      }
    }
    await page.setViewportSize({ width: 1366, height: 768 });
    await page.getByRole('button', { name: 'All injectors' }).click();
    await page.getByRole('link', { name: 'Life of RH4-0117' }).waitFor();
    await keepScreen(page, 'injectors-with-life-1366');
    expect(complaints).toEqual([]);
  }, 300_000);
});
