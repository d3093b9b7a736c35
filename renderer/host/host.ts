/**
 * What this window knows of its host, in one place: filled at each hello and by the host's events, read by components
 * through the hooks below. Frames and journals, which come fast or are long, lie beside the store.
 */
import { useEffect, useSyncExternalStore } from 'react';
import { create } from 'zustand';
import type { BenchView, ControlView, ManualView } from '../../app/contract/bench-requests.ts';
import type { Params, RequestName } from '../../app/contract/contract.ts';
import type { BenchFrame } from '../../app/bench/port.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { RunStatus } from '../../app/run/engine.ts';
import { missingOfSafe } from '../../app/run/proof.ts';
import { safeSentence, stopShown } from '../../app/run/safe-words.ts';
import { LiveBench } from '../live/live-bench.ts';
import { settings } from '../settings/settings.ts';
import { carrierOfThisPage } from './carriers.ts';
import { Connection } from './connection.ts';
import type { LineState, HostReply } from './connection.ts';
import { JournalFeed } from './journal-feed.ts';
import type { JournalView } from './journal-feed.ts';

export interface HostState {
  readonly line: LineState;
  readonly software: string;
  readonly archivePath: string;
  /** What stands against things being kept, in sentences of the host. */
  readonly archiveProblems: readonly string[];
  /** How much of the check that this window asked for is done, 0 to 1; null: nothing was said of it. */
  readonly checked: number | null;
  readonly bench: BenchView;
  /** null: no bench, or a run has it. */
  readonly manual: ManualView | null;
  readonly control: ControlView;
  /** The run that is open on the bench. */
  readonly openRun: string | null;
  readonly status: { readonly id: string; readonly status: RunStatus } | null;
  readonly equipment: Equipment | null;
  /** What became of the last stop; null: none was asked for, or its end was told long enough. */
  readonly stop: StopView | null;
}

interface StopView {
  readonly text: string;
  /** sent: on its way to safe. safe: over, as the readings show. not-safe: nobody has confirmed it. */
  readonly state: 'sent' | 'safe' | 'not-safe';
}

const unknownBench: BenchView = { state: 'absent', why: 'The host has not said yet what bench it has.' };

export const useHostState = create<HostState>()(() => ({
  line: { state: 'connecting', text: 'Looking for the host of this window.' },
  software: '',
  archivePath: '',
  archiveProblems: [],
  checked: null,
  bench: unknownBench,
  manual: null,
  control: { mine: false, holder: null, windows: 0 },
  openRun: null,
  status: null,
  equipment: null,
  stop: null,
}));

export const liveBench = new LiveBench();

const connection = new Connection({
  open: carrierOfThisPage(window),
  timers: {
    after: (ms, action) => {
      const handle = setTimeout(action, ms);
      return () => clearTimeout(handle);
    },
  },
  name: () => (settings().operator === '' ? 'A window where nobody has given a name' : settings().operator),
});

interface FeedsOfRun {
  whole: JournalFeed | null;
  condensed: JournalFeed | null;
  readonly listeners: Set<() => void>;
}
const feeds = new Map<string, FeedsOfRun>();
const feedsThatAre = ({ whole, condensed }: FeedsOfRun): readonly JournalFeed[] => [whole, condensed].filter((feed) => feed !== null);
/** Journals that nobody looks at are kept for going back to, up to this many. */
const mostFeeds = 6;

const set = useHostState.setState;

function benchIdentityOf(bench: BenchView): string {
  return bench.state === 'connected' ? `${bench.identity.model} ${bench.identity.serialNumber} ${bench.link}` : '';
}

function takeBench(bench: BenchView): void {
  const before = benchIdentityOf(useHostState.getState().bench);
  if (benchIdentityOf(bench) !== before && bench.state !== 'connecting') liveBench.clear();
  set({ bench });
  if (benchIdentityOf(bench) !== before) void readEquipment();
}

