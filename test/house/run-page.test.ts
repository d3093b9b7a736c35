/** The page Run on the screens of a lab: what is in sight at once, what keeps its place, and what keys and gloves reach. */
import type { Locator, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, startRun, violations } from '../builders/window.ts';

/** Eight injectors at five voltages; what fails is left for a person, and does not call. */
const sweep = samplePlan('plan', (plan) => ({
  ...withoutLeakChecks(plan),
  condition: { ...plan.condition, timeoutS: 3 },
  repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 },
  guards: [],
  byItself: { ...plan.byItself, sameCause: 0 },
}));
/** The rail falls a little short of its pressure, and a little later once more. */
const faults = [34, 48].map((atBurst) => ({ begins: { atBurst }, forS: 10, fault: { kind: 'pressure-loss', toKpa: 388 } }));

let opened: OpenedWindow | undefined;
let page: Page;
let complaints: string[] = [];

describe.skipIf(browserPath === null)('the page Run', () => {
  beforeAll(async () => {
    opened = await openWindow({ scenario: { faults } });
    ({ page, complaints } = opened);
    page.setDefaultTimeout(20_000);
    await startRun(page, opened.folder, sweep, 10);
  }, 120_000);
  afterAll(() => opened?.close());

  const cells = (): Locator => page.getByRole('grid').getByRole('gridcell');
  /** Where the cell of the first point lies, in pixels of the screen. */
  const placeOfCell = (): Promise<number> => page.evaluate('Math.round(document.querySelector("[data-point]").getBoundingClientRect().top)');
  const failed = (): Locator => page.getByRole('gridcell', { name: /failed/ });
  /** Whole rows of the grid that are in sight. */
  const rowsInSight = (): Promise<number> =>
    page.evaluate(`(() => {
      const frame = document.querySelector('.run-grid');
      const bottom = Math.min(innerHeight, frame.getBoundingClientRect().top + frame.clientTop + frame.clientHeight);
      return [...frame.querySelectorAll('tbody tr:not([aria-hidden])')].filter((row) => row.getBoundingClientRect().bottom <= bottom + 0.5).length;
    })()`);
  const inSight = async (what: Locator): Promise<boolean> => {
    const box = await what.boundingBox();
    const { width, height } = page.viewportSize() ?? { width: 0, height: 0 };
    return box !== null && box.y >= 0 && box.x >= 0 && box.height > 10 && box.y + box.height <= height && box.x + box.width <= width;
  };

  it('WIN-19: shows state, strips, alarms and ten rows at 1366 x 768, and no cell moves when a point fails or a command is answered', async () => {
    await page.getByRole('button', { name: /^(▶ )?400 kPa/ }).click();
    await page.getByText(/^0 of 1\d\d\d points accepted|^[1-9]\d* of/).first().waitFor();
    const before = await placeOfCell();
    for (const what of [page.getByRole('region', { name: 'What the run does now' }), page.getByRole('region', { name: 'Alarms that stand, and the last one' })]) expect(await inSight(what)).toBe(true);
    for (const strip of [/^Supply/, /^Rail pressure/, /^Flow/, /^Rail temperature/, /^Meter temperature/]) {
      const image = page.getByRole('img', { name: strip });
      expect(await inSight(image), String(strip)).toBe(true);
      expect((await image.boundingBox())?.height).toBeGreaterThanOrEqual(44);
    }
    expect(await rowsInSight()).toBeGreaterThanOrEqual(10);
    expect(await page.evaluate<number>('scrollY')).toBe(0);
    await failed().first().waitFor({ timeout: 60_000 });
    expect(await placeOfCell()).toBe(before);
    await page.keyboard.press('Alt+s');
    await page.getByText('Paused', { exact: true }).waitFor();
    await page.getByText(/^. ?Pause now: accepted/).waitFor();
    expect(await placeOfCell()).toBe(before);
    await page.keyboard.press('Alt+k');
    await page.getByText(/Acknowledge the trip: not done/).waitFor();
    expect(await placeOfCell()).toBe(before);
    await page.keyboard.press('Alt+x');
    await page.getByRole('alertdialog').waitFor();
    expect(await placeOfCell()).toBe(before);
    await page.keyboard.press('Escape');
    expect(await rowsInSight()).toBeGreaterThanOrEqual(10);
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'run-1366');
    // Nothing was covered by the STOP, and a large screen is used to its edges.
    await page.setViewportSize({ width: 1920, height: 1080 });
    await page.waitForTimeout(300);
    expect(await rowsInSight()).toBeGreaterThanOrEqual(18);
    expect(await page.evaluate<number>('document.querySelector(".run-cockpit").getBoundingClientRect().right')).toBeGreaterThan(1900);
    expect(await page.evaluate<number>('document.documentElement.scrollWidth - innerWidth')).toBe(0);
    await keepScreen(page, 'run-1920');
    await page.setViewportSize({ width: 1366, height: 768 });
    await page.keyboard.press('Alt+g');
    await page.getByText('Paused', { exact: true }).waitFor({ state: 'detached' });
  });

  it('WIN-20: goes from failed point to failed point by key, also after a click of the mouse, and leads from the overview of all sheets', async () => {
    await expect.poll(() => failed().count(), { timeout: 60_000 }).toBeGreaterThanOrEqual(2);
    await page.keyboard.press('Alt+s');
    await page.getByText('Paused', { exact: true }).waitFor();
    const focused = (): Promise<string> => page.evaluate('document.activeElement.getAttribute("aria-label") ?? ""');
    await cells().nth(3).click();
    const visited = new Set<string>();
    const all = await failed().count();
    for (let i = 0; i < all; i += 1) {
      await page.keyboard.press('n');
      await expect.poll(async () => {
        const now = await focused();
        return now.includes('failed') && !visited.has(now);
      }).toBe(true);
      visited.add(await focused());
    }
    expect(visited.size).toBe(all);
    await page.keyboard.press('ArrowDown');
    await expect.poll(focused).not.toMatch(/failed/);
    await page.getByRole('button', { name: 'All sheets', exact: true }).click();
    await keepScreen(page, 'run-all-sheets');
    expect(await violations(page)).toEqual([]);
    const count = page.getByRole('button', { name: /^RH4-0117, 400 kPa: \d+ of 180 accepted × \d+ failed/ });
    await count.click();
    await expect.poll(focused).toMatch(/^RH4-0117/);
    await page.getByText(/done about (\d+ \w+, )?\d\d:\d\d/).waitFor({ state: 'detached' });
    await page.keyboard.press('Alt+g');
    await page.getByText(/of bench time left \(.* by the clock, 10 times as fast\), done about (\d+ \w+, )?\d\d:\d\d/).waitFor();
  });

  it('WIN-21: with targets for gloves every cell and button is 44 pixels and more', async () => {
    await page.getByRole('button', { name: /^Settings/ }).click();
    await page.getByLabel('Targets').selectOption({ label: 'For gloves: cells and buttons of 44 pixels and more' });
    await page.keyboard.press('Escape');
    await page.waitForTimeout(300);
    const small = await page.evaluate<string[]>(`[...document.querySelectorAll('button, a.button, [data-point], .frame-nav a')].flatMap((element) => {
      const { width, height } = element.getBoundingClientRect();
      return width > 0 && (width < 44 || height < 44) ? [element.textContent + ' ' + width + ' x ' + height] : [];
    })`);
    expect(small).toEqual([]);
    await keepScreen(page, 'run-gloves-1366');
    expect(await violations(page)).toEqual([]);
    expect(complaints).toEqual([]);
  });
});
