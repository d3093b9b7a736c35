/** What the handlers of the requests have to work with. */
import type { ManualAnswer } from '../service/manual-bench.ts';
import type { BenchView } from '../../app/contract/bench-requests.ts';
import type { ParsedParams } from '../../app/contract/contract.ts';
import type { BenchAtHost } from './bench-at-host.ts';
import type { Changes } from './changes.ts';
import type { DeskAnswers } from './desk-answers.ts';
import type { EquipmentAtHost } from './equipment-at-host.ts';
import type { GivenFiles } from './given-files.ts';
import type { HandWork } from './hand-work.ts';
import type { HostParts } from './host-parts.ts';
import type { Keeping } from './keeping.ts';
import type { KeptExports } from './kept-exports.ts';
import type { OnCall } from './on-call.ts';
import type { Failed, Handlers } from './outcome.ts';
import type { RunAtHost } from './run-at-host.ts';
import type { Sessions, Window } from './sessions.ts';

export interface HostRoom {
  readonly parts: HostParts;
  readonly keeping: Keeping;
  readonly changes: Changes;
  readonly sessions: Sessions;
  readonly bench: BenchAtHost;
  readonly runs: RunAtHost;
  readonly hand: HandWork;
  readonly exports: KeptExports;
  readonly records: EquipmentAtHost;
  readonly given: GivenFiles;
  readonly onCall: OnCall;
  readonly desk: DeskAnswers;
  readonly stop: (by: string) => ManualAnswer;
  /** What was begun before is not finished after. */
  readonly noteStop: () => void;
  readonly connect: (choice: ParsedParams<'bench.connect'>['bench']) => Promise<BenchView | Failed>;
}

/** How each request of an area is carried out. */
export type HandlersOf<Area> = Pick<Handlers<Window>, keyof Area & keyof Handlers<Window>>;
