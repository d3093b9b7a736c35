/** The page Quality and the files of a run in a browser, against what the commands say. */
import { execFileSync } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

const root = join(import.meta.dirname, '../..');
let opened: OpenedWindow | undefined;
let folder = '';
let page: Page;
let complaints: string[];
let said = '';

const command = (archives: string, ...rest: readonly string[]): string => execFileSync(process.execPath, [join(root, 'main/cli/main.ts'), ...rest, '--archive', join(archives, 'archive.sqlite')], { encoding: 'utf8', stdio: 'pipe' });

/** Five runs with a reference injector. */
function historyInto(archives: string): void {
  const small = samplePlan('small-plan');
  const [first] = small.injectors;
  if (first === undefined) throw new Error('the small plan has injectors');
  const plan = join(archives, 'plan.json');
  writeFileSync(plan, JSON.stringify({
    ...small, order: 'O-77', injectors: [first], axes: { ...small.axes, voltageV: [14], widthMs: [3, 5] }, zero: { windowS: 0 }, pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 0 }, look: { windowS: 0 },
    reference: { injector: first.serialNumber, voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 3 },
  }));
  for (let seed = 1; seed <= 5; seed += 1) {
    const scenario = join(archives, `scenario-${seed}.json`);
    writeFileSync(scenario, JSON.stringify({ scenarioVersion: 1, seed }));
    try {
      command(archives, 'sweep', plan, '--operator', 'A. Tester', '--quiet', '--scenario', scenario);
    } catch (error) {
      // Two widths are too few for a line; the reference is what is looked at.
      if ((error as { status?: number }).status !== 4) throw error;
    }
  }
  said = command(archives, 'reference-history', '--json');
}

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: historyInto, name: 'B. Reader' });
  ({ folder, page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

describe.skipIf(browserPath === null)('the page Quality', () => {
  it('WIN-48, HOST-94 charts the reference injector as the command does, by keys', async () => {
    await page.keyboard.press('Alt+q');
    await page.getByRole('heading', { name: 'Quality', level: 1 }).waitFor();
    const rows = page.getByRole('table', { name: 'Runs of the reference injector' }).getByRole('row');
    await expect.poll(() => rows.count(), { timeout: 120_000 }).toBe(6);
    const told = JSON.parse(said.trim().split('\n')[0] ?? '') as { runs: { run: string; massKg: number; meterCertificate: string }[]; noLimits: string; newest: { lowKg: number; highKg: number; outside: boolean } };
    expect(told.runs).toHaveLength(5);
    for (const [i, { massKg, meterCertificate }] of told.runs.entries()) {
      const cells = await rows.nth(i + 1).getByRole('cell').allTextContents();
      expect(cells[4]).toContain(meterCertificate);
      const shown = Number(cells[2]?.split(' ')[0]);
      expect(Math.abs(shown / (massKg * 1e6) - 1)).toBeLessThan(1e-3);
    }
    const region = await page.getByRole('region', { name: /^Reference injector/ }).textContent();
    expect(region).toContain(told.noLimits);
    expect(region).toContain(`${told.newest.outside ? 'outside' : 'inside'} ${(told.newest.lowKg * 1e6).toFixed(4)} to ${(told.newest.highKg * 1e6).toFixed(4)} mg`);
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'quality-1366');
    await page.getByLabel('Signals by').focus();
    await page.keyboard.press('ArrowDown');
    await expect.poll(() => rows.count(), { timeout: 60_000 }).toBe(6);
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'quality-1920');
    expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
    await page.setViewportSize({ width: 1366, height: 768 });
    // The chart as a picture.
    const download = page.waitForEvent('download');
    await page.getByRole('button', { name: /^Save as SVG: mass per pulse/ }).click();
    const svg = readFileSync(await (await download).path(), 'utf8');
    expect(svg).toContain('Qd, mg');
    expect(svg).not.toContain('var(--');
  }, 300_000);

  it('EXP-7 the files of a run are one archive, from Results, named by job, plan, day and run', async () => {
    await page.keyboard.press('Alt+u');
    const zip = page.getByRole('button', { name: 'Save all files as one ZIP' });
    await zip.waitFor({ timeout: 60_000 });
    const download = page.waitForEvent('download', { timeout: 120_000 });
    await zip.focus();
    await page.keyboard.press('Enter');
    const done = await download;
    expect(done.suggestedFilename()).toMatch(/^O-77_Small-plan.*_\d{4}-\d\d-\d\d_[0-9a-f]{8}\.zip$/);
    const path = join(folder, 'run.zip');
    writeFileSync(path, readFileSync(await done.path()));
    const names = execFileSync('python3', ['-c', 'import sys,zipfile; z=zipfile.ZipFile(sys.argv[1]); assert z.testzip() is None; z.extractall(sys.argv[2]); print("\\n".join(z.namelist()))', path, folder], { encoding: 'utf8' }).trim().split('\n');
    const own = done.suggestedFilename().replace('.zip', '');
    expect(names).toEqual(expect.arrayContaining([`${own}/README.txt`, `${own}/attempts.csv`, `${own}/manifest.json`]));
    const about = readFileSync(join(folder, own, 'README.txt'), 'utf8');
    for (const name of names.filter((one) => !one.endsWith('README.txt'))) expect(about).toContain(`${name.slice(own.length + 1)}: `);
    expect(about).not.toContain('Named in manifest.json.');
    // What is in it is what the export wrote: its own check says so.
    rmSync(join(folder, own, 'README.txt'));
    execFileSync(process.execPath, [join(root, 'main/cli/main.ts'), 'check-export', join(folder, own)], { encoding: 'utf8' });
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'results-files-1366');
    expect(complaints).toEqual([]);
  }, 300_000);
});
