/** What the archive's checks of a flow meter say of measuring with it (PRE-63). */
import { meterStanding } from '../../app/meter-check/standing.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { MeterStanding } from '../../app/plan/preflight-line.ts';
import type { Archive } from './archive.ts';
import { ArchiveUnreadable } from './read.ts';

/** `today`: ISO 8601. Checks that cannot be read speak against nothing and for nothing: the sheet says so. */
export function meterStandingIn(archive: Pick<Archive, 'meterChecks'>, equipment: Equipment, today: string): MeterStanding {
  try {
    return meterStanding(archive.meterChecks.list(), equipment, today);
  } catch (error) {
    if (!(error instanceof ArchiveUnreadable)) throw error;
    return { result: 'warn', checkedHertz: null, text: `The checks of the flow meter could not be read, so whether one speaks against it is not known. ${error.message}` };
  }
}
