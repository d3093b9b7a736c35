/** Views of Results that were commands alone, and the page Sets, in a browser against what the commands say. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { parse } from 'csv-parse/sync';
import type { Locator, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

const command = join(import.meta.dirname, '../../main/cli/main.ts');
let opened: OpenedWindow | undefined;
let folder = '';
let page: Page;
let complaints: string[];

const cli = (archives: string, ...rest: readonly string[]): string => execFileSync(process.execPath, [command, ...rest, '--archive', join(archives, 'archive.sqlite')], { encoding: 'utf8', stdio: 'pipe' });
const lines = <T>(text: string): T[] => text.trim().split('\n').map((line) => JSON.parse(line) as T);

/** Two jobs of four injectors each, at two pressures, each point twice. */
function jobsInto(archives: string): void {
  const small = samplePlan('small-plan');
  const plan = join(archives, 'plan.json');
  for (const [job, first] of [['J-1', 117], ['J-2', 131]] as const) {
    writeFileSync(plan, JSON.stringify({
      ...small, name: `Stock of ${job}`, order: job, injectors: [0, 1, 2, 3].map((i) => ({ serialNumber: `RH4-0${first + i}`, type: 'RH-P4', channel: i + 1 })),
      axes: { ...small.axes, voltageV: [10, 12, 14], pressureKpa: [350, 400], widthMs: [2.5, 3, 5, 8], replicates: 2 }, reduction: { ...small.reduction, linearFromMs: 3, repeatabilityPercent: 0.2 },
      zero: { windowS: 0 }, pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 0 },
    }));
    const scenario = join(archives, 'scenario.json');
    writeFileSync(scenario, JSON.stringify({ scenarioVersion: 1, seed: first }));
    cli(archives, 'sweep', plan, '--operator', 'A. Tester', '--quiet', '--scenario', scenario);
  }
}

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: jobsInto });
  ({ folder, page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

const open = async (view: string): Promise<void> => {
  await goToPage(page, 'Results');
  await page.getByRole('navigation', { name: 'Views of the results' }).getByRole('link', { name: view, exact: true }).click({ timeout: 60_000 });
};

/** In both themes, at both sizes, with nothing wider than the window; the pictures are for a person. */
async function looked(name: string): Promise<void> {
  for (const theme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme: theme });
    expect(await violations(page)).toEqual([]);
    for (const [width, height] of [[1366, 768], [1920, 1080]] as const) {
      await page.setViewportSize({ width, height });
      await keepScreen(page, `${name}-${width}-${theme}`);
      expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
    }
  }
  await page.emulateMedia({ colorScheme: 'light' });
  await page.setViewportSize({ width: 1366, height: 768 });
}

async function saved(button: Locator): Promise<{ readonly name: string; readonly text: string }> {
  const download = page.waitForEvent('download');
  await button.click();
  const done = await download;
  return { name: done.suggestedFilename(), text: readFileSync(await done.path(), 'utf8') };
}

const latestRun = (): string => lines<{ id?: string; order?: string }>(cli(folder, 'runs', '--json')).find((run) => run.order === 'J-2')?.id ?? '';

