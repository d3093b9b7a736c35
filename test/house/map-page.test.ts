/** The pages of a plan that wants a map: its axes are given on the page Plans, and the page Run shows each of its cells, with what to measure as well where the curve keeps one from its target. */
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, startRun, violations } from '../builders/window.ts';

/** Two voltages tell little of what lies between them; and what is wanted at the lowest takes longer than anybody looks at it. */
const plan = samplePlan('small-plan', (small) => ({
  ...withoutLeakChecks(small),
  injectors: Array.from({ length: 8 }, (_, i) => ({ serialNumber: `RH4-01${17 + i}`, type: 'RH-P4', channel: i + 1 })),
  axes: { ...small.axes, voltageV: [10, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] },
  targets: { map: { voltageV: [10, 11, 12, 13, 14], pressureKpa: [400], deadTimeUs: 14, atVoltage: [{ voltageV: 10, deadTimeUs: 7.4 }] }, atVoltage: [], hours: 4, attemptsPerCell: 90, known: [] },
}));

let opened: OpenedWindow | undefined;
let page: Page;
let complaints: string[] = [];

describe.skipIf(browserPath === null)('the pages of a plan that wants a map', () => {
  beforeAll(async () => {
    opened = await openWindow({ scenario: { seed: 5 } });
    ({ page, complaints } = opened);
    page.setDefaultTimeout(60_000);
    await startRun(page, opened.folder, plan, 8);
  }, 180_000);
  afterAll(() => opened?.close());

  it('WIN-150: each cell of the map fills as it is known, measured there or not, and says what to measure as well', async () => {
    const cells = (name: RegExp) => page.locator('.run-targets-table').getByRole('button', { name });
    await cells(/^RH4-0117 in the map at 12 V and 400 kPa, not measured there/).waitFor();
    expect(await cells(/./).count()).toBe(40);
    await page.locator('.run-targets-table caption', { hasText: /^Map: U95 of the dead time at 400 kPa/ }).waitFor();
    await cells(/in the map at 12 V.* No sensible number of windows reaches it\. The instruments and the curve between measured places allow .* at best.*Measure 12 V as well\.$/).first().waitFor({ timeout: 240_000 });
    // It goes on no further while it is looked at, however long that takes.
    await page.keyboard.press('Alt+s');
    await page.getByText('Paused', { exact: true }).waitFor();
    await cells(/in the map at 14 V.* It is known as well as was wanted/).first().waitFor();
    await page.getByText(/^Cannot be reached: Map, \d+ cells?: measure .*1[123] V.* as well; the instruments and the curve allow/).waitFor();
    for (const [name, width, height] of [['map-1366', 1366, 768], ['map-1920', 1920, 1080]] as const) {
      await page.setViewportSize({ width, height });
      await page.waitForTimeout(300);
      expect(await page.evaluate<number>('document.documentElement.scrollWidth - innerWidth')).toBe(0);
      await keepScreen(page, name);
    }
    await page.emulateMedia({ colorScheme: 'dark' });
    await keepScreen(page, 'map-dark');
    await page.emulateMedia({ colorScheme: 'light' });
    await page.setViewportSize({ width: 1366, height: 768 });
    expect(await violations(page)).toEqual([]);
  }, 600_000);

  it('RUN-238 WIN-27: what is wanted of the map is raised in the middle of the run', async () => {
    await page.getByLabel('Voltage of the target').selectOption({ label: '12 V of the map' });
    await page.getByLabel(/U95 of the dead time that is wanted/).fill('90');
    await page.getByRole('button', { name: 'Change the target' }).click();
    await page.locator('.run-targets-table th', { hasText: /^12 V 90\.0.µs wanted$/ }).waitFor();
  }, 120_000);

  it('WIN-151: the axes of a map are lists on the page Plans, there as soon as a map is wanted', async () => {
    await goToPage(page, 'Plans');
    await page.getByLabel(/^Wanted in a map/).fill('14');
    await page.getByRole('textbox', { name: /^Voltages of the map/ }).fill('9-16 by 1');
    await page.getByRole('textbox', { name: /^Voltages of the map/ }).press('Enter');
    await page.getByText(/^3 values added/).waitFor();
    await page.getByRole('textbox', { name: /^Pressures of the map/ }).scrollIntoViewIfNeeded();
    await keepScreen(page, 'map-plan-1366');
    await page.emulateMedia({ colorScheme: 'dark' });
    await keepScreen(page, 'map-plan-dark');
    await page.emulateMedia({ colorScheme: 'light' });
    expect(complaints).toEqual([]);
  }, 120_000);
});
