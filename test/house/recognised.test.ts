/** Two injectors whose serial numbers were exchanged between two runs, and notes, in a browser. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

const command = join(import.meta.dirname, '../../main/cli/main.ts');
let opened: OpenedWindow | undefined;

/** The same two injectors on the same channels, whose numbers somebody exchanged before the second run. */
function exchangedInto(archives: string): void {
  const small = samplePlan('small-plan');
  const plan = join(archives, 'plan.json');
  for (const [name, serials] of [['First', ['RH4-0117', 'RH4-0118']], ['Second', ['RH4-0118', 'RH4-0117']]] as const) {
    writeFileSync(plan, JSON.stringify({
      ...small, name: `${name} sweep`, order: 'J-1', injectors: serials.map((serialNumber, i) => ({ serialNumber, type: 'RH-P4', channel: i + 1 })),
      axes: { ...small.axes, widthMs: [3, 5, 8], replicates: 2 }, reduction: { ...small.reduction, linearFromMs: 3 }, zero: { windowS: 0 }, pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 0 },
    }));
    execFileSync(process.execPath, [command, 'sweep', plan, '--operator', 'A. Tester', '--quiet', '--archive', join(archives, 'archive.sqlite')], { stdio: 'pipe' });
  }
}

beforeAll(async () => {
  if (browserPath !== null) opened = await openWindow({ prepare: exchangedInto });
}, 600_000);

afterAll(() => opened?.close());

describe.skipIf(browserPath === null)('whose numbers these are', () => {
  it('WIN-84, WIN-85, WIN-86, EXP-8, HOST-142 is asked on the results and on the life of both, with a way to the other; notes stand there too, each with a way to its place', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page, folder, complaints } = opened;
    await goToPage(page, 'Results');
    const question = page.getByText(/^Is RH4-0117 really RH4-0118\? At \d+ places its results are those of RH4-0118 of /);
    await question.waitFor({ timeout: 60_000 });
    await page.getByText(/^Is RH4-0118 really RH4-0117\?/).waitFor();
    const id = await page.locator('.actions select').first().inputValue();
    await page.evaluate(`location.hash = '#/run/${id}'`);
    const ofRun = page.locator('details.notes', { hasText: 'Note about this run' });
    await ofRun.locator('summary').click();
    await ofRun.getByLabel('Note', { exact: true }).fill('fuel filter changed before this run');
    await ofRun.getByRole('button', { name: 'Keep as “look at this”' }).click();
    await page.getByText('Notes about this run (1)').waitFor();
    await goToPage(page, 'Results');
    const notes = page.locator('details.notes');
    await notes.getByText('fuel filter changed before this run').waitFor();
    expect(await notes.textContent()).toContain('1 to be looked at');
    expect(await notes.textContent()).toContain('A. Tester');
    expect(await notes.getByRole('link', { name: 'Run', exact: true }).getAttribute('href')).toMatch(/^#\/run\//);
    await question.waitFor();
    // Programs are told too.
    execFileSync(process.execPath, [command, 'export', id, '--to', join(folder, 'files'), '--archive', join(folder, 'archive.sqlite')], { stdio: 'pipe' });
    const { notes: told } = JSON.parse(readFileSync(join(folder, 'files', 'reduction.json'), 'utf8')) as { readonly notes: readonly object[] };
    expect(told).toEqual([expect.objectContaining({ by: 'A. Tester', text: 'fuel filter changed before this run', mark: 'look', open: true, point: null, injector: null, writtenUtc: expect.stringMatching(/^\d{4}-.*Z$/) as string })]);
    // The notes of one run are not those of another.
    const other = (await page.locator('.actions select').first().locator('option').evaluateAll((all) => all.map((one) => (one as unknown as { value: string }).value))).find((value) => value !== id && value !== '');
    execFileSync(process.execPath, [command, 'export', other ?? 'none', '--to', join(folder, 'others'), '--archive', join(folder, 'archive.sqlite')], { stdio: 'pipe' });
    expect(JSON.parse(readFileSync(join(folder, 'others', 'reduction.json'), 'utf8'))).toMatchObject({ notes: [] });
    await page.locator('.views').getByRole('link', { name: 'Set', exact: true }).click();
    expect(await page.getByRole('main').getByRole('link', { name: 'RH4-0117', exact: true }).first().getAttribute('href')).toBe('#/injectors/RH4-0117');
    for (const theme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme: theme });
      expect(await violations(page)).toEqual([]);
      for (const [width, height] of [[1366, 768], [1920, 1080]] as const) {
        await page.setViewportSize({ width, height });
        await keepScreen(page, `recognised-${width}-${theme}`);
      }
    }
    await page.getByRole('button', { name: 'Life of RH4-0118' }).click();
    await page.getByRole('heading', { name: 'Injector RH4-0118', level: 1 }).waitFor();
    await page.getByText(/^Is RH4-0118 really RH4-0117\?/).waitFor({ timeout: 60_000 });
    await keepScreen(page, 'recognised-life-1920');
    expect(await page.getByText(/^Is RH4-0117/).count()).toBe(0);
    await page.getByRole('link', { name: 'The run in which it is asked' }).click();
    await question.waitFor();
    // The first run is asked about nothing: nothing was measured before.
    const first = await page.locator('.actions select').first().locator('option').last().getAttribute('value');
    await page.locator('.actions select').first().selectOption(first);
    await page.getByText('First sweep').first().waitFor();
    await page.waitForTimeout(2000);
    expect(await page.getByText(/^Is RH4/).count()).toBe(0);
    expect(complaints).toEqual([]);
  }, 300_000);
});