describe.skipIf(browserPath === null)('views of Results', () => {
  it('WIN-60 all injectors stand in one chart, as masses and as deviations from their mean', async () => {
    await open('All injectors');
    const table = page.getByRole('region', { name: /^Mass per pulse, mg, 14 V, all injectors/ });
    await table.waitFor({ timeout: 60_000 });
    expect(await table.getByRole('columnheader').allTextContents()).toEqual(['Pulse width, ms', 'RH4-0131', 'RH4-0132', 'RH4-0133', 'RH4-0134']);
    expect(await table.getByRole('row').count()).toBe(5);
    expect(await page.getByRole('button', { name: /^RH4-013/ }).count()).toBeGreaterThanOrEqual(4);
    await page.getByLabel('Shown as').selectOption('percent');
    const apart = page.getByRole('region', { name: /^Deviation from the mean, %, 14 V/ });
    const cells = (await apart.getByRole('row').nth(4).getByRole('cell').allTextContents()).map((text) => Number(text.split(' ')[0]?.replace('−', '-')));
    expect(cells).toHaveLength(4);
    expect(Math.abs(cells.reduce((sum, d) => sum + d, 0))).toBeLessThan(0.05);
    expect(Math.max(...cells.map(Math.abs))).toBeGreaterThan(0.05);
    await looked('results-all-injectors');
  }, 300_000);

  it('WIN-61 outliers and usable widths are those of the command', async () => {
    await open('Repeatability');
    const told = lines<{ kind: string; text: string; lowestWidthS?: number | null; widths?: { widthS: number; sd: number }[] }>(cli(folder, 'outliers', '--json'));
    await page.getByText(told.find((line) => line.kind === 'tested')?.text ?? '?').waitFor({ timeout: 60_000 });
    const conditions = told.filter((line) => line.kind === 'repeatability');
    expect(conditions).toHaveLength(2);
    for (const { text } of conditions) await page.getByText(text).first().waitFor();
    const widths = page.getByRole('region', { name: /^Repeatability over pulse width at 350 kPa/ }).getByRole('row');
    for (const [i, { widthS, sd }] of (conditions[0]?.widths ?? []).entries()) {
      const row = widths.nth(i + 1);
      expect(Number(await row.getByRole('rowheader').textContent())).toBeCloseTo(widthS * 1e3, 6);
      expect(Number((await row.getByRole('cell').allTextContents())[0])).toBeCloseTo(100 * sd, 3);
    }
    await looked('results-repeatability');
  }, 300_000);

  it('WIN-62 a map stands over voltages and pressures that a person chooses, each cell with U95 and how it came about', async () => {
    await open('Maps');
    await page.getByLabel('Supply voltages, V').fill('10; 11,5; 15');
    await page.getByLabel('Rail pressures, kPa').fill('350; 375; 450');
    const table = page.getByRole('region', { name: /^Dead time of RH4-0131 over voltage and pressure/ });
    await expect.poll(() => table.getByRole('row').count()).toBe(4);
    cli(folder, 'export', latestRun(), '--quiet', '--to', join(folder, 'out'), '--voltages', '10,11.5,15', '--pressures', '350,375,450');
    const records: Record<string, string>[] = parse(readFileSync(join(folder, 'out', 'maps.csv')), { columns: true });
    const exported = records.filter((row) => row['of'] === 'RH4-0131' && row['quantity']?.includes('dead time') === true);
    expect(exported).toHaveLength(9);
    expect(new Set(exported.map((row) => row['basis']))).toEqual(new Set(['measured', 'interpolated', 'extrapolated']));
    const shown = (await Promise.all([1, 2, 3].map((i) => table.getByRole('row').nth(i).getByRole('cell').allTextContents()))).flat();
    for (const [i, row] of exported.entries()) {
      expect(shown[i]).toContain(row['basis']);
      expect(Math.abs(Number(shown[i]?.split(' ')[0]) / Number(row['value']) - 1)).toBeLessThan(5e-3);
      expect(shown[i]).toContain(' ± ');
    }
    const file = await saved(page.getByRole('button', { name: 'Save as CSV' }));
    expect(file.name).toContain('RH4-0131');
    const own: Record<string, string>[] = parse(file.text, { columns: true });
    for (const [i, row] of exported.entries()) {
      for (const column of ['basis', 'supply_V']) expect(own[i]?.[column]).toBe(row[column]);
      // The browser's mathematics may end in another last digit.
      for (const column of ['value', 'U95', 'coverage_factor']) expect(Math.abs(Number(own[i]?.[column]) / Number(row[column]) - 1)).toBeLessThan(1e-9);
    }
    const svg = (await saved(page.getByRole('button', { name: /^Save as SVG: Dead time of RH4-0131/ }))).text;
    // Told apart in the picture by frames and signs, without its colours.
    for (const sign of ['●', '○', '◇']) expect(svg).toContain(sign);
    expect(svg).toContain('stroke-dasharray="7px, 4px"');
    expect(svg).not.toContain('var(--');
    await looked('results-maps');
    await page.getByLabel('Supply voltages, V').fill('10; twelve');
    await page.getByText('"twelve" is neither a value nor a range.', { exact: false }).waitFor();
    expect(await table.count()).toBe(0);
    await page.getByLabel('Supply voltages, V').fill('');
  }, 300_000);
});

interface MatchLine {
  readonly sets: readonly { readonly cost: number; readonly members: readonly { readonly injector: string; readonly deviations: readonly { readonly value: number; readonly expanded: number }[] }[] }[];
  readonly total: number;
  readonly text: string;
  readonly inNoSet: readonly string[];
}