/** Which record holds depends on the bench that is connected. */
export async function readEquipment(): Promise<void> {
  const reply = await connection.request('equipment.read', {});
  if (!reply.ok) return;
  set({ equipment: reply.value });
  liveBench.useEquipment(reply.value);
}

async function takeOpenRun(id: string | null): Promise<void> {
  const { openRun, status } = useHostState.getState();
  set({ openRun: id, status: status?.id === id ? status : null });
  if (id === null || id === openRun) return;
  const stored = await connection.request('run.telemetry', { id, most: 2000 });
  liveBench.startWith(stored.ok ? stored.value.frames : []);
}

/** Called once, when the window starts. */
export function startHost(): void {
  connection.onLine(() => set({ line: connection.line }));
  connection.onHello((hello) => {
    set({ software: hello.software, archivePath: hello.archivePath, archiveProblems: hello.archiveProblems, control: hello.control, manual: hello.manual });
    takeBench(hello.bench);
    void takeOpenRun(hello.openRun);
    void readEquipment();
    for (const feed of [...feeds.values()].flatMap(feedsThatAre)) void feed.fill();
  });
  connection.on('bench', takeBench);
  connection.on('manual', (manual) => set({ manual }));
  connection.on('archive', ({ problems }) => set({ archiveProblems: problems }));
  connection.on('archive.checking', ({ share }) => set({ checked: share }));
  connection.on('control', (control) => set({ control }));
  connection.on('frames', ({ frames }) => {
    liveBench.push(frames, performance.now());
    lookAfterStop(frames);
  });
  connection.on('run.opened', ({ id }) => void takeOpenRun(id));
  connection.on('run.events', ({ id, events }) => {
    const of = feeds.get(id);
    if (of !== undefined) for (const feed of feedsThatAre(of)) feed.hear(events);
  });
  connection.on('run.status', (status) => set({ status }));
  connection.start();
}

/** Asks the host; resolves with the reply or the reason why there is none, never rejects. */
export function ask<N extends RequestName>(name: N, params: Params<N>): Promise<HostReply<N>> {
  return connection.request(name, params);
}

/** How long the readings may take to show a safe bench after a stop, ms: a supply falls slowly. */
const safeWithinMs = 15_000;
/** How long it is shown that a stop ended well, ms. */
const safeShownMs = 8000;
let stopTimer: ReturnType<typeof setTimeout> | undefined;

/** Shows what became of a stop; the next one, or `then`, takes its place. */
function tellStop(stop: StopView | null, afterMs?: number, then?: () => void): void {
  clearTimeout(stopTimer);
  set({ stop });
  if (afterMs !== undefined && then !== undefined) stopTimer = setTimeout(then, afterMs);
}

const endedWell = (text: string): void => tellStop({ state: 'safe', text }, safeShownMs, () => set({ stop: null }));

/** STOP: sent at once, or first of all as soon as the host is there again. Never asks. */
export async function stopNow(): Promise<void> {
  const up = connection.line.state === 'up';
  tellStop(
    up
      ? { state: 'sent', text: 'STOP was sent. Waiting for the host to say what became of it.' }
      : { state: 'not-safe', text: 'The host cannot be reached, so STOP was not sent. Press the emergency stop of the bench. STOP will be sent as soon as the host is there again.' },
  );
  const reply = await connection.request('stop', {});
  if (!reply.ok) tellStop({ state: 'not-safe', text: `STOP was not confirmed: ${reply.failure.text} Press the emergency stop of the bench.` });
  else if (!reply.value.accepted) tellStop({ state: 'not-safe', text: `${reply.value.reason} Press the emergency stop of the bench.` });
  else if (useHostState.getState().bench.state !== 'connected') endedWell(reply.value.reason);
  else {
    tellStop({ state: 'sent', text: reply.value.reason }, safeWithinMs, () =>
      set({ stop: { state: 'not-safe', text: `${safeWithinMs / 1000} s after STOP. ${safeSentence(false)}.` } }),
    );
    const { latest } = liveBench;
    // A frame from before a lost link shows nothing.
    if (latest !== null && performance.now() - latest.receivedAt < 1500) lookAfterStop([latest.frame]);
  }
}

