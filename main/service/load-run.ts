/** A stored run, folded from its journal. */
import { condensed, foldCondensed } from '../../app/journal/condensed.ts';
import type { RunEvent } from '../../app/journal/events.ts';
import { forDriving } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Archive } from '../archive/archive.ts';
import { eventOf } from '../archive/read.ts';
import { ArchiveBroken } from '../archive/invariants.ts';
import type { AppendResult } from '../archive/write.ts';
import { wait, type Clock } from '../clock/clock.ts';

export interface RunFailure {
  readonly ok: false;
  readonly code: 'bench' | 'archive' | 'no-such-run' | 'bad-record' | 'clock';
  readonly text: string;
}

/** A stored run, folded; or why it cannot be. */
type Loaded = { readonly ok: true; readonly state: RunState; readonly events: number } | RunFailure;

/** Of a journal, before others have their turn: some milliseconds. */
const EVENTS_AT_A_STRETCH = 500;

/** The state of a stored run, its documents parsed anew. */
export function loadRun(archive: Archive, id: string): Loaded {
  return atOnce(folding(archive, id));
}

/** What a journal came to up to `events` of it. */
interface Folded {
  readonly id: string;
  readonly events: number;
  readonly state: RunState;
}

/** Of each archive the run that was followed last. */
const followedLast = new WeakMap<Archive, Folded>();

/** Of nine events of an attempt five are steps that the next event makes nothing of: of those only the kind is read, and the state is the same (HOST-170). */
function* withoutSteps(archive: Archive, id: string, from: number): Generator<RunEvent> {
  for (const row of condensed(archive.storedEvents(id, from, Number.POSITIVE_INFINITY), ({ kind }) => kind)) yield eventOf(row, `Event ${row.seq} of run ${id}`);
}

/** The same for following a run as it grows: journals are only appended to, so what was folded stands, and only what came since is read. RUN-232, SCH-50 */
export function followRun(archive: Archive, id: string): Loaded {
  const last = followedLast.get(archive);
  const before = last?.id === id ? last : null;
  const loaded = atOnce(folding(archive, id, { before, read: withoutSteps }));
  if (loaded.ok) followedLast.set(archive, { id, events: loaded.events, state: loaded.state });
  return loaded;
}

function atOnce(loading: ReturnType<typeof folding>): Loaded {
  for (let step = loading.next(); ; step = loading.next()) if (step.done === true) return step.value;
}

/** The same for driving the run (HOST-19), without holding up this thread, however long the journal is (HOST-10). */
export async function loadRunGently(archive: Archive, id: string, clock: Clock): Promise<Loaded> {
  const loading = folding(archive, id, { begun: forDriving });
  for (let step = loading.next(); ; step = loading.next()) {
    if (step.done === true) return step.value;
    await wait(clock, 0);
  }
}

/** The state with one event more, or why it cannot follow. */
function followed(state: RunState | null, event: RunEvent): RunState | string {
  try {
    return foldCondensed(state, event);
  } catch (error) {
    return (error as Error).message;
  }
}

interface Folding {
  /** What becomes of the state of the first event. */
  readonly begun?: (state: RunState) => RunState;
  readonly before?: Folded | null;
  readonly read?: (archive: Archive, id: string, from: number) => Iterable<RunEvent>;
}

function* folding(archive: Archive, id: string, { begun = (state) => state, before = null, read = (from, run, seq) => from.events(run, seq) }: Folding = {}): Generator<undefined, Loaded> {
  if (archive.run(id) === null) return { ok: false, code: 'no-such-run', text: `There is no run ${id} in ${archive.path}. List the runs and choose one.` };
  let state: RunState | null = before?.state ?? null;
  let events = before?.events ?? 0;
  for (const event of read(archive, id, events)) {
    const { seq } = event;
    if (seq % EVENTS_AT_A_STRETCH === EVENTS_AT_A_STRETCH - 1) yield;
    const next = followed(state, event);
    if (typeof next === 'string') {
      return { ok: false, code: 'bad-record', text: `Event ${seq} of run ${id} cannot follow the events before it: ${next} Nothing was changed. Check the archive with 'verify'; if that finds nothing else, use the program that wrote the run.` };
    }
    state = state === null ? begun(next) : next;
    events = seq + 1;
  }
  if (state === null) return { ok: false, code: 'bad-record', text: `Run ${id} has no journal: its host died while it was being opened. Nothing was measured in it; start a new run.` };
  return { ok: true, state, events };
}

/** An archive that finds itself wrong (ARC-65) opens no run, in words. */
export function openingWritten(append: () => AppendResult): AppendResult | { readonly ok: false; readonly text: string } {
  try {
    return append();
  } catch (error) {
    if (!(error instanceof ArchiveBroken)) throw error;
    return { ok: false, text: `The program found a fault of its own in its archive: ${error.message} The run was not opened; what was committed before is kept. Start the program again.` };
  }
}
