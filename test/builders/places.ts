/** Every page and view of the window by its address, for tests that hold all of them to the same. */
import { join } from 'node:path';
import { expect } from 'vitest';
import type { Page } from 'playwright';
import { openArchive } from '../../main/archive/archive.ts';
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';
import { sweepInto } from './window.ts';

interface Place {
  /** Of the picture that is kept. */
  readonly name: string;
  /** `RUN` stands for the run. */
  readonly hash: string;
  /** Buttons and folded parts that are pressed there, in this order. */
  readonly press?: readonly string[];
  /** Then typed into fields, by their ids. */
  readonly type?: readonly (readonly [id: string, text: string])[];
}

export const places: readonly Place[] = [
  ...['bench', 'injectors', 'plans', 'run', 'sets', 'reports', 'quality', 'archive'].map((page): Place => ({ name: page, hash: `#/${page}` })),
  { name: 'plan-editor', hash: '#/plans', press: ['New sweep', 'Guards', 'Before a point', 'Acceptance and repeats', 'Types: flow, limits, coils', 'Reduction'] },
  { name: 'plan-forecast', hash: '#/plans', press: ['New sweep', 'Work it out'] },
  { name: 'plan-targets', hash: '#/plans', press: ['New sweep'], type: [['plan:targets.deadTimeUs', '10'], ['plan:targets.map.deadTimeUs', '20'], ['plan:targets.map.voltageV', '8-16 by 1'], ['plan:targets.map.pressureKpa', '300; 400']] },
  { name: 'report-details', hash: '#/reports', press: ['New details'] },
  { name: 'run-stored', hash: '#/run/RUN' }, { name: 'run-film', hash: '#/run/RUN/film' }, { name: 'run-point', hash: '#/run/RUN/2' }, { name: 'journal', hash: '#/journal/RUN' },
  { name: 'injector-life', hash: '#/injectors/RH4-0117' }, { name: 'visit-form', hash: '#/injectors/RH4-0117', press: ['Record an examination'] },
  { name: 'equipment', hash: '#/equipment' }, { name: 'equipment-history', hash: '#/equipment/history' }, { name: 'meter-checks', hash: '#/equipment/meter-checks' },
  { name: 'meter-check-form', hash: '#/equipment/meter-checks', press: ['New check'] },
  { name: 'qualification', hash: '#/equipment/qualification' }, { name: 'qualification-sheet', hash: '#/equipment/qualification', press: ["Begin today's sheet", 'Limits, hours and notes'] },
  { name: 'types', hash: '#/equipment/types' }, { name: 'type-form', hash: '#/equipment/types', press: ['New type'] },
  { name: 'equipment-form', hash: '#/equipment', press: ['Change the record'] },
  ...['line', 'all', 'dead-time', 'maps', 'short-pulses', 'set', 'match', 'repeatability', 'drift', 'self-checks', 'attempts', 'compare', 'type', 'controller'].map((view): Place => ({ name: `results-${view}`, hash: `#/results/RUN/${view}` })),
  { name: 'layout-editor', hash: '#/results/RUN/controller', press: ['Make a layout'] },
];

/** An archive in which each place has something to show: a run, and its injectors booked in and mounted, as a plan takes them. */
export function labInto(folder: string): void {
  sweepInto(folder);
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => machineClock.unixNow(), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const saved = opened.archive.library.saveParts(['RH4-0117', 'RH4-0118', 'RH4-0119'].map((serialNumber, i) => ({ order: 'J-2041', type: 'RH-P4', serialNumber, channel: i < 2 ? i + 1 : null, coilResistanceOhm: 12 + i / 10, condition: 'deposit at the tip' })));
  if (!saved.ok) throw new Error(saved.text);
  opened.archive.close();
}

/** The latest run of the archive of a window's folder. */
export function runIn(folder: string): string {
  const opened = openArchive(join(folder, 'archive.sqlite'), { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  const id = opened.archive.latestRun()?.id ?? '';
  opened.archive.close();
  return id;
}

/** Goes there by the address, once in a window, as forms that are open stay open; and waits until nothing is read or worked out any more. */
export async function goToPlace(page: Page, { hash, press = [], type = [] }: Pick<Place, 'hash' | 'press' | 'type'>, run: string): Promise<void> {
  await page.evaluate(`window.location.hash = ${JSON.stringify(hash.replace('RUN', run))}`);
  await page.locator('#content h1').waitFor();
  await still(page);
  for (const name of press) {
    const button = page.getByRole('button', { name, exact: true }).or(page.locator('summary', { hasText: name })).first();
    await button.click();
    // What was typed for an earlier place is not kept.
    const drop = page.getByRole('button', { name: 'Drop them' });
    if (name === 'New sweep' && (await drop.isVisible())) await drop.click();
    await still(page);
  }
  for (const [id, text] of type) {
    const field = page.locator(`[id="${id}"]`);
    await field.fill(text);
    await field.press('Enter');
  }
  if (type.length > 0) await still(page);
}

/** What opens over any page: the key or button of the head, and the picture's name. */
export const overAnyPage = [
  { name: 'search', open: (page: Page) => page.getByRole('button', { name: /^Search/u }).click() },
  { name: 'help', open: (page: Page) => page.getByRole('button', { name: /^Help/u }).click() },
  { name: 'settings', open: (page: Page) => page.getByRole('button', { name: /^Settings/u }).click() },
] as const;

async function still(page: Page): Promise<void> {
  await expect.poll(async () => /(?:is|are) being (?:read|reduced|loaded|listed|worked out)|Looking for|Working it out/u.test(await page.locator('#content').innerText()), { timeout: 30_000 }).toBe(false);
  await page.waitForTimeout(150);
}
