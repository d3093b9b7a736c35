/** What keeps its place under the hands of a person: the grid of the page Run while the run goes on to another sheet, and the button that saves a plan. */
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, readyToRun } from '../builders/window.ts';

/** Begins with a look, which has a sheet of its own with few rows; the sheet of the sweep, which is shown before the start, has forty. */
const sweep = samplePlan('plan', (plan) => ({ ...plan, look: { ...plan.look, windowS: 2 } }));

let opened: OpenedWindow | undefined;
let page: Page;

describe.skipIf(browserPath === null)('under the hands of a person', { timeout: 120_000 }, () => {
  beforeAll(async () => {
    opened = await openWindow({});
    ({ page } = opened);
    page.setDefaultTimeout(20_000);
  }, 120_000);
  afterAll(() => opened?.close());

  const focused = (): Promise<string> => page.evaluate('document.activeElement?.getAttribute("aria-label") ?? ""');
  const grid = (name: string) => page.getByRole('grid', { name: `Points at ${name}` });

  it('WIN-111: keeps sheet and focus under the hands of a person when the run goes on to another sheet or the cell is scrolled away', async () => {
    await readyToRun(page, opened?.folder ?? '', sweep, 4);
    await page.getByRole('button', { name: 'Open only' }).click();
    await page.getByRole('heading', { name: 'Points', exact: true }).waitFor();
    await grid('400 kPa').locator('[tabindex="0"]').focus();
    const name = await focused();
    expect(name).toMatch(/planned/);
    await page.keyboard.press('Alt+g');
    await page.getByRole('button', { name: /First look/ }).filter({ hasText: '▶' }).waitFor();
    expect(await focused()).toBe(name);
    const following = page.getByRole('group', { name: 'Sheet' }).getByRole('button', { name: 'Follow the run' });
    expect(await following.getAttribute('aria-pressed')).toBe('false');
    // Scrolled out of sight the cell is drawn no more; the keys go on from it all the same.
    await grid('400 kPa').hover();
    await page.mouse.wheel(0, 5000);
    await expect.poll(() => page.evaluate(`(() => {
      const { scrollTop, scrollHeight, clientHeight } = document.querySelector('.run-grid');
      return scrollTop > 0 && scrollTop + clientHeight >= scrollHeight - 1;
    })()`)).toBe(true);
    await expect.poll(() => page.getByRole('gridcell', { name, exact: true }).count()).toBe(0);
    await page.keyboard.press('ArrowDown');
    await expect.poll(focused).toMatch(/planned/);
    expect(await focused()).not.toBe(name);
    // Whoever goes out of the grid, or asks for it, sees where the run is.
    await following.click();
    await page.getByRole('grid', { name: 'Points at First look' }).waitFor();
  });

  it('WIN-111: a key acts on the cell that has the focus, on a smaller sheet too', async () => {
    await page.getByRole('button', { name: /400 kPa/ }).click();
    await grid('400 kPa').locator('[tabindex="0"]').focus();
    await page.keyboard.press('Control+End');
    await page.getByRole('button', { name: /First look/ }).click();
    await grid('First look').locator('[tabindex="0"]').focus();
    await page.keyboard.press('m');
    await page.getByText(/^. ?Measure 1 point again: accepted/).waitFor();
  });

  it('WIN-112: the button that saves a plan stays where it is while the plan is worked out, checked and typed wrong', async () => {
    await goToPage(page, 'Plans');
    const save = page.getByRole('button', { name: /^Save version/ });
    const top = async (): Promise<number> => Math.round((await save.boundingBox())?.y ?? Number.NaN);
    await page.getByLabel('Plan file', { exact: true }).setInputFiles({ name: 'plan.json', mimeType: 'application/json', buffer: Buffer.from(JSON.stringify(sweep)) });
    // Opened, the page goes to the first field once.
    await expect.poll(() => page.evaluate('document.activeElement?.id')).toBe('plan:name');
    const read = await top();
    await page.getByRole('term').filter({ hasText: 'Pre-flight' }).waitFor();
    expect(await top()).toBe(read);
    // The page is scrolled to the field, and the bar with it stays in sight.
    await page.getByLabel('Replicates', { exact: true }).fill('2');
    await page.getByRole('term').filter({ hasText: 'Pre-flight' }).waitFor();
    const scrolled = await top();
    await page.getByLabel('Replicates', { exact: true }).fill('none');
    await page.getByRole('button', { name: 'Go to the first problem' }).waitFor();
    expect(await top()).toBe(scrolled);
  });
});

describe.skipIf(browserPath === null)('before a bench is connected', { timeout: 120_000 }, () => {
  it('WIN-205: the pre-flight sheet of a plan keeps what waits for a bench, and what passed, in one line each until they are opened', async () => {
    const window = await openWindow({});
    const { page } = window;
    page.setDefaultTimeout(20_000);
    await goToPage(page, 'Plans');
    await page.getByLabel('Plan file', { exact: true }).setInputFiles({ name: 'plan.json', mimeType: 'application/json', buffer: Buffer.from(JSON.stringify(sweep)) });
    await page.getByText(/\d+ wait for a bench/).waitFor();
    const waiting = page.getByText(/^. ?\d+ lines will be looked at when a bench is connected$/);
    const supply = page.getByRole('cell', { name: /whether the supply reaches the voltages/ });
    const duration = page.getByRole('cell', { name: /pulses, without repeats/ });
    await waiting.waitFor();
    expect([await supply.isVisible(), await duration.isVisible()]).toEqual([false, false]);
    await waiting.click();
    await supply.waitFor();
    await page.getByText(/lines of the pre-flight sheet passed$/).click();
    await duration.waitFor();
    await keepScreen(page, 'plans-sheet');
    await window.close();
  });
});
