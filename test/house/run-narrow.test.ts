/** The page Run where it is narrow: what calls a person is said once, and nothing of a cell lies over anything else of it. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { samplePlan, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, keepScreen, openWindow, startRun, type OpenedWindow } from '../builders/window.ts';

/** Twelve attempts at points that fail: a count of two digits. */
const sweep = samplePlan('plan', (plan) => ({
  ...withoutLeakChecks(plan),
  look: { ...plan.look, windowS: 0 },
  condition: { ...plan.condition, timeoutS: 1 },
  repeats: { attemptsAtOnce: 12, attemptsSecondPass: 0 },
  guards: [],
  byItself: { ...plan.byItself, sameCause: 0 },
}));
/** The rail falls a little short of its pressure, and comes back; later somebody presses the emergency stop. */
const faults = [
  { begins: { atBurst: 6 }, forS: 60, fault: { kind: 'pressure-loss', toKpa: 388 } },
  { begins: { atBurst: 16 }, forS: 4, fault: { kind: 'emergency-stop' } },
];

/** In the page: cells of failed points whose sign and count lie over each other or out of the cell, and how many such cells there are. */
const overlaps = `(() => {
  const found = { cells: 0, narrowest: Infinity, digits: 0, heights: [...new Set([...document.querySelectorAll('[role=gridcell].run-cell')].map((cell) => cell.getBoundingClientRect().height))], wrong: [] };
  for (const cell of document.querySelectorAll('[role=gridcell].run-cell')) {
    const count = cell.querySelector('sup');
    if (count === null) continue;
    // Of each, in the frame of two pixels that a failed cell has.
    const boxes = [cell.querySelector('.run-cell-signs > span'), count].map((one) => one.getBoundingClientRect());
    const own = cell.getBoundingClientRect();
    found.cells += 1;
    found.narrowest = Math.min(found.narrowest, own.width);
    found.digits = Math.max(found.digits, count.textContent.length);
    const [a, b] = boxes;
    const over = (a.left < b.right - 0.1 && b.left < a.right - 0.1 && a.top < b.bottom - 0.1 && b.top < a.bottom - 0.1);
    const out = boxes.some((box) => box.left < own.left - 0.1 || box.right > own.right + 0.1 || box.top < own.top + 1.5 || box.bottom > own.bottom - 1.5);
    if (over || out) found.wrong.push(cell.getAttribute('aria-label') + (over ? ': one over the other' : ': out of the cell') + boxes.map((box) => ' ' + (box.left - own.left).toFixed(1) + '-' + (box.right - own.left).toFixed(1) + ' x ' + (box.top - own.top).toFixed(1) + '-' + (box.bottom - own.top).toFixed(1)).join(','));
  }
  return found;
})()`;
interface Overlaps {
  readonly cells: number;
  readonly narrowest: number;
  readonly digits: number;
  readonly heights: readonly number[];
  readonly wrong: readonly string[];
}

describe.skipIf(browserPath === null)('the page Run where it is narrow', { timeout: 240_000 }, () => {
  let opened: OpenedWindow;
  beforeAll(async () => {
    opened = await openWindow({ scenario: { faults } });
    await startRun(opened.page, opened.folder, sweep, 20);
  }, 120_000);
  afterAll(() => opened.close());
  /** Where the page says it so that somebody sees it. The log of all alarms and the attempt that was cut have it too. */
  const seen = (text: string): Promise<readonly string[]> =>
    opened.page.evaluate(`(() => {
      const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
      const holders = [];
      while (walker.nextNode()) {
        const { parentElement: holder, data } = walker.currentNode;
        if (!holder.closest('#all-alarms, .run-attempt, .unseen') && holder.checkVisibility()) for (let at = data.indexOf(${JSON.stringify(text)}); at >= 0; at = data.indexOf(${JSON.stringify(text)}, at + 1)) holders.push(holder.className);
      }
      return holders;
    })()`);

  test('WIN-191: in the narrowest cells the sign of a failed point and the count of its attempts do not lie over each other', async () => {
    const { page } = opened;
    await page.getByRole('button', { name: 'I have heard it' }).waitFor({ timeout: 120_000 });
    await page.setViewportSize({ width: 768, height: 1024 });
    await page.getByRole('button', { name: /^(▶ )?400 kPa/ }).click();
    await page.getByRole('gridcell', { name: /failed, 12 attempts/u }).first().waitFor();
    for (const width of [768, 1366, 683]) {
      await page.setViewportSize({ width, height: 768 });
      await expect.poll(async () => (await page.evaluate<Overlaps>(overlaps)).cells, { message: String(width) }).toBeGreaterThan(1);
      const { narrowest, digits, heights, wrong } = await page.evaluate<Overlaps>(overlaps);
      expect({ width, wrong, narrow: narrowest < 26, digits, heights }).toEqual({ width, wrong: [], narrow: true, digits: 2, heights: [25] });
      await keepScreen(page, `run-cells-${width}`);
    }
  });

  test('WIN-192: what a run calls a person for is said once on its page, when it stands and when it is over', async () => {
    const { page } = opened;
    const [, why = ''] = /^Tripped; the bench is safe\. (.*?\.)/u.exec((await page.locator('.run-doing').textContent()) ?? '') ?? [];
    expect(why.length).toBeGreaterThan(20);
    const alarm = page.getByRole('alert', { name: 'Alarms that stand' });
    for (const width of [768, 1366]) {
      await page.setViewportSize({ width, height: width === 768 ? 1024 : 768 });
      await page.getByText('What happened and what to do stands below.').waitFor();
      await expect.poll(() => seen(why), { message: `${why} at ${width}` }).toEqual(['run-doing']);
      await keepScreen(page, `run-called-${width}`);
    }
    // Whoever hears the page is told with the alarm.
    expect(await alarm.textContent()).toContain(why);
    await page.keyboard.press('Alt+k');
    await page.getByText('Paused', { exact: true }).waitFor();
    await page.keyboard.press('Alt+l');
    await page.getByRole('button', { name: 'Finish early' }).last().click();
    await page.getByText('How it ended stands below.').waitFor();
    const ended = (await page.locator('.run-doing').textContent()) ?? '';
    expect(ended.length).toBeGreaterThan(20);
    for (const width of [768, 1366]) {
      await page.setViewportSize({ width, height: width === 768 ? 1024 : 768 });
      await expect.poll(() => seen(ended), { message: `${ended} at ${width}` }).toEqual(['run-doing']);
      await keepScreen(page, `run-ended-${width}`);
    }
    expect(opened.complaints).toEqual([]);
  });
});
