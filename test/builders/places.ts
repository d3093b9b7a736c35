/** Every page and view of the window by its address, for tests that hold all of them to the same. */
import { join } from 'node:path';
import { expect } from 'vitest';
import type { Page } from 'playwright';
import { openArchive } from '../../main/archive/archive.ts';

interface Place {
  /** Of the picture that is kept. */
  readonly name: string;
  /** `RUN` stands for the run. */
  readonly hash: string;
  /** Buttons and folded parts that are pressed there, in this order. */
  readonly press?: readonly string[];
}

export const places: readonly Place[] = [
  ...['bench', 'injectors', 'plans', 'run', 'sets', 'reports', 'quality', 'archive'].map((page): Place => ({ name: page, hash: `#/${page}` })),
  { name: 'plan-editor', hash: '#/plans', press: ['New sweep', 'Guards', 'Before a point', 'Acceptance and repeats', 'Types: flow, limits, coils', 'Reduction'] },
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

/** The latest run of the archive of a window's folder. */
export function runIn(folder: string): string {
  const opened = openArchive(join(folder, 'archive.sqlite'), { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  const id = opened.archive.latestRun()?.id ?? '';
  opened.archive.close();
  return id;
}

/** Goes there by the address, and waits until nothing is read or worked out any more. */
export async function goToPlace(page: Page, { hash, press = [] }: Pick<Place, 'hash' | 'press'>, run: string): Promise<void> {
  await page.evaluate(`window.location.hash = ${JSON.stringify(hash.replace('RUN', run))}`);
  await page.locator('#content h1').waitFor();
  await still(page);
  for (const name of press) {
    const button = page.getByRole('button', { name, exact: true }).or(page.locator('summary', { hasText: name })).first();
    await button.click();
    await still(page);
  }
}

async function still(page: Page): Promise<void> {
  await expect.poll(async () => /(?:is|are) being (?:read|reduced|loaded|listed|worked out)|Looking for/u.test(await page.locator('#content').innerText()), { timeout: 30_000 }).toBe(false);
  await page.waitForTimeout(150);
}
