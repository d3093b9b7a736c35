/**
 * The host of the windows: owns the archive, the connection to the bench, and what is done on it. Windows attach to it over
 * any carrier and speak the contract; one of them holds control, the others watch, and a stop is taken from each.
 *
 * Requests are carried out side by side, never one after the other, and what takes time is done at the desk: so a stop waits
 * for nothing.
 */
import { basename, dirname, extname, join } from 'node:path';
import type { BenchFrame, BenchReply } from '../../app/bench/port.ts';
import { problemsOf, type Problem } from '../../app/boundary/problems.ts';
import {
  requests, toHost, type BenchView, type EventData, type EventName, type Failure, type ParsedParams, type RequestName, type Result, type ToWindow,
} from '../../app/contract/contract.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { belongsTo } from '../../app/equipment/standing.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { createEngine, type RunStatus } from '../../app/run/engine.ts';
import { commandRow, type RunCommand } from '../../app/journal/commands.ts';
import { deadManText, safeClause, safeSentence } from '../../app/run/safe-words.ts';
import type { Archive } from '../archive/archive.ts';
import { removeUnfinished, unfinishedOf } from '../archive/backup.ts';
import type { LibraryRefusal } from '../archive/library.ts';
import { ArchiveUnreadable } from '../archive/read.ts';
import type { StorageFailure } from '../archive/sqlite.ts';
import type { Bench } from '../bench/driver.ts';
import { wait, type Clock } from '../clock/clock.ts';
import { isoDay, isoTime } from '../clock/dating.ts';
import { newId, type Entropy } from '../clock/entropy.ts';
import type { PortInfo } from '../link/serial-ports.ts';
import sampleEquipment from '../samples/equipment.json' with { type: 'json' };
import { ManualBench, type ManualAnswer } from '../service/manual-bench.ts';
import { loadRunGently, RunService, type RunFailure, type WhichRun } from '../service/run-service.ts';
import type { BenchPlace, BenchPlaces } from './bench-place.ts';
import type { Desk } from './desk.ts';
import type { AsJson, DeskFailure, DeskJob, DeskResults } from './desk-work.ts';
import { Keeping } from './keeping.ts';

export interface HostParts {
  readonly archive: Archive;
  readonly software: string;
  /** What the windows are served by; a bench has the clock of its place. */
  readonly clock: Clock;
  /** Where names come from that no other has. */
  readonly entropy: Entropy;
  /** Where the archive lies; null when it cannot be told. */
  readonly freeDiskBytes: () => number | null;
  /** The ports that a window may open, and no other (HOST-9). */
  readonly serialPorts: () => Promise<readonly PortInfo[]>;
  readonly places: BenchPlaces;
  /** Closed with the host. */
  readonly desk: Desk;
  /** Programming errors; the window is told too. */
  readonly onDefect: (error: unknown) => void;
  /** Told when a run begins or ends to be going on. */
  readonly onActivity?: (active: boolean) => void;
  /** Told when a bench begins or ends to be connected. */
  readonly onBench?: (connected: boolean) => void;
}

/** One window at its host. */
export interface HostClient {
  receive(message: unknown): void;
  close(): void;
}

interface Window {
  readonly send: (message: FromHost) => void;
  /** null until it has said hello. */
  name: string | null;
  unanswered: number;
}

interface Connected {
  readonly state: 'connected';
  readonly place: BenchPlace;
  readonly bench: Bench;
  readonly manual: ManualBench;
}

type BenchState =
  | { readonly state: 'absent'; readonly why: string }
  | { readonly state: 'connecting'; readonly place: BenchPlace; readonly abort: AbortController }
  | Connected;

/** A request that was not carried out, as a value. */
class Failed {
  readonly failure: Failure;

  constructor(code: Failure['code'], text: string) {
    this.failure = { code, text };
  }
}

/** A result that is text already (HOST-20). */
class Prepared<T> {
  readonly json: string;
  declare readonly of: T;

  constructor({ json }: AsJson<T>) {
    this.json = json;
  }
}

/** What goes to a window: a message of the contract, or the reply to a request with its result as JSON. */
export type FromHost = ToWindow | { readonly id: number; readonly json: string };

/** The message as the text that a window receives. */
export const textOf = (message: FromHost): string => ('json' in message ? `{"id":${message.id},"result":${message.json}}` : JSON.stringify(message));

type Answer<N extends RequestName> = Result<N> | Prepared<Result<N>> | Failed;
type Handler<N extends RequestName> = (params: ParsedParams<N>, window: Window) => Answer<N> | Promise<Answer<N>>;
type Handlers = { readonly [N in RequestName]: Handler<N> };

