/** The page Reports in a browser: issued, amended, time-stamped and proved, by mouse and by keys. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Download, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { GivenFiles } from '../../main/host/given-files.ts';
import { checkReport } from '../../main/report/seal.ts';
import { hasOpenssl, makeAuthority } from '../builders/time-stamp-authority.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, sweepInto, violations } from '../builders/window.ts';

let opened: OpenedWindow | undefined;
let folder = '';
let page: Page;
let complaints: string[];

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: sweepInto });
  ({ folder, page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

const book = (): string => join(folder, 'reports');
const saved = async (press: () => Promise<void>): Promise<{ readonly download: Download; readonly data: Buffer }> => {
  const download = page.waitForEvent('download');
  await press();
  return { download: await download, data: readFileSync(await (await download).path()) };
};

describe('REP-43 files that windows hand over', () => {
  it('are whole, once, and few', () => {
    const files = new GivenFiles();
    expect([files.add('a', 'x'), files.add('a', 'y'), files.take('a'), files.take('a')]).toEqual(['', '', 'xy', null]);
    for (let i = 0; i < 9; i += 1) files.add(String(i), 'z');
    expect([files.take('0'), files.take('8')]).toEqual([null, 'z']);
    const piece = 'x'.repeat(2 ** 20);
    const said = Array.from({ length: 26 }, () => files.add('large', piece));
    expect(said.findIndex((text) => text !== '')).toBe(24);
    expect(said[24]).toContain('larger than any report');
  });
});

describe.skipIf(browserPath === null)('the page Reports', () => {
  it('REP-41 issues a report by keys alone, and not by who measured until he says so', async () => {
    await page.keyboard.press('Alt+t');
    await page.getByRole('heading', { name: 'Reports', level: 1 }).waitFor();
    await expect.poll(() => page.getByText('No report was issued yet').count(), { timeout: 60_000 }).toBe(1);
    const by = page.getByLabel('Released by');
    await by.focus();
    await page.keyboard.type('a. TESTER');
    const same = page.getByLabel('measured this run too');
    expect(await same.isChecked()).toBe(false);
    const issue = page.getByRole('button', { name: 'Issue the report …' });
    expect(await issue.getAttribute('aria-disabled')).toBe('true');
    await issue.focus();
    await page.keyboard.press('Enter');
    expect(await page.getByRole('alertdialog').count()).toBe(0);
    await keepScreen(page, 'reports-same-person-1366');
    expect(await violations(page)).toEqual([]);
    await same.focus();
    await page.keyboard.press('Space');
    expect(await issue.getAttribute('aria-disabled')).not.toBe('true');
    await by.fill('B. Releaser');
    expect(await same.count()).toBe(0);
    await page.getByLabel('File with the details of the report that is issued').setInputFiles(join(import.meta.dirname, '../../main/samples/report-details.json'));
    await page.locator('option:checked', { hasText: 'File report-details.json' }).waitFor({ state: 'attached' });
    await issue.focus();
    await page.keyboard.press('Enter');
    // The focus is on the way out.
    await page.getByRole('alertdialog').waitFor();
    await page.keyboard.press('Enter');
    expect(await page.getByRole('alertdialog').count()).toBe(0);
    await issue.focus();
    await page.keyboard.press('Enter');
    await page.getByRole('button', { name: 'Issue it' }).focus();
    await page.keyboard.press('Enter');
    await page.getByText(/Report R-\d{4}-0001 was issued/).waitFor({ timeout: 240_000 });
    const [number = ''] = readdirSync(book()).filter((name) => name.startsWith('R-'));
    const checked = checkReport(readFileSync(join(book(), number, 'report.html')), null);
    expect(checked).toMatchObject({ holds: true, inside: { issue: { by: 'B. Releaser' } } });
    expect(readdirSync(join(book(), number))).toContain('report.pdf');
    expect(await page.getByRole('heading', { name: `Report ${number}` }).count()).toBe(1);
  }, 400_000);

  it('REP-40, REP-41 amends it, and shows the chain', async () => {
    await page.getByRole('button', { name: /^Amend report R-\d{4}-0001/ }).click();
    await page.getByLabel('Reason of the amendment').fill('The customer moved.');
    await page.getByLabel('Released by').fill('B. Releaser');
    await page.getByRole('button', { name: 'Issue the amendment …' }).click();
    await page.getByRole('button', { name: 'Issue it' }).click();
    await page.getByText(/Report R-\d{4}-0002 was issued/).waitFor({ timeout: 240_000 });
    const chain = page.locator('.report-chain li');
    await expect.poll(() => chain.count(), { timeout: 30_000 }).toBe(2);
    expect(await chain.first().textContent()).toMatch(/0001.*B\. Releaser: R-\d{4}-0002 took its place/);
    expect(await chain.last().textContent()).toContain('this one stands');
    // The row of the first one, by keys.
    await page.getByRole('row', { name: /^R-\d{4}-0001/ }).click();
    expect(await page.getByRole('button', { name: /^Amend report R-\d{4}-0001/ }).getAttribute('aria-disabled')).toBe('true');
    await page.getByRole('row', { name: /^R-\d{4}-0002/ }).click();
    expect(await violations(page)).toEqual([]);
  }, 400_000);

  it('REP-43 proves what is in the book and what is brought; one changed digit is found', async () => {
    await page.getByRole('button', { name: /^Prove report R-/ }).click();
    await page.getByText('every word and number of the report comes out the same').waitFor({ timeout: 240_000 });
    const { download, data } = await saved(() => page.getByRole('button', { name: /^Save report R-/ }).click());
    const number = download.suggestedFilename().replace('.html', '');
    expect(data).toEqual(readFileSync(join(book(), number, 'report.html')));
    const file = page.getByLabel('Report that is to be proved', { exact: true });
    const prove = page.getByRole('button', { name: 'Prove the report' });
    const key = await page.locator('code').first().textContent();
    await file.setInputFiles({ name: 'brought.html', mimeType: 'text/html', buffer: data });
    await page.getByLabel('Public key of the laboratory').fill(key ?? '');
    await prove.click();
    await page.getByText('Sealed with the key that was given.').waitFor({ timeout: 60_000 });
    const changed = data.toString('utf8').replace(/(\d)( ± )/, (_, d: string, s: string) => `${(Number(d) + 1) % 10}${s}`);
    expect(changed).not.toBe(data.toString('utf8'));
    await file.setInputFiles({ name: 'brought.html', mimeType: 'text/html', buffer: Buffer.from(changed) });
    await prove.click();
    await page.getByText('NOT as it was issued').waitFor({ timeout: 60_000 });
    await page.getByLabel('Public key of the laboratory').fill('A'.repeat(43));
    await file.setInputFiles({ name: 'brought.html', mimeType: 'text/html', buffer: data });
    await prove.click();
    await page.getByText('sealed with another key').waitFor({ timeout: 60_000 });
  }, 400_000);

  it.skipIf(!hasOpenssl)('REP-42 saves the request for a time stamp, and takes an answer that holds alone', async () => {
    const place = join(folder, 'authority');
    mkdirSync(place);
    const authority = makeAuthority(place);
    writeFileSync(join(book(), 'authorities.pem'), authority.root);
    const { data: request } = await saved(() => page.getByRole('button', { name: /^Save the request for a time stamp/ }).click());
    const answer = page.getByLabel(/^Answer of the time-stamp authority/);
    await answer.setInputFiles({ name: 'wrong.tsr', mimeType: 'application/timestamp-reply', buffer: request });
    await page.getByText('It was not kept').waitFor({ timeout: 30_000 });
    await answer.setInputFiles({ name: 'answer.tsr', mimeType: 'application/timestamp-reply', buffer: authority.answer(request) });
    await page.getByText('ends in a certificate that was given').waitFor({ timeout: 30_000 });
    await expect.poll(() => page.getByRole('row', { name: /^R-\d{4}-0002/ }).textContent()).toContain('kept');
    await page.getByRole('button', { name: /^Prove report R-/ }).click();
    await page.getByText('Time stamp: this file existed as it is').waitFor({ timeout: 240_000 });
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'reports-1366');
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'reports-1920');
    // Nothing is wider than the window.
    expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
    expect(complaints).toEqual([]);
  }, 400_000);

  it('WIN-160 WIN-161 HOST-160 CLI-65 details are written in the window, survive a reload, are kept in versions, and stand in a report that takes them', async () => {
    const field = (label: string) => page.getByLabel(label, { exact: true });
    await page.getByRole('button', { name: 'New details' }).click();
    await field('Kept under').fill('Harbour works');
    await field('Name of the laboratory').fill('Bench house');
    const address = page.getByLabel(/^Address of the laboratory/);
    await address.fill('1 Quay\nHarbour');
    await field('Name of the customer').fill('Harbour works');
    await field('Condition as received, of all').fill('used, clean');
    await field('U95 of dead times, at most, µs').fill('40,5');
    await page.getByRole('button', { name: 'Another limit' }).click();
    await field('From of limit 1').fill('4.2');
    await field('To of limit 1').fill('3.2');
    await page.getByText('low must be below high').waitFor();
    const save = page.getByRole('button', { name: 'Save version 1' });
    expect(await save.getAttribute('aria-disabled')).toBe('true');
    await field('From of limit 1').fill('3,2');
    await field('To of limit 1').fill('4,2');
    for (const [width, height] of [[1366, 768], [1920, 1080]] as const) {
      await page.setViewportSize({ width, height });
      expect(await page.evaluate<number>('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
      await page.getByRole('region', { name: 'Details that are not saved yet' }).scrollIntoViewIfNeeded();
      await keepScreen(page, `reports-details-${width}`);
    }
    await page.setViewportSize({ width: 1366, height: 768 });
    expect(await violations(page)).toEqual([]);
    await page.reload();
    await address.waitFor();
    expect([await address.inputValue(), await field('U95 of dead times, at most, µs').inputValue(), await field('From of limit 1').inputValue()]).toEqual(['1 Quay\nHarbour', '40,5', '3,2']);
    await save.click();
    await page.getByText('Version 1 of Harbour works was saved.').waitFor();
    await page.getByRole('row', { name: /^Harbour works/ }).click();
    await field('Condition as received, of all').fill('used, worn');
    const second = page.getByRole('button', { name: 'Save version 2' });
    expect(await second.getAttribute('aria-disabled')).toBe('true');
    await field('Why they are changed').fill('seen at the desk');
    await second.click();
    await page.getByText('Version 2 of Harbour works was saved.').waitFor();
    await keepScreen(page, 'reports-details-kept-1366');
    await page.getByRole('combobox', { name: /^Details: laboratory/ }).selectOption({ label: 'Harbour works' });
    await field('Released by').fill('B. Releaser');
    await page.getByRole('button', { name: 'Issue the report …' }).click();
    await page.getByRole('button', { name: 'Issue it' }).click();
    await page.getByText(/Report R-\d{4}-0003 was issued/).waitFor({ timeout: 240_000 });
    const number = readdirSync(book()).find((name) => /^R-\d{4}-0003$/.test(name)) ?? '';
    const { inside } = checkReport(readFileSync(join(book(), number, 'report.html')), null) as { readonly inside: unknown };
    expect(inside).toMatchObject({ details: { laboratory: { name: 'Bench house', address: ['1 Quay', 'Harbour'] }, condition: 'used, worn', targets: { deadTimeUs: 40.5 }, limits: [{ of: 'slope', low: 3.2, high: 4.2 }] } });
    // The command takes the same ones (CLI-65).
    const drafted = (name: string) => spawnSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), 'report', '--archive', join(folder, 'archive.sqlite'), '--to', join(folder, 'drafted'), '--length', 'one-page', '--details-of', name], { encoding: 'utf8' });
    expect(drafted('Harbour works').status).toBe(0);
    expect(JSON.parse(readFileSync(join(folder, 'drafted', 'report.json'), 'utf8'))).toMatchObject({ details: { laboratory: { name: 'Bench house' }, condition: 'used, worn' } });
    const refused = drafted('Nobody');
    expect([refused.status, refused.stderr]).toEqual([2, expect.stringContaining('under the name Nobody: Harbour works') as string]);
    expect(complaints).toEqual([]);
  }, 400_000);
});