/** A stop is over when the readings of the controller show it (WIN-13), whoever made the bench safe. */
function lookAfterStop(frames: readonly BenchFrame[]): void {
  const { stop, bench } = useHostState.getState();
  const frame = frames.at(-1);
  if (stop?.state !== 'sent' || bench.state !== 'connected' || !bench.up || frame === undefined || missingOfSafe(frame, bench.capabilities) !== null) return;
  endedWell(stopShown(frame.supply));
}

export function dismissStop(): void {
  tellStop(null);
}

/** Count of messages of the host that this window could not read: 0 in a healthy house. */
export function misreadMessages(): number {
  return connection.misread;
}

/** Everything that the window knows of its host; renders when it changes (not with every frame). */
export function useHost(): HostState {
  return useHostState();
}

/** How much of a journal is wanted: every event, or what a run came to (`app/journal/condensed.ts`). */
type Form = 'whole' | 'condensed';

function newFeed(id: string, form: Form, onChange: () => void): JournalFeed {
  const name = form === 'whole' ? 'run.journal' : 'run.condensed';
  const feed = new JournalFeed((fromSeq, limit) => connection.request(name, { id, fromSeq, limit }), onChange);
  void feed.fill();
  return feed;
}

function feedsOf(id: string): FeedsOfRun {
  const known = feeds.get(id);
  if (known !== undefined) return known;
  for (const [other, { listeners }] of feeds) {
    if (feeds.size < mostFeeds) break;
    if (listeners.size === 0) feeds.delete(other);
  }
  const made: FeedsOfRun = { whole: null, condensed: null, listeners: new Set() };
  feeds.set(id, made);
  return made;
}

/** Reads what was not read yet. Once the whole journal is there it stands for the condensed one as well, which is let go of. */
function wanted(id: string, form: Form): FeedsOfRun {
  const of = feedsOf(id);
  const onChange = (): void => {
    if (of.whole?.view.phase === 'ready') of.condensed = null;
    for (const listener of of.listeners) listener();
  };
  if (form === 'whole') of.whole ??= newFeed(id, form, onChange);
  else if (of.whole === null) of.condensed ??= newFeed(id, form, onChange);
  return of;
}

const viewOf = ({ whole, condensed }: FeedsOfRun, form: Form): JournalView => ((form === 'condensed' ? condensed : null) ?? whole)?.view ?? noJournal;

/** The journal of a run that somebody is about to look at. */
export function readAhead(id: string, form: Form): void {
  wanted(id, form);
}

const noJournal: JournalView = { phase: 'loading', problem: '', events: [], state: null, revision: 0 };
const nothingToHear = (): (() => void) => () => undefined;

function useJournal(id: string | null, form: Form): JournalView {
  const of = id === null ? null : wanted(id, form);
  return useSyncExternalStore(
    of === null
      ? nothingToHear
      : (listener) => {
          of.listeners.add(listener);
          return () => of.listeners.delete(listener);
        },
    () => (of === null ? noJournal : viewOf(of, form)),
  );
}

/** A run's journal, folded and live. `null`: no run. */
export const useRun = (id: string | null): JournalView => useJournal(id, 'whole');

/** The same where it is enough to know what the run came to: the same state, without the steps and the limits that were kept (HOST-170). */
export const useCondensedRun = (id: string | null): JournalView => useJournal(id, 'condensed');

/** Calls `action` whenever the line to the host is up: at once and after each return of the host. */
export function useWhenUp(action: () => void): void {
  const up = useHostState((host) => host.line.state === 'up');
  useEffect(() => {
    // Not run again for a new action only: the action of the render in which the line came up is the right one.
    if (up) action();
  }, [up]);
}