const TICK_MS = 100;
const STATUS_EVERY_TICKS = 2;
const STATISTICS_EVERY_TICKS = 20;
const LOOK_AT_ARCHIVE_EVERY_TICKS = 5;
/** More than this many between two such events is a defect of the clock, not something to show. */
const MOST_FRAMES_AT_ONCE = 2000;
const MOST_UNANSWERED = 300;
const MOST_EXPORTS = 4;
/** Until a run brings its own. */
const LINK_WITHOUT_RUN = { deadManMs: 1000, telemetryHz: 20 };
/** A page that is loaded again is back sooner. */
const HOLDER_GONE_MS = 5000;
/** From the command to pause until the bench is confirmed to be safe. */
const REST_DEADLINE_MS = 20_000;
/** Bench time in which a frame must have come. */
const FRAME_DEADLINE_MS = 2000;

export class Host {
  readonly #parts: HostParts;
  readonly #windows = new Set<Window>();
  readonly #keeping: Keeping;
  #holder: Window | null = null;
  #cancelHolderGone: () => void = () => undefined;
  #bench: BenchState = { state: 'absent', why: 'No bench has been connected yet.' };
  #run: RunService | null = null;
  /** What the bench is being changed by; null: nothing. */
  #changing: string | null = null;
  /** Resolves when the latest such change is over; never rejects. */
  #changed: Promise<unknown> = Promise.resolve();
  /** Nothing is begun any more. */
  #ending = false;
  /** Counts stops and requests to make safe, so that what was begun before one is not finished after it. */
  #stops = 0;
  #frames: BenchFrame[] = [];
  /** Files that windows may read piece by piece, the oldest export first. */
  readonly #exports = new Map<string, { readonly folder: string; readonly files: ReadonlySet<string> }>();
  #exportsMade = 0;
  #ticks = 0;
  #lastStatus = '';
  #lastManual = '';
  #active = false;
  #cancelTick: () => void = () => undefined;

  constructor(parts: HostParts) {
    this.#parts = parts;
    this.#keeping = new Keeping(parts.archive, () => this.#tell('archive', { problems: [...this.#keeping.problems] }));
    this.#tickLater();
  }

  /** A window is there. `send` must not throw and may drop what a slow window cannot take of frames and status. */
  attach(send: (message: FromHost) => void): HostClient {
    const window: Window = { send, name: null, unanswered: 0 };
    this.#windows.add(window);
    return {
      receive: (message) => void this.#receive(window, message),
      close: () => this.#leave(window),
    };
  }

  /** Whether a run is going on. */
  get isActive(): boolean {
    return this.#run?.isActive ?? false;
  }

  /** Something beside the archive could not be kept: the windows are told the sentence. */
  noteKeeping(text: string): void {
    this.#keeping.note(text);
  }

