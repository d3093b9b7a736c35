/**
 * The contract between window and host: requests with their replies, and events. It is carried over a MessagePort in the
 * desktop application and over a WebSocket by the local web host; each side parses what it receives.
 *
 * The window is told a run's journal and the bench's frames, and works everything else out with the same fold and the
 * same reduction as archive and command line; so the contract has no second model of a run.
 */
import { z } from 'zod';
import { archiveRequests } from './archive-requests.ts';
import { benchRequests, benchView, control, manualView } from './bench-requests.ts';
import { equipmentRequests } from './equipment-requests.ts';
import { finite, id, type Requests } from './fields.ts';
import { injectorRequests } from './injector-requests.ts';
import { lifeRequests } from './life-requests.ts';
import { libraryRequests } from './library-requests.ts';
import { recordRequests } from './record-requests.ts';
import { reportRequests } from './report-requests.ts';
import { benchFrame, runEvent, runRequests, runStatus } from './run-requests.ts';

/**
 * Every request by name, from one file for each area. `control: true`: only the window that holds control may make it; the others may watch, and any
 * window may always make `stop`.
 */
export const requests = {
  ...benchRequests,
  ...libraryRequests,
  ...equipmentRequests,
  ...recordRequests,
  ...runRequests,
  ...injectorRequests,
  ...lifeRequests,
  ...reportRequests,
  ...archiveRequests,
} as const satisfies Requests;

export type RequestName = keyof typeof requests;
export type Params<N extends RequestName> = z.input<(typeof requests)[N]['params']>;
export type ParsedParams<N extends RequestName> = z.output<(typeof requests)[N]['params']>;
export type AnswerTo<N extends RequestName> = z.output<(typeof requests)[N]['result']>;

export const events = {
  bench: benchView,
  /** Frames since the last such event, oldest first; at most ten events a second. */
  frames: z.object({ frames: z.array(benchFrame) }),
  manual: manualView.nullable(),
  control,
  /** What stands against things being kept in the archive and beside it, in sentences; empty: all is well. */
  archive: z.object({ problems: z.array(z.string()) }),
  /** How much of the check that this window asked for is done, 0 to 1. */
  'archive.checking': z.object({ share: finite }),
  /** The run that is open on the bench; null: none. */
  'run.opened': z.object({ id: id.nullable() }),
  /** Committed to the archive. */
  'run.events': z.object({ id, events: z.array(runEvent) }),
  /** At most five a second. */
  'run.status': z.object({ id, status: runStatus }),
} as const satisfies Record<string, z.ZodType>;

export type EventName = keyof typeof events;
export type EventData<N extends EventName> = z.output<(typeof events)[N]>;

/** Why a request was not carried out. */
const failure = z.object({
  code: z.enum(['bad-request', 'not-in-control', 'no-bench', 'no-run', 'busy', 'bench', 'archive', 'refused', 'defect']),
  text: z.string(),
});
export type Failure = z.infer<typeof failure>;

/** What passes between window and host. */
export const toHost = z.object({ id: z.int().min(0), name: z.string(), params: z.unknown() });
export const toWindow = z.union([
  z.object({ id: z.int().min(0), result: z.unknown() }),
  z.object({ id: z.int().min(0), failure }),
  z.object({ event: z.string(), data: z.unknown() }),
]);
export type ToHost = z.infer<typeof toHost>;
export type ToWindow = z.infer<typeof toWindow>;
