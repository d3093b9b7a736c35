/** A reload at ten moments of a run's day, from the plan that is chosen to the report: the window comes back to what was seen. What is typed on other pages is tried in `typed-window.test.ts`. */
import type { Page } from 'playwright';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, openWindow, readyToRun, type OpenedWindow } from '../builders/window.ts';

/** Points fail at once for a pressure that is a little short; three in a row for one cause stop the run until somebody answers. */
const plan = samplePlan('small-plan', (one) => ({
  ...one,
  axes: { ...one.axes, voltageV: [14], widthMs: [3, 4, 5, 6, 8], replicates: 2 },
  condition: { ...one.condition, timeoutS: 3 },
  repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 },
  guards: [],
  byItself: { ...one.byItself, sameCause: 3 },
}));
const faults = [{ begins: { atBurst: 7 }, forS: 12, fault: { kind: 'pressure-loss', toKpa: 388 } }];

describe.skipIf(browserPath === null)('a reload', { timeout: 300_000 }, () => {
  let opened: OpenedWindow;
  let page: Page;
  beforeAll(async () => {
    opened = await openWindow({ scenario: { faults } });
    ({ page } = opened);
    page.setDefaultTimeout(20_000);
    page.on('dialog', (dialog) => void dialog.accept());
  }, 120_000);
  afterEach(async ({ task }) => {
    if (task.result?.state === 'fail') await keepScreen(page, 'failed-reloads');
  });
  afterAll(() => opened.close());

  const accepted = async (): Promise<number> => Number(/(\d+) of \d+ points accepted/.exec(await page.getByRole('main').innerText())?.[1] ?? -1);
  const marked = () => page.locator('[role="gridcell"][aria-selected="true"]');
  const point = () => page.getByRole('region', { name: 'Point', exact: true });
  /** Reloads, and is there again when `there` is seen. */
  const reload = async (there: () => Promise<unknown>): Promise<void> => {
    await page.reload();
    await there();
  };
  const mode = (word: string) => page.locator('.run-mode').getByText(word, { exact: true });

  test('WIN-116 at ten moments of a run comes back to what was seen', async () => {
    await readyToRun(page, opened.folder, { ...plan, name: 'The older one' }, 4);
    await goToPage(page, 'Plans');
    await page.getByRole('button', { name: 'Duplicate' }).click();
    await page.locator('[id="plan:name"]').fill('The newer one');
    await page.getByRole('button', { name: 'Save version 1' }).click();
    await page.getByText('Saved as version 1 of The newer one').waitFor();
    await goToPage(page, 'Run');
    // 1, with a plan chosen that is not the newest.
    const plans = page.getByRole('combobox', { name: 'Plan' });
    const older = (await plans.locator('option').allInnerTexts()).find((text) => text.startsWith('The older one')) ?? '';
    await plans.selectOption({ label: older });
    const chosen = (): Promise<string> => plans.locator('option:checked').innerText();
    await reload(() => expect.poll(chosen).toBe(older));

    // 2, as soon as it runs.
    await page.getByRole('button', { name: 'Open the run and start' }).click();
    await page.locator('.run-mode').getByText(/Proving the watchdog|Measuring/).waitFor();
    await reload(() => page.locator('.run-mode').getByText(/Proving the watchdog|Measuring|Paused/).waitFor());

    // 3, while it waits for a person: the call, why, and what to do are there again.
    await mode('Paused').waitFor({ timeout: 60_000 });
    await page.getByText('Waits for you.').waitFor();
    const need = await page.locator('.run-need').innerText();
    const before = await accepted();
    await reload(() => page.getByText('Waits for you.').waitFor());
    await expect.poll(() => page.locator('.run-need').innerText()).toBe(need);
    expect(await accepted()).toBe(before);

    // 4, with a point open and its cell chosen.
    await page.getByRole('gridcell', { name: /failed/ }).first().click();
    await expect.poll(() => page.evaluate<string>('location.hash')).toMatch(/\/run\/[^/]+\/\d+$/);
    const head = await point().locator('h2').innerText();
    await reload(() => expect.poll(() => point().locator('h2').innerText()).toBe(head));
    expect(await point().innerText()).toContain('Attempt 1: rejected');

    // 5, with points marked.
    await page.getByRole('button', { name: 'Select all failed' }).click();
    const names = (): Promise<string[]> => marked().evaluateAll((cells) => cells.map((cell) => (cell as unknown as { readonly dataset: { readonly point: string } }).dataset.point));
    const wanted = await names();
    expect(wanted.length).toBeGreaterThanOrEqual(3);
    await reload(() => expect.poll(names).toEqual(wanted));
    await page.getByRole('button', { name: `Measure ${wanted.length} selected again` }).waitFor();

    // 6, with a note half written.
    await page.getByText('Note about this run').click();
    const note = page.getByRole('region', { name: 'Notes', exact: true }).getByRole('textbox', { name: 'Note' });
    await note.fill('The hose of the regul');
    await reload(() => expect.poll(() => note.inputValue()).toBe('The hose of the regul'));
    expect(await note.isVisible()).toBe(true);

    // 7, with points that are to be measured again, on the way: the run goes on where it was.
    await page.getByRole('button', { name: `Measure ${wanted.length} selected again` }).click();
    await page.getByText(/selected again|points again: accepted/).first().waitFor();
    await page.getByRole('gridcell', { name: /to be measured again/ }).first().waitFor();
    const queued = (): Promise<number> => page.getByRole('gridcell', { name: /to be measured again/ }).count();
    const waiting = await queued();
    await reload(() => expect.poll(queued).toBe(waiting));
    await page.keyboard.press('Alt+g');
    await mode('Measuring').waitFor();
    const then = await accepted();
    await reload(() => mode('Measuring').or(mode('Ended: complete')).waitFor());
    await expect.poll(accepted).toBeGreaterThanOrEqual(then);

    // 8, at the end.
    await mode('Ended: complete').waitFor({ timeout: 90_000 });
    const all = await accepted();
    await reload(() => mode('Ended: complete').waitFor());
    expect(await accepted()).toBe(all);

    // 9, with the reason of a decision half written: its form is open again.
    await page.getByRole('gridcell', { name: /2 attempts/ }).first().click();
    await page.getByRole('button', { name: 'Choose the reported attempt' }).click();
    const reason = point().getByRole('textbox', { name: 'Reason' });
    await reason.fill('A bubble was se');
    await reload(() => expect.poll(() => reason.inputValue()).toBe('A bubble was se'));

    // 10, on a cell of the results, and with a report half said.
    await page.getByRole('main').getByRole('link', { name: 'Results', exact: true }).first().click();
    await page.getByRole('main').getByRole('combobox', { name: 'Injector' }).selectOption({ index: 1 });
    await expect.poll(() => page.evaluate<string>('location.hash')).toMatch(/\/at\/2\//);
    const address = await page.evaluate<string>('location.hash');
    const shown = (): Promise<string> => page.getByRole('main').getByRole('combobox', { name: 'Injector' }).locator('option:checked').innerText();
    const injector = await shown();
    await reload(() => expect.poll(shown).toBe(injector));
    expect(await page.evaluate<string>('location.hash')).toBe(address);
    await goToPage(page, 'Reports');
    await page.getByRole('combobox', { name: 'Length' }).selectOption({ label: 'One page' });
    await page.getByLabel('Released by').fill('B. Rel');
    await reload(() => expect.poll(() => page.getByLabel('Released by').inputValue()).toBe('B. Rel'));
    expect(await page.getByRole('combobox', { name: 'Length' }).locator('option:checked').innerText()).toBe('One page');
    expect(opened.complaints).toEqual([]);
  });
});
