/**
 * The host of the windows: owns the archive, the connection to the bench, and what is done on it. Windows attach to it over
 * any carrier and speak the contract; one of them holds control, the others watch, and a stop is taken from each.
 *
 * Requests are carried out side by side, never one after the other, and what takes time is done at the desk: so a stop waits
 * for nothing.
 */
import type { BenchReply } from '../../app/bench/port.ts';
import { problemsOf } from '../../app/boundary/problems.ts';
import type { BenchView } from '../../app/contract/bench-requests.ts';
import { requests, type ParsedParams, type RequestName } from '../../app/contract/contract.ts';
import { commandRow } from '../../app/journal/commands.ts';
import { deadManText, safeClause, safeSentence } from '../../app/run/safe-words.ts';
import { removeUnfinished, unfinishedOf } from '../archive/backup.ts';
import { shareNote } from '../archive/network-share.ts';
import { wait } from '../clock/clock.ts';
import { newId } from '../clock/entropy.ts';
import type { ManualAnswer } from '../service/manual-bench.ts';
import { BenchAtHost } from './bench-at-host.ts';
import { Changes } from './changes.ts';
import type { DeskJob } from './desk-work.ts';
import { DeskAnswers } from './desk-answers.ts';
import { EquipmentAtHost, inWords } from './equipment-at-host.ts';
import { GivenFiles } from './given-files.ts';
import { HandWork } from './hand-work.ts';
import type { HostParts } from './host-parts.ts';
import { Keeping } from './keeping.ts';
import { KeptExports } from './kept-exports.ts';
import { Failed, type HostMessage, type Handlers } from './outcome.ts';
import { OnCall } from './on-call.ts';
import { RunAtHost, statusOf } from './run-at-host.ts';
import { archiveHandlers } from './archive-handlers.ts';
import { benchHandlers } from './bench-handlers.ts';
import { equipmentHandlers } from './equipment-handlers.ts';
import { injectorHandlers } from './injector-handlers.ts';
import { lifeHandlers } from './life-handlers.ts';
import { libraryHandlers } from './library-handlers.ts';
import { recordHandlers } from './records-handlers.ts';
import { reportHandlers } from './report-handlers.ts';
import type { HostRoom } from './host-room.ts';
import { runHandlers } from './run-handlers.ts';
import { Sessions, type HostClient, type Window } from './sessions.ts';

const TICK_MS = 100;
const STATUS_EVERY_TICKS = 2;
const STATISTICS_EVERY_TICKS = 20;
const LOOK_AT_ARCHIVE_EVERY_TICKS = 5;
/** More than this many between two such events is a defect of the clock, not something to show. */
const MOST_FRAMES_AT_ONCE = 2000;
/** From the command to pause until the bench is confirmed to be safe. */
const REST_DEADLINE_MS = 20_000;

/** Every request, by area. */
const handlersIn = (room: HostRoom): Handlers<Window> => ({
  ...benchHandlers(room),
  ...libraryHandlers(room),
  ...equipmentHandlers(room),
  ...recordHandlers(room),
  ...runHandlers(room),
  ...injectorHandlers(room),
  ...lifeHandlers(room),
  ...reportHandlers(room),
  ...archiveHandlers(room),
});

export class Host {
  readonly #parts: HostParts;
  readonly #keeping: Keeping;
  readonly #changes = new Changes();
  readonly #sessions: Sessions;
  readonly #bench: BenchAtHost;
  readonly #runs: RunAtHost;
  readonly #hand: HandWork;
  readonly #exports: KeptExports;
  readonly #onCall: OnCall;
  readonly #handlers: Handlers<Window>;
  /** Counts stops and requests to make safe, so that what was begun before one is not finished after it. */
  #stops = 0;
  #ticks = 0;
  #cancelTick: () => void = () => undefined;

