/**
 * A bench for the tests of the engine: a few lines of made-up physics, synchronous, on its own time. Nothing random,
 * nothing realistic; every misbehaviour is a field that a test sets.
 */
import type { BenchCapabilities, BenchFault, BenchFrame, BenchReply, BenchRequest } from '../bench/port.ts';
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { amperes, celsius, kilopascals, microseconds, milliseconds, pascals, seconds, volts } from '../quantities/quantity.ts';
import { createEngine } from './engine.ts';
import type { BlindSource, EngineInput, EngineOutput, EngineRequest, RunEngine } from './engine.ts';
import type { RunCommand, RunEventBody } from '../journal/events.ts';
import type { PreflightLine } from '../plan/preflight-line.ts';
import { foldRun } from '../journal/fold.ts';
import type { RunState } from '../journal/state.ts';
import { recoverRun } from './recover.ts';

export function testPlan(changes: Record<string, unknown> = {}): Plan {
  return planSchema.parse({
    planVersion: 1,
    zero: { windowS: 0 },
    pair: { windows: 0 },
    name: 'Test plan',
    injectors: [
      { serialNumber: 'A-1', type: 'T', channel: 1 },
      { serialNumber: 'A-2', type: 'T', channel: 2 },
    ],
    axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 1 },
    sequence: { kind: 'nested' },
    supply: { steadyS: 0.2, timeoutS: 2 },
    condition: { steadyS: 0.2, timeoutS: 3 },
    purge: { pulses: 5 },
    settleS: 0.3,
    window: { minEdges: 24, minS: 0.5, maxS: 3 },
    giveUp: { afterFailures: 0 },
    look: { windowS: 0 },
    invariance: { percent: 0 },
    blind: { percent: 0 },
    ...changes,
  });
}

export const testEquipment: Equipment = equipmentSchema.parse({
  equipmentVersion: 1,
  name: 'Test bench',
  meter: {
    kind: 'test meter',
    serialNumber: 'M',
    kFactor: [{ hertz: 0, edgesPerLitre: 48_000 }],
    relativeUncertaintyPercent: 0.1,
    edgesPerRevolution: 4,
    certificate: { number: '1', date: '2026-01-01', validUntil: '2028-01-01' },
  },
  pressure: { serialNumber: 'P', uncertaintyKpa: 0.4, certificate: { number: '2', date: '2026-01-01', validUntil: '2028-01-01' } },
  temperature: { serialNumber: 'T', uncertaintyC: 0.1, certificate: { number: '3', date: '2026-01-01', validUntil: '2028-01-01' } },
  supply: { serialNumber: 'S', uncertaintyMv: 5, certificate: { number: '4', date: '2026-01-01', validUntil: '2028-01-01' } },
  fluid: { name: 'n-heptane', lot: 'L', openedOn: '2026-01-01', densityUncertaintyPercent: 0.1 },
  ambientKpa: 101.325,
});

export const testCapabilities: BenchCapabilities = {
  channels: 8,
  timerResolution: microseconds(0.1),
  minWidth: microseconds(50),
  maxWidth: milliseconds(50),
  minPeriod: milliseconds(1),
  maxPeriod: seconds(1),
  maxCount: 1_000_000,
  minSupply: volts(6),
  maxSupply: volts(18),
  safeSupply: volts(0),
  pressure: { commandable: true, min: kilopascals(100), max: kilopascals(600) },
  deadManMin: milliseconds(200),
  deadManMax: seconds(5),
  telemetryMaxHz: 100,
  interlocks: ['emergency-stop', 'cover', 'ventilation'],
};

const allClosed = 0b111;

export class ScriptedBench {
  /** Misbehaviour, for tests to set. */
  pressureOffset = 0;
  temperature = 21;
  supplyOffset = 0;
  interlocks = allClosed;
  meterSilent = false;
  telemetrySilent = false;
  deadManWorks = true;
  /** Edges per second while an injector is driven, and while none is. */
  flow = 60;
  leak = 0;
  /** Supply current while an injector is driven, and while none is, A. */
  current = 0.5;
  idleCurrent = 0;
  /** Channels whose injector does not open, and whose coil is open. */
  readonly dead = new Set<number>();
  readonly openCoils = new Set<number>();
  countsTooMany = false;
  /** What its timer makes of a width, s. */
  widthError = 0;
  /** Answers instead of the bench; undefined: the bench answers itself; null: never. */
  answer: (request: BenchRequest) => BenchReply | null | undefined = () => undefined;

