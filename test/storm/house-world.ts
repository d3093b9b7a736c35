/**
 * One seed of the whole house, in one process: the real host with the real contract, run service, driver, link, codec and
 * archive (SQLite on files), three windows with the window's own connection and journal feed, the desk on threads of its own
 * time, the simulated controller and plant, and the machine of `machine.ts` with all that happens to it. What was seen is
 * returned as evidence; the judges (`house-judges.ts`) look at that and at nothing else.
 */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import type { BenchRequest } from '../../app/bench/port.ts';
import { requests, toHost, type ParsedParams, type RequestName, type ToWindow } from '../../app/contract/contract.ts';
import type { RunCommand, RunEvent, RunEventBody } from '../../app/journal/events.ts';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Mode } from '../../app/journal/state.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import type { Database } from '../../main/archive/sqlite.ts';
import type { Verification } from '../../main/archive/verify.ts';
import { connectBench, type Bench } from '../../main/bench/driver.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import type { BenchPlace, BenchPlaces } from '../../main/host/bench-place.ts';
import { Desk } from '../../main/host/desk.ts';
import { Host } from '../../main/host/host.ts';
import type { ChannelSource } from '../../main/link/channel.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { Agenda } from './agenda.ts';
import { Chance, type DiskError, type Happening } from './draw.ts';
import { deskThread } from './house-desk.ts';
import { benchPort, placeholders, windowCount, type HouseDrawn, type WindowHappening } from './house-draw.ts';
import { Person } from './house-person.ts';
import { StormWindow, type Serving, type Socket } from './house-window.ts';
import { benchOf, diskError, filesOfADeadProcess, HostClock, isTelemetry, watchedFile, watchedPlant, Wire, type StormChannel } from './machine.ts';
import { ProgramThrew, type Seen } from './world.ts';

/** 2026-02-01, so that the certificates of the sample equipment are in force. */
const unixOrigin = Date.UTC(2026, 1, 1);
/** A house whose run is not at its end this long after everything is over is stuck, s. */
const PATIENCE_S = 1800;
const LONGEST_S = 3 * 3600;
/** After a stop the pins are looked at: where nothing happens to machine, bench and line, and anywhere else, s. */
const STOPPED_S = { fair: 1, storm: 50 };
/** A window shows what was committed so long ago, s. */
const SHOWN_S = 8;
/** A window that answers no ping is missed after so long: four of them, and some time, s. */
const MISSED_S = 10;

/** What was seen of the windows. Times are seconds of the world. */
export type HouseSeen =
  | { readonly kind: 'came'; readonly at: number; readonly socket: number }
  | { readonly kind: 'closed'; readonly at: number; readonly socket: number; readonly by: 'window' | 'host' | 'death' }
  /** `held`: the window that asks holds control by then. `valid`: as the contract says. `against`: what the open run has against work by hand; null: nothing. */
  | { readonly kind: 'requested'; readonly at: number; readonly socket: number; readonly id: number; readonly name: string; readonly params: unknown; readonly valid: boolean; readonly held: boolean; readonly against: string | null }
  | { readonly kind: 'answered'; readonly at: number; readonly socket: number; readonly id: number; readonly message: ToWindow }
  /** What a window is told of control, and how it is. */
  | { readonly kind: 'told-control'; readonly at: number; readonly socket: number; readonly mine: boolean; readonly holds: boolean }
  /** Events that a window was told of while the archive did not hold them. */
  | { readonly kind: 'told-early'; readonly at: number; readonly socket: number; readonly events: readonly string[] }
  /** The bench was asked for something that energises while no run drove it. `asked`: somebody who held control was being answered. */
  | { readonly kind: 'by-hand'; readonly at: number; readonly request: BenchRequest['kind']; readonly asked: boolean }
  /** A pulse while no run drove; `asked`: within a burst that was asked for by hand. */
  | { readonly kind: 'pulse-by-hand'; readonly at: number; readonly channel: number; readonly asked: boolean }
  /** The pins a time after something that must have made them safe, and nothing was asked for since. */
  | { readonly kind: 'should-be-safe'; readonly at: number; readonly sinceS: number; readonly after: string; readonly mv: number; readonly lastPulseS: number }
  /** The program said so. */
  | { readonly kind: 'said-safe'; readonly at: number; readonly what: string; readonly mv: number }
  /** A window that can hear lacks events that were committed long ago. */
  | { readonly kind: 'lags'; readonly at: number; readonly window: string; readonly has: number; readonly committed: number }
  /** A window has events that are not those of the archive. */
  | { readonly kind: 'shows-other'; readonly at: number; readonly window: string; readonly text: string }
  | { readonly kind: 'misread'; readonly at: number; readonly window: string; readonly times: number }
  /** A window that has been silent for so long is still counted as there. */
  | { readonly kind: 'silent'; readonly at: number; readonly socket: number; readonly forS: number }
  /** A window shows something else of control than what is. */
  | { readonly kind: 'shows-control'; readonly at: number; readonly window: string; readonly mine: boolean }
  | { readonly kind: 'defect'; readonly at: number; readonly text: string }
  | { readonly kind: 'ended'; readonly at: number; readonly accepted: boolean; readonly reason: string; readonly mv: number };

export interface RunEvidence {
  readonly id: string;
  readonly events: readonly RunEventBody[];
  readonly hash: string;
  readonly state: RunState | null;
  /** What was seen of machine and bench while this run was the one on the bench. */
  readonly seen: readonly Seen[];
}

