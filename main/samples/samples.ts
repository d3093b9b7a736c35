/** The documents that come with the program: what `start` runs when nobody brought a plan, and what the tests use. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

type Sample = 'plan' | 'small-plan' | 'equipment' | 'scenario' | 'scenario-faults';

/** Where a sample stands on disk. */
export function samplePath(name: Sample): string {
  return join(import.meta.dirname, `${name}.json`);
}

/** A sample as it was read; like every document it must pass its parser before it is used. */
export function readSample(name: Sample): unknown {
  return JSON.parse(readFileSync(samplePath(name), 'utf8')) as unknown;
}
