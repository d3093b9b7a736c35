/** Where the numbers of an export come from: what every file of it says. ARC-17. */
import type { UnixMillis } from '../../app/quantities/quantity.ts';
import { isoTime } from '../clock/dating.ts';

export interface Provenance {
  readonly runId: string;
  readonly order: string;
  /** When the run was made. */
  readonly began: UnixMillis;
  readonly archiveId: string;
  /** Head of the archive at the export. */
  readonly head: string;
}

export const whenBegan = ({ began }: Provenance): string => isoTime(began);