export interface HouseEvidence {
  readonly drawn: HouseDrawn;
  readonly seen: readonly Seen[];
  readonly windows: readonly HouseSeen[];
  readonly runs: readonly RunEvidence[];
  /** The last hashes of all journals, one after the other. */
  readonly hash: string;
  readonly verification: Verification;
  readonly lost: readonly string[];
  readonly stuck: string | null;
  readonly mostUnsent: number;
  readonly requests: number;
  readonly deaths: number;
  readonly benchS: number;
}

/** A process of the host. */
interface Life extends Serving {
  readonly number: number;
  readonly archive: Archive;
  readonly channels: Set<StormChannel>;
  readonly readers: Set<Archive>;
  readonly dead: Promise<'dead'>;
  readonly die: () => void;
  diskIsGone: DiskError | null;
  holder: Socket | null;
  heldSince: number;
  readonly named: Set<Socket>;
  /** Requests to work by hand of a window that held control, not answered yet. */
  byHand: number;
  /** When something that drives was last asked for by somebody who may. */
  lastAsked: number;
  ending: boolean;
  /** It has opened a run: until then the bench is free, whatever the journal says of a run that a dead host left. */
  openedRun: boolean;
  /** A window was told that the archive of the open run could not be written. */
  toldFailed: boolean;
}

const drivingModes: ReadonlySet<Mode | null> = new Set<Mode | null>(['proving', 'measuring', 'making-safe']);
const againstHand: ReadonlySet<Mode> = new Set<Mode>(['proving', 'measuring', 'making-safe', 'held', 'tripped']);
const energising: ReadonlySet<BenchRequest['kind']> = new Set<BenchRequest['kind']>(['arm', 'burst', 'set-supply', 'pump']);
const drivesRun: ReadonlySet<RunCommand['kind']> = new Set<RunCommand['kind']>(['start', 'resume', 'measure-again', 'measure-remaining']);
/** They touch neither the line nor the bench. */
const ofTheHost: ReadonlySet<Happening['kind']> = new Set<Happening['kind']>(['death', 'clock-stepped', 'disk-error', 'second-writer']);
const worksByHand: ReadonlySet<string> = new Set(['manual.supply', 'manual.pressure', 'manual.burst']);

export class HouseWorld {
  readonly #drawn: HouseDrawn;
  readonly #world = new VirtualClock(unixOrigin);
  readonly #chance: Chance;
  readonly #folder = scratchFolder();
  readonly #bench: RunningBench;
  readonly #wire: Wire;
  readonly #windows: readonly StormWindow[];
  readonly #seen: { readonly run: number; readonly one: Seen }[] = [];
  readonly #house: HouseSeen[] = [];
  readonly #lost: string[] = [];
  readonly #agenda: Agenda;
  #archivePath: string;
  #life: Life | null = null;
  #lives = 0;
  #deaths = 0;
  #backAfter = 0;
  #stepMs = 0;
  #telemetryAt = 0;
  #sockets = 0;
  #requests = 0;
  #mostUnsent = 0;
  #deskMs = 3;
  #deskSlowUntil = 0;
  /** Folds over what is committed, by the number of the run in the file; and which of them is on the bench. */
  readonly #runs = new Map<number, { state: RunState | null; readonly texts: string[]; readonly counts: { readonly at: number; readonly count: number }[] }>();
  readonly #committedTexts = new Set<string>();
  #onBench = 0;
  readonly #told = new Map<string, string>();
  #supplyMv = 0;
  #pressurePa = 0;
  #lastPulse = Number.NEGATIVE_INFINITY;
  #handBurstUntil = Number.NEGATIVE_INFINITY;
  #lastReading = 0;
  #lastHeard = 0;
  #lastArrived = 0;
  #lastHappened = 0;
  #sensorFaults = 0;
  #stuck: string | null = null;
  #giveUp: () => void = () => undefined;
  readonly #stuckNow: Promise<'stuck'>;
  readonly #deadManS: number;

