/** The page Run of a plan with targets: how far each cell is, when it is over, why it does what it does; and that commands do what they do to a grid. */
import type { Locator, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, startRun, violations } from '../builders/window.ts';

/** Eight injectors, and a target at the lower voltage that its instruments keep from being reached. */
const plan = samplePlan('small-plan', (small) => ({
  ...withoutLeakChecks(small),
  injectors: Array.from({ length: 8 }, (_, i) => ({ serialNumber: `RH4-01${17 + i}`, type: 'RH-P4', channel: i + 1 })),
  axes: { ...small.axes, voltageV: [10, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] },
  targets: { deadTimeUs: 14, atVoltage: [{ voltageV: 10, deadTimeUs: 2 }], hours: 2, attemptsPerCell: 24, known: [] },
}));

let opened: OpenedWindow | undefined;
let page: Page;
let complaints: string[] = [];

describe.skipIf(browserPath === null)('the page Run of a plan with targets', () => {
  beforeAll(async () => {
    opened = await openWindow({ scenario: { seed: 5 } });
    ({ page, complaints } = opened);
    page.setDefaultTimeout(60_000);
    await startRun(page, opened.folder, plan, 8);
  }, 180_000);
  afterAll(() => opened?.close());

  const cells = (name: RegExp): Locator => page.locator('.run-targets-table').getByRole('button', { name });
  const placeOf = (selector: string): Promise<string> => page.evaluate(`JSON.stringify([...document.querySelectorAll(${JSON.stringify(selector)})].map((one) => { const { top, left, height } = one.getBoundingClientRect(); return [top, left, height].map(Math.round); }))`);

  it('WIN-23: each cell fills as it is known, says what stands in its way, and keeps its place', async () => {
    await cells(/^RH4-0117 at 10 V/).waitFor();
    expect(await cells(/./).count()).toBe(16);
    const before = await placeOf('.run-targets-table .run-target');
    await cells(/more windows are measured|known as well/i).first().waitFor({ timeout: 120_000 });
    await page.getByText(/Last decision: \d+ points? added: .*RH4-01\d\d at 1[04] V/).waitFor();
    await keepScreen(page, 'targets-1366');
    await cells(/at 14 V.*It is known as well as was wanted/).first().waitFor({ timeout: 180_000 });
    await cells(/at 10 V.*No sensible number of windows reaches it\. The instruments allow \d.*µs at best, most of it: \w/).first().waitFor({ timeout: 180_000 });
    await page.getByText(/^Cannot be reached: 10 V, \d cells?: the instruments allow/).waitFor();
    expect(await placeOf('.run-targets-table .run-target')).toBe(before);
    expect(await violations(page)).toEqual([]);
    for (const [name, width, height] of [['targets-known-1366', 1366, 768], ['targets-known-1920', 1920, 1080]] as const) {
      await page.setViewportSize({ width, height });
      await page.waitForTimeout(300);
      expect(await page.evaluate<number>('document.documentElement.scrollWidth - innerWidth')).toBe(0);
      const last = await page.locator('.run-targets-table .run-target').last().boundingBox();
      expect((last?.y ?? Infinity) + (last?.height ?? 0)).toBeLessThanOrEqual(height);
      await keepScreen(page, name);
    }
    await page.emulateMedia({ colorScheme: 'dark' });
    await keepScreen(page, 'targets-known-dark');
    await page.emulateMedia({ colorScheme: 'light' });
    await page.setViewportSize({ width: 1366, height: 768 });
  }, 600_000);

  it('WIN-24: the end is a time of day with a range, of what the schedule is expected to add', async () => {
    await page.getByText(/\d+ of 16 cells known, .* left by the clock, done about (\d+ \w+, )?\d\d:\d\d \((\d+ \w+, )?\d\d:\d\d to (\d+ \w+, )?\d\d:\d\d\)/).waitFor({ timeout: 60_000 });
  }, 120_000);

  it('WIN-27: a target is raised while the run goes on, and the cells go by it', async () => {
    const before = await placeOf('.run-targets-table .run-target');
    await page.getByLabel('Voltage of the target').selectOption({ label: '10 V' });
    await page.getByLabel(/U95 of the dead time that is wanted/).fill('90');
    await page.getByRole('button', { name: 'Change the target' }).click();
    await page.getByText(/90.µs at 10 V: accepted/).waitFor();
    await cells(/at 10 V.*90\.0.µs wanted\. It is known as well as was wanted/).first().waitFor();
    // Of the voltage that was chosen alone.
    expect(await cells(/at 14 V.*14\.0.µs wanted/).count()).toBe(8);
    expect(await placeOf('.run-targets-table .run-target')).toBe(before);
  }, 120_000);

  it('WIN-25 WIN-26: a cell leads to its points; pause, measure again, leave out and finish early do what they do to a grid', async () => {
    await page.keyboard.press('Alt+s');
    await page.getByText('Paused', { exact: true }).waitFor();
    // WIN-27: what is no target is refused where other commands are answered; the bench rests meanwhile.
    await page.getByLabel(/U95 of the dead time that is wanted/).fill('5000');
    await page.getByRole('button', { name: 'Change the target' }).click();
    await page.getByText(/more than 0 and at most 1000/).waitFor();
    await page.getByLabel(/U95 of the dead time that is wanted/).fill('');
    // One that has been measured: which are, when the run is paused, is the schedule's affair.
    const known = cells(/at 14 V.*It is known as well as was wanted/).first();
    const [serial = ''] = /^RH4-01\d\d/.exec((await known.getAttribute('aria-label')) ?? '') ?? [];
    await known.click();
    const focused = (): Promise<string> => page.evaluate('document.activeElement.getAttribute("aria-label") ?? ""');
    await expect.poll(focused).toMatch(new RegExp(`^${serial}, 14 V.*accepted, 1 attempt$`));
    const place = (await focused()).replace(/accepted, 1 attempt$/u, '');
    await page.keyboard.press('m');
    await page.getByText(/Measure 1 point again: accepted/).waitFor();
    await page.getByRole('gridcell', { name: /to be measured again/ }).waitFor();
    await page.keyboard.press('Alt+g');
    await page.getByRole('gridcell', { name: `${place}accepted, 2 attempts` }).waitFor({ timeout: 60_000 });
    await keepScreen(page, 'targets-points');
    await page.getByRole('button', { name: 'Targets', exact: true }).click();
    await cells(/^RH4-0117 at 14 V/).waitFor();
    await page.keyboard.press('Alt+l');
    await page.getByRole('alertdialog').getByRole('button', { name: /Finish early/ }).click();
    await page.getByText(/Ended: finished early/).waitFor({ timeout: 60_000 });
    // Of the stored journal, whatever page it is read on.
    const times = page.getByRole('region', { name: 'Where the time went' });
    const parts = await times.getByRole('row').evaluateAll((rows) => rows.map((row) => Number.parseFloat((row as unknown as { readonly cells: readonly { readonly textContent: string }[] }).cells[2]?.textContent ?? 'NaN')));
    expect(parts.length).toBeGreaterThan(6);
    expect(Math.abs(parts.reduce((sum, part) => sum + part, 0) - 100)).toBeLessThan(1);
    await times.getByRole('row', { name: /^measuring windows/ }).waitFor();
    await keepScreen(page, 'targets-ended');
    expect(complaints).toEqual([]);
  }, 240_000);
});