  constructor(parts: HostParts) {
    this.#parts = parts;
    const { clock, entropy, archive, freeDiskBytes, serialPorts, places, onDefect } = parts;
    this.#sessions = new Sessions({
      clock,
      onDefect,
      carryOut: (window, name, params) => this.#carryOut(window, name, params),
      welcome: (window) => this.#welcome(window),
      holderGone: () => void this.#afterHolder(),
    });
    const { tell } = this.#sessions;
    this.#keeping = new Keeping(archive, () => tell('archive', { problems: [...this.#keeping.problems] }), shareNote(archive.path));
    this.#bench = new BenchAtHost({ serialPorts, places, tell, onBench: (connected) => parts.onBench?.(connected), onChange: () => this.#hand.tell() });
    this.#runs = new RunAtHost({
      archive, clock, entropy, freeDiskBytes, tell,
      bench: this.#bench,
      desk: parts.desk,
      changes: this.#changes,
      lost: () => {
        this.#lookAtArchive();
        return this.#keeping.lost;
      },
      stops: () => this.#stops,
      onActivity: (active) => parts.onActivity?.(active),
      onCall: (call, run) => this.#onCall.call(call, { id: run.id, plan: run.state.plan.name, order: run.state.plan.order, operator: run.state.operator, accepted: run.state.counts.accepted, points: run.state.setPoints.length }),
    });
    this.#onCall = new OnCall({ archivePath: archive.path, clock, software: parts.software, ways: parts.onCallWays ?? null });
    this.#hand = new HandWork({ bench: this.#bench, runs: this.#runs, changes: this.#changes, tell });
    this.#exports = new KeptExports(parts.desk);
    this.#handlers = handlersIn({
      parts,
      keeping: this.#keeping,
      changes: this.#changes,
      sessions: this.#sessions,
      bench: this.#bench,
      runs: this.#runs,
      hand: this.#hand,
      exports: this.#exports,
      records: new EquipmentAtHost({ archive, clock, bench: this.#bench, desk: parts.desk }),
      given: new GivenFiles(),
      onCall: this.#onCall,
      desk: new DeskAnswers(parts.desk, onDefect),
      stop: (by) => this.stop(by),
      noteStop: () => {
        this.#stops += 1;
      },
      connect: (choice) => this.#connect(choice),
    });
    this.#tickLater();
  }

  /** A window is there. `send` must not throw and may drop what a slow window cannot take of frames and status. */
  attach(send: (message: HostMessage) => void): HostClient {
    return this.#sessions.attach(send);
  }

  /** Whether a run is going on. */
  get isActive(): boolean {
    return this.#runs.isActive;
  }

  /** Something beside the archive could not be kept: the windows are told the sentence. */
  noteKeeping(text: string): void {
    this.#keeping.note(text);
  }

  /** Pauses a run that is going on and makes safe what is driven by hand; resolves when that is confirmed or has failed. */
  async rest(why: string): Promise<ManualAnswer> {
    const { connected } = this.#bench;
    if (connected === null) return { accepted: true, reason: 'No bench is connected.' };
    const engaged = connected.manual.isEngaged;
    const byHand = await connected.manual.leave(why);
    const { run } = this.#runs;
    if (!byHand.accepted || run === null) return byHand;
    const unconfirmed: ManualAnswer = { accepted: false, reason: `${safeSentence(false)}. ${deadManText()}` };
    if (!run.isActive) return run.state.safe?.confirmed === false && !engaged ? unconfirmed : byHand;
    run.command({ kind: 'pause-now' }, why, newId(this.#parts.entropy));
    const deadline = new AbortController();
    const rested = await Promise.race([run.rest().then(() => true), wait(connected.place.clock, REST_DEADLINE_MS, deadline.signal).then(() => false)]);
    deadline.abort(new Error('over'));
    const confirmed = run.state.safe?.confirmed;
    if (!rested || confirmed !== true) return unconfirmed;
    return { accepted: true, reason: `The run ${run.state.mode === 'ended' ? 'has ended' : `is ${run.state.mode}`}; ${safeClause(confirmed)}.${run.state.mode === 'ended' ? '' : ' It can be continued.'}` };
  }

  /** For a program that is broken: only the bench is made safe, past run and archive. Resolves when that is confirmed or has failed; null: no bench is connected. */
  makeSafeNow(): Promise<BenchReply | null> {
    this.#stops += 1;
    const { connected } = this.#bench;
    if (connected === null) return Promise.resolve(null);
    const { run } = this.#runs;
    return run?.isActive === true ? run.makeSafeNow() : connected.bench.perform({ kind: 'make-safe' });
  }

  /** Makes safe and lets go of everything but the archive. */
  async close(): Promise<ManualAnswer> {
    this.#cancelTick();
    this.#sessions.stopWaiting();
    const changed = this.#changes.end();
    // First, so that the making safe has the processor.
    const ended = this.#parts.desk.endLongWork();
    this.#bench.stopConnecting('The host is ending.');
    // A run that is just being opened would outlive its archive.
    await changed;
    const rested = await this.rest('The host is ending.');
    await this.#runs.close();
    this.#onCall.close();
    await this.#bench.disconnect('The host has ended.');
    this.#sessions.close();
    await this.#exports.close();
    await this.#parts.desk.close();
    // Half a copy; a desk that had to be torn down could not remove it.
    for (const job of ended) if (job.kind === 'backup') removeUnfinished(unfinishedOf(job.path));
    return ended.length === 0 ? rested : { ...rested, reason: `${rested.reason} ${endedInWords(ended)}` };
  }

  // ---------------------------------------------------------------- messages

  #carryOut(window: Window, name: string, params: unknown): unknown {
    if (!Object.hasOwn(requests, name)) return new Failed('bad-request', `There is no request "${name}".`);
    const known = name as RequestName;
    const parsed = requests[known].params.safeParse(params);
    if (!parsed.success) return new Failed('bad-request', `"${name}" cannot be understood. ${inWords(problemsOf(parsed.error, params))}`);
    const wantsControl = needsControl(known, parsed.data);
    const { holder } = this.#sessions;
    if (wantsControl && holder !== window) {
      const who = holder === null ? 'No window holds control at the moment' : `Control is held by ${holder.name ?? 'another window'}`;
      return new Failed('not-in-control', `${who}. Nothing was done. Take control first.`);
    }
    if (wantsControl && this.#changes.ending) return new Failed('busy', 'The program is ending. Nothing was done.');
    const handler = this.#handlers[known] as (params: unknown, window: Window) => unknown;
    return handler(parsed.data, window);
  }

  /** What a window that has just come does not know from the reply to its hello. */
  #welcome(window: Window): void {
    const { run } = this.#runs;
    if (run !== null && window.name !== null) window.send({ event: 'run.status', data: { id: run.id, status: statusOf(run) } });
  }


  // ---------------------------------------------------------------- control

  /** A run goes on without a window, work by hand does not. */
  async #afterHolder(): Promise<void> {
    if (this.#bench.connected === null) return;
    await this.#bench.connected.manual.leave('The window that held control has gone.');
    this.#runs.handOver();
  }

  /** From any window and from outside of them, at once, whatever else is going on. `by` stands in the journal. */
  stop(by: string): ManualAnswer {
    this.#stops += 1;
    if (this.#bench.connected === null) return { accepted: true, reason: 'No bench is connected, so nothing is driven by this program.' };
    const { manual } = this.#bench.connected;
    if (manual.isEngaged) void manual.makeSafe('STOP was pressed.');
    const byRun = this.#runs.run?.command({ kind: 'emergency-stop' }, by, newId(this.#parts.entropy)).accepted ?? false;
    if (!byRun && !manual.isEngaged) void manual.makeSafe('STOP was pressed.');
    return { accepted: true, reason: 'The bench is being made safe: pulsing off, supply to its safe value, disarmed.' };
  }

  async #connect(choice: ParsedParams<'bench.connect'>['bench']): Promise<BenchView | Failed> {
    const place = await this.#bench.placeOf(choice);
    if (place instanceof Failed) return place;
    const inTheWay = await this.#runs.closeEnded();
    if (inTheWay !== null) {
      place.close();
      return inTheWay;
    }
    return this.#bench.connect(place);
  }

  // ---------------------------------------------------------------- what the windows are told by the clock

  #tickLater(): void {
    this.#cancelTick = this.#parts.clock.after(TICK_MS, () => {
      this.#tickLater();
      this.#tick();
    });
  }

  #tick(): void {
    this.#ticks += 1;
    const frames = this.#bench.takeFrames();
    if (frames.length > 0) this.#sessions.tell('frames', { frames: frames.slice(-MOST_FRAMES_AT_ONCE) });
    if (this.#ticks % STATUS_EVERY_TICKS === 0) {
      this.#runs.handOver();
      if (!this.#sessions.isEmpty) this.#runs.tellStatus();
      this.#hand.tell();
    }
    if (this.#ticks % LOOK_AT_ARCHIVE_EVERY_TICKS === 0) this.#lookAtArchive();
    if (this.#ticks % STATISTICS_EVERY_TICKS === 0 && this.#bench.connected !== null) this.#bench.tellView();
  }

  #lookAtArchive(): void {
    if (this.#keeping.look()) void this.#saveStrayed();
  }

  /** An open run makes safe and saves what there is by itself (ARC-40, ARC-41); without one the host does (ARC-45). */
  async #saveStrayed(): Promise<void> {
    if (this.#runs.run !== null) return;
    await this.#bench.connected?.manual.leave('The archive is not where it was.');
    this.#keeping.save();
  }
}

/** HOST-70: who may give a command of a run stands with the command. */
function needsControl(name: RequestName, params: unknown): boolean {
  if (name !== 'run.command') return requests[name].control;
  return commandRow((params as ParsedParams<'run.command'>).command).who === 'holder';
}

function endedInWords(ended: readonly DeskJob[]): string {
  const words: Partial<Record<DeskJob['kind'], string>> = { export: 'an export', verify: 'a check of the archive', backup: 'a backup', issue: 'the issue of a report', spread: 'the spread of a type', compare: 'a comparison', prove: 'the proof of a report', stability: 'the stability of a held point', references: 'the history of the reference injectors', match: 'a choice of sets', life: 'the life of an injector', recognise: 'a look at whose numbers these are' };
  const kinds = [...new Set(ended.map(({ kind }) => words[kind] ?? kind))];
  return `What a window had asked for was ended before it was finished: ${kinds.join(', ')}. The archive is as it was; ask for it again when the program runs again.`;
}
