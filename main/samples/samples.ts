/** The documents that come with the program: what is used when nobody brought others. */
import { join } from 'node:path';

export type SampleName = 'plan' | 'small-plan' | 'reference-hold' | 'targets' | 'equipment' | 'scenario' | 'scenario-faults' | 'report-details' | 'layout' | 'parties' | 'qualification';

/** Where a sample stands on disk. */
export function samplePath(name: SampleName): string {
  return join(import.meta.dirname, `${name}.json`);
}
