/**
 * How long a person waits at a stored run of some 5 500 points: the page Results from cold, the choice of an injector or a voltage,
 * a key in the grid of points. The run is measured by the product on its simulated bench, once for each version of the plan, and
 * kept in the temporary folder of the machine; the host and the browser begin anew for each opening.
 *
 * A wait lasts from the event (its own time stamp) until the frame after the last change of the page has been drawn; an opening by its address from the
 * browser's first step towards the page until the frame with the results has been drawn.
 */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { copyFileSync, existsSync, mkdirSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright';
import { openArchive } from '../../main/archive/archive.ts';
import { buildWindow } from '../../main/cli/build.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { complaintsOf, HostProcess, launchBrowser } from '../builders/window.ts';
import type { BenchReport } from './report.ts';

const openings = 5;
const choices = 40;
const keys = 60;

interface SampleOfPlan {
  readonly axes: object;
  readonly guards: readonly { readonly id: string }[];
}

/** 8 injectors x 6 voltages x 3 pressures x 12 widths x 3 replicates, reference points, blind windows and the like. */
function plan(): string {
  const sample = readSample('plan') as SampleOfPlan;
  const axes = { ...sample.axes, voltageV: [9, 10.5, 12, 13, 14, 16], pressureKpa: [300, 400, 500] };
  const guards = sample.guards.map((guard) => (guard.id === 'over-pressure' ? { ...guard, high: 600 } : guard));
  return JSON.stringify({ ...sample, name: 'Response: many points', axes, guards });
}

/** Path of the archive; it is made where it is not there yet. */
function measuredArchive(): string {
  const text = plan();
  const folder = join(tmpdir(), `railhouse-response-${createHash('sha256').update(text).digest('hex').slice(0, 12)}`);
  const path = join(folder, 'archive.sqlite');
  if (existsSync(path)) return path;
  mkdirSync(folder, { recursive: true });
  const planFile = join(folder, 'plan.json');
  const unfinished = join(folder, 'unfinished.sqlite');
  rmSync(unfinished, { force: true });
  writeFileSync(planFile, text);
  execFileSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), 'sweep', planFile, '--operator', 'A. Tester', '--quiet', '--archive', unfinished], { stdio: 'pipe' });
  // Only a whole one has the name that is looked for.
  renameSync(unfinished, path);
  return path;
}

