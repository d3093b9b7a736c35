/** `npm run show -- seeded-run SEED`: what the bench in a tab must come to (HOST-120), by the program itself. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { seededRun, type SeededRun } from '../../main/tab/seeded-run.ts';
import { scratchFolder } from '../builders/in-process.ts';

export async function seededRunHere(seed: number): Promise<SeededRun> {
  const folder = scratchFolder();
  try {
    return await seededRun(join(folder, 'archive.sqlite'), seed);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

export async function showSeededRun([seed = '7']: readonly string[]): Promise<boolean> {
  const { points, accepted, events, head, verified } = await seededRunHere(Number(seed));
  process.stdout.write(`Seed ${seed}: ${accepted} of ${points} points, ${events} events; SHA-256 over the journal ${head}\n`);
  return verified && accepted === points;
}
