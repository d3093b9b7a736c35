/** The daily qualification of the bench on the page Equipment, in a browser, and a plan that requires it. */
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

let opened: OpenedWindow | undefined;
let page: Page;

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({});
  ({ page } = opened);
}, 600_000);

afterAll(() => opened?.close());

const tooWide = (): Promise<number> => page.evaluate('document.documentElement.scrollWidth - innerWidth');
const line = (name: string) => page.getByRole('row', { name: new RegExp(`^${name}`) });

describe.skipIf(browserPath === null)('the qualification of the bench', () => {
  it('WIN-73 WIN-74 is read by the bench or typed, line by line, with a verdict at once; a reload loses nothing', async () => {
    await goToPage(page, 'Bench');
    await page.getByLabel('Speed', { exact: true }).fill('50');
    await page.getByRole('button', { name: 'Connect', exact: true }).click();
    await page.getByRole('heading', { name: 'Readings' }).waitFor();
    await goToPage(page, 'Equipment');
    await page.getByRole('link', { name: 'Qualification' }).click();
    await page.getByText('holds no qualification').waitFor();
    await page.getByRole('button', { name: "Begin today's sheet" }).click();
    await page.getByText('Not qualified yet: zero of the meter').waitFor();
    await line('Zero of the meter').getByRole('button', { name: 'Count for 60 s' }).click();
    await expect.poll(() => line('Zero of the meter').textContent(), { timeout: 30_000 }).toMatch(/passes.*0 edges in 60(\.\d)? s, nothing flows: less than 0\.0\d+ mL\/min/u);
    // The count was long enough to tell the clock as well.
    expect(await line('Clock of the controller').textContent()).toMatch(/passes.*ppm|not decided.*ppm/u);
    await line('Pressure, vented').getByLabel('Transducer, kPa').fill('2,4');
    await expect.poll(() => line('Pressure, vented').textContent()).toMatch(/fails.*2\.40 kPa.*by hand/u);
    await page.getByText('Not qualified: pressure, vented outside its limit').waitFor();
    await line('Pressure, vented').getByLabel('Transducer, kPa').fill('O,4');
    await page.getByText('"O,4" is not a number').waitFor();
    expect(await page.getByRole('button', { name: 'Keep the sheet' }).getAttribute('aria-disabled')).toBe('true');
    await line('Pressure, vented').getByLabel('Transducer, kPa').fill('0,4');
    const supply = line('Supply at three points');
    for (const i of [0, 1, 2]) {
      await supply.getByRole('button', { name: 'Set and read' }).nth(i).click();
      await expect.poll(() => supply.getByLabel('Read-back, V').nth(i).inputValue(), { timeout: 30_000 }).toMatch(/^\d+/u);
    }
    await expect.poll(() => supply.textContent()).toMatch(/passes.*9 V [+−]\d.*against what was set, no voltmeter/u);
    await goToPage(page, 'Bench');
    await page.reload();
    await goToPage(page, 'Equipment');
    await page.getByRole('link', { name: 'Qualification (not saved)' }).click();
    await expect.poll(() => supply.textContent()).toMatch(/passes/u);
    await line('Leak').getByRole('button', { name: 'Set and count' }).click();
    await expect.poll(() => line('Leak').textContent(), { timeout: 30_000 }).toMatch(/passes.*at 400 kPa/u);
    await line('Leak').getByRole('button', { name: 'Make safe' }).click();
    await line('Reference injector').getByRole('button', { name: 'Look at the chart' }).click();
    await page.getByText('No run of this archive has a reference injector').waitFor();
    await line('Reference injector').getByLabel('Serial number').fill('REF-1');
    await page.getByText('Every line passes: qualified for 24 h').waitFor();
    await keepScreen(page, 'qualification-1366');
    expect(await violations(page)).toEqual([]);
    expect(await tooWide()).toBeLessThanOrEqual(0);
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'qualification-1920');
    expect(await tooWide()).toBeLessThanOrEqual(0);
    await page.emulateMedia({ colorScheme: 'dark' });
    await keepScreen(page, 'qualification-dark');
    expect(await violations(page)).toEqual([]);
    await page.emulateMedia({ colorScheme: 'light' });
    await page.setViewportSize({ width: 1366, height: 768 });
  }, 240_000);

  it('WIN-75, WIN-135 a kept sheet says until when the bench is qualified, and a plan that requires it passes its pre-flight', async () => {
    await page.getByRole('button', { name: 'Keep the sheet' }).click();
    await page.getByText(/Sheet 1 was kept\. Qualified until/u).waitFor();
    await page.getByText(/The bench is qualified until .* by A\. Tester/u).waitFor();
    expect(await page.getByRole('table', { name: 'Lines of the sheet' }).textContent()).toMatch(/Pressure, vented0\.40 kPa.*by hand/u);
    await keepScreen(page, 'qualification-kept-1366');
    expect(await violations(page)).toEqual([]);
    await goToPage(page, 'Plans');
    await page.getByRole('button', { name: 'New sweep', exact: true }).click();
    await page.getByRole('button', { name: 'Add a row' }).click();
    for (const [label, text] of [['Serial number', 'A'], ['Type', 'T']] as const) await page.getByLabel(new RegExp(`^${label} of injector 1`)).fill(text);
    await page.getByLabel('Qualification of the bench').selectOption('required');
    await page.getByText(/lines of the pre-flight sheet passed$/u).click();
    await page.getByText(/The bench is qualified until/u).first().waitFor();
    await page.getByRole('button', { name: /^Save/u }).first().click();
    await page.getByText(/Saved as version 1/u).waitFor();
    await goToPage(page, 'Run');
    await page.getByText(/^Qualified until \d/u).waitFor();
    await keepScreen(page, 'qualification-run-1366');
    expect(await violations(page)).toEqual([]);
    await page.getByRole('button', { name: 'Open only' }).click();
    await page.locator('.page-head .lead', { hasText: 'bench qualified until' }).waitFor();
    // One line at 1366 (WIN-19).
    expect(await page.locator('.page-head').evaluate((head) => (head as unknown as { readonly offsetHeight: number }).offsetHeight)).toBeLessThan(44);
    await keepScreen(page, 'qualification-head-1366');
    expect(opened?.complaints).toEqual([]);
  }, 120_000);
});