  /** What the controller says in place of the truth. */
  tell: (frame: BenchFrame) => BenchFrame = (frame) => frame;

  time = 100;
  /** From frame to frame, s. A sixteenth is a sum without a rounding, so that a wait comes to its very limit. */
  frameEvery = 0.05;
  bootId = 'boot-1';
  fault: BenchFault | null = null;
  armed = false;
  supply = 0;
  pressure = 400;
  /** Only with the capability `rail`: without the pump the rail has no pressure. */
  pumping = false;
  shut = false;
  /** By how much the pressure of a rail that is shut off falls, Pa/s. */
  falling = 0;
  readonly capabilities: BenchCapabilities;
  burst = { number: 0, active: false, commanded: 0, done: 0, period: 1, exact: 0, width: 0, channel: 0 };
  readonly requests: BenchRequest[] = [];
  #bootTime = 100;
  #edges = 0;
  #edgesWhole = 0;
  #lastEdgeAt = 0;
  #frameNumber = 0;
  #silentUntil = 0;
  #heard = 100;

  constructor(capabilities: BenchCapabilities = testCapabilities) {
    this.capabilities = capabilities;
  }

  carryOut(request: BenchRequest): BenchReply | null {
    this.requests.push(request);
    const scripted = this.answer(request);
    if (scripted !== undefined) return scripted;
    switch (request.kind) {
      case 'arm':
        if (this.fault !== null) return { kind: 'refused', code: 'fault-latched', text: 'a fault is latched' };
        if (this.interlocks !== allClosed) return { kind: 'refused', code: 'interlock', text: 'an interlock is open' };
        this.armed = true;
        break;
      case 'make-safe':
        this.makeItselfSafe();
        break;
      case 'set-supply':
        if (request.supply > this.capabilities.maxSupply) return { kind: 'refused', code: 'out-of-range', text: 'too high' };
        this.supply = request.supply;
        break;
      case 'set-pressure':
        this.pressure = request.pressure / 1e3;
        break;
      case 'burst':
        if (!this.armed) return { kind: 'refused', code: 'not-armed', text: 'not armed' };
        this.burst = { number: this.burst.number + 1, active: true, commanded: request.count, done: 0, period: request.period, exact: 0, width: request.width, channel: request.channel };
        return { kind: 'done', drivenWidth: seconds(request.width + this.widthError) };
      case 'stop-burst':
        this.burst.active = false;
        break;
      case 'clear-faults':
        if (this.fault !== null && this.interlocks !== allClosed) return { kind: 'refused', code: 'interlock', text: 'an interlock is open' };
        this.fault = null;
        break;
      case 'pump':
        if (this.capabilities.rail === undefined) return { kind: 'refused', code: 'unsupported', text: 'no pump' };
        if (request.on && !this.armed) return { kind: 'refused', code: 'not-armed', text: 'not armed' };
        this.pumping = request.on;
        break;
      case 'shut-off':
        if (this.capabilities.rail === undefined) return { kind: 'refused', code: 'unsupported', text: 'no valve' };
        this.shut = request.shut;
        break;
      case 'keep-pressure':
        if (this.capabilities.rail === undefined) return { kind: 'refused', code: 'unsupported', text: 'no rail' };
        this.armed = false;
        this.burst.active = false;
        this.supply = 0;
        break;
      case 'keep-silent':
        this.#silentUntil = this.time + request.duration;
        break;
    }
    return { kind: 'done' };
  }

  makeItselfSafe(): void {
    this.burst.active = false;
    this.armed = false;
    this.supply = 0;
    this.pumping = false;
    this.shut = false;
  }

  latch(code: string): void {
    this.makeItselfSafe();
    this.fault = { code, text: `Fault ${code}.` };
  }

  reset(bootId: string): void {
    this.makeItselfSafe();
    this.bootId = bootId;
    this.fault = null;
    this.#bootTime = this.time;
    this.#frameNumber = 0;
    this.#edges = 0;
    this.#edgesWhole = 0;
    this.#lastEdgeAt = 0;
    this.burst = { number: 0, active: false, commanded: 0, done: 0, period: 1, exact: 0, width: 0, channel: 0 };
  }

