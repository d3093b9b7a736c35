/** What is taken back in the forms of injectors and plans, in a browser. */
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, sweepInto } from '../builders/window.ts';

let opened: OpenedWindow | undefined;

beforeAll(async () => {
  if (browserPath !== null) opened = await openWindow({ prepare: sweepInto });
}, 300_000);

afterAll(() => opened?.close());

/** As somebody pastes a block of a spreadsheet into the field that has the focus. */
const pasted = (text: string): string => `(() => {
  const data = new DataTransfer();
  data.setData('text/plain', ${JSON.stringify(text)});
  document.activeElement.dispatchEvent(new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true }));
})()`;

describe.skipIf(browserPath === null)('undo', () => {
  it('WIN-31 takes a paste and removals of injectors back, to the texts and places they had, one by one, until they are saved', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page } = opened;
    await goToPage(page, 'Injectors');
    await page.getByRole('button', { name: 'Book in an injector' }).click();
    await page.getByLabel(/^Type of/).first().fill('RH-P4');
    await page.getByLabel(/^Serial number of/).first().fill('RH4-0117');
    const serials = async (): Promise<string[]> => page.getByLabel(/^Serial number of/).evaluateAll((all) => all.map((one) => (one as unknown as { value: string }).value));
    const undo = (what: RegExp): Promise<void> => page.getByRole('button', { name: what }).click();
    await page.getByRole('button', { name: 'Book in an injector' }).click();
    await page.getByLabel(/^Serial number of/).last().focus();
    await page.evaluate(pasted('RH4-0118\t12.1\tgood\nRH4-0119\t12.2\tgood\nRH4-0120\t12.3\trusty'));
    await expect.poll(serials).toEqual(['RH4-0117', 'RH4-0118', 'RH4-0119', 'RH4-0120']);
    await page.getByRole('button', { name: 'Remove: new row RH4-0118' }).click();
    await page.getByRole('button', { name: 'Remove: new row RH4-0120' }).click();
    await expect.poll(serials).toEqual(['RH4-0117', 'RH4-0119']);
    await undo(/^Undo: removal of RH4-0120$/);
    await expect.poll(serials).toEqual(['RH4-0117', 'RH4-0119', 'RH4-0120']);
    expect(await page.getByLabel('Condition of RH4-0120').inputValue()).toBe('rusty');
    await undo(/^Undo: removal of RH4-0118$/);
    await expect.poll(serials).toEqual(['RH4-0117', 'RH4-0118', 'RH4-0119', 'RH4-0120']);
    expect(await page.getByLabel('Coil in Ω of RH4-0118').inputValue()).toBe('12.1');
    await undo(/^Undo: 3 rows pasted$/);
    await expect.poll(serials).toEqual(['RH4-0117', '']);
    await page.keyboard.press('Control+s');
    await page.getByText('1 part saved.').waitFor();
    expect(await page.getByRole('button', { name: /^Undo: (removal|\d|new)/ }).count()).toBe(0);
  }, 120_000);

  it('WIN-180 an injector that was booked in by mistake is withdrawn after a question, and taken back by Undo and from the list of those that are withdrawn; one that a run has used is not', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page } = opened;
    await goToPage(page, 'Injectors');
    await page.getByRole('button', { name: 'Book in an injector' }).click();
    await page.getByLabel(/^Type of/).last().fill('RH-P4');
    await page.getByLabel(/^Serial number of/).last().fill('WRONG-1');
    await page.keyboard.press('Control+s');
    await page.getByText('1 part saved.').waitFor();
    const serials = async (): Promise<string[]> => page.getByLabel(/^Serial number of/).evaluateAll((all) => all.map((one) => (one as unknown as { value: string }).value));
    const before = await serials();
    expect(before).toContain('WRONG-1');
    await page.getByRole('button', { name: 'Withdraw: WRONG-1' }).click();
    const dialog = page.getByRole('dialog', { name: 'Withdraw WRONG-1?' });
    // Nothing without a reason; leaving it changes nothing.
    expect(await dialog.getByRole('button', { name: /^Withdraw/ }).getAttribute('aria-disabled')).toBe('true');
    await dialog.getByLabel('Reason').press('Enter');
    await dialog.getByRole('button', { name: 'Leave it' }).click();
    await dialog.waitFor({ state: 'hidden' });
    expect(await serials()).toEqual(before);
    await page.getByRole('button', { name: 'Withdraw: WRONG-1' }).click();
    await dialog.getByLabel('Reason').fill('serial number mistyped');
    await keepScreen(page, 'injectors-withdraw');
    await dialog.getByLabel('Reason').press('Enter');
    await expect.poll(serials).toEqual(before.filter((one) => one !== 'WRONG-1'));
    const gone = page.getByRole('table', { name: 'Withdrawn injectors' });
    await expect.poll(() => gone.innerText()).toMatch(/WRONG-1.*serial number mistyped.*A\. Tester/su);
    await keepScreen(page, 'injectors-withdrawn');
    await page.getByRole('button', { name: 'Undo: withdrawal of WRONG-1' }).click();
    await expect.poll(serials).toEqual(before);
    await gone.waitFor({ state: 'hidden' });
    await page.getByRole('button', { name: 'Withdraw: WRONG-1' }).click();
    await dialog.getByLabel('Reason').fill('serial number mistyped');
    await dialog.getByRole('button', { name: 'Withdraw', exact: true }).click();
    await page.reload();
    await page.getByRole('button', { name: 'Take back: WRONG-1' }).click();
    await expect.poll(serials).toContain('WRONG-1');
    // It was booked in above, and the run of the archive has it.
    await page.getByRole('button', { name: 'Withdraw: RH4-0117' }).click();
    const used = page.getByRole('dialog', { name: 'Withdraw RH4-0117?' });
    await used.getByLabel('Reason').fill('by mistake');
    await used.getByLabel('Reason').press('Enter');
    await expect.poll(() => used.innerText()).toMatch(/was measured in the run of .*Clear its channel/su);
    await used.getByRole('button', { name: 'Leave it' }).click();
    expect(await serials()).toContain('RH4-0117');
    expect(opened.complaints).toEqual([]);
  }, 120_000);

  it('WIN-31 takes a paste of values and the removal of a guard of a plan back', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page } = opened;
    await goToPage(page, 'Plans');
    await page.getByRole('button', { name: 'New sweep' }).click();
    const list = page.getByRole('listbox', { name: /Supply voltage/u }).or(page.getByRole('list', { name: /Supply voltage/u })).first();
    const before = await list.textContent();
    const field = page.locator('[id="plan:axes.voltageV"]');
    await field.focus();
    await field.fill('15.5; 16.5; 17.5');
    await field.press('Enter');
    await expect.poll(() => list.textContent()).toContain('16.5');
    await page.locator('summary', { hasText: /^Guards/ }).click();
    await page.getByRole('button', { name: 'Add a guard' }).click();
    await page.locator('[id^="plan:guards["][id$=".id"]').last().fill('rail low');
    const limits = page.getByRole('button', { name: /^Remove: guard / });
    const count = await limits.count();
    expect(count).toBeGreaterThan(0);
    await limits.last().click();
    await expect.poll(() => limits.count()).toBe(count - 1);
    await page.getByRole('button', { name: /^Undo: guard removed$/ }).click();
    await expect.poll(() => limits.count()).toBe(count);
    expect(await page.locator('[id^="plan:guards["][id$=".id"]').last().inputValue()).toBe('rail low');
    await page.getByRole('button', { name: /^Undo: guard$/ }).click();
    await page.getByRole('button', { name: /^Undo: guard added$/ }).click();
    await page.getByRole('button', { name: /^Undo: 3 values of Supply voltage added/ }).click();
    await expect.poll(() => list.textContent()).toBe(before);
    expect(opened.complaints).toEqual([]);
  }, 120_000);

  it('WIN-208 a list of an axis that is typed as text outlives its page and a reload, and is not taken in another unit', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page } = opened;
    const choose = async (unit: string): Promise<void> => {
      await page.getByRole('button', { name: /^Settings/u }).click();
      await page.getByRole('dialog').getByLabel(/^Pressure/u).selectOption(unit);
      await page.keyboard.press('Escape');
    };
    const field = page.locator('textarea[id="plan:axes.pressureKpa"]');
    const chips = page.getByRole('list', { name: /Rail pressure/u });
    await choose('psi');
    await page.getByRole('button', { name: 'As text: values of Rail pressure' }).click();
    await field.fill('50; 58');
    await goToPage(page, 'Injectors');
    await goToPage(page, 'Plans');
    expect(await field.inputValue()).toBe('50; 58');
    page.once('dialog', (dialog) => void dialog.accept());
    await page.reload();
    await expect.poll(() => field.inputValue()).toBe('50; 58');
    await choose('kPa');
    await chips.waitFor();
    await expect.poll(() => chips.textContent()).not.toContain('58');
    await choose('psi');
    expect(await field.inputValue()).toBe('50; 58');
    await page.getByRole('button', { name: 'Take this list' }).click();
    await expect.poll(() => chips.textContent()).toContain('58');
    await choose('kPa');
    // 58 psi, NIST SP 811.
    await expect.poll(() => chips.textContent()).toContain('399.89');
    expect(opened.complaints).toEqual([]);
  }, 120_000);
});
