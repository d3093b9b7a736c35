/** How far it is by keys, in a browser. */
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { join } from 'node:path';
import { browserPath, goToPage, type OpenedWindow, openWindow } from '../builders/window.ts';

let opened: OpenedWindow | undefined;

/** Eight injectors on the channels of the rail. */
function bookIn(folder: string): void {
  const made = openArchive(join(folder, 'archive.sqlite'), { now: () => machineClock.unixNow(), entropy: machineEntropy });
  if (!made.ok) throw new Error(made.text);
  made.archive.library.saveParts(Array.from({ length: 8 }, (_, i) => ({ order: 'J-1', type: 'RH-P4', serialNumber: `RH4-020${i}`, channel: i + 1, coilResistanceOhm: 12.1, condition: 'clean' })));
  made.archive.close();
}

beforeAll(async () => {
  if (browserPath !== null) opened = await openWindow({ prepare: bookIn });
}, 300_000);

afterAll(() => opened?.close());

describe.skipIf(browserPath === null)('the page of plans by keys', () => {
  it('WIN-182 the axes are at most 15 presses of Tab from Name with eight injectors, and Up and Down lead through the rows', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page } = opened;
    await goToPage(page, 'Plans');
    await page.getByRole('button', { name: 'New sweep' }).click();
    await page.locator('[id="plan:injectors[7].serialNumber"]').waitFor();
    await page.locator('[id="plan:name"]').focus();
    const focused = (): Promise<string> => page.evaluate<string>(`document.activeElement.closest('.plan-axis') !== null ? 'axes' : document.activeElement.id || document.activeElement.getAttribute('aria-label') || document.activeElement.textContent || document.activeElement.tagName`);
    const way: string[] = [];
    while (way.at(-1) !== 'axes' && way.length < 80) {
      await page.keyboard.press('Tab');
      way.push(await focused());
    }
    expect(way.length, way.join('\n')).toBeLessThanOrEqual(15);
    // Each row is reached from the one that has the focus, in its column, and Tab goes on from there.
    await page.locator('[id="plan:injectors[0].serialNumber"]').focus();
    for (let row = 1; row < 8; row += 1) await page.keyboard.press('ArrowDown');
    expect(await focused()).toBe('plan:injectors[7].serialNumber');
    await page.keyboard.press('ArrowUp');
    expect(await focused()).toBe('plan:injectors[6].serialNumber');
    await page.keyboard.press('Shift+Tab');
    expect(await focused()).toBe('plan:injectors[6].channel');
    // The ticks of what is mounted: one is taken out of the plan and put in again by keys alone.
    const ticks = page.getByRole('group', { name: 'Mounted on the rail' }).getByRole('checkbox');
    await ticks.first().focus();
    await page.keyboard.press('ArrowDown');
    await page.keyboard.press('ArrowDown');
    await page.keyboard.press('Space');
    expect(await ticks.nth(2).isChecked()).toBe(false);
    await page.keyboard.press('Space');
    expect(await ticks.nth(2).isChecked()).toBe(true);
    // A row that is added is there to be typed into at once.
    await page.getByRole('button', { name: 'Add a row' }).first().click();
    expect(await focused()).toBe('plan:injectors[8].serialNumber');
    expect(opened.complaints).toEqual([]);
  }, 120_000);
});
