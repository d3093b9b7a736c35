/** What the archive's qualifications of a bench say of measuring with it now (PRE-66). */
import type { BenchIdentity } from '../../app/bench/port.ts';
import type { QualificationStanding, SheetInForce } from '../../app/plan/preflight-line.ts';
import { benchName } from '../../app/qualification/qualification.ts';
import { qualificationStanding } from '../../app/qualification/standing.ts';
import type { Archive } from './archive.ts';
import { sha256 } from './chain.ts';
import { ArchiveUnreadable } from './read.ts';

/** `now`: Unix ms, by the clock of whatever measures. One that cannot be read does not hold. */
export function qualificationIn(archive: Pick<Archive, 'records'>, bench: Pick<BenchIdentity, 'model' | 'serialNumber'>, now: number): QualificationStanding & { readonly sheet: SheetInForce | null } {
  const name = benchName(bench);
  try {
    const [latest] = archive.records.versions('qualification', name, 1);
    const standing = qualificationStanding(latest?.document ?? null, name, now);
    // What is saved is this text, and the ledger has its hash.
    const sheet = latest === undefined || standing.until === undefined ? null : { bench: name, version: latest.version, sha256: sha256(JSON.stringify(latest.document)), until: standing.until };
    return { ...standing, sheet };
  } catch (error) {
    if (!(error instanceof ArchiveUnreadable)) throw error;
    return { holds: false, sheet: null, text: `The qualifications of ${name} could not be read. ${error.message}` };
  }
}