function runIn(path: string): { readonly id: string; readonly points: number } {
  const opened = openArchive(path, { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  const run = opened.archive.latestRun();
  opened.archive.close();
  if (run === null) throw new Error('The archive has no run.');
  return { id: run.id, points: run.status.points };
}

export async function bench(): Promise<BenchReport> {
  buildWindow();
  const stored = measuredArchive();
  const folder = scratchFolder();
  copyFileSync(stored, join(folder, 'archive.sqlite'));
  const { id, points } = runIn(stored);
  const before = loadavg()[0] ?? Number.NaN;
  const browser = await launchBrowser();
  try {
    const fromAddress: number[] = [];
    const fromPlans: number[] = [];
    for (let i = 0; i < openings; i += 1) {
      fromAddress.push(await opening(browser, folder, async (page, address) => {
        await page.addInitScript(untilResults);
        await page.goto(`${address}#/results/${id}/line`);
        await page.locator('dl.headline').waitFor();
        return (await page.waitForFunction<number>('window.resultsDrawn')).jsonValue();
      }));
      fromPlans.push(await opening(browser, folder, async (page, address) => {
        await page.goto(`${address}#/plans`);
        await page.getByRole('heading', { name: 'Plans', level: 1 }).waitFor();
        await page.waitForTimeout(1500);
        await listen(page);
        return waited(page, () => page.evaluate(`window.location.hash = '#/results/${id}/line'`), 'dl.headline');
      }));
    }
    const waits = await opening(browser, folder, (page, address) => atWork(page, address, id));
    return {
      name: `Response at a stored run of ${points} points`,
      figures: [
        ...spread('Results from the address, cold host and browser (aim 1500)', fromAddress),
        ...spread('Results from another page, for the first time (aim 1500)', fromPlans),
        ...Object.entries(waits).flatMap(([label, ms]) => spread(label, ms)),
        { label: 'load of the machine when it began (1 min)', value: before, unit: '' },
        { label: 'load of the machine when it ended (1 min)', value: loadavg()[0] ?? Number.NaN, unit: '' },
      ],
    };
  } finally {
    await browser.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

/** A host and a browser profile of its own. */
async function opening<T>(browser: Browser, folder: string, work: (page: Page, address: string) => Promise<T>): Promise<T> {
  const host = await HostProcess.start(folder, {});
  try {
    const context = await browser.newContext({ viewport: { width: 1366, height: 768 } });
    const page = await context.newPage();
    const complaints = complaintsOf(page);
    const result = await work(page, host.address);
    if (complaints.length > 0) throw new Error(`The window complained: ${complaints.join(' | ')}`);
    await context.close();
    return result;
  } finally {
    await host.end();
  }
}

async function atWork(page: Page, address: string, id: string): Promise<Readonly<Record<string, number[]>>> {
  await page.goto(`${address}#/results/${id}/line`);
  await page.locator('dl.headline').waitFor();
  await listen(page);
  const injectors = await choosing(page, 'Injector');
  const voltages = await choosing(page, 'Supply voltage');
  const conditions = await choosing(page, 'Pressure and period');
  const views: number[] = [];
  for (const title of ['All injectors', 'Dead time and slope', 'Short pulses', 'Set', 'Drift', 'Attempts', 'Type', 'Flow curve']) {
    views.push(await waited(page, () => page.getByRole('navigation', { name: 'Views of the results' }).getByRole('link', { name: title, exact: true }).click()));
  }
  await page.goto(`${address}#/run/${id}`);
  await page.locator('.run-grid [data-point]').first().waitFor();
  await listen(page);
  await page.locator('.run-grid [role="gridcell"][tabindex="0"]').focus();
  const arrows: number[] = [];
  const pattern = ['ArrowDown', 'ArrowDown', 'ArrowRight', 'ArrowRight', 'PageDown', 'ArrowLeft', 'ArrowUp', 'PageUp'];
  for (let i = 0; i < keys; i += 1) arrows.push(await waited(page, () => page.keyboard.press(pattern[i % pattern.length] ?? 'ArrowDown')));
  const opened: number[] = [];
  for (let i = 0; i < keys / 2; i += 1) {
    await page.keyboard.press(i % 2 === 0 ? 'ArrowDown' : 'ArrowRight');
    opened.push(await waited(page, () => page.locator('.run-grid [role="gridcell"][tabindex="0"]').click()));
  }
  return {
    'Results: an injector is chosen (aim 150)': injectors,
    'Results: a voltage is chosen (aim 150)': voltages,
    'Results: a pressure is chosen': conditions,
    'Results: another view': views,
    'Run: a key in the grid of points (aim 50)': arrows,
    'Run: a cell is clicked': opened,
  };
}

/** Each of the options in turn. */
async function choosing(page: Page, label: string): Promise<number[]> {
  const select = page.getByRole('combobox', { name: label, exact: true });
  const count = await select.locator('option').count();
  const took: number[] = [];
  for (let i = 1; i <= choices; i += 1) took.push(await waited(page, () => select.selectOption({ index: i % count })));
  return took;
}

/** Marks in the page when the frame with the results was drawn, ms since it was gone to: asking from outside would count how busy whoever asks is. */
const untilResults = `
  new MutationObserver((_changes, observer) => {
    if (document.querySelector('dl.headline') === null) return;
    observer.disconnect();
    requestAnimationFrame(() => setTimeout(() => { window.resultsDrawn = performance.now(); }));
  }).observe(document, { subtree: true, childList: true });`;

/** Marks in the page when something was done to it, and when the frame after each change of it was drawn. */
const listening = `
  window.waits = { began: 0, drawn: 0 };
  for (const kind of ['change', 'keydown', 'pointerdown', 'hashchange']) {
    addEventListener(kind, (event) => { waits.began ||= event.timeStamp; }, true);
  }
  new MutationObserver(() => {
    requestAnimationFrame(() => setTimeout(() => { waits.drawn = performance.now(); }));
  }).observe(document.body, { subtree: true, childList: true, attributes: true, characterData: true });`;

const listen = (page: Page): Promise<void> => page.evaluate(listening);

/** Nothing has changed for so long: it is over. */
const isOver = 'waits.began > 0 && waits.drawn > waits.began && performance.now() - waits.drawn > 400';

/** ms; `until`: something that has to be there, absent: any change. Rejects where nothing changes. */
async function waited(page: Page, act: () => Promise<unknown>, until?: string): Promise<number> {
  await page.evaluate('Object.assign(waits, { began: 0, drawn: 0 })');
  await act();
  if (until !== undefined) await page.locator(until).waitFor();
  const deadline = performance.now() + 20_000;
  while (!(await page.evaluate<boolean>(isOver))) {
    if (performance.now() > deadline) throw new Error('Nothing changed in the page.');
    await page.waitForTimeout(50);
  }
  return page.evaluate<number>('waits.drawn - waits.began');
}

function spread(label: string, values: readonly number[]): BenchReport['figures'] {
  const sorted = [...values].sort((a, b) => a - b);
  const at = (share: number): number => sorted[Math.min(sorted.length - 1, Math.ceil(share * sorted.length) - 1)] ?? Number.NaN;
  return [
    { label: `${label}, median of ${values.length}`, value: at(0.5), unit: 'ms' },
    { label: `${label}, p95`, value: at(0.95), unit: 'ms' },
  ];
}