  /** Pauses a run that is going on and makes safe what is driven by hand; resolves when that is confirmed or has failed. */
  async rest(why: string): Promise<ManualAnswer> {
    if (this.#bench.state !== 'connected') return { accepted: true, reason: 'No bench is connected.' };
    const engaged = this.#bench.manual.isEngaged;
    const byHand = await this.#bench.manual.leave(why);
    const run = this.#run;
    if (!byHand.accepted || run === null) return byHand;
    const unconfirmed: ManualAnswer = { accepted: false, reason: `${safeSentence(false)}. ${deadManText()}` };
    if (!run.isActive) return run.state.safe?.confirmed === false && !engaged ? unconfirmed : byHand;
    run.command({ kind: 'pause-now' }, why, newId(this.#parts.entropy));
    const deadline = new AbortController();
    const rested = await Promise.race([run.rest().then(() => true), wait(this.#bench.place.clock, REST_DEADLINE_MS, deadline.signal).then(() => false)]);
    deadline.abort(new Error('over'));
    const confirmed = run.state.safe?.confirmed;
    if (!rested || confirmed !== true) return unconfirmed;
    return { accepted: true, reason: `The run ${run.state.mode === 'ended' ? 'has ended' : `is ${run.state.mode}`}; ${safeClause(confirmed)}.${run.state.mode === 'ended' ? '' : ' It can be continued.'}` };
  }

  /** For a program that is broken: only the bench is made safe, past run and archive. Resolves when that is confirmed or has failed; null: no bench is connected. */
  makeSafeNow(): Promise<BenchReply | null> {
    this.#stops += 1;
    const at = this.#bench;
    if (at.state !== 'connected') return Promise.resolve(null);
    return this.#run?.isActive === true ? this.#run.makeSafeNow() : at.bench.perform({ kind: 'make-safe' });
  }

  /** Makes safe and lets go of everything but the archive. */
  async close(): Promise<ManualAnswer> {
    this.#cancelTick();
    this.#cancelHolderGone();
    this.#ending = true;
    // First, so that the making safe has the processor.
    const ended = this.#parts.desk.endLongWork();
    if (this.#bench.state === 'connecting') this.#bench.abort.abort(new Error('The host is ending.'));
    // A run that is just being opened would outlive its archive.
    await this.#changed;
    const rested = await this.rest('The host is ending.');
    await this.#closeRun();
    await this.#disconnect('The host has ended.');
    this.#windows.clear();
    await Promise.all([...this.#exports.values()].map(({ folder }) => this.#parts.desk.do({ kind: 'forget', folder })));
    await this.#parts.desk.close();
    // Half a copy; a desk that had to be torn down could not remove it.
    for (const job of ended) if (job.kind === 'backup') removeUnfinished(unfinishedOf(job.path));
    return ended.length === 0 ? rested : { ...rested, reason: `${rested.reason} ${endedInWords(ended)}` };
  }

  // ---------------------------------------------------------------- messages

  async #receive(window: Window, message: unknown): Promise<void> {
    const parsed = toHost.safeParse(message);
    if (!parsed.success) {
      // Without a number there is nobody to answer.
      const number = toHost.pick({ id: true }).safeParse(message);
      if (number.success) window.send({ id: number.data.id, failure: { code: 'bad-request', text: 'This message is none of the contract. Window and host may be of different versions.' } });
      return;
    }
    const { id, name, params } = parsed.data;
    if (window.unanswered >= MOST_UNANSWERED && name !== 'stop') {
      window.send({ id, failure: { code: 'busy', text: 'This window has asked more than can be answered at once. Wait for the answers.' } });
      return;
    }
    window.unanswered += 1;
    let outcome: unknown;
    try {
      outcome = await this.#carryOut(window, name, params);
    } catch (error) {
      if (error instanceof ArchiveUnreadable) {
        outcome = new Failed('archive', error.message);
      } else {
        this.#parts.onDefect(error);
        outcome = new Failed('defect', `This is a defect of the program (${(error as Error).message}). What was committed before is kept. Look at the bench before you go on.`);
      }
    }
    window.unanswered -= 1;
    if (!this.#windows.has(window)) return;
    if (outcome instanceof Failed) window.send({ id, failure: outcome.failure });
    else window.send(outcome instanceof Prepared ? { id, json: outcome.json } : { id, result: outcome });
    if (name === 'hello') this.#welcome(window);
  }

  #carryOut(window: Window, name: string, params: unknown): unknown {
    if (!Object.hasOwn(requests, name)) return new Failed('bad-request', `There is no request "${name}".`);
    const known = name as RequestName;
    const parsed = requests[known].params.safeParse(params);
    if (!parsed.success) return new Failed('bad-request', `"${name}" cannot be understood. ${inWords(problemsOf(parsed.error, params))}`);
    const wantsControl = needsControl(known, parsed.data);
    if (wantsControl && this.#holder !== window) {
      const who = this.#holder === null ? 'No window holds control at the moment' : `Control is held by ${this.#holder.name ?? 'another window'}`;
      return new Failed('not-in-control', `${who}. Nothing was done. Take control first.`);
    }
    if (wantsControl && this.#ending) return new Failed('busy', 'The program is ending. Nothing was done.');
    const handler = this.#handlers[known] as Handler<RequestName>;
    return handler(parsed.data, window);
  }

  #tell<N extends EventName>(event: N, data: EventData<N>): void {
    for (const window of this.#windows) if (window.name !== null) window.send({ event, data });
  }

  /** What a window that has just come does not know from the reply to its hello. */
  #welcome(window: Window): void {
    if (this.#run !== null && window.name !== null) window.send({ event: 'run.status', data: { id: this.#run.id, status: statusOf(this.#run) } });
  }

  // ---------------------------------------------------------------- requests

  readonly #handlers: Handlers = {
    hello: ({ name }, window) => {
      window.name = name;
      if (this.#holder === null) this.#giveControl(window);
      else this.#tellControl();
      return {
        software: this.#parts.software,
        archivePath: this.#parts.archive.path,
        bench: this.#benchView(),
        control: this.#controlView(window),
        openRun: this.#run?.id ?? null,
        manual: this.#manualView(),
        now: this.#parts.clock.unixNow(),
        archiveProblems: [...this.#keeping.problems],
      };
    },
    'control.take': (_params, window) => {
      if (window.name === null) return new Failed('bad-request', 'A window says hello before it takes control.');
      this.#giveControl(window);
      return this.#controlView(window);
    },
    stop: (_params, window) => this.stop(window.name ?? 'a window'),

    'bench.ports': async () => (await this.#parts.serialPorts()).map(({ path, manufacturer }) => ({ path, description: manufacturer ?? '' })),
    'bench.connect': ({ bench }) => this.#changingBench('A bench is being connected', () => this.#connect(bench)),
    'bench.disconnect': () => {
      // Somebody may be tired of waiting for a bench that does not answer.
      if (this.#bench.state === 'connecting') {
        this.#bench.abort.abort(new Error('disconnected'));
        return { state: 'absent', why: 'Connecting was cancelled.' };
      }
      return this.#changingBench('The bench is being disconnected', async () => {
        const inTheWay = await this.#closeEndedRun();
        if (inTheWay !== null) return inTheWay;
        await this.#disconnect('The bench was disconnected.');
        return this.#benchView();
      });
    },

    'manual.supply': ({ volts }) => this.#byHand((manual) => manual.supply(volts)),
    'manual.pressure': ({ kpa }) => this.#byHand((manual) => manual.pressure(kpa)),
    'manual.burst': (burst) => this.#byHand((manual) => manual.burst(burst)),
    'manual.safe': async () => {
      if (this.#bench.state !== 'connected') return noBench();
      if (this.isActive) return new Failed('refused', 'A run is going on. Pause or abort it, or press stop; each of them makes the bench safe.');
      // A run that is just taking the bench over would drive it in the next moment.
      this.#stops += 1;
      const answer = await this.#bench.manual.makeSafe('Make safe was asked for.');
      this.#handOver();
      return answer;
    },
    'manual.clear-faults': () => {
      if (this.#bench.state !== 'connected') return noBench();
      const mode = this.#run?.state.mode;
      if (mode !== undefined && mode !== 'ready' && mode !== 'ended') return new Failed('refused', 'A run is open. Acknowledge its trip, which clears the faults of the controller too.');
      return this.#bench.manual.clearFaults();
    },

    'parts.list': () => this.#parts.archive.library.parts(),
    'parts.save': ({ parts }) => {
      const saved = this.#parts.archive.library.saveParts(parts);
      return saved.ok ? saved.value : notSaved(saved);
    },
    'equipment.read': () => {
      const record = this.#equipment();
      return record instanceof Failed && record.failure.code === 'refused' ? null : record;
    },
    'equipment.save': ({ document }) => {
      const parsed = parseEquipment(document);
      if (!parsed.ok) return { problems: [...parsed.problems] };
      const saved = this.#parts.archive.library.saveEquipment(document);
      return saved.ok ? { problems: [] } : notSaved(saved);
    },
    'plans.list': () => this.#parts.archive.library.plans(),
    'plans.versions': ({ id }) => this.#parts.archive.library.planVersions(id),
    'plans.read': ({ id, version }) =>
      this.#parts.archive.library.plan(id, version) ?? new Failed('bad-request', 'This archive has no such version of a plan. Load the list of plans again.'),
    'plans.save': ({ id, document, by }) => {
      const parsed = parsePlan(document);
      if (!parsed.ok) return { row: null, problems: [...parsed.problems] };
      const saved = this.#parts.archive.library.savePlan({ id, name: parsed.plan.name, document, by });
      return saved.ok ? { row: saved.value, problems: [] } : notSaved(saved);
    },
    'plan.check': async ({ document }) => {
      const equipment = this.#equipment();
      if (equipment instanceof Failed) return equipment;
      return this.#atDesk(
        await this.#parts.desk.do({
          kind: 'check',
          document,
          capabilities: this.#bench.state === 'connected' ? this.#bench.bench.capabilities : null,
          controller: this.#bench.state === 'connected' ? { ...this.#bench.bench.identity, simulated: this.#bench.place.simulated } : null,
          equipment,
          freeDiskBytes: this.#parts.freeDiskBytes(),
          today: isoDay(this.#parts.clock.unixNow()),
        }),
      );
    },

    'run.open': ({ document, operator }) =>
      this.#changingBench('A run is being opened', () => {
        const parsed = parsePlan(document);
        if (!parsed.ok) return new Failed('bad-request', `The plan cannot be used. ${inWords(parsed.problems)}`);
        const equipment = this.#equipment();
        if (equipment instanceof Failed) return equipment;
        return this.#openRun({ kind: 'new', plan: parsed.plan, equipment, operator, software: this.#parts.software });
      }),
    'run.continue': ({ id }) =>
      this.#run?.id === id ? { id } : this.#changingBench('A run is being opened', () => this.#openRun({ kind: 'stored', id })),
    'run.command': ({ id, command, by, commandId }) => this.#command(id, command, by, commandId),
    'run.close': ({ id }) => {
      if (this.#run?.id !== id) return notOpen();
      if (this.isActive) return new Failed('busy', 'The run is going on. Pause, finish or abort it first.');
      return this.#changingBench('A run is being closed', async () => {
        await this.#closeRun();
        return {};
      });
    },
    'run.journal': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'journal', params })),
    'run.telemetry': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'telemetry', params })),
    'runs.list': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'list', params })),
    'run.export': async (params) => this.#keepExport(await this.#parts.desk.do({ kind: 'export', params, software: this.#parts.software })),
    'export.piece': async ({ export: name, file, from }) => {
      const kept = this.#exports.get(name);
      if (kept?.files.has(file) !== true) return new Failed('bad-request', 'The host keeps no such file any more. Export the run again.');
      return this.#prepared(await this.#parts.desk.do({ kind: 'piece', path: join(kept.folder, file), from }));
    },
    'archive.head': async () => this.#atDesk(await this.#parts.desk.do({ kind: 'head' })),
    'archive.verify': async (params) => this.#atDesk(await this.#parts.desk.do({ kind: 'verify', params })),
    'archive.backup': async () => this.#atDesk(await this.#parts.desk.do({ kind: 'backup', path: backupPath(this.#parts.archive.path, this.#parts.clock.unixNow()) })),
  };

  /** Under a name for the windows; the oldest makes room. */
  #keepExport(answer: { readonly ok: true; readonly value: DeskResults['export'] } | DeskFailure): Result<'run.export'> | Failed {
    const made = this.#atDesk(answer);
    if (made instanceof Failed) return made;
    const name = `export-${(this.#exportsMade += 1)}`;
    this.#exports.set(name, { folder: made.folder, files: new Set(made.files.map((file) => file.name)) });
    for (const [oldest, { folder }] of this.#exports) {
      if (this.#exports.size <= MOST_EXPORTS) break;
      this.#exports.delete(oldest);
      void this.#parts.desk.do({ kind: 'forget', folder });
    }
    return { export: name, files: made.files };
  }

  #prepared<T>(answer: { readonly ok: true; readonly value: AsJson<T> } | DeskFailure): Prepared<T> | Failed {
    const text = this.#atDesk(answer);
    return text instanceof Failed ? text : new Prepared(text);
  }

  #atDesk<T>(answer: { readonly ok: true; readonly value: T } | DeskFailure): T | Failed {
    if (answer.ok) return answer.value;
    if (answer.code === 'defect') this.#parts.onDefect(new Error(answer.text));
    return new Failed(answer.code, answer.text);
  }

  /**
   * The latest that was saved. The record of the simulated bench serves that bench, and plans that are made while nothing is
   * connected; it never stands in for the record of a bench on a port (EQ-7).
   */
  #equipment(): Equipment | Failed {
    const stored = this.#parts.archive.library.equipment();
    const at = this.#bench;
    const onPort = at.state === 'connected' && !at.place.simulated;
    if (stored === null && onPort) {
      const { model, serialNumber } = at.bench.identity;
      return new Failed('refused', `This archive has no equipment record, and a run on ${model} ${serialNumber} needs the record of that bench: nothing can be measured without the certificates of its instruments. Nothing was driven. Load the record on the page Bench.`);
    }
    const parsed = parseEquipment(stored ?? sampleEquipment);
    if (!parsed.ok) return new Failed('archive', `The equipment record in the archive cannot be used. ${inWords(parsed.problems)}`);
    const { equipment } = parsed;
    if (at.state !== 'connected' || onPort || equipment.equipmentVersion === 1 || belongsTo(equipment, at.bench.identity)) return equipment;
    // The lab's own record names its own controller: the simulated bench has other instruments.
    const ofSimulated = parseEquipment(sampleEquipment);
    if (!ofSimulated.ok) throw new Error('the sample record does not parse');
    return ofSimulated.equipment;
  }

  // ---------------------------------------------------------------- control

  #controlView(window: Window): EventData<'control'> {
    return { mine: this.#holder === window, holder: this.#holder?.name ?? null, windows: [...this.#windows].filter((w) => w.name !== null).length };
  }

  #giveControl(window: Window): void {
    this.#cancelHolderGone();
    this.#holder = window;
    this.#tellControl();
  }

  #tellControl(): void {
    for (const window of this.#windows) if (window.name !== null) window.send({ event: 'control', data: this.#controlView(window) });
  }

  #leave(window: Window): void {
    this.#windows.delete(window);
    if (this.#holder === window) {
      this.#holder = null;
      this.#cancelHolderGone = this.#parts.clock.after(HOLDER_GONE_MS, () => void this.#afterHolder());
    }
    this.#tellControl();
  }

  /** A run goes on without a window, work by hand does not. */
  async #afterHolder(): Promise<void> {
    if (this.#bench.state !== 'connected') return;
    await this.#bench.manual.leave('The window that held control has gone.');
    this.#handOver();
  }

  /** From any window and from outside of them, at once, whatever else is going on. `by` stands in the journal. */
  stop(by: string): ManualAnswer {
    this.#stops += 1;
    if (this.#bench.state !== 'connected') return { accepted: true, reason: 'No bench is connected, so nothing is driven by this program.' };
    const { manual } = this.#bench;
    if (manual.isEngaged) void manual.makeSafe('STOP was pressed.');
    const byRun = this.#run?.command({ kind: 'emergency-stop' }, by, newId(this.#parts.entropy)).accepted ?? false;
    if (!byRun && !manual.isEngaged) void manual.makeSafe('STOP was pressed.');
    return { accepted: true, reason: 'The bench is being made safe: pulsing off, supply to its safe value, disarmed.' };
  }

  // ---------------------------------------------------------------- bench

  #benchView(): BenchView {
    const at = this.#bench;
    switch (at.state) {
      case 'absent':
        return { state: 'absent', why: at.why };
      case 'connecting':
        return { state: 'connecting', to: at.place.description };
      case 'connected': {
        const { bench, place } = at;
        return {
          state: 'connected',
          simulated: place.simulated,
          link: bench.link,
          up: bench.downReason === null,
          why: bench.downReason ?? '',
          identity: bench.identity,
          capabilities: bench.capabilities,
          bootId: bench.bootId,
          statistics: asRecord(bench.statistics()),
        };
      }
    }
  }

  #setBench(state: BenchState): void {
    const before = this.#bench.state === 'connected';
    this.#bench = state;
    if (before !== (state.state === 'connected')) this.#parts.onBench?.(!before);
    this.#tell('bench', this.#benchView());
    this.#tellManual();
  }

  /** One such change at a time; a second is refused and not kept waiting. */
  async #changingBench<T>(what: string, change: () => T | Failed | Promise<T | Failed>): Promise<T | Failed> {
    if (this.#changing !== null) return new Failed('busy', `${this.#changing} at the moment. Nothing was done. Try again when that is over.`);
    if (this.#ending) return new Failed('busy', 'The program is ending. Nothing was done.');
    this.#changing = what;
    let over = (): void => undefined;
    this.#changed = new Promise<void>((resolve) => {
      over = resolve;
    });
    try {
      return await change();
    } finally {
      this.#changing = null;
      over();
    }
  }

  async #connect(choice: ParsedParams<'bench.connect'>['bench']): Promise<BenchView | Failed> {
    if (choice.kind === 'port' && !(await this.#parts.serialPorts()).some(({ path }) => path === choice.path)) {
      return new Failed('bad-request', `This machine does not list ${choice.path} as a port, so it was not opened. Check the cable, and choose a port of the list; one that is never listed has to be named with --port when the program is started.`);
    }
    const place = this.#parts.places(choice);
    if ('problem' in place) return new Failed('bad-request', place.problem);
    const inTheWay = await this.#closeEndedRun();
    if (inTheWay !== null) {
      place.close();
      return inTheWay;
    }
    await this.#disconnect('Another bench is being connected.');
    const abort = new AbortController();
    this.#setBench({ state: 'connecting', place, abort });
    const connected = await place.connect({ ...LINK_WITHOUT_RUN, signal: abort.signal });
    if (!connected.ok) {
      place.close();
      this.#setBench({ state: 'absent', why: connected.text });
      return new Failed('bench', connected.text);
    }
    const { bench } = connected;
    bench.listen({
      onFrame: (frame) => this.#frames.push(frame),
      onLink: () => this.#tell('bench', this.#benchView()),
    });
    const manual = new ManualBench(bench, place.clock);
    this.#setBench({ state: 'connected', place, bench, manual });
    // Its dead-man hears this program from now on: what another left driven would stay so (HOST-50).
    await this.#nextFrame();
    if (manual.isFoundDriven) await manual.makeSafe('The bench was still driven when it was connected.');
    return this.#benchView();
  }

  async #disconnect(why: string): Promise<void> {
    const at = this.#bench;
    if (at.state === 'connecting') at.abort.abort(new Error(why));
    if (at.state !== 'connected') return;
    const safe = await at.manual.leave(why);
    at.manual.close();
    await at.bench.close();
    at.place.close();
    this.#setBench({ state: 'absent', why: safe.accepted ? why : `${why} ${safe.reason}` });
  }

  // ---------------------------------------------------------------- work by hand

  #manualView(): EventData<'manual'> {
    if (this.#bench.state !== 'connected') return null;
    const view = this.#bench.manual.view();
    const against = this.#runAgainstHand();
    return against === null ? view : { ...view, against };
  }

  /** Why the open run does not let anybody work by hand; null: it does. */
  #runAgainstHand(): string | null {
    if (this.#run?.isFailing === true) return 'The archive of the open run could not be written, so nothing could be noted in its journal. Close it first.';
    const mode = this.#run?.state.mode;
    switch (mode) {
      case undefined:
      case 'ready':
      case 'paused':
      case 'ended':
        return null;
      case 'tripped':
        return 'The run has tripped. Find the cause and acknowledge it first.';
      case 'proving':
      case 'measuring':
      case 'making-safe':
      case 'held':
        return 'A run is going on. Pause it first.';
    }
  }

  async #byHand(work: (manual: ManualBench) => Promise<ManualAnswer>): Promise<ManualAnswer | Failed> {
    if (this.#bench.state !== 'connected') return noBench();
    if (this.#changing !== null) return new Failed('busy', `${this.#changing} at the moment. Nothing was driven.`);
    const { manual } = this.#bench;
    const refusal = (): Failed | null => {
      const against = this.#runAgainstHand();
      return against === null ? null : new Failed('refused', `${against} Nothing was driven by hand.`);
    };
    const before = refusal();
    if (before !== null) return before;
    if (this.#run?.state.mode === 'paused') this.#run.setAside();
    // That it is set aside may not have got into its journal.
    const after = refusal();
    if (after !== null) return after;
    const answer = await work(manual);
    this.#handOver();
    this.#tellManual();
    return answer;
  }

  /** A paused run watches the bench again as soon as nobody works on it by hand. */
  #handOver(): void {
    if (this.#bench.state === 'connected' && !this.#bench.manual.isEngaged) this.#run?.takeBack();
  }

  // ---------------------------------------------------------------- runs

  async #openRun(which: WhichRun): Promise<{ id: string } | Failed> {
    if (this.#bench.state !== 'connected') return noBench();
    const inTheWay = await this.#closeEndedRun();
    if (inTheWay !== null) return inTheWay;
    this.#lookAtArchive();
    if (this.#keeping.lost !== null) return new Failed('archive', this.#keeping.lost);
    const { bench, place, manual } = this.#bench;
    const safe = await manual.leave('A run is being opened.');
    if (!safe.accepted) return new Failed('bench', safe.reason);
    const { archive, entropy, freeDiskBytes } = this.#parts;
    const opened = await RunService.open({ archive, clock: place.clock, bench, simulated: place.simulated, entropy, freeDiskBytes }, which);
    if (!opened.ok) return new Failed(failureCodes[opened.code], opened.text);
    const { service, committed } = opened;
    this.#run = service;
    service.listen((_events, committed) => {
      if (committed.length > 0) this.#tell('run.events', { id: service.id, events: [...committed] });
      this.#lookAtActivity();
    });
    // A window that has read this run before knows nothing of its being opened again.
    this.#tell('run.events', { id: service.id, events: [...committed] });
    this.#tell('run.opened', { id: service.id });
    this.#lookAtActivity();
    return { id: service.id };
  }

  async #command(id: string, command: RunCommand, by: string, commandId: string): Promise<ManualAnswer | Failed> {
    const run = this.#run;
    if (run?.id !== id) return commandRow(command).stored ? this.#changingBench('A decision is being stored', () => this.#chooseStored(id, command, by, commandId)) : notOpen();
    if (commandRow(command).drives && this.#bench.state === 'connected' && this.#bench.manual.isEngaged) {
      const { manual } = this.#bench;
      return this.#changingBench('The run takes the bench over', async () => {
        const stops = this.#stops;
        const safe = await manual.leave('The run goes on.');
        if (!safe.accepted) return { accepted: false, reason: safe.reason };
        this.#handOver();
        await this.#nextFrame();
        return this.#stops === stops ? this.#commandRun(run, command, by, commandId) : { accepted: false, reason: 'STOP was pressed or the bench was told to be safe meanwhile, so the run does not go on by itself.' };
      });
    }
    return this.#commandRun(run, command, by, commandId);
  }

  #commandRun(run: RunService, command: RunCommand, by: string, commandId: string): ManualAnswer {
    const answer = run.command(command, by, commandId);
    this.#tellStatus();
    return answer;
  }

  /** A decision on a run that is not on the bench: the engine answers from the stored state, and asks nothing of a bench. */
  async #chooseStored(id: string, command: RunCommand, by: string, commandId: string): Promise<ManualAnswer | Failed> {
    const { archive, clock } = this.#parts;
    const loaded = await loadRunGently(archive, id, clock);
    if (!loaded.ok) return new Failed(failureCodes[loaded.code], loaded.text);
    const { state } = loaded;
    if (state.bench === null || state.mode === 'proving' || state.mode === 'measuring' || state.mode === 'held' || state.mode === 'making-safe') {
      return new Failed('refused', 'The host of this run ended while it was going on. Nothing was changed. Continue it on the bench, or abort it there, before deciding about its attempts.');
    }
    const output = createEngine({ points: expandPlan(state.plan), state }).step({ kind: 'command', now: 0, id: commandId, by, command });
    const written = archive.append(id, output.events, []);
    if (!written.ok) return new Failed('archive', written.text);
    if (written.events.length > 0) this.#tell('run.events', { id, events: [...written.events] });
    if (output.answer === null) throw new Error('a command without an answer');
    return output.answer;
  }

  /** Resolves when the engine has seen the bench again, or could not. */
  async #nextFrame(): Promise<void> {
    if (this.#bench.state !== 'connected') return;
    const { bench, place } = this.#bench;
    const come = new AbortController();
    const unlisten = bench.listen({ onFrame: () => come.abort(new Error('a frame came')), onLink: () => undefined });
    await wait(place.clock, FRAME_DEADLINE_MS, come.signal).catch(() => undefined);
    unlisten();
  }

  /** Closes a run that has ended; an open one that has not is in the way of what is about to be done. */
  async #closeEndedRun(): Promise<Failed | null> {
    if (this.#run === null) return null;
    if (this.#run.state.mode !== 'ended' && this.#run.failure === null) {
      return new Failed('busy', 'A run is open on the bench. Nothing was done. Close it first; what is unfinished can be continued later.');
    }
    await this.#closeRun();
    return null;
  }

  async #closeRun(): Promise<void> {
    const run = this.#run;
    if (run === null) return;
    this.#run = null;
    await run.close();
    this.#tell('run.opened', { id: null });
    this.#lookAtActivity();
    // The bench keeps the dead-man of the run if it does not take this one.
    if (this.#bench.state === 'connected') await this.#bench.bench.configure(LINK_WITHOUT_RUN);
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
    if (this.#frames.length > 0) {
      const frames = this.#frames.slice(-MOST_FRAMES_AT_ONCE);
      this.#frames = [];
      this.#tell('frames', { frames });
    }
    if (this.#ticks % STATUS_EVERY_TICKS === 0) {
      this.#handOver();
      this.#tellStatus();
      this.#tellManual();
    }
    if (this.#ticks % LOOK_AT_ARCHIVE_EVERY_TICKS === 0) this.#lookAtArchive();
    if (this.#ticks % STATISTICS_EVERY_TICKS === 0 && this.#bench.state === 'connected') this.#tell('bench', this.#benchView());
  }

  #lookAtArchive(): void {
    if (this.#keeping.look()) void this.#saveStrayed();
  }

  /** An open run makes safe and saves what there is by itself (ARC-40, ARC-41); without one the host does (ARC-45). */
  async #saveStrayed(): Promise<void> {
    if (this.#run !== null) return;
    if (this.#bench.state === 'connected') await this.#bench.manual.leave('The archive is not where it was.');
    this.#keeping.save();
  }

  #tellStatus(): void {
    if (this.#run === null || this.#windows.size === 0) return;
    const data = { id: this.#run.id, status: statusOf(this.#run) };
    const text = JSON.stringify(data);
    if (text === this.#lastStatus) return;
    this.#lastStatus = text;
    this.#tell('run.status', data);
  }

  #tellManual(): void {
    const view = this.#manualView();
    const text = JSON.stringify(view);
    if (text === this.#lastManual) return;
    this.#lastManual = text;
    this.#tell('manual', view);
  }

  #lookAtActivity(): void {
    if (this.isActive === this.#active) return;
    this.#active = this.isActive;
    this.#parts.onActivity?.(this.#active);
  }
}

const failureCodes = { bench: 'bench', archive: 'archive', 'no-such-run': 'no-run', 'bad-record': 'archive', clock: 'refused' } as const satisfies Record<RunFailure['code'], Failure['code']>;

const noBench = (): Failed => new Failed('no-bench', 'No bench is connected. Nothing was done. Connect a bench first.');
const notOpen = (): Failed => new Failed('no-run', 'This run is not open on the bench. Nothing was done. Open it with continue first.');

/** HOST-70: who may give a command of a run stands with the command. */
function needsControl(name: RequestName, params: unknown): boolean {
  if (name !== 'run.command') return requests[name].control;
  return commandRow((params as ParsedParams<'run.command'>).command).who === 'holder';
}

function notSaved(failure: LibraryRefusal | StorageFailure): Failed {
  return new Failed(failure.code === 'refused' ? 'bad-request' : 'archive', failure.text);
}

const inWords = (problems: readonly Problem[]): string => problems.map((p) => (p.path === '' ? p.text : `${p.path}: ${p.text}`)).join(' ');

const asRecord = (value: object | null): Record<string, unknown> | null => (value === null ? null : { ...value });

/** A run whose archive failed has stopped, whatever its last state says. */
function statusOf(run: RunService): RunStatus {
  const status = run.status();
  return run.failure === null ? status : { ...status, doing: 'The run has stopped, because its archive could not be written.', advice: run.failure, waitingFor: null, remaining: null };
}

function endedInWords(ended: readonly DeskJob[]): string {
  const words: Partial<Record<DeskJob['kind'], string>> = { export: 'an export', verify: 'a check of the archive', backup: 'a backup' };
  const kinds = [...new Set(ended.map(({ kind }) => words[kind] ?? kind))];
  return `What a window had asked for was ended before it was finished: ${kinds.join(', ')}. The archive is as it was; ask for it again when the program runs again.`;
}

/** Beside the archive, with the time in UTC: `railhouse 2026-03-31 12.05.09.sqlite`. */
function backupPath(archivePath: string, now: number): string {
  const extension = extname(archivePath);
  const stamp = isoTime(now).replace(/\.\d{3}Z$/, '').replace('T', ' ').replaceAll(':', '.');
  return join(dirname(archivePath), `${basename(archivePath, extension)} ${stamp}${extension}`);
}