  /** Lets one telemetry interval pass; `linked` false: the controller hears nothing of the host. */
  pass(linked: boolean): BenchFrame {
    this.time += this.frameEvery;
    if (linked && this.time >= this.#silentUntil) this.#heard = this.time;
    if (this.deadManWorks && this.armed && this.time - this.#heard > 1) this.latch('dead-man');
    if (this.shut) this.pressure -= (this.falling / 1e3) * this.frameEvery;
    const { burst } = this;
    if (burst.active) {
      burst.exact += this.frameEvery / burst.period;
      burst.done = Math.min(burst.commanded, Math.floor(burst.exact + 1e-9)) + (this.countsTooMany ? burst.commanded : 0);
      if (burst.exact >= burst.commanded) burst.active = false;
    }
    // Pulses of the proof are too short to open an injector.
    const rate = burst.active && burst.width > 1e-3 && !this.dead.has(burst.channel) && !this.openCoils.has(burst.channel) ? this.flow : this.leak;
    if (!this.meterSilent) this.#edges += rate * this.frameEvery;
    if (Math.floor(this.#edges + 1e-9) > this.#edgesWhole) {
      this.#edgesWhole = Math.floor(this.#edges + 1e-9);
      this.#lastEdgeAt = this.time - this.#bootTime - (this.#edges - this.#edgesWhole) / Math.max(rate, 1e-9);
    }
    this.#frameNumber += 1;
    return this.tell({
      at: seconds(this.time - this.#bootTime),
      number: this.#frameNumber,
      bootId: this.bootId,
      supply: volts(this.supply + (this.supply > 0 ? this.supplyOffset : 0)),
      current: amperes(this.burst.active && !this.openCoils.has(this.burst.channel) ? this.current : this.idleCurrent),
      pressure: pascals((this.capabilities.rail?.pump === true && !this.pumping && !this.shut ? 0 : this.pressure + this.pressureOffset) * 1e3),
      railTemperature: celsius(this.temperature),
      meterTemperature: celsius(this.temperature),
      edges: this.#edgesWhole,
      lastEdgeAt: seconds(Math.max(0, this.#lastEdgeAt)),
      burst: { number: burst.number, active: burst.active, commanded: burst.commanded, done: burst.done },
      armed: this.armed,
      fault: this.fault,
      interlocks: this.interlocks,
    });
  }
}

/** A run on a scripted bench: plays the host, keeps the journal. */
export class TestRun {
  readonly bench: ScriptedBench;
  readonly plan: Plan;
  readonly points: readonly Point[];
  readonly journal: RunEventBody[] = [];
  engine: RunEngine;
  linkUp = true;
  last: EngineOutput | null = null;
  /** For how long the host's monotonic clock stood still, s, and by how much its wall clock was set, s. */
  suspendedFor = 0;
  clockSetBy = 0;
  hasWall = true;
  /** The host's computer counts for how long it was suspended. */
  countsSleep = false;
  /** The host ticks no more often than this, s; 0: with every frame. */
  tickEvery = 0;
  #tickedAt = Number.NEGATIVE_INFINITY;
  readonly #secrets: BlindSource | null;
  #pending: EngineRequest | null = null;
  #commands = 0;

  constructor(setup: { plan?: Plan; bench?: ScriptedBench; equipment?: Equipment; preflight?: readonly PreflightLine[]; secrets?: BlindSource } = {}) {
    this.#secrets = setup.secrets ?? null;
    this.plan = setup.plan ?? testPlan();
    this.bench = setup.bench ?? new ScriptedBench();
    this.points = expandPlan(this.plan);
    this.journal.push(
      { kind: 'opened', plan: this.plan, equipment: setup.equipment ?? testEquipment, operator: 'op', software: 'test', points: this.points.length },
      {
        kind: 'bench-connected',
        identity: { model: 'scripted', serialNumber: '1', firmware: '1', protocol: 1 },
        capabilities: this.bench.capabilities,
        bootId: this.bench.bootId,
        link: 'test',
      },
      { kind: 'preflight', lines: setup.preflight ?? [] },
    );
    this.engine = createEngine(this.refold(), this.#secrets);
  }

  /** The journal folded from its first event, apart from the engine's own state. */
  refold(): RunState {
    let state: RunState | null = null;
    for (const event of this.journal) state = foldRun(state, event);
    if (state === null) throw new Error('The journal is empty.');
    return state;
  }

  /** As another host does that opens the stored run where it rests. */
  connectAgain(lines: readonly PreflightLine[]): void {
    const connected = this.journal.find((event) => event.kind === 'bench-connected');
    if (connected === undefined) throw new Error('The journal has no bench.');
    this.journal.push({ ...connected, bootId: this.bench.bootId }, { kind: 'preflight', lines });
    this.engine = createEngine(this.refold(), this.#secrets);
  }

  step(input: EngineInput): EngineOutput {
    const wall = 1.8e9 + this.bench.time + this.clockSetBy;
    const output = this.engine.step({ ...input, now: input.now - this.suspendedFor, ...(this.hasWall ? { wall } : {}), ...(this.countsSleep ? { asleep: 7 + this.suspendedFor } : {}) });
    this.journal.push(...output.events);
    const request = output.requests[0];
    if (request !== undefined) this.#pending = request;
    this.last = output;
    return output;
  }

  command(command: RunCommand, id = `c${(this.#commands += 1)}`): EngineOutput {
    return this.step({ kind: 'command', now: this.bench.time, id, by: 'op', command });
  }

  /** Telemetry intervals until `done` or the time is over; says whether `done` came. */
  runUntil(done: (run: this) => boolean, maxS = 600): boolean {
    const end = this.bench.time + maxS;
    while (this.bench.time < end) {
      if (done(this)) return true;
      this.pass();
    }
    return done(this);
  }

  pass(): void {
    const { bench } = this;
    const pending = this.#pending;
    if (pending !== null) {
      const silent = pending.request.kind === 'keep-silent' ? pending.request.duration : 0;
      if (!this.linkUp) {
        this.#pending = null;
        this.step({ kind: 'reply', now: bench.time, id: pending.id, reply: { kind: 'no-answer', text: 'the link is down' } });
      } else if (silent === 0 || bench.requests[bench.requests.length - 1] !== pending.request) {
        const reply = bench.carryOut(pending.request);
        if (silent === 0 || reply?.kind !== 'done') {
          this.#pending = null;
          if (reply !== null) this.step({ kind: 'reply', now: bench.time, id: pending.id, reply });
        } else {
          this.#silentReplyAt = bench.time + silent;
        }
      } else if (bench.time >= this.#silentReplyAt) {
        this.#pending = null;
        this.step({ kind: 'reply', now: bench.time, id: pending.id, reply: { kind: 'done' } });
      }
    }
    const frame = bench.pass(this.linkUp);
    if (this.linkUp && !bench.telemetrySilent) this.step({ kind: 'frame', now: bench.time, frame });
    if (bench.time - this.#tickedAt < this.tickEvery - 1e-6) return;
    this.#tickedAt = bench.time;
    this.step({ kind: 'tick', now: bench.time });
  }

  #silentReplyAt = 0;

  /** The host stands still and the bench does not. `suspended`: the host's monotonic clock stands too. */
  standStill(s: number, suspended: boolean): void {
    for (const end = this.bench.time + s; this.bench.time < end; ) this.bench.pass(false);
    if (suspended) this.suspendedFor += s;
  }

  link(state: 'up' | 'down'): void {
    this.linkUp = state === 'up';
    this.step({ kind: 'link', now: this.bench.time, state, bootId: this.bench.bootId, reason: 'the cable was pulled' });
  }

  /** Started, with the first frames in. */
  start(): this {
    this.pass();
    const { answer } = this.command({ kind: 'start' });
    if (answer?.accepted !== true) throw new Error(`Not started: ${answer?.reason ?? ''}`);
    return this;
  }

  /** The host dies here and a new one takes over. */
  restartHost(): void {
    this.#pending = null;
    this.journal.push(...recoverRun(this.refold()));
    this.journal.push({
      kind: 'bench-connected',
      identity: { model: 'scripted', serialNumber: '1', firmware: '1', protocol: 1 },
      capabilities: this.bench.capabilities,
      bootId: this.bench.bootId,
      link: 'test',
    });
    this.engine = createEngine(this.refold(), this.#secrets);
  }

  events<K extends RunEventBody['kind']>(kind: K): Extract<RunEventBody, { kind: K }>[] {
    return this.journal.filter((event): event is Extract<RunEventBody, { kind: K }> => event.kind === kind);
  }

  get mode(): string {
    return this.engine.state.mode;
  }
}
