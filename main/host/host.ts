/**
 * The host of the windows: owns the archive, the connection to the bench, and what is done on it. Windows attach to it over
 * any carrier and speak the contract; one of them holds control, the others watch, and a stop is taken from each.
 *
 * Requests are carried out side by side, never one after the other, and what takes time is done at the desk: so a stop waits
 * for nothing.
 */
import { basename, dirname, extname, join } from 'node:path';
import type { BenchReply } from '../../app/bench/port.ts';
import { problemsOf } from '../../app/boundary/problems.ts';
import { requests, type BenchView, type ParsedParams, type RequestName } from '../../app/contract/contract.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { commandRow } from '../../app/journal/commands.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { deadManText, safeClause, safeSentence } from '../../app/run/safe-words.ts';
import { imperfectionFields, namedScenarios } from '../../firmware-protocol/simulator/named-scenarios.ts';
import type { Archive } from '../archive/archive.ts';
import { removeUnfinished, unfinishedOf } from '../archive/backup.ts';
import { shareNote } from '../archive/network-share.ts';
import { wait, type Clock } from '../clock/clock.ts';
import { isoTime } from '../clock/dating.ts';
import { newId, type Entropy } from '../clock/entropy.ts';
import type { PortInfo } from '../link/serial-ports.ts';
import type { ManualAnswer } from '../service/manual-bench.ts';
import { BenchAtHost } from './bench-at-host.ts';
import type { BenchPlaces } from './bench-place.ts';
import { Changes } from './changes.ts';
import type { Desk } from './desk.ts';
import type { AsJson, DeskFailure, DeskJob } from './desk-work.ts';
import { EquipmentAtHost, inWords } from './equipment-at-host.ts';
import { GivenFiles } from './given-files.ts';
import { HandWork } from './hand-work.ts';
import { Keeping } from './keeping.ts';
import { KeptExports } from './kept-exports.ts';
import { Failed, noBench, notOpen, notSaved, Prepared, type HostMessage, type Handlers } from './outcome.ts';
import { OnCall, type OnCallWays } from './on-call.ts';
import { RunAtHost, statusOf } from './run-at-host.ts';
import { Sessions, type HostClient, type Window } from './sessions.ts';

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
  /** How whoever is on call is reached (HOST-80); absent: nobody is. */
  readonly onCallWays?: OnCallWays;
  /** Programming errors; the window is told too. */
  readonly onDefect: (error: unknown) => void;
  /** Told when a run begins or ends to be going on. */
  readonly onActivity?: (active: boolean) => void;
  /** Told when a bench begins or ends to be connected. */
  readonly onBench?: (connected: boolean) => void;
}

const TICK_MS = 100;
const STATUS_EVERY_TICKS = 2;
const STATISTICS_EVERY_TICKS = 20;
const LOOK_AT_ARCHIVE_EVERY_TICKS = 5;
/** More than this many between two such events is a defect of the clock, not something to show. */
const MOST_FRAMES_AT_ONCE = 2000;
/** From the command to pause until the bench is confirmed to be safe. */
const REST_DEADLINE_MS = 20_000;

export class Host {
  readonly #parts: HostParts;
  readonly #keeping: Keeping;
  readonly #changes = new Changes();
  readonly #sessions: Sessions;
  readonly #bench: BenchAtHost;
  readonly #runs: RunAtHost;
  readonly #hand: HandWork;
  readonly #exports: KeptExports;
  readonly #equipment: EquipmentAtHost;
  readonly #given = new GivenFiles();
  readonly #onCall: OnCall;
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
    this.#equipment = new EquipmentAtHost({ archive, clock, bench: this.#bench, desk: parts.desk });
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

  // ---------------------------------------------------------------- requests

