/**
 * The machine that a host runs on, simulated: its clock, its disk and the cable to the bench. All of it can fail, and a
 * process on it can die at any instant.
 *
 * Death is the end of every effect: from then on nothing of the host reaches the bench, the disk or anybody's eyes, no
 * timer of it fires and nothing is heard by it. What is left of it in memory cannot be told from a process that is gone.
 * The archive's files are copied as they lie at that instant, which is what the operating system keeps of a killed
 * process, and the next host opens the copy.
 */
import { copyFileSync, existsSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';
import Sqlite from 'better-sqlite3';
import { unixMillis, type UnixMillis } from '../../app/quantities/quantity.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { Plant } from '../../firmware-protocol/simulator/plant/plant.ts';
import { createPlant } from '../../firmware-protocol/simulator/plant/plant.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { decodeFromController, decodeFromHost, encodeReply, encodeRequest, encodeTelemetry } from '../../firmware-protocol/line/messages.ts';
import { openDatabase, type Database } from '../../main/archive/sqlite.ts';
import type { Bench } from '../../main/bench/driver.ts';
import type { RunningBench } from '../../main/bench/running-bench.ts';
import type { Clock, VirtualClock } from '../../main/clock/clock.ts';
import type { Channel, ChannelEvents, OpenedChannel } from '../../main/link/channel.ts';

// ------------------------------------------------------------------ clock

interface HostTimer {
  readonly due: number;
  readonly order: number;
  readonly action: () => void;
  cancel: () => void;
}

/** The clock of one process. It can be stopped for a while, as a process or a whole machine can. */
export class HostClock implements Clock {
  /** Counts what the process was woken for, so that what it does upon one thing can be told from what it does upon the next. */
  input = 0;
  readonly #world: VirtualClock;
  readonly #step: () => number;
  readonly #timers = new Set<HostTimer>();
  #order = 0;
  #behind = 0;
  #stopped: { readonly at: number; readonly clockGoesOn: boolean } | null = null;
  #dead = false;

  /** `step`: by how much the wall clock was set, ms. */
  constructor(world: VirtualClock, step: () => number) {
    this.#world = world;
    this.#step = step;
  }

  /** Differences of times are rounded: when a timer fires, it is its time. */
  #least = 0;

  now(): number {
    return Math.max(this.#least, this.#computed());
  }

  #computed(): number {
    return this.#stopped !== null && !this.#stopped.clockGoesOn ? this.#stopped.at - this.#behind : this.#world.now() - this.#behind;
  }

  unixNow(): UnixMillis {
    return unixMillis(this.#world.unixNow() + this.#step());
  }

  /** As Linux and Windows count it. */
  suspended(): number {
    return this.#behind;
  }

  after(ms: number, action: () => void): () => void {
    if (this.#dead) return () => undefined;
    const timer: HostTimer = { due: this.now() + Math.max(0, ms), order: this.#order++, action, cancel: () => undefined };
    this.#timers.add(timer);
    if (this.#stopped === null) this.#set(timer);
    return () => {
      timer.cancel();
      this.#timers.delete(timer);
    };
  }

  #set(timer: HostTimer): void {
    timer.cancel = this.#world.after(timer.due - this.now(), () => {
      this.#timers.delete(timer);
      this.input += 1;
      this.#least = Math.max(this.#least, timer.due);
      timer.action();
    });
  }

  get isStopped(): boolean {
    return this.#stopped !== null;
  }

  /** How often it was stopped. */
  stops = 0;

  stop(clockGoesOn: boolean): void {
    if (this.#stopped !== null || this.#dead) return;
    this.stops += 1;
    this.#stopped = { at: this.#world.now(), clockGoesOn };
    for (const timer of this.#timers) timer.cancel();
  }

  goOn(): void {
    if (this.#stopped === null || this.#dead) return;
    if (!this.#stopped.clockGoesOn) this.#behind += this.#world.now() - this.#stopped.at;
    this.#stopped = null;
    for (const timer of [...this.#timers].sort((a, b) => a.due - b.due || a.order - b.order)) this.#set(timer);
  }

  die(): void {
    this.#dead = true;
    for (const timer of this.#timers) timer.cancel();
    this.#timers.clear();
  }
}

// ------------------------------------------------------------------ disk

type Code = 'SQLITE_FULL' | 'SQLITE_IOERR_WRITE' | 'SQLITE_IOERR_FSYNC';

/** What becomes of a commit. `statement`: of its writing statements, from 1. */
export interface DiskEvents {
  readonly alive: () => boolean;
  readonly beforeCommit: () => void;
  /** Frames of a new controller life, or of one that could not follow, are being written. */
  readonly segment: (boot: string) => void;
  /** May throw what SQLite would throw. */
  readonly atStatement: (statement: number) => void;
  /** Everything is written and nothing committed. May throw. */
  readonly atEnd: () => void;
  /** `bodies`: the events of the run that are on the disk now; `run` is its number in the file. */
  readonly afterCommit: (bodies: readonly RunEventBody[], run: number) => void;
}

export const diskError = (code: Code): Error => new Sqlite.SqliteError(`${code} (storm)`, code);

/** A door to the archive's file that watches what goes through and lets it fail. The database itself is the real one. */
export function watchedFile(events: DiskEvents): typeof openDatabase {
  return (path, options) => {
    const db = openDatabase(path, options);
    let statements: number | null = null;
    let bodies: RunEventBody[] = [];
    let runNumber = 0;
    const prepare = db.prepare.bind(db);
    const transaction = db.transaction.bind(db);
    const replaced = {
      prepare: (sql: string) => {
        const statement = prepare(sql);
        if (statement.reader) return statement;
        const run: (...args: unknown[]) => Sqlite.RunResult = statement.run.bind(statement);
        const isEvent = sql.startsWith('INSERT INTO events');
        const isSegment = sql.startsWith('INSERT INTO segments');
        Object.defineProperty(statement, 'run', {
          value: (...args: unknown[]) => {
            if (!events.alive()) throw diskError('SQLITE_IOERR_WRITE');
            if (statements !== null) events.atStatement((statements += 1));
            if (isSegment) events.segment(String(args[2]));
            if (isEvent) bodies.push(JSON.parse(String(args[4])) as RunEventBody);
            if (isEvent) runNumber = Number(args[0]);
            return run(...args);
          },
        });
        return statement;
      },
      transaction: (work: (...args: readonly unknown[]) => unknown) => {
        const whole = transaction((...args: readonly unknown[]) => {
          const result = work(...args);
          events.atEnd();
          return result;
        });
        const immediate = (...args: readonly unknown[]): unknown => {
          if (!events.alive()) throw diskError('SQLITE_IOERR_WRITE');
          events.beforeCommit();
          if (!events.alive()) throw diskError('SQLITE_IOERR_WRITE');
          statements = 0;
          bodies = [];
          try {
            const result = whole.immediate(...args);
            events.afterCommit(bodies, runNumber);
            return result;
          } finally {
            statements = null;
          }
        };
        return Object.assign((...args: readonly unknown[]) => whole(...args), { immediate });
      },
    };
    for (const [name, value] of Object.entries(replaced)) Object.defineProperty(db, name, { value });
    return db satisfies Database;
  };
}

/** Copies the files of an archive as they lie there into a new folder; returns the path of the archive in it. */
export function filesOfADeadProcess(archive: string, folder: string): string {
  mkdirSync(folder, { recursive: true });
  const copy = join(folder, 'archive.sqlite');
  for (const suffix of ['', '-wal']) {
    if (existsSync(archive + suffix)) copyFileSync(archive + suffix, copy + suffix);
  }
  return copy;
}

// ------------------------------------------------------------------ cable

/** What a serial port's buffer in the operating system holds while nobody reads. */
const RECEIVE_BUFFER = 4096;

export interface WireEvents {
  /** A line that a host gave to its port, before it is on its way. `again`: one that was sent before. */
  readonly beforeLine: (word: string, again: boolean, number: number) => void;
  readonly afterLine: (word: string, again: boolean) => void;
  /** Bytes of a host reached the bench. */
  readonly arrived: () => void;
  /** Bytes of the bench reached a host's machine. */
  readonly heard: () => void;
  /** A host is about to read them. */
  readonly read: (bytes: Uint8Array) => void;
}

/** The cable between the machine and the bench. It outlives hosts. */
export class Wire {
  pulled = false;
  delayMs = 0;
  /** So long after an answer came it comes once more; 0: it does not. */
  againMs = 0;
  telemetryStopped = false;
  /** What `safe` comes to is only the supply switched off, whatever the controller says of it. */
  disobeys = false;
  /** The cable hangs on another bench, of which nothing is known but its name. */
  otherBench = false;
  readonly #bench: RunningBench;
  readonly #world: VirtualClock;
  readonly #events: WireEvents;
  #channel: StormChannel | null = null;
  #lastToBench = 0;
  #lastToHost = 0;
  /** What was under way when the cable was pulled never arrives. */
  #pull = 0;

  constructor(bench: RunningBench, world: VirtualClock, events: WireEvents) {
    this.#bench = bench;
    this.#world = world;
    this.#events = events;
  }

  channelFor(clock: HostClock): StormChannel {
    return new StormChannel(this, clock);
  }

  attach(channel: StormChannel): void {
    this.#channel = channel;
    this.#bench.attach((bytes) => {
      if (this.otherBench) return;
      if (this.telemetryStopped && isTelemetry(bytes)) return;
      this.#send(this.disobeys ? this.#glossedOver(bytes) : bytes, 'to-host');
    });
  }

  detach(channel: StormChannel): void {
    if (this.#channel === channel) this.#channel = null;
  }

  toBench(bytes: Uint8Array): void {
    const [word, again] = this.#wordOf(bytes);
    this.#events.beforeLine(word, again, this.#lastSeq);
    if (this.#channel === null) return;
    if (this.otherBench) this.#answerAsAnother(bytes);
    else this.#send(this.disobeys && word === 'safe' ? this.#disobeyed(bytes) : bytes, 'to-bench');
    this.#events.afterLine(word, again);
  }

  /** Sequence numbers of requests to make safe that were not carried out. */
  readonly #disobeyedSeqs = new Set<number>();

  #disobeyed(bytes: Uint8Array): Uint8Array {
    const line = decodeFromHost(textOf(bytes));
    if (line.kind !== 'request') return bytes;
    this.#disobeyedSeqs.add(line.seq);
    return Buffer.from(encodeRequest(line.seq, { word: 'supply', mv: 0 }), 'latin1');
  }

  #glossedOver(bytes: Uint8Array): Uint8Array {
    const line = decodeFromController(textOf(bytes));
    if (line.kind === 'telemetry' && this.#disobeyedSeqs.size > 0) return Buffer.from(encodeTelemetry({ ...line.telemetry, armed: false }), 'latin1');
    if (line.kind === 'reply' && this.#disobeyedSeqs.has(line.seq)) return Buffer.from(encodeReply(line.seq, { word: 'safe' }), 'latin1');
    return bytes;
  }

  #answerAsAnother(bytes: Uint8Array): void {
    const line = decodeFromHost(textOf(bytes));
    if (line.kind !== 'request' || line.request.word !== 'hello') return;
    const { token } = line.request;
    const reply = encodeReply(line.seq, { word: 'hello', token, protocol: 1, model: 'simulated-bench', serial: 'SIM-9999', firmware: '1.0', boot: 'another', channels: 8 });
    // A controller answers after the host has written, and not within it.
    this.#world.after(5, () => {
      if (this.otherBench) this.#send(Buffer.from(reply, 'latin1'), 'to-host');
    });
  }

  obeys(): void {
    this.disobeys = false;
    this.#disobeyedSeqs.clear();
  }

  /** `told`: the host's operating system says so. */
  pull(told: boolean): void {
    this.pulled = true;
    this.#pull += 1;
    if (told) this.#channel?.lost();
  }

  plug(): void {
    this.pulled = false;
  }

  #lastSeq = -1;

  #wordOf(bytes: Uint8Array): readonly [string, boolean] {
    const line = decodeFromHost(textOf(bytes));
    if (line.kind !== 'request') return ['', false];
    const again = line.seq === this.#lastSeq;
    this.#lastSeq = line.seq;
    return [line.request.word, again];
  }

  #send(bytes: Uint8Array, to: 'to-bench' | 'to-host'): void {
    if (this.pulled) return;
    const now = this.#world.now();
    const last = to === 'to-bench' ? this.#lastToBench : this.#lastToHost;
    const due = Math.max(now + this.delayMs, last);
    if (due <= now) {
      this.#deliver(bytes, to);
      return;
    }
    if (to === 'to-bench') this.#lastToBench = due;
    else this.#lastToHost = due;
    const pull = this.#pull;
    this.#world.after(due - now, () => {
      if (this.#pull === pull) this.#deliver(bytes, to);
    });
  }

  /** A host takes what its machine has received. */
  read(bytes: Uint8Array): void {
    this.#events.read(bytes);
  }

  #deliver(bytes: Uint8Array, to: 'to-bench' | 'to-host', again = false): void {
    if (to === 'to-host') {
      if (this.againMs > 0 && !again && !isTelemetry(bytes)) {
        const pull = this.#pull;
        this.#world.after(this.againMs, () => {
          if (this.#pull === pull) this.#deliver(bytes, to, true);
        });
      }
      this.#events.heard();
      this.#channel?.hear(bytes);
      return;
    }
    this.#events.arrived();
    this.#bench.receive(bytes);
  }
}

/** Of a line as the controller says it: a mark stands first (LINE-5). */
export const isTelemetry = (bytes: Uint8Array): boolean => bytes[0] === 0x2e;

const textOf = (bytes: Uint8Array): string => Buffer.from(bytes).toString('latin1').trimEnd();

class StormChannel implements Channel {
  readonly description = 'the cable of the storm';
  readonly #wire: Wire;
  readonly #clock: HostClock;
  #events: ChannelEvents | null = null;
  #unread: Uint8Array[] = [];
  #unreadBytes = 0;

  constructor(wire: Wire, clock: HostClock) {
    this.#wire = wire;
    this.#clock = clock;
  }

  open(events: ChannelEvents): Promise<OpenedChannel> {
    if (this.#wire.pulled) return Promise.resolve({ ok: false, code: 'absent', text: 'The cable is not there.' });
    this.#events = events;
    this.#wire.attach(this);
    return Promise.resolve({ ok: true });
  }

  write(bytes: Uint8Array): void {
    if (this.#events !== null && !this.#clock.isStopped) this.#wire.toBench(bytes);
  }

  hear(bytes: Uint8Array): void {
    if (!this.#clock.isStopped && this.#unread.length === 0) {
      this.#clock.input += 1;
      this.#read(bytes);
      return;
    }
    if (this.#unreadBytes + bytes.length > RECEIVE_BUFFER) return;
    this.#unread.push(bytes);
    this.#unreadBytes += bytes.length;
    if (!this.#clock.isStopped) this.#readLater();
  }

  /** After a stop a process comes to its timers first and then to what there is to read. */
  goOn(): void {
    if (this.#unread.length > 0) this.#readLater();
  }

  #readLater(): void {
    this.#clock.after(0, () => {
      if (this.#clock.isStopped) return;
      const unread = this.#unread.splice(0);
      this.#unreadBytes = 0;
      for (const bytes of unread) this.#read(bytes);
    });
  }

  #read(bytes: Uint8Array): void {
    if (this.#events === null) return;
    this.#wire.read(bytes);
    this.#events.onBytes(bytes);
  }

  lost(): void {
    const events = this.#events;
    void this.close();
    events?.onClosed('The cable was pulled.');
  }

  die(): void {
    void this.close();
  }

  close(): Promise<void> {
    this.#wire.detach(this);
    this.#events = null;
    return Promise.resolve();
  }
}

export type { StormChannel };

// ------------------------------------------------------------------ the bench as it is

/** What is really done to the injectors and the supply: seen at the pins, whatever the controller says about it. */
export interface PinEvents {
  readonly supply: (mv: number) => void;
  readonly pressure: (pa: number) => void;
  readonly pulse: (channel: number, startUs: number, widthUs: number) => void;
  readonly reading: (supplyMv: number) => void;
  readonly fault: (kind: string, begins: boolean) => void;
}

export function watchedPlant(events: PinEvents): (scenario: Scenario) => Plant {
  return (scenario) => {
    const plant = createPlant(scenario);
    const watched: Partial<Plant> = {
      setSupply: (mv) => {
        events.supply(mv);
        plant.setSupply(mv);
      },
      setPressure: (pa) => {
        events.pressure(pa);
        plant.setPressure(pa);
      },
      pulse: (channel, startUs, widthUs) => {
        events.pulse(channel, startUs, widthUs);
        plant.pulse(channel, startUs, widthUs);
      },
      read: () => {
        const readings = plant.read();
        events.reading(readings.supplyMv);
        return readings;
      },
      begin: (fault) => {
        events.fault(fault.kind, true);
        plant.begin(fault);
      },
      end: (fault) => {
        events.fault(fault.kind, false);
        plant.end(fault);
      },
    };
    // Whatever else a plant can do is passed on as it is. A plain object: one that is asked by way of a Proxy costs a hundredth of the whole storm.
    const whole: Record<string, unknown> = { ...watched };
    const described: Readonly<Record<string, PropertyDescriptor>> = Object.getOwnPropertyDescriptors(Object.getPrototypeOf(plant) as object);
    for (const [name, descriptor] of Object.entries(described)) {
      if (name in watched || name === 'constructor') continue;
      const value: unknown = descriptor.value;
      if (typeof value === 'function') whole[name] = (...args: readonly unknown[]) => Reflect.apply(value, plant, args) as unknown;
      else Object.defineProperty(whole, name, { get: () => Reflect.get(plant, name, plant) as unknown });
    }
    return whole as unknown as Plant;
  };
}

// ------------------------------------------------------------------ the bench as a host has it

/** The bench of a process: what it hears wakes it, and what it asks goes through `perform`. */
export function benchOf(bench: Bench, clock: HostClock, perform: Bench['perform']): Bench {
  return {
    get identity() { return bench.identity; },
    get capabilities() { return bench.capabilities; },
    get link() { return bench.link; },
    get bootId() { return bench.bootId; },
    get downReason() { return bench.downReason; },
    listen: ({ onFrame, onLink }) => bench.listen({
      onFrame: (frame) => {
        clock.input += 1;
        onFrame(frame);
      },
      onLink: (event) => {
        clock.input += 1;
        onLink(event);
      },
    }),
    configure: (settings, signal) => bench.configure(settings, signal),
    perform,
    statistics: () => bench.statistics(),
    close: () => bench.close(),
  };
}
