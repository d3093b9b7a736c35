/**
 * One seed, one process: the real run service, driver, link, codec and archive (SQLite on files), the simulated controller
 * and plant, and the machine of `machine.ts` with all that happens to it. What was seen is returned as evidence; the
 * judges (`judges.ts`) look at that and at nothing else.
 */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import type { BenchFrame, BenchReply, BenchRequest } from '../../app/bench/port.ts';
import type { RunCommand, RunEvent, RunEventBody } from '../../app/journal/events.ts';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Mode } from '../../app/journal/state.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import type { Database } from '../../main/archive/sqlite.ts';
import type { Verification } from '../../main/archive/verify.ts';
import { connectBench, type Bench } from '../../main/bench/driver.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock, wait } from '../../main/clock/clock.ts';
import type { ChannelSource } from '../../main/link/channel.ts';
import { decideStored, type Decide } from '../../main/service/decide.ts';
import { RunService, type Rest } from '../../main/service/run-service.ts';
import { sampleEquipment, scratchFolder } from '../builders/in-process.ts';
import type { Telemetry } from '../../firmware-protocol/line/messages.ts';
import { Agenda } from './agenda.ts';
import { Chance, type DiskError, type Drawn, type Happening } from './draw.ts';
import { benchOf, diskError, filesOfADeadProcess, HostClock, watchedFile, watchedPlant, isTelemetry, Wire, type StormChannel } from './machine.ts';
import { LineWitness } from './witness.ts';

/** 2026-02-01, so that the certificates of the sample equipment are in force. */
const unixOrigin = Date.UTC(2026, 1, 1);
/** A line that is silent for the dead-man's time, and for a second at the least, is noticed within so much more, s. */
const NOTICED_WITHIN_S = 0.2;
/** Interlocks of the simulated controller. */
const ALL_CLOSED = 7;
/** A run that is neither at its end nor with a person this long after everything is over is stuck, s. */
const PATIENCE_S = 7200;
/** So often a person resumes without one more point accepted, then ends the run early. */
const MOST_RESUMES_IN_VAIN = 10;
/** The driver waits for an answer for so long before it sends the line again, s. */
const REPLY_S = 0.2;
/** No seed lasts longer, s. */
const LONGEST_S = 6 * 3600;
/** A person tries a start or a resume that is refused this often after everything is over. */
const MOST_REFUSALS = 100;

/** Everything that was seen, in order. Times are seconds of the world. */
export type Seen =
  | { readonly kind: 'host'; readonly at: number; readonly host: number; readonly synchronous: number }
  | { readonly kind: 'died'; readonly at: number; readonly host: number }
  | { readonly kind: 'commit'; readonly at: number; readonly input: number; readonly bodies: readonly RunEventBody[]; readonly mode: Mode | null; readonly shown: Telemetry | null }
  | { readonly kind: 'told'; readonly at: number; readonly bodies: readonly RunEventBody[] }
  /** At a rest the state of the host was not the fold over what is committed. */
  | { readonly kind: 'state-differs'; readonly at: number; readonly host: string; readonly committed: string }
  | { readonly kind: 'asked'; readonly at: number; readonly input: number; readonly request: BenchRequest; readonly mode: Mode | null }
  | { readonly kind: 'answered'; readonly at: number; readonly id: string; readonly command: RunCommand; readonly accepted: boolean }
  | { readonly kind: 'supply'; readonly at: number; readonly mv: number }
  /**
   * `silentS`: since bytes of a host last reached the bench. `fedS`: how long after a host had last read telemetry bytes of
   * it last reached the bench. Supply and pressure as they are set.
   */
  | { readonly kind: 'pulse'; readonly at: number; readonly channel: number; readonly widthUs: number; readonly silentS: number; readonly fedS: number; readonly mode: Mode | null; readonly step: string | null; readonly point: number | null; readonly supplyMv: number; readonly pressurePa: number; readonly startUs: number }
  /** Nothing of a host reached the bench for longer than its dead-man; `mv` is what the supply was set to when it should have acted. */
  | { readonly kind: 'silence'; readonly at: number; readonly forS: number; readonly mv: number }
  /** A request was answered: under how many numbers its lines went out, and whether an answer to one of them was read. */
  | { readonly kind: 'carried-out'; readonly at: number; readonly request: BenchRequest['kind']; readonly reply: BenchReply['kind']; readonly numbers: number; readonly answered: boolean }
  /** Making safe was asked for while the bench was there, and no such line went out within a twentieth of a second. */
  | { readonly kind: 'safe-waits'; readonly at: number }
  /** Nothing was heard of the bench for so long, and the journal said that the link is up. */
  | { readonly kind: 'unnoticed'; readonly at: number; readonly forS: number }
  /** A host read of an open interlock while the journal said held. */
  | { readonly kind: 'shown-open'; readonly at: number }
  /** An attempt ended because pressure and temperatures did not come; `outS`: since the pressure was last read outside its band. */
  | { readonly kind: 'gave-up-waiting'; readonly at: number; readonly outS: number }
  /** Frames of a controller life begin in the archive; `named`: the lives that the journal named with or before them, the latest and those of this commit. */
  | { readonly kind: 'segment'; readonly at: number; readonly boot: string; readonly named: readonly string[] }
  | { readonly kind: 'happened'; readonly at: number; readonly what: string; readonly mode: Mode | 'no host' }
  | { readonly kind: 'second-writer'; readonly at: number; readonly code: string; readonly text: string }
  /** When the journal says that the bench was confirmed safe. `mv` null: the sensor is not to be believed. `heardS`: since bytes of the bench last reached a host. */
  | { readonly kind: 'confirmed'; readonly at: number; readonly mv: number | null; readonly set: number; readonly heardS: number }
  /** The service gave the run up. */
  | { readonly kind: 'failed'; readonly at: number; readonly text: string; readonly set: number }
  /** What a person reads of the run, whenever it changed. */
  | { readonly kind: 'status'; readonly at: number; readonly text: string }
  /** A decision of the run's schedule could not be made, and the host was told so. */
  | { readonly kind: 'undecided'; readonly at: number; readonly askedAt: number; readonly text: string }
  /** A run could not be opened. */
  | { readonly kind: 'not-opened'; readonly at: number; readonly text: string };