  readonly #handlers: Handlers<Window> = {
    hello: ({ name }, window) => {
      this.#sessions.greet(window, name);
      return {
        software: this.#parts.software,
        archivePath: this.#parts.archive.path,
        bench: this.#bench.view(),
        control: this.#sessions.controlView(window),
        openRun: this.#runs.run?.id ?? null,
        manual: this.#hand.view(),
        now: this.#parts.clock.unixNow(),
        archiveProblems: [...this.#keeping.problems],
      };
    },
    'control.take': (_params, window) => {
      if (window.name === null) return new Failed('bad-request', 'A window says hello before it takes control.');
      this.#sessions.giveControl(window);
      return this.#sessions.controlView(window);
    },
    stop: (_params, window) => this.stop(window.name ?? 'a window'),

    'bench.ports': async () => (await this.#parts.serialPorts()).map(({ path, manufacturer }) => ({ path, description: manufacturer ?? '' })),
    'bench.scenarios': () => ({ scenarios: [...namedScenarios], imperfections: [...imperfectionFields] }),
    'bench.speed': ({ speed }) => this.#bench.setSpeed(speed),
    'bench.connect': ({ bench }) => this.#changes.make('A bench is being connected', () => this.#connect(bench)),
    'bench.disconnect': () => {
      // Somebody may be tired of waiting for a bench that does not answer.
      if (this.#bench.stopConnecting('disconnected')) return { state: 'absent', why: 'Connecting was cancelled.' };
      return this.#changes.make('The bench is being disconnected', async () => {
        const inTheWay = await this.#runs.closeEnded();
        if (inTheWay !== null) return inTheWay;
        await this.#bench.disconnect('The bench was disconnected.');
        return this.#bench.view();
      });
    },

    'manual.supply': ({ volts }) => this.#hand.do((manual) => manual.supply(volts)),
    'manual.pressure': ({ kpa }) => this.#hand.do((manual) => manual.pressure(kpa)),
    'manual.burst': (burst) => this.#hand.do((manual) => manual.burst(burst)),
    'manual.safe': async () => {
      const { connected } = this.#bench;
      if (connected === null) return noBench();
      if (this.isActive) return new Failed('refused', 'A run is going on. Pause or abort it, or press stop; each of them makes the bench safe.');
      // A run that is just taking the bench over would drive it in the next moment.
      this.#stops += 1;
      const answer = await connected.manual.makeSafe('Make safe was asked for.');
      this.#runs.handOver();
      return answer;
    },
    'manual.clear-faults': () => this.#hand.clearFaults(),

    'parts.list': () => this.#parts.archive.library.parts(),
    'parts.save': ({ parts }) => {
      const saved = this.#parts.archive.library.saveParts(parts);
      return saved.ok ? saved.value : notSaved(saved);
    },
    'equipment.read': () => {
      const record = this.#equipment.record();
      return record instanceof Failed && record.failure.code === 'refused' ? null : record;
    },
    'equipment.save': (params) => this.#equipment.save(params),
    'equipment.history': async () => this.#prepared(await this.#parts.desk.do({ kind: 'equipment-history', today: this.#equipment.today() })),
    'meter-checks.list': async () => this.#ofRecord(async (equipment) => this.#prepared(await this.#parts.desk.do({ kind: 'meter-checks', equipment, today: this.#equipment.today() }))),
    'meter-check.try': async ({ document }) => this.#ofRecord(async (equipment) => {
      const judged = this.#atDesk(await this.#parts.desk.do({ kind: 'meter-check', document, equipment }));
      return judged instanceof Failed ? judged : { problems: judged.problems, check: judged.check };
    }),
    'meter-check.add': ({ document }) => this.#equipment.addMeterCheck(document),
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
    'layouts.list': async () => this.#prepared(await this.#parts.desk.do({ kind: 'layouts' })),
    'layouts.save': async ({ document }) => this.#atDesk(await this.#parts.desk.do({ kind: 'keep-layout', document })),
    'layouts.remove': async ({ name }) => this.#atDesk(await this.#parts.desk.do({ kind: 'remove-layout', name })),
    'drafts.list': async ({ window: id }, window) => {
      this.#sessions.nameDrafts(window, id);
      return this.#atDesk(await this.#parts.desk.do({ kind: 'drafts', here: this.#sessions.draftWindows, now: this.#parts.clock.unixNow() }));
    },
    'drafts.keep': async (params) => this.#atDesk(await this.#parts.desk.do({ kind: 'keep-draft', params, at: this.#parts.clock.unixNow() })),
    'drafts.take': async (params) => this.#atDesk(await this.#parts.desk.do({ kind: 'take-draft', params })),
    'on-call.read': () => this.#onCall.view(),
    'on-call.save': ({ webhook }) => {
      const problem = this.#onCall.save(webhook);
      return problem === null ? this.#onCall.view() : new Failed('archive', problem);
    },
    'on-call.try': async () => ({ said: [...(await this.#onCall.tryOut())] }),
    'plan.check': async ({ document }) => {
      const equipment = this.#equipment.record();
      if (equipment instanceof Failed) return equipment;
      return this.#atDesk(
        await this.#parts.desk.do({
          kind: 'check',
          document,
          capabilities: this.#bench.connected?.bench.capabilities ?? null,
          controller: this.#bench.connected === null ? null : { ...this.#bench.connected.bench.identity, simulated: this.#bench.connected.place.simulated },
          equipment,
          freeDiskBytes: this.#parts.freeDiskBytes(),
          today: this.#equipment.today(),
        }),
      );
    },

    'run.open': ({ document, operator }) =>
      this.#changes.make('A run is being opened', () => {
        const parsed = parsePlan(document);
        if (!parsed.ok) return new Failed('bad-request', `The plan cannot be used. ${inWords(parsed.problems)}`);
        const equipment = this.#equipment.record();
        if (equipment instanceof Failed) return equipment;
        return this.#runs.open({ kind: 'new', plan: parsed.plan, equipment, operator, software: this.#parts.software });
      }),
    'run.continue': ({ id }) =>
      this.#runs.run?.id === id ? { id } : this.#changes.make('A run is being opened', () => this.#runs.open({ kind: 'stored', id })),
    'run.command': ({ id, command, by, commandId }) => this.#runs.command(id, command, by, commandId),
    'run.close': ({ id }) => {
      if (this.#runs.run?.id !== id) return notOpen();
      if (this.isActive) return new Failed('busy', 'The run is going on. Pause, finish or abort it first.');
      return this.#changes.make('A run is being closed', async () => {
        await this.#runs.close();
        return {};
      });
    },
    'run.journal': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'journal', params })),
    'run.telemetry': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'telemetry', params })),
    'run.signals': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'signals', params })),
    'reference.history': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'references', params })),
    'sets.match': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'match', params })),
    'injector.life': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'life', params })),
    'runs.list': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'list', params })),
    search: async ({ text }) => this.#prepared(await this.#parts.desk.do({ kind: 'search', text })),
    'run.export': async (params) => {
      const made = this.#atDesk(await this.#parts.desk.do({ kind: 'export', params, software: this.#parts.software }));
      return made instanceof Failed ? made : this.#exports.keep(made);
    },
    'run.report': async (params) => {
      const made = this.#atDesk(await this.#parts.desk.do({ kind: 'report', params }));
      return made instanceof Failed ? made : this.#exports.keep(made);
    },
    'run.compare': async ({ upload, ...params }) => {
      const text = this.#given.take(upload);
      return text === null ? notGiven() : this.#prepared(await this.#parts.desk.do({ kind: 'compare', params, text }));
    },
    'types.spread': async (params) => this.#prepared(await this.#parts.desk.do({ kind: 'spread', params })),
    'equipment.read-certificate': async ({ upload, ...params }) => {
      const text = this.#given.take(upload);
      const equipment = this.#equipment.record();
      if (text === null) return notGiven();
      return equipment instanceof Failed ? equipment : this.#prepared(await this.#parts.desk.do({ kind: 'certificate', params, text, equipment }));
    },
    'reports.list': async () => this.#prepared(await this.#parts.desk.do({ kind: 'issued-list' })),
    'report.issue': async (params) => this.#atDesk(await this.#parts.desk.do({ kind: 'issue', params, at: isoTime(this.#parts.clock.unixNow()) })),
    'report.read': async (params) => {
      const made = this.#atDesk(await this.#parts.desk.do({ kind: 'issued', params }));
      return made instanceof Failed ? made : this.#exports.keep(made);
    },
    'report.stamp': async (params) => this.#atDesk(await this.#parts.desk.do({ kind: 'stamp', params })),
    'file.give': ({ upload, text }) => {
      const problem = this.#given.add(upload, text);
      return problem === '' ? {} : new Failed('bad-request', problem);
    },
    'report.prove': async ({ upload, ...params }) => {
      const text = this.#given.take(upload);
      return text === null ? new Failed('bad-request', 'The file of the report did not come, or not whole. Choose it again.') : this.#atDesk(await this.#parts.desk.do({ kind: 'prove', params, text }));
    },
    'export.piece': async ({ export: name, file, from }) => {
      const path = this.#exports.pathOf(name, file);
      if (path === null) return new Failed('bad-request', 'The host keeps no such file any more. Export the run again.');
      return this.#prepared(await this.#parts.desk.do({ kind: 'piece', path, from }));
    },
    'archive.head': async () => this.#atDesk(await this.#parts.desk.do({ kind: 'head' })),
    'archive.verify': async (params, window) =>
      this.#atDesk(await this.#parts.desk.do({ kind: 'verify', params }, (share) => this.#sessions.tellOne(window, 'archive.checking', { share }))),
    'archive.backup': async () => this.#atDesk(await this.#parts.desk.do({ kind: 'backup', path: backupPath(this.#parts.archive.path, this.#parts.clock.unixNow()) })),
  };

  /** With the equipment record that holds. */
  async #ofRecord<T>(work: (equipment: Equipment) => Promise<T | Failed>): Promise<T | Failed> {
    const equipment = this.#equipment.record();
    return equipment instanceof Failed ? equipment : work(equipment);
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

