/** What the archive's qualifications of a bench say of measuring with it now (PRE-66). */
import type { BenchIdentity } from '../../app/bench/port.ts';
import type { QualificationStanding } from '../../app/plan/preflight-line.ts';
import { benchName } from '../../app/qualification/qualification.ts';
import { qualificationStanding } from '../../app/qualification/standing.ts';
import type { Archive } from './archive.ts';
import { ArchiveUnreadable } from './read.ts';

/** `now`: Unix ms, by the clock of whatever measures. One that cannot be read does not hold. */
export function qualificationIn(archive: Pick<Archive, 'records'>, bench: Pick<BenchIdentity, 'model' | 'serialNumber'>, now: number): QualificationStanding {
  const name = benchName(bench);
  try {
    const [latest] = archive.records.versions('qualification', name, 1);
    return qualificationStanding(latest?.document ?? null, name, now);
  } catch (error) {
    if (!(error instanceof ArchiveUnreadable)) throw error;
    return { holds: false, text: `The qualifications of ${name} could not be read. ${error.message}` };
  }
}
