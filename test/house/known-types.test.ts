/** What earlier runs tell of a type: by command, and on the page of plans. */
import { spawnSync } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { parsePlan } from '../../app/plan/parse.ts';
import type { KnownType } from '../../app/schedule/cells.ts';
import { syntheticPlan } from '../../app/reduce/synthetic.test-helper.ts';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';
import { keepBentRuns } from '../builders/decided-run.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow, violations } from '../builders/window.ts';

const main = join(import.meta.dirname, '../../main/cli/main.ts');
const widthMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 6, 9, 12];
const grid = syntheticPlan({ voltageV: [9, 12, 14], widthMs, replicates: 2 }, 3);
const type = grid.injectors[0]?.type ?? '';

describe('the command known-type', () => {
  let folder = '';
  let ids: readonly string[] = [];
  const ask = (...args: readonly string[]) => {
    const { status, stdout, stderr } = spawnSync(process.execPath, [main, 'known-type', ...args, '--archive', join(folder, 'archive.sqlite')], { cwd: folder, env: bareEnvironment(folder), encoding: 'utf8', timeout: 120_000 });
    return { code: status, out: stdout, err: stderr };
  };
  beforeAll(() => {
    folder = scratchFolder();
    ids = keepBentRuns(join(folder, 'archive.sqlite'), grid, [1, 2, 3, 4], 1.6e-3);
    // Of a bench that is none, and the latest but for one.
    keepBentRuns(join(folder, 'archive.sqlite'), grid, [5], 2.6e-3, true);
    ids = [...ids, ...keepBentRuns(join(folder, 'archive.sqlite'), grid, [6], 1.6e-3)];
  }, 120_000);
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  it('CLI-49: tells it from the latest three runs, none of them simulated, as a plan takes it', () => {
    const { code, out, err } = ask(type, '--json');
    expect({ code, err }).toEqual({ code: 0, err: '' });
    const known = JSON.parse(out) as KnownType;
    expect(known.linearFromOpenMs).toBeGreaterThan(1.3);
    expect(known.linearFromOpenMs).toBeLessThan(1.9);
    for (const id of [ids[4], ids[3], ids[2]]) expect(known.from).toContain(id);
    expect(known.from).not.toContain(ids[1]);
    expect(known.from).not.toContain('simulated');
    const parsed = parsePlan({ ...grid, targets: { deadTimeUs: 5, known: [known] } });
    expect(parsed.ok ? parsed.plan.targets?.known : parsed.problems).toEqual([known]);
    expect(ask(type).out).toContain(`lines are straight from ${known.linearFromOpenMs} ms of open time`);
  });

  it('CLI-49: says so where no run tells it', () => {
    for (const args of [['another'], [type, '--pressure', '300']]) {
      const { code, out, err } = ask(...args);
      expect({ code, out }).toEqual({ code: 2, out: '' });
      expect(err).toContain('tells where lines of');
    }
  });
});

describe.skipIf(browserPath === null)('the page of plans', () => {
  let opened: OpenedWindow | undefined;
  beforeAll(async () => {
    opened = await openWindow({ prepare: (folder) => void keepBentRuns(join(folder, 'archive.sqlite'), grid, [1, 2, 3], 1.6e-3) });
  }, 600_000);
  afterAll(() => opened?.close());

  it('WIN-100: fills what is known of the types from earlier runs at one press, says of which none tells it, and takes it away again', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page, folder } = opened;
    page.setDefaultTimeout(60_000);
    const wanting = { ...grid, name: 'To a target', injectors: [...grid.injectors, { serialNumber: 'X-1', type: 'another', channel: 4 }], targets: { deadTimeUs: 5 } };
    writeFileSync(join(folder, 'wanting.json'), JSON.stringify(wanting));
    await goToPage(page, 'Plans');
    await page.getByLabel('Plan file', { exact: true }).setInputFiles(join(folder, 'wanting.json'));
    await page.getByText('The end of each line is searched from the longest width down.').waitFor();
    await page.getByRole('button', { name: 'Begin from earlier runs' }).click();
    await page.getByText(new RegExp(`^${type} at 400 kPa: lines begin at 1\\.\\d+ ms of open time, from runs [0-9a-f-]+, [0-9a-f-]+, [0-9a-f-]+$`)).waitFor();
    await page.getByText('No run tells it of another at 400 kPa: the end of these lines is searched.').waitFor();
    expect(await violations(page)).toEqual([]);
    for (const [name, width, height] of [['plans-known-1366', 1366, 768], ['plans-known-1920', 1920, 1080]] as const) {
      await page.setViewportSize({ width, height });
      expect(await page.evaluate<number>('document.documentElement.scrollWidth - innerWidth')).toBe(0);
      await keepScreen(page, name);
    }
    await page.emulateMedia({ colorScheme: 'dark' });
    await keepScreen(page, 'plans-known-dark');
    // It goes into the plan that is saved.
    const saved = page.waitForEvent('download');
    await page.getByRole('button', { name: 'Export a file' }).click();
    const { targets } = JSON.parse(readFileSync(await (await saved).path(), 'utf8')) as { readonly targets: { readonly known: readonly KnownType[] } };
    expect(targets.known.map((of) => of.type)).toEqual([type]);
    await page.getByRole('button', { name: 'Search the end of lines' }).click();
    await page.getByText('The end of each line is searched from the longest width down.').waitFor();
  }, 300_000);
});
