/** A stored run as a film in a real browser: what stood on the page at an instant, against the journal itself. */
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { RunEvent } from '../../app/journal/events.ts';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { browserPath, keepScreen, openWindow, sweepInto, violations } from '../builders/window.ts';
import type { OpenedWindow } from '../builders/window.ts';

interface Stored {
  readonly id: string;
  readonly events: readonly RunEvent[];
}

function storedIn(folder: string): Stored {
  const opened = openArchive(join(folder, 'archive.sqlite'), { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  const id = opened.archive.latestRun()?.id ?? '';
  const events = [...opened.archive.events(id)];
  opened.archive.close();
  return { id, events };
}

function stateAt(events: readonly RunEvent[], instant: number): RunState {
  let state: RunState | null = null;
  for (const { at, body } of events) if (at <= instant) state = foldRun(state, body);
  if (state === null) throw new Error('no event yet');
  return state;
}

describe.skipIf(browserPath === null)('a stored run as a film', { timeout: 120_000 }, () => {
  let window: OpenedWindow;
  let run: Stored;
  beforeAll(async () => {
    window = await openWindow({ prepare: sweepInto });
    run = storedIn(window.folder);
  }, 120_000);
  afterAll(() => window.close());
  const go = async (hash: string): Promise<void> => {
    await window.page.evaluate(`window.location.hash = ${JSON.stringify(hash)}`);
  };
  const instants = (): number[] => {
    const starts = run.events.filter(({ body }) => body.kind === 'attempt-started').map(({ at }) => at);
    return [0.2, 0.5, 0.8].map((share) => (starts[Math.floor(share * starts.length)] ?? 0) + 700);
  };
  const slider = () => window.page.getByRole('slider', { name: 'Instant of the run' });

  test('WIN-91 a link to an instant shows how far the run was, which point went on, and the strips up to there', async () => {
    const { page } = window;
    for (const instant of instants()) {
      await go(`#/run/${run.id}/film/${new Date(instant).toISOString()}`);
      const state = stateAt(run.events, instant);
      await expect.poll(() => slider().inputValue()).toBe(String(instant));
      await page.getByText(`${state.counts.accepted} of ${state.points.length} points accepted`).waitFor();
      await page.getByLabel('What the run does now').getByText('Measuring', { exact: true }).waitFor();
      const point = (state.current?.point ?? -2) + 1;
      await page.getByLabel('Point', { exact: true }).getByRole('heading', { name: `Point ${point}`, exact: true }).waitFor();
      // Accepted cells of all sheets together.
      const sheets = await page.locator('.run-sheet-count').allInnerTexts();
      expect(sheets.reduce((sum, text) => sum + Number(text.split('/')[0]), 0)).toBe(state.counts.accepted);
      await expect.poll(() => page.locator('.run-strips').innerText(), { timeout: 20_000 }).toMatch(/Rail pressure\s+\d+[.,]\d+\s*kPa/u);
    }
    await keepScreen(page, 'film');
    expect(await violations(page)).toEqual([]);
  });

  test('WIN-91 it plays, stands still at its end, and goes from attempt to attempt by keys; the address follows', async () => {
    const { page } = window;
    const [first = 0] = instants();
    await go(`#/run/${run.id}/film/${new Date(first).toISOString()}`);
    await expect.poll(() => slider().inputValue()).toBe(String(first));
    await slider().focus();
    const starts = run.events.filter(({ body }) => body.kind === 'attempt-started').map(({ at }) => at);
    const next = starts.find((at) => at > first) ?? 0;
    await page.keyboard.press('PageDown');
    expect(await slider().inputValue()).toBe(String(next));
    await page.keyboard.press('ArrowRight');
    expect(await slider().inputValue()).toBe(String(next + 10_000));
    await expect.poll(() => decodeURIComponent(page.url())).toContain(new Date(next + 10_000).toISOString());
    await page.getByRole('combobox', { name: 'Speed' }).selectOption('1000');
    await slider().focus();
    await page.keyboard.press(' ');
    const last = String(run.events.at(-1)?.at);
    await expect.poll(() => slider().inputValue(), { timeout: 30_000 }).toBe(last);
    await page.getByRole('button', { name: 'Play', exact: true }).waitFor();
    await page.getByLabel('What the run does now').getByText('Ended: complete').waitFor();
    // A reload leads to the same instant.
    await expect.poll(() => decodeURIComponent(page.url())).toContain(new Date(Number(last)).toISOString());
    await page.reload();
    await expect.poll(() => slider().inputValue()).toBe(last);
  });

  test('WIN-133 without an instant it stands at the end of the run, with the strips filled, and plays from its beginning', async () => {
    const { page } = window;
    await go('#/archive');
    await go(`#/run/${run.id}/film`);
    await expect.poll(() => slider().inputValue()).toBe(String(run.events.at(-1)?.at));
    await page.getByLabel('What the run does now').getByText('Ended: complete').waitFor();
    await expect.poll(() => page.locator('.run-strips').innerText(), { timeout: 20_000 }).toMatch(/Rail pressure\s+\d+[.,]\d+\s*kPa/u);
    await keepScreen(page, 'film-end');
    await page.getByRole('combobox', { name: 'Speed' }).selectOption('1');
    await page.getByRole('button', { name: 'Play', exact: true }).click();
    await page.getByRole('button', { name: 'Stand still', exact: true }).click();
    expect(Number(await slider().inputValue())).toBeLessThan(run.events.at(-1)?.at ?? 0);
  });

  test('WIN-92 it says that it is the past, on the page and in its title, and no command can be given from it', async () => {
    const { page } = window;
    const [, instant = 0] = instants();
    await go(`#/run/${run.id}/film/${new Date(instant).toISOString()}`);
    await page.getByRole('heading', { name: 'Film of a run', level: 1 }).waitFor();
    await page.getByText('Nothing on this page reaches the bench.').waitFor();
    for (const label of ['Start', 'Resume', 'Abort', 'Pause now', 'Open it on the bench']) expect(await page.getByRole('button', { name: label }).count(), label).toBe(0);
    const cell = page.locator('.run-grid [data-point]').first();
    await cell.click();
    await page.keyboard.press('m');
    await page.getByText(/This is a film of what was: no command can be given from it/u).first().waitFor();
    expect(storedIn(window.folder).events.length).toBe(run.events.length);
    await page.getByRole('link', { name: 'The run as it is now' }).click();
    await page.getByRole('button', { name: 'Open it on the bench' }).waitFor();
  });

  test('WIN-91 an attempt leads to its instant, and the journal to that of its cursor', async () => {
    const { page } = window;
    await go(`#/run/${run.id}/2`);
    await page.getByRole('link', { name: 'In the film' }).first().click();
    const start = run.events.find(({ body }) => body.kind === 'attempt-started' && body.point === 1)?.at;
    await expect.poll(() => slider().inputValue()).toBe(String(start));
    await page.getByRole('link', { name: 'Journal at this instant' }).click();
    await page.getByRole('link', { name: 'Film from there' }).click();
    await expect.poll(() => slider().inputValue()).toBe(String(start));
    expect(window.complaints).toEqual([]);
  });
});