  constructor(drawn: HouseDrawn) {
    this.#drawn = drawn;
    this.#chance = new Chance(drawn.seed, 'people');
    this.#archivePath = join(this.#folder, 'archive.sqlite');
    this.#deadManS = Math.max(1, drawn.plan.link.deadManMs / 1e3);
    this.#stuckNow = new Promise((resolve) => {
      this.#giveUp = () => {
        resolve('stuck');
      };
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
        this.#pulsed(channel, startUs, widthUs);
      },
      reading: (mv) => {
        this.#lastReading = mv;
      },
      fault: (kind, begins) => {
        if (kind.startsWith('sensor')) this.#sensorFaults += begins ? 1 : -1;
        if (begins) this.#happened(kind);
      },
    }));
    this.#wire = new Wire(this.#bench, this.#world, {
      beforeLine: (word, again) => {
        if (!again) this.#agenda.beforeLine(word);
      },
      afterLine: (word, again) => {
        if (!again) this.#agenda.afterLine(word);
      },
      heard: () => {
        this.#lastHeard = this.#now();
      },
      read: (bytes) => {
        if (isTelemetry(bytes)) this.#telemetryAt = this.#now();
      },
      arrived: () => {
        // What the bench did until now it did without these bytes.
        this.#bench.receive(nothing);
        this.#watchSilence();
        this.#lastArrived = this.#now();
      },
    });
    this.#windows = Array.from({ length: windowCount }, (_, i) => new StormWindow(`window ${i + 1}`, {
      world: this.#world,
      stepMs: () => this.#stepMs,
      serving: () => (this.#life?.alive === true && !this.#life.ending ? this.#life : null),
      nextSocket: () => (this.#sockets += 1),
      events: {
        came: (socket) => this.#house.push({ kind: 'came', at: this.#now(), socket: socket.number }),
        closed: (socket, by) => {
          this.#windowLeft(socket, by);
        },
        heard: (socket, text) => {
          this.#heard(socket, text);
        },
        said: (socket, text) => {
          this.#said(socket, text);
        },
        unsent: (_socket, bytes) => {
          this.#mostUnsent = Math.max(this.#mostUnsent, bytes);
        },
      },
    }));
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
      // Commands come from the windows.
      command: () => undefined,
    });
    this.#schedule();
  }

  #now(): number {
    return this.#world.now() / 1e3;
  }

  #state(): RunState | null {
    return this.#runs.get(this.#onBench)?.state ?? null;
  }

  #mode(): Mode | null {
    return this.#state()?.mode ?? null;
  }

  #see(one: Seen): void {
    this.#seen.push({ run: this.#onBench, one });
  }

  #happened(what: string): void {
    this.#lastHappened = this.#now();
    this.#see({ kind: 'happened', at: this.#now(), what, mode: this.#life === null ? 'no host' : (this.#mode() ?? 'no host') });
  }

  #watchSilence(): void {
    const forS = this.#now() - this.#lastArrived;
    if (forS > this.#deadManS + 0.1) this.#see({ kind: 'silence', at: this.#now(), forS, mv: this.#supplyMv });
  }

  #pulsed(channel: number, startUs: number, widthUs: number): void {
    const state = this.#state();
    this.#lastPulse = this.#now();
    if (!(this.#life?.openedRun === true && drivingModes.has(this.#mode())) && this.#now() <= this.#handBurstUntil) {
      this.#house.push({ kind: 'pulse-by-hand', at: this.#now(), channel, asked: true });
      // Only how long the host was silent counts of it: at its own time, because a bench that nobody wakes goes on in larger steps.
      const forS = startUs / 1e6 - this.#lastArrived;
      if (forS > this.#deadManS + 0.1) this.#see({ kind: 'silence', at: startUs / 1e6, forS, mv: Math.max(1, this.#supplyMv) });
      return;
    }
    this.#see({
      kind: 'pulse', at: startUs / 1e6, channel, widthUs, silentS: startUs / 1e6 - this.#lastArrived, fedS: this.#lastArrived - this.#telemetryAt,
      mode: state?.mode ?? null, step: state?.current?.step ?? null, point: state?.current?.point ?? null,
      supplyMv: this.#supplyMv, pressurePa: this.#pressurePa, startUs,
    });
  }

  // ---------------------------------------------------------------- what happens

  #schedule(): void {
    for (const one of this.#drawn.windows) {
      this.#agenda.at(one, 0, () => {
        this.#window(one);
      });
    }
    const look = (): void => {
      const quiet = Math.max(this.#drawn.overS, this.#lastHappened);
      if (this.#now() > quiet + PATIENCE_S || this.#now() > LONGEST_S) {
        this.#stuck ??= `nothing happened since ${quiet.toFixed(0)} s, it is ${this.#now().toFixed(0)} s, and the run is ${this.#mode() ?? 'not there'}`;
        this.#giveUp();
        return;
      }
      this.#world.after(60_000, look);
    };
    look();
    const compare = (): void => {
      this.#compareWindows();
      this.#world.after(1000, compare);
    };
    compare();
  }

  #die({ at, backS }: Extract<Happening, { kind: 'death' }>): void {
    const life = this.#life;
    if (life?.alive !== true) return;
    this.#happened('atS' in at ? 'death at an instant' : `death ${at.where} a ${'line' in at || ('next' in at && at.next === 'line') ? 'line' : 'commit'}`);
    this.#see({ kind: 'died', at: this.#now(), host: life.number });
    this.#deaths += 1;
    this.#backAfter = backS;
    life.alive = false;
    life.clock.die();
    for (const channel of life.channels) channel.die();
    this.#archivePath = filesOfADeadProcess(this.#archivePath, join(this.#folder, String(life.number)));
    for (const socket of life.sockets) {
      if (socket.isOpen) this.#house.push({ kind: 'closed', at: this.#now(), socket: socket.number, by: 'death' });
      socket.died();
    }
    life.die();
  }

  #stopHost(forS: number, clockGoesOn: boolean): void {
    const life = this.#life;
    if (life?.alive !== true || life.clock.isStopped) return;
    this.#happened(clockGoesOn ? 'process stopped' : 'machine suspended');
    // The windows are on the same machine.
    const stopped = clockGoesOn ? [life.clock] : [life.clock, ...this.#windows.map((window) => window.clock)].filter((clock) => !clock.isStopped);
    for (const clock of stopped) clock.stop(clockGoesOn);
    this.#world.after(forS * 1e3, () => {
      this.#lastHappened = this.#now();
      this.#stoppedAt = this.#now();
      for (const clock of stopped) clock.goOn();
      for (const channel of life.channels) channel.goOn();
    });
  }

  #secondWriter(): void {
    if (this.#life?.alive !== true) return;
    this.#happened('second writer');
    const opened = openArchive(this.#archivePath, { now: () => this.#world.unixNow(), entropy: this.#chance });
    this.#see({ kind: 'second-writer', at: this.#now(), code: opened.ok ? 'opened' : opened.code, text: opened.ok ? '' : opened.text });
    if (opened.ok) opened.archive.close();
  }

  // ---------------------------------------------------------------- windows and people

  #resolved(value: unknown): unknown {
    if (value === placeholders.run) return this.#mainRun ?? 'no-run-yet';
    if (value === placeholders.plan) return this.#drawn.plan;
    if (value === placeholders.equipment) return { ...(readSample('equipment') as object), controller: { model: 'simulated-bench', serialNumber: serialOf(this.#drawn.scenario.seed) } };
    if (Array.isArray(value)) return value.map((one) => this.#resolved(one));
    if (typeof value === 'object' && value !== null) return Object.fromEntries(Object.entries(value).map(([name, inner]) => [name, this.#resolved(inner)]));
    return value;
  }

  get #mainRun(): string | null {
    return this.#person.run;
  }

  readonly #person = new Person({
    ask: (window, name, params) => this.#ask(window, name, params),
    windows: () => this.#windows,
    plan: () => this.#drawn.plan,
    chance: () => this.#chance,
    wait: (seconds) => this.#wait(seconds),
    now: () => this.#now(),
    mayDrive: () => this.#now() >= (this.#drawn.personFromS ?? 0),
    goes: (window, forS) => {
      this.#goes(window, forS);
    },
    fallsSilent: (window, forS) => {
      this.#fallsSilent(window, forS);
    },
    restart: () => {
      void this.#endLife(0.5);
    },
    isQuiet: () => this.#now() > Math.max(this.#drawn.overS, this.#lastHappened),
  });

  #ask<N extends RequestName>(window: StormWindow, name: N, params: unknown) {
    return window.ask(name, this.#resolved(params) as never);
  }

  #windowOf(index: number): StormWindow {
    const window = this.#windows[index];
    if (window === undefined) throw new Error('no such window');
    return window;
  }

  #window(one: WindowHappening): void {
    this.#happened(`${one.kind}${one.kind === 'asked' ? ` ${one.name}` : ''}`);
    switch (one.kind) {
      case 'window-gone':
        this.#goes(this.#windowOf(one.window), one.forS);
        break;
      case 'window-silent':
        this.#fallsSilent(this.#windowOf(one.window), one.forS);
        break;
      case 'window-stalled': {
        const window = this.#windowOf(one.window);
        const { clock } = window;
        window.deafUntil = Math.max(window.deafUntil, this.#now() + one.forS);
        if (clock.isStopped) break;
        clock.stop(true);
        this.#world.after(one.forS * 1e3, () => {
          clock.goOn();
        });
        break;
      }
      case 'asked':
        void this.#ask(this.#windowOf(one.window), one.name, one.params);
        break;
      case 'flooded': {
        const window = this.#windowOf(one.window);
        for (let i = 0; i < one.times; i += 1) {
          if (i % 2 === 0) window.say(JSON.stringify({ id: 2e6 + i, name: 'run.journal', params: { id: this.#mainRun ?? 'none', fromSeq: 0, limit: 5 } }));
          else window.say(JSON.stringify({ id: 2e6 + i, name: 'parts.list', params: {} }));
        }
        break;
      }
      case 'commanded-twice': {
        const params = { id: placeholders.run, command: one.command, by: 'somebody', commandId: `twice-${one.atS}` };
        const say = async (index: number): Promise<void> => {
          const window = this.#windowOf(index);
          if (!window.control.mine) await this.#ask(window, 'control.take', {});
          await this.#ask(window, 'run.command', params);
        };
        void say(one.window);
        this.#world.after(one.afterS * 1e3, () => void say(one.then));
        break;
      }
      case 'misspoken':
        this.#windowOf(one.window).say(one.text);
        break;
      case 'control-taken':
        void this.#ask(this.#windowOf(one.window), 'control.take', {});
        break;
      case 'stop-pressed':
        void this.#ask(this.#windowOf(one.window), 'stop', {});
        break;
      case 'hand-work':
        void this.#person.worksByHand(this.#windowOf(one.window), one, this.#windowOf((one.window + 1) % windowCount));
        break;
      case 'bench-changed': {
        const window = this.#windowOf(one.window);
        const change = async (): Promise<void> => {
          if (!window.control.mine) await this.#ask(window, 'control.take', {});
          if (one.to === 'none') await this.#ask(window, 'bench.disconnect', {});
          else await this.#ask(window, 'bench.connect', { bench: one.to === 'simulated' ? { kind: 'simulated' } : { kind: 'port', path: one.to === 'the-same' ? benchPort : '/dev/another' } });
        };
        void change();
        break;
      }
      case 'host-ended':
        void this.#endLife(one.backS);
        break;
      case 'desk-slow':
        this.#deskMs = one.ms;
        this.#deskSlowUntil = this.#now() + one.forS + SHOWN_S;
        this.#world.after(one.forS * 1e3, () => {
          this.#deskMs = 3;
        });
        break;
    }
  }

  #goes(window: StormWindow, forS: number): void {
    window.goes();
    this.#world.after(forS * 1e3, () => {
      window.isBack();
    });
  }

  #fallsSilent(window: StormWindow, forS: number): void {
    window.deafUntil = Math.max(window.deafUntil, this.#now() + forS);
    window.fallsSilent();
    this.#world.after(forS * 1e3, () => {
      window.speaksAgain();
    });
  }

  #heard(socket: Socket, text: string): void {
    const life = this.#life;
    if (life === null) return;
    let message: unknown;
    try {
      message = JSON.parse(text);
    } catch {
      return;
    }
    const parsed = toHost.safeParse(message);
    const id = parsed.success ? parsed.data.id : toHost.pick({ id: true }).safeParse(message).data?.id;
    // Without a number there is nobody to answer.
    if (id === undefined) return;
    const name = parsed.success ? parsed.data.name : '';
    const params = parsed.success && Object.hasOwn(requests, name) ? requests[name as RequestName].params.safeParse(parsed.data.params) : null;
    const valid = params?.success === true;
    if (valid && name === 'hello') {
      life.named.add(socket);
      if (life.holder === null) life.heldSince = this.#now();
      life.holder ??= socket;
    }
    if (valid && name === 'control.take' && life.named.has(socket)) {
      life.holder = socket;
      life.heldSince = this.#now();
    }
    const held = life.holder === socket;
    this.#requests += 1;
    this.#house.push({ kind: 'requested', at: this.#now(), socket: socket.number, id, name, params: valid ? params.data : null, valid, held, against: this.#againstHand(life) });
    if (valid && held && worksByHand.has(name)) life.byHand += 1;
    const command = valid && name === 'run.command' ? (params.data as ParsedParams<'run.command'>).command : null;
    if (valid && held && (worksByHand.has(name) || (command !== null && drivesRun.has(command.kind)))) life.lastAsked = this.#now();
    if (valid && name === 'stop') this.#lookLater('stop', this.#drawn.fair ? STOPPED_S.fair : STOPPED_S.storm);
  }

  /** A run that drives the bench, may do so by itself, waits for somebody to look, or cannot note anything any more. */
  #againstHand(life: Life): string | null {
    if (life.toldFailed) return 'its archive failed';
    const mode = life.openedRun ? this.#mode() : null;
    return mode !== null && againstHand.has(mode) ? `it was ${mode}` : null;
  }

  #said(socket: Socket, text: string): void {
    const life = this.#life;
    if (life === null) return;
    const message = JSON.parse(text) as ToWindow;
    // In a trial of the fault contract what windows are told is held against its words.
    if (this.#drawn.personFromS !== undefined && !('event' in message && message.event === 'frames')) this.#see({ kind: 'status', at: this.#now(), text });
    if (!('event' in message)) {
      this.#house.push({ kind: 'answered', at: this.#now(), socket: socket.number, id: message.id, message });
      const asked = this.#house.findLast((one) => one.kind === 'requested' && one.socket === socket.number && one.id === message.id);
      if (asked?.kind !== 'requested') return;
      if (asked.valid && asked.held && worksByHand.has(asked.name)) life.byHand -= 1;
      this.#answered(asked, message);
      return;
    }
    switch (message.event) {
      case 'control':
        this.#house.push({ kind: 'told-control', at: this.#now(), socket: socket.number, mine: (message.data as { mine: boolean }).mine, holds: life.holder === socket });
        break;
      case 'run.opened':
        // Whatever the journal of a run says that was given up, it is not on the bench any more.
        if ((message.data as { readonly id: string | null }).id === null) this.#onBench = 0;
        life.toldFailed = false;
        break;
      case 'run.status':
        life.toldFailed ||= (message.data as { readonly status: { readonly doing: string } }).status.doing.startsWith('The run has stopped');
        break;
      case 'run.events': {
        const { id, events } = message.data as { readonly id: string; readonly events: readonly RunEvent[] };
        const early = events.filter(({ body }) => !this.#committedTexts.has(JSON.stringify(body)));
        if (early.length > 0) this.#house.push({ kind: 'told-early', at: this.#now(), socket: socket.number, events: early.map(({ body }) => body.kind) });
        for (const { body } of events) if (body.kind === 'attempt-ended') this.#told.set(`${id} ${body.point}:${body.attempt}`, JSON.stringify(body));
        break;
      }
    }
  }

  /** What an answer claims, beside the pins. */
  #answered({ name, params }: Extract<HouseSeen, { kind: 'requested' }>, message: ToWindow): void {
    const result = 'result' in message ? message.result : null;
    if (name === 'run.command' && (result as { accepted?: boolean } | null)?.accepted !== undefined) {
      const { commandId, command, id } = params as ParsedParams<'run.command'>;
      const run = [...this.#ids].find(([, name]) => name === id)?.[0] ?? this.#onBench;
      this.#seen.push({ run, one: { kind: 'answered', at: this.#now(), id: commandId, command, accepted: (result as { accepted: boolean }).accepted } });
    }
    if (name === 'manual.safe' && (result as { accepted?: boolean } | null)?.accepted === true) this.#house.push({ kind: 'said-safe', at: this.#now(), what: 'made safe by hand', mv: this.#supplyMv });
    if (name === 'bench.disconnect' && (result as { why?: string } | null)?.why === 'The bench was disconnected.') {
      this.#house.push({ kind: 'said-safe', at: this.#now(), what: 'disconnected', mv: this.#supplyMv });
    }
    // Only where nothing can keep the bench from confirming it.
    if (name === 'bench.connect' && result !== null && this.#drawn.happenings.every(({ kind }) => ofTheHost.has(kind))) this.#house.push({ kind: 'said-safe', at: this.#now(), what: 'connected', mv: this.#supplyMv });
  }

  /** Looks at the pins after a time, if nothing was asked for meanwhile that drives, and the host lived and ran all the while. */
  #lookLater(after: string, sinceS: number): void {
    const life = this.#life;
    if (life === null) return;
    const from = this.#now();
    const input = life.clock.stops;
    this.#world.after(sinceS * 1e3, () => {
      if (!life.alive || life.ending || life.clock.isStopped || life.clock.stops !== input || life.lastAsked >= from || life.byHand > 0) return;
      if (after !== 'stop' && life.holder !== null) return;
      if (this.#drawn.happenings.some((one) => one.kind === 'controller-disobeys')) return;
      this.#house.push({ kind: 'should-be-safe', at: this.#now(), sinceS, after, mv: this.#supplyMv, lastPulseS: this.#now() - this.#lastPulse });
    });
  }

  #windowLeft(socket: Socket, by: 'window' | 'host'): void {
    const life = this.#life;
    this.#house.push({ kind: 'closed', at: this.#now(), socket: socket.number, by });
    if (life === null) return;
    life.named.delete(socket);
    if (life.holder !== socket) return;
    life.holder = null;
    life.heldSince = this.#now();
    this.#lookWhenNobodyHolds(life);
  }

  /** A run goes on without a window, work by hand does not. */
  #lookWhenNobodyHolds(life: Life): void {
    const from = this.#now();
    const { stops } = life.clock;
    this.#world.after((5 + (this.#drawn.fair ? STOPPED_S.fair : STOPPED_S.storm)) * 1e3, () => {
      if (!life.alive || life.ending || life.clock.isStopped || life.clock.stops !== stops || life.holder !== null || life.lastAsked >= from) return;
      // A window that came back held it meanwhile, and has gone again: its own look is to come.
      if (life.heldSince !== from) return;
      const mode = this.#mode();
      if (drivingModes.has(mode) || mode === 'held' || this.#drawn.happenings.some((one) => one.kind === 'controller-disobeys')) return;
      this.#house.push({ kind: 'should-be-safe', at: this.#now(), sinceS: this.#now() - from, after: 'its window has gone', mv: this.#supplyMv, lastPulseS: this.#now() - this.#lastPulse });
    });
  }

  #compareWindows(): void {
    const life = this.#life;
    const now = this.#now();
    if (life?.alive !== true || life.clock.isStopped || now < this.#deskSlowUntil || now - this.#lifeSince < SHOWN_S || now - this.#stoppedAt < SHOWN_S) return;
    for (const socket of life.sockets) {
      const forS = now - socket.window.silentSince;
      if (socket.isOpen && socket.window.isSilent && forS > MISSED_S) this.#house.push({ kind: 'silent', at: now, socket: socket.number, forS });
    }
    for (const window of this.#windows) {
      if (!this.#hears(window) || now - life.heldSince < SHOWN_S) continue;
      const holds = life.holder?.window === window;
      if (window.control.mine !== holds) this.#house.push({ kind: 'shows-control', at: now, window: window.name, mine: window.control.mine });
    }
    const run = this.#runs.get(this.#onBench);
    if (run === undefined) return;
    const committed = run.counts.findLast(({ at }) => at <= now - SHOWN_S)?.count ?? 0;
    for (const window of this.#windows) {
      if (!this.#hears(window) || window.openRun === null || this.#idOf(this.#onBench) !== window.openRun) continue;
      const has = window.feeds.get(window.openRun)?.view.events.length ?? 0;
      if (has < committed) this.#house.push({ kind: 'lags', at: now, window: window.name, has, committed });
    }
  }

  /** And has heard for so long. */
  #hears(window: StormWindow): boolean {
    const now = this.#now();
    return window.isUp && !window.isSilent && !window.clock.isStopped && window.upSince !== null && now - window.upSince >= SHOWN_S && now - window.deafUntil >= SHOWN_S;
  }

  readonly #ids = new Map<number, string>();
  #lifeSince = 0;
  /** When a process was last stopped, at its end, s. */
  #stoppedAt = Number.NEGATIVE_INFINITY;

  #idOf(no: number): string | undefined {
    if (!this.#ids.has(no)) for (const run of this.#life?.archive.runs({ limit: 500 }) ?? []) this.#ids.set(run.no, run.id);
    return this.#ids.get(no);
  }

  // ---------------------------------------------------------------- a process of the host

  #openLife(): Life | null {
    let die: () => void = () => undefined;
    const dead = new Promise<'dead'>((resolve) => {
      die = () => {
        resolve('dead');
      };
    });
    this.#lives += 1;
    const clock = new HostClock(this.#world, () => this.#stepMs);
    let life: Life | null = null;
    const files: Database[] = [];
    const opened = openArchive(this.#archivePath, {
      now: () => clock.unixNow(),
      entropy: this.#chance,
      openFile: (path, options) => {
        const file = watchedFile({
          alive: () => life === null || life.alive,
          segment: () => undefined,
          beforeCommit: () => {
            if (life === null) return;
            this.#agenda.commits += 1;
            this.#agenda.dieAtCommit('before');
          },
          atStatement: (statement) => {
            if (life === null) return;
            if (statement === 1) this.#failDisk(life, 'statement');
            if (statement === 1 + (this.#agenda.commits % 4)) this.#agenda.dieAtCommit('within');
            if (!life.alive) throw diskError('SQLITE_IOERR_WRITE');
          },
          atEnd: () => {
            if (life === null) return;
            this.#failDisk(life, 'end');
            this.#agenda.dieAtCommit('within');
            if (!life.alive) throw diskError('SQLITE_IOERR_WRITE');
          },
          afterCommit: (bodies, run) => {
            if (life === null) return;
            this.#committed(life, bodies, run);
            this.#agenda.dieAtCommit('after');
          },
        })(path, options);
        files.push(file);
        return file;
      },
    });
    if (!opened.ok) return null;
    const { archive } = opened;
    const readers = new Set<Archive>();
    const channels = new Set<StormChannel>();
    const host = new Host({
      archive,
      software: 'storm',
      clock,
      entropy: this.#chance,
      places: this.#places(clock, channels, () => life),
      freeDiskBytes: () => null,
      serialPorts: () => Promise.resolve([{ path: benchPort }]),
      desk: new Desk(deskThread({ world: this.#world, clock, archivePath: this.#archivePath, readers, delayMs: () => this.#deskMs, isAlive: () => life?.alive !== false }), clock),
      onDefect: (error) => {
        if (life?.alive !== false) this.#house.push({ kind: 'defect', at: this.#now(), text: error instanceof Error ? (error.stack ?? error.message) : String(error) });
      },
    });
    life = {
      host, clock, archive, channels, readers, dead, die, sockets: new Set(), number: this.#lives, alive: true, diskIsGone: null,
      holder: null, heldSince: this.#now(), named: new Set(), byHand: 0, lastAsked: Number.NEGATIVE_INFINITY, ending: false, openedRun: false, toldFailed: false,
    };
    this.#see({ kind: 'host', at: this.#now(), host: life.number, synchronous: files[0]?.pragma('synchronous', { simple: true }) as number });
    this.#lookBack(archive);
    this.#lifeSince = this.#now();
    return life;
  }

  #failDisk(life: Life, where: 'statement' | 'end'): void {
    const error = this.#agenda.diskError(where);
    if (error !== null) {
      if (error.forGood) life.diskIsGone = error.code;
      throw diskError(error.code);
    }
    if (life.diskIsGone !== null) throw diskError(life.diskIsGone);
  }

  #committed(life: Life, bodies: readonly RunEventBody[], no: number): void {
    if (bodies.length === 0) return;
    const run = this.#runs.get(no) ?? { state: null, texts: [], counts: [] };
    this.#runs.set(no, run);
    if (bodies.some((body) => body.kind === 'bench-connected')) {
      this.#onBench = no;
      life.openedRun = true;
    }
    for (const body of bodies) {
      run.state = foldRun(run.state, body);
      const text = JSON.stringify(body);
      run.texts.push(text);
      this.#committedTexts.add(text);
    }
    run.counts.push({ at: this.#now(), count: run.texts.length });
    this.#seen.push({ run: no, one: { kind: 'commit', at: this.#now(), input: life.clock.input, bodies, mode: run.state?.mode ?? null, shown: null } });
    for (const body of bodies) this.#agenda.countEvent(body.kind);
    for (const body of bodies) {
      if (body.kind !== 'made-safe' || !body.confirmed) continue;
      this.#see({ kind: 'confirmed', at: this.#now(), mv: this.#sensorFaults === 0 ? this.#lastReading : null, set: this.#supplyMv, heardS: this.#now() - this.#lastHeard });
    }
  }

  /** Every journal as it lies there; it must hold everything that any window was told. */
  #lookBack(archive: Archive): void {
    const there = new Map<string, string>();
    const before = this.#onBench;
    this.#runs.clear();
    this.#committedTexts.clear();
    for (const { no, id } of archive.runs({ limit: 500 })) {
      const run = { state: null as RunState | null, texts: [] as string[], counts: [] as { at: number; count: number }[] };
      for (const { body } of archive.events(id)) {
        run.state = foldRun(run.state, body);
        const text = JSON.stringify(body);
        run.texts.push(text);
        this.#committedTexts.add(text);
        if (body.kind === 'attempt-ended') there.set(`${id} ${body.point}:${body.attempt}`, text);
      }
      run.counts.push({ at: Number.NEGATIVE_INFINITY, count: run.texts.length });
      this.#runs.set(no, run);
      this.#ids.set(no, id);
    }
    this.#onBench = this.#runs.has(before) ? before : 0;
    for (const [name, text] of this.#told) {
      if (there.get(name) !== text) this.#lost.push(`attempt ${name} (${there.has(name) ? 'is another' : 'is not there'})`);
    }
  }

  #places(clock: HostClock, channels: Set<StormChannel>, life: () => Life | null): BenchPlaces {
    const watched = (bench: Bench): Bench => this.#watchedBench(bench, clock, life);
    const over =
      (source: ChannelSource, real: boolean): BenchPlace['connect'] =>
      async (options) => {
        const connected = await connectBench({ channels: source, clock, entropy: this.#chance, ...options });
        return connected.ok && real ? { ok: true, bench: watched(connected.bench) } : connected;
      };
    return (choice) => {
      if (choice.kind === 'port') {
        const source: ChannelSource = () => {
          if (choice.path !== benchPort) return Promise.resolve([]);
          const channel = this.#wire.channelFor(clock);
          channels.add(channel);
          return Promise.resolve([channel]);
        };
        return { simulated: false, description: `the port ${choice.path}`, clock, connect: over(source, true), close: () => undefined };
      }
      const scenario = scenarioSchema.safeParse(choice.scenario ?? { scenarioVersion: 1, seed: 9999 });
      if (!scenario.success) return { problem: 'The scenario of the simulated bench cannot be used.' };
      const bench = new RunningBench(scenario.data, clock);
      return {
        simulated: true, description: 'the simulated bench', clock, connect: over(() => Promise.resolve([new SimulatedChannel(bench)]), false),
        close: () => {
          bench.switchOff();
        },
      };
    };
  }

  #watchedBench(bench: Bench, clock: HostClock, life: () => Life | null): Bench {
    return benchOf(bench, clock, async (request, signal) => {
      const now = life();
      if (now?.alive === true) this.#asked(now, request);
      const reply = await bench.perform(request, signal);
      clock.input += 1;
      return reply;
    });
  }

  #asked(life: Life, request: BenchRequest): void {
    const mode = this.#mode();
    if ((life.openedRun && drivingModes.has(mode)) || !energising.has(request.kind)) {
      this.#see({ kind: 'asked', at: this.#now(), input: life.clock.input, request, mode });
      return;
    }
    this.#house.push({ kind: 'by-hand', at: this.#now(), request: request.kind, asked: life.byHand > 0 });
    // It may reach the bench late, and lines may be late too.
    if (request.kind === 'burst') this.#handBurstUntil = this.#now() + 6 + request.count * request.period;
  }

  /** The program is ended as it should be. */
  async #endLife(backS: number): Promise<void> {
    const life = this.#life;
    if (life?.alive !== true || life.ending || life.clock.isStopped) return;
    life.ending = true;
    life.clock.input += 1;
    const answer = await Promise.race([life.host.close(), life.dead]);
    if (answer === 'dead') return;
    this.#house.push({ kind: 'ended', at: this.#now(), ...answer, mv: this.#supplyMv });
    this.#backAfter = backS;
    life.alive = false;
    for (const socket of life.sockets) {
      if (socket.isOpen) this.#house.push({ kind: 'closed', at: this.#now(), socket: socket.number, by: 'death' });
      socket.died();
    }
    for (const reader of life.readers) reader.close();
    life.archive.close();
    // What it left running would come to a closed archive now.
    await this.#wait(3);
    life.clock.die();
    for (const channel of life.channels) channel.die();
    life.die();
  }

  #wait(seconds: number): Promise<'waited'> {
    return new Promise((resolve) => {
      this.#world.after(seconds * 1e3, () => {
        resolve('waited');
      });
    });
  }

  // ---------------------------------------------------------------- from the beginning to the end

  /** Rejects with what the program throws, wherever it throws it: after that nothing can be said of the run. */
  async run(): Promise<HouseEvidence> {
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
          throw error instanceof ProgramThrew ? error : new ProgramThrew(error instanceof Error ? error : new Error(String(error)));
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

  async #run(): Promise<HouseEvidence> {
    for (const window of this.#windows) window.comes();
    const done = this.#person.wantsARun(this.#stuckNow);
    for (;;) {
      const life = this.#openLife();
      if (life === null) {
        await this.#wait(1);
        if (this.#now() > Math.max(this.#drawn.overS, this.#lastHappened) + PATIENCE_S) this.#stuck ??= 'no host could be opened any more';
        if (this.#stuck !== null) break;
        continue;
      }
      this.#life = life;
      const end = await Promise.race([done.then(() => 'done' as const), life.dead, this.#stuckNow]);
      if (end === 'done') await this.#last(life);
      if (end === 'stuck') break;
      if (!life.ending) {
        for (const reader of life.readers) reader.close();
        life.archive.close();
      }
      if (end === 'done') {
        if (!life.alive || life.ending) break;
        continue;
      }
      await this.#wait(this.#backAfter);
    }
    const life = this.#life;
    this.#life = null;
    if (life?.alive === true) {
      life.alive = false;
      life.clock.die();
      for (const channel of life.channels) channel.die();
      for (const reader of life.readers) reader.close();
      life.archive.close();
    }
    for (const window of this.#windows) window.end();
    // The bench is left to itself: its dead-man has to act if anything is still on.
    await this.#wait(this.#deadManS + 2);
    this.#watchSilence();
    return this.#evidence();
  }

  /** Everything is over: the windows show it all, and the program is ended. */
  async #last(life: Life): Promise<void> {
    await Promise.race([this.#wait(SHOWN_S + 4), life.dead]);
    if (!life.alive) return;
    this.#compareWindows();
    await this.#endLife(0);
  }

  #evidence(): HouseEvidence {
    const opened = openArchive(this.#archivePath, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    const { archive } = opened;
    try {
      this.#lookBack(archive);
      const hashes: string[] = [];
      const runs = archive.runs({ limit: 500 }).map(({ no, id }): RunEvidence => {
        const stored = archive.run(id);
        const hash = stored === null ? '' : ([...archive.eventRows(stored)].at(-1)?.hash.toString('hex') ?? '');
        hashes.push(hash);
        const events = [...archive.events(id)].map((event) => event.body);
        for (const window of this.#windows) {
          const shown = window.feeds.get(id)?.view.events ?? [];
          const other = shown.findIndex(({ seq, body }, i) => seq !== i || JSON.stringify(body) !== JSON.stringify(events[i]));
          if (other >= 0) this.#house.push({ kind: 'shows-other', at: this.#now(), window: window.name, text: `event ${other} of run ${id}: ${shown[other]?.body.kind ?? ''} in place of ${events[other]?.kind ?? 'nothing'}` });
        }
        return {
          id, events, hash, state: this.#runs.get(no)?.state ?? null,
          seen: this.#seen.filter(({ run, one }) => run === no || one.kind === 'host' || one.kind === 'died').map(({ one }) => one),
        };
      });
      for (const window of this.#windows) {
        if (window.connection.misread > 0) this.#house.push({ kind: 'misread', at: this.#now(), window: window.name, times: window.connection.misread });
      }
      return {
        drawn: this.#drawn, seen: this.#seen.map(({ one }) => one), windows: this.#house, runs, hash: hashes.join(' '), verification: archive.verify(), lost: this.#lost,
        stuck: this.#stuck ?? this.#person.stuck, mostUnsent: this.#mostUnsent, requests: this.#requests, deaths: this.#deaths, benchS: this.#now(),
      };
    } finally {
      archive.close();
    }
  }
}

/** As a simulated bench with this seed calls itself. */
const serialOf = (seed: number): string => `SIM-${String(seed).padStart(4, '0')}`;

const nothing = new Uint8Array();
