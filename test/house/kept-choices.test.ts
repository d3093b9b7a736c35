/** What was chosen and not carried out yet is there after a reload; a new form says nothing before it is typed into. In a browser. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { goToPlace, labInto, runIn } from '../builders/places.ts';
import { browserPath, goToPage, type OpenedWindow, openWindow } from '../builders/window.ts';

let opened: OpenedWindow | undefined;

beforeAll(async () => {
  if (browserPath !== null) opened = await openWindow({ prepare: labInto });
}, 300_000);

afterAll(() => opened?.close());

const theWindow = (): OpenedWindow => {
  if (opened === undefined) throw new Error('no window');
  return opened;
};

describe.skipIf(browserPath === null)('choices', { timeout: 120_000 }, () => {
  it('WIN-186 speed and what goes wrong, chosen before Connect, are there after a reload, and are what is connected', async () => {
    const { page } = theWindow();
    await goToPage(page, 'Bench');
    await page.getByLabel('Speed', { exact: true }).fill('20');
    const wrong = page.getByLabel('What goes wrong');
    await expect.poll(() => wrong.locator('option').count()).toBeGreaterThan(1);
    const scenario = (await wrong.locator('option').nth(1).getAttribute('value')) ?? '';
    await wrong.selectOption(scenario);
    await page.locator('summary', { hasText: 'Numbers of its own' }).click();
    await page.getByLabel('Seed').fill('77');
    await page.reload();
    await expect.poll(() => page.getByLabel('Speed', { exact: true }).inputValue()).toBe('20');
    await expect.poll(() => wrong.inputValue()).toBe(scenario);
    await page.locator('summary', { hasText: 'Numbers of its own' }).click();
    expect(await page.getByLabel('Seed').inputValue()).toBe('77');
    await page.getByRole('button', { name: 'Connect', exact: true }).click();
    await page.getByRole('heading', { name: 'Readings' }).waitFor();
    await page.getByText(/connected \(20×\)/u).first().waitFor();
    await expect.poll(() => page.getByRole('region', { name: 'Simulated bench' }).or(page.locator('section', { has: page.getByRole('heading', { name: 'Simulated bench' }) })).first().innerText()).toContain(scenario);
  });

  it('WIN-186 a new form of details says nothing of its fields before something is typed; the details of a file that were chosen for a report are there after a reload', async () => {
    const { page, folder } = theWindow();
    await goToPage(page, 'Reports');
    await page.getByRole('button', { name: 'New details' }).click();
    const name = page.getByLabel('Kept under');
    await name.waitFor();
    expect(await name.getAttribute('aria-invalid')).not.toBe('true');
    expect(await page.getByText('Say what they are kept under.').count()).toBe(0);
    await page.getByLabel('Name of the customer').fill('Works in the valley');
    await page.getByText('Say what they are kept under.').waitFor();
    await name.fill('Valley');
    await page.getByLabel('Where they come from').fill('their letter');
    // Enter does what the button beside it does.
    await page.getByLabel('Where they come from').press('Enter');
    await page.getByText(/Version 1 of Valley was saved/u).waitFor();
    const choice = page.getByLabel('Details: laboratory, customer, limits');
    await choice.selectOption({ label: 'Valley' });
    await page.reload();
    await expect.poll(() => choice.inputValue()).toBe('kept:Valley');
    const file = join(folder, 'details.json');
    writeFileSync(file, JSON.stringify({ reportDetailsVersion: 1, title: 'Out of a file' }));
    await page.getByLabel('File with the details of the report that is issued').setInputFiles(file);
    await expect.poll(() => choice.inputValue()).toBe('file');
    await page.reload();
    await expect.poll(() => choice.locator('option:checked').textContent()).toBe('File details.json');
  });

  it('WIN-186 a new layout says that a name is needed as a hint, and nothing is wrong before something is typed', async () => {
    const { page, folder, complaints } = theWindow();
    await goToPlace(page, { hash: '#/results/RUN/controller', press: ['Make a layout'] }, runIn(folder));
    const name = page.getByLabel('Name of the layout');
    expect(await page.locator('#content [aria-invalid="true"]').count()).toBe(0);
    expect(await page.getByText('must not be empty').count()).toBe(0);
    await page.getByText('Give the layout a name first.').first().waitFor();
    await name.fill('Harness A');
    await expect.poll(() => page.getByText('Give the layout a name first.').count()).toBe(0);
    expect(complaints).toEqual([]);
  });
});
