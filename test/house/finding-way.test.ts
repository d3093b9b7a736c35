/** Finding one's way in the window, in a browser at a real host: help and keys, the search, notes, and links that hold. */
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, openWindow, sweepInto, violations, type OpenedWindow } from '../builders/window.ts';

const house = join(import.meta.dirname, '..', '..');

describe.skipIf(browserPath === null)('finding one\'s way', { timeout: 180_000 }, () => {
  let opened: OpenedWindow;
  let page: Page;
  let run: string;

  beforeAll(async () => {
    opened = await openWindow({ prepare: sweepInto });
    ({ page } = opened);
    const listed = execFileSync(process.execPath, [join(house, 'main/cli/main.ts'), 'runs', '--json', '--archive', join(opened.folder, 'archive.sqlite')], { encoding: 'utf8' });
    run = /"id":"([^"]+)"/u.exec(listed)?.[1] ?? '';
    expect(run).not.toBe('');
  }, 240_000);
  // What a test that failed left open.
  afterEach(async () => page.keyboard.press('Escape'));
  afterAll(async () => opened.close());

  const dialog = (name: string | RegExp) => page.getByRole('dialog', { name });
  const found = () => page.getByRole('listbox', { name: 'Found' }).getByRole('option');
  const search = async (text: string): Promise<void> => {
    await page.keyboard.press('Control+k');
    await page.getByRole('combobox', { name: /Serial number, job/ }).fill(text);
  };

  it('WIN-51 ? shows help for each page, with its keys; where something is typed it is a letter', async () => {
    const titles = await page.getByRole('navigation', { name: 'Pages' }).getByRole('link').allTextContents();
    expect(titles.length).toBeGreaterThan(8);
    for (const title of titles) {
      await goToPage(page, title);
      await page.getByRole('heading', { level: 1 }).first().waitFor();
      await page.locator('h1').first().focus();
      await page.keyboard.press('?');
      await dialog(`Help: ${title}`).waitFor();
      expect(await dialog(`Help: ${title}`).locator('ol li').count()).toBeGreaterThanOrEqual(2);
      await page.keyboard.press('Escape');
      await dialog(`Help: ${title}`).waitFor({ state: 'detached' });
    }
    await goToPage(page, 'Run');
    await page.keyboard.press('F1');
    await page.getByRole('rowheader', { name: 'Alt+G' }).waitFor();
    await keepScreen(page, 'help-run');
    expect(await violations(page)).toEqual([]);
    await page.keyboard.press('Escape');
    await goToPage(page, 'Archive');
    const field = page.getByLabel('Job, plan, serial number or type');
    await field.click();
    await page.keyboard.type('what? a/b');
    expect(await field.inputValue()).toBe('what? a/b');
    expect(await page.getByRole('dialog').count()).toBe(0);
  });

  it('WIN-55 a note and "look at this" stay with run and point, are found, and are settled', async () => {
    await page.goto(new URL(`#/run/${run}/2`, page.url()).href);
    await page.getByRole('heading', { name: 'Point 2', exact: true }).waitFor();
    await page.getByText('Note about this point').click();
    const notes = page.locator('details.notes', { hasText: 'this point' });
    await notes.getByLabel('Note', { exact: true }).fill('a drop hangs at the nozzle');
    await notes.getByRole('button', { name: 'Keep as “look at this”' }).click();
    await notes.getByRole('listitem').filter({ hasText: 'a drop hangs at the nozzle' }).waitFor();
    expect(await notes.getByRole('listitem').textContent()).toMatch(/Look at this a drop hangs at the nozzle A\. Tester, /);
    await page.getByText('Note about this run').click();
    const ofRun = page.locator('details.notes', { hasText: 'about this run' });
    await ofRun.getByLabel('Note', { exact: true }).fill('new filter');
    await ofRun.getByRole('button', { name: 'Keep', exact: true }).click();
    await ofRun.getByRole('listitem').filter({ hasText: 'new filter' }).waitFor();
    await keepScreen(page, 'notes-on-run');
    // Without a word: what is to be looked at comes first.
    await goToPage(page, 'Bench');
    await search('');
    await found().first().waitFor();
    expect(await found().first().textContent()).toContain('a drop hangs at the nozzle');
    await keepScreen(page, 'search-empty');
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Point 2', exact: true }).waitFor();
    expect(page.url()).toContain(`#/run/${run}/2`);
    await notes.getByLabel('Note', { exact: true }).fill('wiped, it was fuel of the last one');
    await notes.getByRole('button', { name: 'Settled' }).click();
    await notes.getByRole('listitem').filter({ hasText: 'wiped' }).waitFor();
    await search('');
    await found().first().waitFor();
    expect(await found().allTextContents()).not.toContainEqual(expect.stringContaining('a drop hangs'));
    await page.getByRole('combobox', { name: /Serial number, job/ }).fill('DROP hangs');
    await page.getByRole('listbox', { name: 'Found' }).getByRole('option', { name: /a drop hangs.*looked at/ }).waitFor();
    await page.keyboard.press('Escape');
  });

  it('WIN-54 HOST-109 one field finds injectors, orders, types, runs, plans and notes, and leads there', async () => {
    await goToPage(page, 'Bench');
    await page.locator('h1').first().focus();
    await page.keyboard.press('/');
    await page.getByRole('combobox', { name: /Serial number, job/ }).fill('filter');
    await page.getByRole('listbox', { name: 'Found' }).getByRole('option', { name: /new filter/ }).click();
    await page.getByRole('heading', { name: 'Run', level: 1 }).waitFor();
    const serial = samplePlan('small-plan').injectors[0]?.serialNumber ?? '';
    await search(serial.slice(2).toLowerCase());
    await page.getByRole('listbox', { name: 'Found' }).getByRole('option', { name: new RegExp(serial) }).first().waitFor();
    await keepScreen(page, 'search-serial');
    expect(await violations(page)).toEqual([]);
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Archive', level: 1 }).waitFor();
    expect(await page.getByLabel('Job, plan, serial number or type').inputValue()).toBe(serial);
    await search('qqqq nothing has this');
    await page.getByText('Nothing in this archive has these words').waitFor();
    await page.getByRole('combobox', { name: /Serial number, job/ }).fill(`http://127.0.0.1:1/#/results/${run}/line`);
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Results', level: 1 }).waitFor();
  });

  it('WIN-56 the address follows the point, the attempt and the cell, and leads there again after a reload, another start and in another tab', async () => {
    await page.goto(new URL(`#/run/${run}/3/1`, page.url()).href);
    await page.getByRole('heading', { name: 'Point 3', exact: true }).waitFor();
    expect(await page.locator('details.run-attempt[open]').filter({ hasText: 'Attempt 1' }).count()).toBe(1);
    await page.locator('[data-point="4"]').first().click();
    await page.getByRole('heading', { name: 'Point 5', exact: true }).waitFor();
    await expect.poll(() => page.url()).toContain(`#/run/${run}/5`);
    await page.reload();
    await page.getByRole('heading', { name: 'Point 5', exact: true }).waitFor();
    await goToPage(page, 'Results');
    const injectors = (of: Page) => of.getByRole('combobox', { name: 'Injector', exact: true });
    await injectors(page).waitFor();
    await injectors(page).selectOption({ index: 1 });
    const chosen = await injectors(page).inputValue();
    await expect.poll(() => page.url()).toMatch(/\/line\/at\/2\//);
    const other = await opened.context.newPage();
    await other.goto(page.url());
    await injectors(other).waitFor();
    expect(await injectors(other).inputValue()).toBe(chosen);
    await other.close();
    expect(opened.complaints).toEqual([]);
  });
});