export interface Evidence {
  readonly drawn: Drawn;
  readonly seen: readonly Seen[];
  /** The journal at the end, and its last hash. */
  readonly events: readonly RunEventBody[];
  readonly hash: string;
  readonly state: RunState | null;
  readonly verification: Verification;
  /** Of the journals that each new host found: events that had been told before and were not there. */
  readonly lost: readonly string[];
  /** Why the run did not come to its end; null: it did. */
  readonly stuck: string | null;
  readonly deaths: number;
  readonly benchS: number;
  /** Lines of telemetry that hosts read, and the frame of the same life and number in the archive, for some of them. */
  readonly frames: readonly { readonly line: string; readonly stored: BenchFrame }[];
}

interface Host {
  readonly clock: HostClock;
  readonly channels: Set<StormChannel>;
  readonly dead: Promise<'dead'>;
  /** Its service was given up. */
  failed: Promise<'failed'>;
  fail: () => void;
  readonly number: number;
  die: () => void;
  alive: boolean;
  archive: Archive | null;
  service: RunService | null;
  bench: Bench | null;
  diskIsGone: DiskError | null;
  /** A commit failed: from then on the journal says nothing more until the run is opened again. */
  canWrite: boolean;
}

export class World {
  readonly #drawn: Drawn;
  readonly #world = new VirtualClock(unixOrigin);
  readonly #chance: Chance;
  readonly #folder = scratchFolder();
  readonly #bench: RunningBench;
  readonly #wire: Wire;
  readonly #agenda: Agenda;
  readonly #seen: Seen[] = [];
  readonly #lost: string[] = [];
  #archivePath: string;
  #hosts = 0;
  #deaths = 0;
  #host: Host | null = null;
  #backAfter = 0;
  #stepMs = 0;
  #ids = 0;
  #runId: string | null = null;
  /** Fold over what is committed. */
  #committed: RunState | null = null;
  #told = new Map<string, string>();
  #supplyMv = 0;
  #pressurePa = 0;
  #lastHeard = 0;
  #lastArrived = 0;
  #lastHappened = 0;
  #sensorFaults = 0;
  #stuck: string | null = null;
  #giveUp: (why: 'stuck') => void = () => undefined;
  readonly #stuckNow: Promise<'stuck'>;
  readonly #deadManS: number;

