import { readFileSync } from 'node:fs';
import { samplePath } from './samples.ts';
import type { SampleName } from './samples.ts';

/** A sample as it was read; like every document it must pass its parser before it is used. */
export function readSample(name: SampleName): unknown {
  return JSON.parse(readFileSync(samplePath(name), 'utf8')) as unknown;
}