const notGiven = (): Failed => new Failed('bad-request', 'The file did not come, or not whole. Choose it again.');

/** HOST-70: who may give a command of a run stands with the command. */
function needsControl(name: RequestName, params: unknown): boolean {
  if (name !== 'run.command') return requests[name].control;
  return commandRow((params as ParsedParams<'run.command'>).command).who === 'holder';
}

function endedInWords(ended: readonly DeskJob[]): string {
  const words: Partial<Record<DeskJob['kind'], string>> = { export: 'an export', verify: 'a check of the archive', backup: 'a backup', issue: 'the issue of a report', spread: 'the spread of a type', compare: 'a comparison', prove: 'the proof of a report', references: 'the history of the reference injectors', match: 'a choice of sets', life: 'the life of an injector' };
  const kinds = [...new Set(ended.map(({ kind }) => words[kind] ?? kind))];
  return `What a window had asked for was ended before it was finished: ${kinds.join(', ')}. The archive is as it was; ask for it again when the program runs again.`;
}

/** Beside the archive, with the time in UTC: `railhouse 2026-03-31 12.05.09.sqlite`. */
function backupPath(archivePath: string, now: number): string {
  const extension = extname(archivePath);
  const stamp = isoTime(now).replace(/\.\d{3}Z$/, '').replace('T', ' ').replaceAll(':', '.');
  return join(dirname(archivePath), `${basename(archivePath, extension)} ${stamp}${extension}`);
}