const membersShown = async (set: number): Promise<string[]> => (await page.getByRole('region', { name: new RegExp(`^Set ${set}: deviation`) }).getByRole('rowheader').allTextContents()).filter((text) => text !== 'Spread');

describe.skipIf(browserPath === null)('sets of alike injectors', () => {
  it('WIN-63, HOST-110 out of one run: the choice of the command, with what is proved of it', async () => {
    await open('Matched sets');
    await page.getByLabel('Sets', { exact: true }).fill('2');
    await page.getByLabel('Injectors in a set').fill('2');
    await page.getByRole('button', { name: 'Choose sets' }).click();
    const told = lines<MatchLine>(cli(folder, 'match', '--sets', '2', '--of', '2', '--json'))[0];
    if (told === undefined) throw new Error('the command made a choice');
    await page.getByText(told.text).waitFor({ timeout: 60_000 });
    expect(told.text).toMatch(/^Proved best by the measured values/);
    for (const [s, { members }] of told.sets.entries()) {
      expect(await membersShown(s + 1)).toEqual(members.map((m) => m.injector));
      const row = await page.getByRole('region', { name: new RegExp(`^Set ${s + 1}: deviation`) }).getByRole('row').nth(1).getByRole('cell').allTextContents();
      expect(Number(row[0]?.split(' ')[0]?.replace('−', '-'))).toBeCloseTo(members[0]?.deviations[0]?.value ?? Number.NaN, 1);
    }
    await looked('results-matched-sets');
  }, 300_000);

  it('WIN-63 out of stock over jobs: chosen runs, another place, one injector left out, and the file', async () => {
    await page.keyboard.press('Alt+o');
    await page.getByRole('heading', { name: 'Sets', level: 1 }).waitFor();
    expect(await page.getByRole('button', { name: 'Choose sets' }).getAttribute('aria-disabled')).toBe('true');
    await page.getByRole('button', { name: 'Use all of the list' }).click();
    await page.getByLabel('Sets', { exact: true }).fill('2');
    await page.getByLabel('Injectors in a set').fill('3');
    await page.getByRole('button', { name: 'Choose sets' }).click();
    await page.getByText(/^8 have a value at every place/).waitFor({ timeout: 60_000 });
    const runs = lines<{ id?: string; order?: string }>(cli(folder, 'runs', '--json')).flatMap((run) => (run.order === undefined ? [] : [run.id ?? '']));
    const all = lines<MatchLine>(cli(folder, 'match', ...runs, '--sets', '2', '--of', '3', '--json'))[0];
    expect([...(await membersShown(1)), ...(await membersShown(2))]).toEqual(all?.sets.flatMap((set) => set.members.map((m) => m.injector)));
    // By dead time alone, and without an injector of the best set.
    const first = all?.sets[0]?.members[0]?.injector ?? '';
    while ((await page.getByRole('button', { name: /^Remove place/ }).count()) > 0) await page.getByRole('button', { name: /^Remove place/ }).first().click();
    await page.getByRole('group', { name: 'Place 1' }).getByLabel('Compared by').selectOption('dead-time');
    await page.getByRole('checkbox', { name: first, exact: true }).uncheck();
    await page.getByText(/What is wanted has changed since/).waitFor();
    await page.getByRole('button', { name: 'Choose sets' }).click();
    await expect.poll(() => page.getByText(/What is wanted has changed since/).count(), { timeout: 60_000 }).toBe(0);
    const chosen = [...(await membersShown(1)), ...(await membersShown(2))];
    expect(chosen).toHaveLength(6);
    expect(chosen).not.toContain(first);
    const file = await saved(page.getByRole('button', { name: 'Save as CSV' }));
    const rows: Record<string, string>[] = parse(file.text, { columns: true });
    expect(rows.filter((row) => row['injector'] !== '').map((row) => row['injector'])).toEqual(chosen);
    expect(new Set(rows.map((row) => row['unit']))).toEqual(new Set(['µs']));
    expect(rows[0]?.['point']).toMatch(/^dead time at 14 V/);
    expect(rows[0]?.['proof']).toMatch(/^Proved best/);
    await looked('sets');
    // Three sets of three cannot be made of seven: said in a sentence.
    await page.getByLabel('Sets', { exact: true }).fill('3');
    await page.getByRole('button', { name: 'Choose sets' }).click();
    await page.getByText(/3 sets of 3 need 9 injectors|9 injectors/).first().waitFor({ timeout: 60_000 });
    expect(complaints).toEqual([]);
  }, 300_000);
});