  constructor(drawn: Drawn) {
    this.#drawn = drawn;
    this.#chance = new Chance(drawn.seed, 'people');
    this.#archivePath = join(this.#folder, 'archive.sqlite');
    // Until a host has set it, a controller's dead-man is a second (LINE-55).
    this.#deadManS = Math.max(1, drawn.plan.link.deadManMs / 1e3);
    this.#stuckNow = new Promise((resolve) => {
      this.#giveUp = resolve;
    });
    this.#bench = new RunningBench(drawn.scenario, this.#world, watchedPlant({
      supply: (mv) => {
        this.#supplyMv = mv;
        this.#see({ kind: 'supply', at: this.#now(), mv });
      },
      pressure: (pa) => {
        this.#pressurePa = pa;
      },
      pulse: (channel, startUs, widthUs) => {
        const current = this.#committed?.current ?? null;
        this.#see({
          kind: 'pulse', at: startUs / 1e6, channel, widthUs, silentS: startUs / 1e6 - this.#lastArrived, fedS: this.#lastArrived - this.#line.telemetryAt,
          mode: this.#committed?.mode ?? null, step: current?.step ?? null, point: current?.point ?? null,
          supplyMv: this.#supplyMv, pressurePa: this.#pressurePa, startUs,
        });
      },
      reading: (mv) => {
        this.#lastReading = mv;
      },
      fault: (kind, begins) => {
        if (kind.startsWith('sensor')) this.#sensorFaults += begins ? 1 : -1;
        if (begins) this.#happened(kind);
        this.#interlockWasOpened ||= kind === 'interlock-open' || kind === 'emergency-stop';
      },
    }));
    this.#wire = new Wire(this.#bench, this.#world, {
      beforeLine: (word, again, number) => {
        this.#line.sent(word, number, this.#now());
        if (!again) this.#agenda.beforeLine(word);
      },
      afterLine: (word, again) => {
        if (!again) this.#agenda.afterLine(word);
      },
      heard: () => {
        this.#watchLink();
        this.#lastHeard = this.#now();
      },
      read: (bytes) => {
        this.#read(bytes);
      },
      arrived: () => {
        // What the bench did until now it did without these bytes.
        this.#bench.receive(nothing);
        this.#watchSilence();
        this.#lastArrived = this.#now();
      },
    });
    this.#agenda = new Agenda({
      world: this.#world, happenings: drawn.happenings, bench: this.#bench, wire: this.#wire,
      happened: (what) => {
        this.#happened(what);
      },
      over: () => {
        this.#lastHappened = this.#now();
      },
      die: (death) => {
        this.#die(death);
      },
      stopHost: (forS, clockGoesOn) => {
        this.#stopHost(forS, clockGoesOn);
      },
      stepClock: (ms) => {
        this.#stepMs += ms;
      },
      secondWriter: () => {
        this.#secondWriter();
      },
      command: (command) => {
        this.#command(command);
      },
    });
    this.#lookForAnEnd();
    if (drawn.personFromS !== undefined) this.#readStatus('');
  }

  #lastReading = 0;
  readonly #line = new LineWitness();
  #interlockWasOpened = false;
  /** When the link of the present host was fit to be watched last, and the pressure last read outside its band, s. */
  #watchedFrom = 0;
  #pressureOutAt = Number.NEGATIVE_INFINITY;
  #newSegments: string[] = [];

  #now(): number {
    return this.#world.now() / 1e3;
  }

  #see(seen: Seen): void {
    this.#seen.push(seen);
  }

  #happened(what: string): void {
    this.#lastHappened = this.#now();
    this.#see({ kind: 'happened', at: this.#now(), what, mode: this.#host?.service == null ? 'no host' : (this.#committed?.mode ?? 'no host') });
  }

  /** What the supply was set to when the dead-man should have acted at the latest. */
  #watchSilence(): void {
    const forS = this.#now() - this.#lastArrived;
    if (forS > this.#deadManS + 0.1) this.#see({ kind: 'silence', at: this.#now(), forS, mv: this.#supplyMv });
  }

  // ---------------------------------------------------------------- what happens

  #lookForAnEnd(): void {
    const look = (): void => {
      const quiet = Math.max(this.#drawn.overS, this.#lastHappened);
      if (this.#now() > quiet + PATIENCE_S || this.#now() > LONGEST_S) {
        this.#stuck = `nothing happened since ${quiet.toFixed(0)} s, it is ${this.#now().toFixed(0)} s, and the run is ${this.#committed?.mode ?? 'not there'}`;
        this.#giveUp('stuck');
        return;
      }
      this.#world.after(60_000, look);
    };
    look();
  }

  #readStatus(last: string): void {
    const host = this.#host;
    let text = last;
    if (host?.alive === true && host.service !== null && !host.clock.isStopped) {
      const { doing, advice } = host.service.status();
      text = `${doing} ${advice}`;
      if (text !== last) this.#see({ kind: 'status', at: this.#now(), text });
    }
    if (this.#now() <= (this.#drawn.personFromS ?? 0)) this.#world.after(500, () => {
      this.#readStatus(text);
    });
  }

  #die({ at, backS }: Extract<Happening, { kind: 'death' }>): void {
    const host = this.#host;
    if (host?.alive !== true) return;
    const next = 'commit' in at ? 'commit' : 'line' in at ? 'line' : 'fromS' in at ? at.next : null;
    this.#happened('atS' in at || next === null ? 'death at an instant' : `death ${at.where} a ${next}`);
    this.#see({ kind: 'died', at: this.#now(), host: host.number });
    this.#deaths += 1;
    this.#backAfter = backS;
    host.alive = false;
    host.clock.die();
    for (const channel of host.channels) channel.die();
    this.#archivePath = filesOfADeadProcess(this.#archivePath, join(this.#folder, String(host.number)));
    host.die();
  }

  #stopHost(forS: number, clockGoesOn: boolean): void {
    const host = this.#host;
    if (host?.alive !== true || host.clock.isStopped) return;
    this.#happened(clockGoesOn ? 'process stopped' : 'machine suspended');
    host.clock.stop(clockGoesOn);
    this.#world.after(forS * 1e3, () => {
      this.#lastHappened = this.#now();
      this.#watchedFrom = this.#now();
      host.clock.goOn();
      for (const channel of host.channels) channel.goOn();
    });
  }

  #command(command: RunCommand): { readonly accepted: boolean } | null {
    const host = this.#host;
    if (host?.alive !== true || host.service === null || host.clock.isStopped) return null;
    host.clock.input += 1;
    const id = `c${(this.#ids += 1)}`;
    const answer = host.service.command(command, 'a person', id);
    if (isAlive(host)) this.#see({ kind: 'answered', at: this.#now(), id, command, accepted: answer.accepted });
    return answer;
  }

  #secondWriter(): void {
    if (this.#host?.alive !== true || this.#host.archive === null) return;
    this.#happened('second writer');
    const opened = openArchive(this.#archivePath, { now: () => this.#world.unixNow(), entropy: this.#chance });
    this.#see({ kind: 'second-writer', at: this.#now(), code: opened.ok ? 'opened' : opened.code, text: opened.ok ? '' : opened.text });
    if (opened.ok) opened.archive.close();
  }

  // ---------------------------------------------------------------- a host

  #boot(): Host {
    let die: () => void = () => undefined;
    const dead = new Promise<'dead'>((resolve) => {
      die = () => {
        resolve('dead');
      };
    });
    this.#hosts += 1;
    const host: Host = {
      clock: new HostClock(this.#world, () => this.#stepMs), channels: new Set(), dead, die, number: this.#hosts,
      alive: true, archive: null, service: null, bench: null, diskIsGone: null, canWrite: true, failed: Promise.resolve('failed'), fail: () => undefined,
    };
    mayFail(host);
    return host;
  }

  #openArchive(host: Host): Archive | null {
    const fault = (at: 'statement' | 'end'): void => {
      const error = this.#agenda.diskError(at);
      if (error !== null) {
        if (error.forGood) host.diskIsGone = error.code;
        host.canWrite = false;
        throw diskError(error.code);
      }
      if (host.diskIsGone !== null) throw diskError(host.diskIsGone);
    };
    const files: Database[] = [];
    const opened = openArchive(this.#archivePath, {
      now: () => host.clock.unixNow(),
      entropy: this.#chance,
      openFile: (path, options) => {
        const file = watchedFile({
          alive: () => host.alive,
          beforeCommit: () => {
            this.#newSegments = [];
            if (host.archive === null) return;
            this.#agenda.commits += 1;
            this.#agenda.dieAtCommit('before');
          },
          segment: (boot) => {
            this.#newSegments.push(boot);
          },
          atStatement: (statement) => {
            if (host.archive === null) return;
            if (statement === 1) fault('statement');
            if (statement === 1 + (this.#agenda.commits % 4)) this.#agenda.dieAtCommit('within');
            if (!host.alive) throw diskError('SQLITE_IOERR_WRITE');
          },
          atEnd: () => {
            if (host.archive === null) return;
            fault('end');
            this.#agenda.dieAtCommit('within');
            if (!host.alive) throw diskError('SQLITE_IOERR_WRITE');
          },
          afterCommit: (bodies) => {
            if (host.archive === null) return;
            this.#watchCommit(bodies);
            for (const body of bodies) this.#committed = foldRun(this.#committed, body);
            if (bodies.length > 0) this.#see({ kind: 'commit', at: this.#now(), input: host.clock.input, bodies, mode: this.#committed?.mode ?? null, shown: bodies.some(isOfAGuard) ? this.#line.last : null });
            this.#watchConfirmation(bodies);
            for (const body of bodies) this.#agenda.countEvent(body.kind);
            this.#agenda.dieAtCommit('after');
          },
        })(path, options);
        files.push(file);
        return file;
      },
    });
    if (!opened.ok) return null;
    host.archive = opened.archive;
    const synchronous = files[0]?.pragma('synchronous', { simple: true }) as number;
    this.#see({ kind: 'host', at: this.#now(), host: host.number, synchronous });
    return opened.archive;
  }

  /** Before it is folded. */
  #watchCommit(bodies: readonly RunEventBody[]): void {
    const named = [this.#committed?.bench?.bootId ?? ''];
    for (const body of bodies) {
      if (body.kind === 'bench-connected' || body.kind === 'link-restored') named.push(body.bootId);
      if (body.kind === 'link-lost') this.#watchLink();
      if (body.kind === 'attempt-ended' && body.cause === 'condition-not-reached') {
        this.#see({ kind: 'gave-up-waiting', at: this.#now(), outS: this.#now() - this.#pressureOutAt });
      }
    }
    for (const boot of this.#newSegments.splice(0)) this.#see({ kind: 'segment', at: this.#now(), boot, named });
  }

  /** Is the link lost, and does the journal not say so? */
  #watchLink(): void {
    const host = this.#host;
    if (host?.service == null || !host.alive || !host.canWrite || host.clock.isStopped || this.#committed?.linkUp !== true) return;
    const forS = this.#now() - Math.max(this.#lastHeard, this.#watchedFrom);
    if (forS > this.#deadManS + NOTICED_WITHIN_S) this.#see({ kind: 'unnoticed', at: this.#now(), forS });
  }

  #read(bytes: Uint8Array): void {
    const host = this.#host;
    this.#line.read(bytes, this.#now());
    if (host?.service == null || !isTelemetry(bytes)) return;
    if (!this.#drawn.scenario.pressureCommandable) {
      const { condition, axes } = this.#drawn.plan;
      const offKpa = Math.abs(LineWitness.field(bytes, 'pressure-pa') / 1e3 - (axes.pressureKpa[0] ?? Number.NaN));
      if (offKpa > condition.pressureToleranceKpa) this.#pressureOutAt = this.#now();
    }
    if (!this.#interlockWasOpened || this.#committed?.mode !== 'held' || !this.#committed.linkUp) return;
    const closed = LineWitness.field(bytes, 'interlocks');
    if (Number.isFinite(closed) && closed !== ALL_CLOSED) this.#see({ kind: 'shown-open', at: this.#now() });
  }

  #watchConfirmation(bodies: readonly RunEventBody[]): void {
    for (const body of bodies) {
      if (body.kind !== 'made-safe' || !body.confirmed) continue;
      this.#see({ kind: 'confirmed', at: this.#now(), mv: this.#sensorFaults === 0 ? this.#lastReading : null, set: this.#supplyMv, heardS: this.#now() - this.#lastHeard });
    }
  }

  #channels(host: Host): ChannelSource {
    return () => {
      const channel = this.#wire.channelFor(host.clock);
      host.channels.add(channel);
      return Promise.resolve([channel]);
    };
  }

  /** A bench that is connected already, and what is asked of it. */
  async #connected(host: Host): Promise<Bench | null> {
    const { deadManMs, telemetryHz } = this.#drawn.plan.link;
    const connected = await connectBench({ channels: this.#channels(host), clock: host.clock, deadManMs, telemetryHz, entropy: this.#chance });
    if (!connected.ok) return null;
    host.bench = connected.bench;
    return this.#watchedBench(connected.bench, host);
  }

  #watchedBench(bench: Bench, host: Host): Bench {
    const { clock } = host;
    return benchOf(bench, clock, async (request, signal) => {
      if (host.alive) this.#see({ kind: 'asked', at: this.#now(), input: clock.input, request, mode: this.#committed?.mode ?? null });
      const followed = this.#line.follow(request.kind);
      if (request.kind === 'make-safe' && bench.downReason === null) this.#watchSafe(bench, host);
      const reply = await bench.perform(request, signal);
      clock.input += 1;
      const found = followed?.() ?? null;
      if (found !== null && host.alive) this.#see({ kind: 'carried-out', at: this.#now(), request: request.kind, reply: reply.kind, ...found });
      return reply;
    });
  }

  /** Making safe waits for nothing. */
  #watchSafe(bench: Bench, host: Host): void {
    const wasSent = this.#line.followWord('safe', this.#now(), REPLY_S);
    const { stops } = host.clock;
    this.#world.after(50, () => {
      if (!wasSent() && host.alive && host.clock.stops === stops && !host.clock.isStopped && bench.downReason === null) this.#see({ kind: 'safe-waits', at: this.#now() });
    });
  }

  /** The journal that a new host finds must hold everything that anybody was told. Returns it. */
  #lookBack(archive: Archive): readonly RunEvent[] {
    const run = this.#runId === null ? archive.latestRun()?.id : this.#runId;
    if (run === undefined) {
      if (this.#told.size > 0) this.#lost.push('the whole run');
      return [];
    }
    const events: RunEvent[] = [];
    const there = new Map<string, string>();
    let state: RunState | null = null;
    for (const event of archive.events(run)) {
      const { body } = event;
      events.push(event);
      state = foldRun(state, body);
      if (body.kind === 'attempt-ended') there.set(nameOf(body), JSON.stringify(body));
    }
    for (const [name, text] of this.#told) {
      if (there.get(name) !== text) this.#lost.push(`${name} (${there.has(name) ? 'is another' : 'is not there'})`);
    }
    this.#committed = state;
    this.#runId = state === null ? null : run;
    return events;
  }

  /** Decisions away from the thread of the bench, as at a host's desk: they take a while, and some cannot be made. */
  #decide(host: Host): { readonly decide?: Decide } {
    const { deciding } = this.#drawn;
    if (deciding === undefined || deciding.afterS === null) return {};
    const { afterS, failing } = deciding;
    return {
      decide: async (run) => {
        const askedAt = this.#now();
        await wait(host.clock, afterS * 1e3 * this.#chance.scale(0.3, 1));
        const { archive } = host;
        if (!isAlive(host) || archive === null) return never();
        const decided = this.#chance.strikes(failing) ? { ok: false as const, text: 'The desk did not answer (storm).' } : decideStored(archive, run);
        host.clock.input += 1;
        if (!decided.ok) this.#see({ kind: 'undecided', at: this.#now(), askedAt, text: decided.text });
        return decided;
      },
    };
  }

  async #open(host: Host): Promise<'open' | 'failed'> {
    const archive = host.archive ?? this.#openArchive(host);
    if (archive === null) return 'failed';
    this.#lookBack(archive);
    const shared = { archive, clock: host.clock, simulated: true, entropy: this.#chance, freeDiskBytes: () => null, ...this.#decide(host) };
    const bench = this.#drawn.takesOver ? await this.#connected(host) : null;
    if (this.#drawn.takesOver && bench === null) return 'failed';
    const opened = await RunService.open(
      bench === null ? { ...shared, channels: this.#channels(host) } : { ...shared, bench },
      this.#runId === null
        ? { kind: 'new', plan: this.#drawn.plan, equipment: sampleEquipment(), operator: 'a person', software: 'storm' }
        : { kind: 'stored', id: this.#runId },
    );
    if (!opened.ok) this.#see({ kind: 'not-opened', at: this.#now(), text: opened.text });
    if (!opened.ok || !host.alive) return 'failed';
    const { service } = opened;
    host.service = service;
    this.#watchedFrom = this.#now();
    this.#runId = service.id;
    service.listen((bodies) => {
      if (!host.alive) return;
      if (service.failure !== null) {
        this.#see({ kind: 'failed', at: this.#now(), text: service.failure, set: this.#supplyMv });
        host.fail();
      }
      if (bodies.length === 0) return;
      this.#see({ kind: 'told', at: this.#now(), bodies });
      for (const body of bodies) if (body.kind === 'attempt-ended') this.#told.set(nameOf(body), JSON.stringify(body));
    });
    return 'open';
  }

  async #close(host: Host): Promise<void> {
    host.alive = false;
    if (host.service !== null) await host.service.close();
    if (host.bench !== null) await host.bench.close();
    host.clock.die();
    for (const channel of host.channels) channel.die();
    host.archive?.close();
  }

  #wait(seconds: number): Promise<'waited'> {
    return new Promise((resolve) => {
      this.#world.after(seconds * 1e3, () => {
        resolve('waited');
      });
    });
  }

  /** What a person does who wants the run to come to its end. */
  #next(rest: Extract<Rest, { kind: 'resting' }>): RunCommand | null {
    switch (rest.mode) {
      case 'ready':
        return { kind: this.#committed !== null && this.#lastRefused && this.#chance.strikes(0.5) ? 'acknowledge' : 'start' };
      case 'paused':
        return this.#resumesInVain() ? { kind: 'finish-early' } : { kind: 'resume' };
      case 'tripped':
        return { kind: 'acknowledge' };
      case 'ended':
        return null;
    }
  }

  /** Once all is over: a plan whose windows are not accepted is not resumed for ever. */
  #resumesInVain(): boolean {
    const accepted = this.#committed?.counts.accepted ?? 0;
    const quiet = this.#now() > Math.max(this.#drawn.overS, this.#lastHappened);
    this.#resumed = quiet && accepted === this.#acceptedAtResume ? this.#resumed + 1 : 0;
    this.#acceptedAtResume = accepted;
    return this.#resumed > MOST_RESUMES_IN_VAIN;
  }

  #resumed = 0;
  #acceptedAtResume = -1;
  #lastRefused = false;

  /** From the start of a host to its end. */
  async #live(host: Host): Promise<'dead' | 'failed' | 'ended' | 'stuck'> {
    const opened = await Promise.race([this.#open(host), host.dead, this.#stuckNow]);
    if (opened !== 'open') return opened;
    let refusals = 0;
    for (;;) {
      const { service } = host;
      if (service === null) return 'failed';
      const rest = await Promise.race([service.rest(), host.dead, this.#stuckNow]);
      if (rest === 'dead' || rest === 'stuck') return rest;
      if (rest.kind === 'failed') return 'failed';
      const [ofTheHost, committed] = [summaryOf(service.state), this.#committed === null ? '' : summaryOf(this.#committed)];
      if (ofTheHost !== committed && isAlive(host) && host.canWrite) this.#see({ kind: 'state-differs', at: this.#now(), host: ofTheHost, committed });
      const command = this.#next(rest);
      const chosen = command === null ? Math.max(3, Math.min(this.#drawn.overS - this.#now(), 60)) : this.#chance.scale(0.2, 10);
      const lingers = Math.max(chosen, (this.#drawn.personFromS ?? 0) - this.#now());
      const waited = await Promise.race([this.#wait(lingers), host.dead, host.failed, this.#stuckNow]);
      if (waited !== 'waited') return waited;
      if (command === null) {
        if (service.state.mode === 'ended' && !service.isActive) return 'ended';
        continue;
      }
      if (host.clock.isStopped) continue;
      const answer = this.#command(command);
      this.#lastRefused = answer?.accepted === false;
      if (!this.#lastRefused) {
        refusals = 0;
      } else if (this.#now() > Math.max(this.#drawn.overS, this.#lastHappened) && (refusals += 1) > MOST_REFUSALS) {
        this.#stuck = `"${command.kind}" was refused ${refusals} times`;
        return 'stuck';
      }
    }
  }

  /** Rejects with what the program throws, wherever it throws it: after that nothing can be said of the run. */
  async run(): Promise<Evidence> {
    let threw: (error: Error) => void = () => undefined;
    const thrown = new Promise<never>((_, reject) => {
      threw = (error) => {
        reject(new ProgramThrew(error));
      };
    });
    process.on('uncaughtException', threw);
    process.on('unhandledRejection', threw);
    try {
      return await Promise.race([
        this.#run().catch((error: unknown) => {
          throw new ProgramThrew(error instanceof Error ? error : new Error(String(error)));
        }),
        thrown,
      ]);
    } finally {
      process.off('uncaughtException', threw);
      process.off('unhandledRejection', threw);
      this.#bench.switchOff();
      this.#world.stop();
      rmSync(this.#folder, { recursive: true, force: true });
    }
  }

  async #run(): Promise<Evidence> {
      let same: Host | null = null;
      for (;;) {
        const host: Host = same ?? this.#boot();
        same = null;
        this.#host = host;
        const end = await this.#live(host);
        if (end === 'dead') {
          host.archive?.close();
          await this.#wait(this.#backAfter);
          continue;
        }
        // A window keeps its archive and opens the run again; a command ends and is given anew.
        if (end === 'failed' && host.alive && host.archive !== null && this.#chance.strikes(0.5)) {
          await host.service?.close();
          await host.bench?.close();
          host.service = null;
          host.bench = null;
          host.diskIsGone = null;
          host.canWrite = true;
          mayFail(host);
          same = host;
        } else {
          await this.#close(host);
        }
        if (end === 'ended' || end === 'stuck') break;
        // Somebody frees the disk, finds the cable, or simply tries again.
        const waited = await Promise.race([this.#wait(this.#chance.scale(1, 10)), host.dead]);
        if (waited === 'dead') {
          host.archive?.close();
          await this.#wait(this.#backAfter);
          same = null;
        }
        if (this.#now() > Math.max(this.#drawn.overS, this.#lastHappened) + PATIENCE_S) {
          this.#stuck ??= 'no host could be opened any more';
          break;
        }
      }
      this.#host = null;
      // The bench is left to itself: its dead-man has to act if anything is still on.
      await this.#wait(this.#deadManS + 2);
      this.#watchSilence();
      return this.#evidence();
  }

  #storedFrames(archive: Archive, run: string): Evidence['frames'] {
    const lines = new Map<string, string>();
    for (const bytes of this.#line.telemetry) {
      const line = firstLine(bytes);
      const name = / frame=(\d+) boot=(\S+) /.exec(line);
      if (name !== null) lines.set(`${name[2] ?? ''} ${name[1] ?? ''}`, line);
    }
    const found: { line: string; stored: BenchFrame }[] = [];
    for (const { frames } of archive.telemetryChunks(run)) {
      for (const stored of frames) {
        const line = lines.get(`${stored.bootId} ${stored.number}`);
        if (line !== undefined) found.push({ line, stored });
      }
    }
    return found;
  }

  #evidence(): Evidence {
    const opened = openArchive(this.#archivePath, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    const { archive } = opened;
    try {
      const events = this.#lookBack(archive);
      const id = this.#runId;
      const run = id === null ? null : archive.run(id);
      return {
        drawn: this.#drawn,
        seen: this.#seen,
        events: events.map((event) => event.body),
        hash: run === null ? '' : [...archive.eventRows(run, events.at(-1)?.seq)].at(-1)?.hash.toString('hex') ?? '',
        state: this.#committed,
        verification: archive.verify(),
        lost: this.#lost,
        stuck: this.#stuck,
        deaths: this.#deaths,
        benchS: this.#now(),
        frames: id === null ? [] : this.#storedFrames(archive, id),
      };
    } finally {
      archive.close();
    }
  }
}

/** An error of the program, as opposed to one of the storm. */
export class ProgramThrew extends Error {
  constructor(cause: Error) {
    super(cause.stack ?? cause.message);
  }
}

function mayFail(host: Host): void {
  host.failed = new Promise((resolve) => {
    host.fail = () => {
      resolve('failed');
    };
  });
}

/** It may have died meanwhile, whatever was known of it before. */
const isAlive = (host: Host): boolean => host.alive;

/** As much of a state as tells it from that of another journal. */
const summaryOf = ({ revision, mode, linkUp, safe, ending, current, counts, resumes, provedBootId, commands, points }: RunState): string =>
  JSON.stringify([revision, mode, linkUp, safe, ending, current, counts, [...resumes], provedBootId, commands.size, points.map(({ chosen, attempts }) => [chosen, attempts.map((one) => one.verdict)])]);

const nothing = new Uint8Array();
const never = (): Promise<never> => new Promise(() => undefined);

function firstLine(bytes: Uint8Array): string {
  const end = bytes.indexOf(10);
  return Buffer.from(bytes.buffer, bytes.byteOffset, end < 0 ? bytes.length : end).toString('latin1');
}

const isOfAGuard = (body: RunEventBody): boolean => body.kind === 'guard-noted' || body.kind === 'guard-cleared';

const nameOf = ({ point, attempt }: Extract<RunEventBody, { kind: 'attempt-ended' }>): string => `attempt ${attempt} of point ${point}`;
