/* eslint-disable max-lines -- one machine with one state; taken apart it would hand that state around */
/**
 * The controller of the simulated bench: the specification in `../README.md`, carried out on a plant. It is passive and
 * deterministic: time passes only in `advanceTo`, bytes come in only by `receive`, and the same calls give the same lines.
 */
import { frameSignals, furtherSignals, mapWire, wireReadingOf } from '../../app/bench/readings.ts';
import type { Signal, WireReadings } from '../../app/bench/readings.ts';
import { I32, LONGEST_TO_CONTROLLER, U16, U32, U48 } from '../line/codec.ts';
import type { FaultCode } from '../line/fault-texts.ts';
import { LineSplitter } from '../line/line-splitter.ts';
import {
  decodeFromHost, encodeRefusal, encodeReply, encodeTelemetry, type Input, type Refusal, type RefusalCode, type Reply, type Request, type Scale, type Telemetry,
} from '../line/messages.ts';
import { Misbehaviours } from './misbehaviour.ts';
import type { PlantPort, PlantReadings } from './plant/plant-port.ts';
import { RandomSource } from './plant/random.ts';
import { SCALES } from './plant/scales.ts';

const PROTOCOL = 1;
const MODEL = 'simulated-bench';
const FIRMWARE = '1.0';

const TIMING = {
  tickNs: 500,
  minWidthNs: 100_000,
  maxWidthNs: 100_000_000,
  minPeriodUs: 1_000,
  maxPeriodUs: 1_000_000,
  maxCount: 1_000_000,
} as const;
const SUPPLY = { minMv: 0, maxMv: 18_000, safeMv: 0 } as const;
const PRESSURE = { minPa: 100_000, maxPa: 600_000 } as const;
const SAFETY = {
  deadmanMinMs: 100,
  deadmanMaxMs: 10_000,
  telemetryMaxHz: 200,
  tripMa: 5_000,
  tripPa: 700_000,
  tripMilliC: 45_000,
  interlocks: ['emergency-stop', 'cover', 'ventilation'],
} as const;
const EMERGENCY_STOP = 1;
const COVER = 2;
const VENTILATION = 4;
const ALL_CLOSED = EMERGENCY_STOP | COVER | VENTILATION;

/** LINE-81. */
const EXTENSIONS = ['rail', 'echo', 'watch', 'health', 'calibration', 'signals'] as const;
/** LINE-92, LINE-94, LINE-96. */
const WATCH = {
  idleMa: 150,
  idleEdges: 20,
  idleMs: 500,
  frozenMs: 2_000,
  sensorLowPermille: 50,
  sensorHighPermille: 950,
  meterMaxHz: 5_000,
} as const;
/** From the last pulse until a bench counts as idle. */
const AFTER_PULSE_US = 250_000;
/** A rail whose pressure moves by more in `idleMs` is being filled. */
const STEADY_PA = 2_000;
/** Into a pulse at which its current is looked at (LINE-95). */
const INTO_PULSE_US = 500;
/** The converter gives nothing new for this long (LINE-93). */
const CONVERTER_US = 25_000;
const WIDEST_SCALE = 100_000_000;
const FREE_STACK = 4_096;

const DEFAULT_DEADMAN_MS = 1_000;
const DEFAULT_TELEMETRY_HZ = 10;
/** How often inputs and limits are looked at; the specification allows 50 ms to the reaction (LINE-59). */
const SUPERVISION_US = 20_000;
/** A limit trips when this many looks running are over it: one noisy reading is not a fault. */
const LOOKS_TO_TRIP = 2;
/** From the acceptance of a burst to its first pulse. */
const FIRST_PULSE_US = 1_000;
/** After a reset the controller is deaf and mute for this long. */
const START_UP_US = 300_000;

const NEVER = Number.POSITIVE_INFINITY;
const NONE_LOST = { pressure: 0, rail: 0, meter: 0 } as const;

export interface ControllerOptions {
  readonly plant: PlantPort;
  readonly serial: string;
  readonly channels: number;
  readonly pressureCommandable: boolean;
  /** Which outputs of the extension `rail` there are. */
  readonly rail: { readonly pump: boolean; readonly relief: boolean; readonly shutOff: boolean };
  /** Boot ids are drawn from this. */
  readonly bootSeed: number;
  /** How it breaks the rules; absent: it does not. */
  readonly misbehaviours?: Misbehaviours;
  /** Takes every line that the controller says, LF included. */
  readonly emit: (line: string) => void;
}

type Outcome = Reply | { readonly refused: RefusalCode; readonly text: string };

interface Burst {
  readonly number: number;
  readonly channel: number;
  readonly widthUs: number;
  readonly periodUs: number;
  readonly commanded: number;
  /** Pulses that will be started at most; `halt` lowers it. */
  planned: number;
  started: number;
  done: number;
  active: boolean;
}

export class SimulatedController {
  /** Bursts accepted since the controller was made, over all its resets. */
  burstsAccepted = 0;
  /** A fault of the controller's own: its analog readings stay as they are. */
  converterStopped = false;

  readonly #plant: PlantPort;
  readonly #serial: string;
  readonly #channels: number;
  readonly #pressureCommandable: boolean;
  readonly #railOutputs: ControllerOptions['rail'];
  readonly #emit: (line: string) => void;
  readonly #misbehaves: Misbehaviours;
  readonly #boots: RandomSource;
  readonly #splitter: LineSplitter;

  /** Bench time; the controller's own clock is this less `#startedUs`. */
  #now = 0;
  #startedUs = 0;
  #boot = '';
  #edgesAtStart = 0;

  #last: { readonly seq: number; readonly answer: string } | null = null;
  #hello: { readonly seq: number; readonly token: string; readonly answer: string } | null = null;

  #armed = false;
  /** LINE-84 to LINE-88. */
  #pumping = false;
  #reliefShut = false;
  #shut = false;
  #keeping = false;
  #pressureRaised = false;
  /** This conversation's host has asked for the extensions (LINE-87). */
  #extended = false;
  /** What the frames of this conversation carry beyond LINE-41. */
  #further: readonly Signal[] = [];
  #fault: FaultCode | null = null;
  #burst: Burst | null = null;
  #nextBurst = 1;
  #frame = 0;
  #telemetryUs = 0;
  #deadmanUs = 0;
  #looksOverCurrent = 0;
  #looksOverPressure = 0;
  #looksOverTemperature = 0;
  #looksLost: Readonly<Record<'pressure' | 'rail' | 'meter', number>> = NONE_LOST;
  /** Since when a bench has been idle, and had current; at what its flow is being counted from. NEVER: it is not. */
  #idleSince = NEVER;
  #currentSince = NEVER;
  #flowFrom = { us: NEVER, edges: 0, pressurePa: 0 };
  #frozenSince: Record<'pressure' | 'current', number> = { pressure: NEVER, current: NEVER };
  #edgesAtLook = 0;
  #overrun = false;
  #readings: PlantReadings;
  #convertedAt = 0;
  /** Since the start, without those that were too long: the splitter counts these over all starts. */
  #badLines = 0;
  #starts = 0;
  #cause: 'power-on' | 'button' = 'power-on';
  /** Non-volatile: stays over a reset. */
  #scales: Readonly<Record<Input, Scale>> = SCALES;
  #calibrated = false;

  #nextTelemetry = 0;
  #nextSupervision = 0;
  #nextPulseStart = NEVER;
  #nextPulseEnd = NEVER;
  #nextPulseLook = NEVER;
  /** End of the pulse last begun; the plant's drivers cannot cut one, so also after a burst was ended by force. */
  #drivenUntil = 0;
  #deadmanAt = NEVER;

  constructor(options: ControllerOptions) {
    this.#plant = options.plant;
    this.#serial = options.serial;
    this.#channels = options.channels;
    this.#pressureCommandable = options.pressureCommandable;
    this.#railOutputs = options.rail;
    this.#emit = options.emit;
    this.#misbehaves = options.misbehaviours ?? new Misbehaviours();
    this.#boots = RandomSource.named(options.bootSeed, 'boot');
    this.#splitter = new LineSplitter(LONGEST_TO_CONTROLLER, (text) => {
      this.#takeLine(text);
    });
    this.#readings = this.#plant.read();
    this.#start(0);
  }

  /** What a press on the reset button does: everything is forgotten, outputs off, and a new boot id. */
  reset(): void {
    this.#cause = 'button';
    this.#start(START_UP_US);
  }

  /** The next instant at which the controller may say something of its own accord; never more than a second ahead. */
  nextDueUs(): number {
    return this.#nextTelemetry;
  }

  /** Bytes from the host, at the present instant. */
  receive(bytes: Uint8Array): void {
    if (this.#now < this.#startedUs) return;
    this.#splitter.push(bytes);
  }

  /** Lets time pass up to `us`, doing on the way whatever falls due, each at its own instant. Never goes back. */
  advanceTo(us: number): void {
    for (;;) {
      const due = Math.min(
        this.#nextSupervision, this.#deadmanAt, this.#nextPulseLook, this.#nextPulseEnd, this.#nextPulseStart, this.#nextTelemetry,
      );
      if (due > us) break;
      this.#passTo(due);
      // Safety before work, work before talk.
      if (due === this.#nextSupervision) this.#supervise();
      else if (due === this.#deadmanAt) this.#latch('dead-man');
      else if (due === this.#nextPulseLook) {
        this.#nextPulseLook = NEVER;
        this.#latch('over-current');
      } else if (due === this.#nextPulseEnd) this.#endPulse();
      else if (due === this.#nextPulseStart) this.#startPulse();
      else this.#sendTelemetry();
    }
    this.#passTo(us);
  }

  #passTo(us: number): void {
    if (us <= this.#now) return;
    this.#now = us;
    this.#plant.advanceTo(us);
  }

  #start(delayUs: number): void {
    this.#startedUs = Math.ceil(this.#now) + delayUs;
    this.#boot = Math.floor(this.#boots.uniform() * 2 ** 32).toString(16).padStart(8, '0');
    this.#starts += 1;
    this.#badLines = -this.#splitter.overlong;
    this.#edgesAtStart = this.#edgesAtLook = this.#read().edges;
    this.#overrun = false;
    this.#looksLost = NONE_LOST;
    this.#frozenSince = { pressure: NEVER, current: NEVER };
    this.#splitter.restart();
    this.#last = null;
    this.#hello = null;
    this.#extended = false;
    this.#further = [];
    this.#fault = null;
    this.#burst = null;
    this.#nextBurst = 1;
    this.#frame = 0;
    this.#looksOverCurrent = 0;
    this.#looksOverPressure = 0;
    this.#looksOverTemperature = 0;
    this.#telemetryUs = 1_000_000 / DEFAULT_TELEMETRY_HZ;
    this.#deadmanUs = DEFAULT_DEADMAN_MS * 1_000;
    this.#makeSafe();
    this.#nextSupervision = this.#startedUs;
    this.#nextTelemetry = this.#startedUs + this.#telemetryUs;
  }

  /** LINE-54, LINE-88. */
  #makeSafe(): void {
    this.#stopWork();
    this.#keeping = false;
    this.#pumping = false;
    this.#reliefShut = false;
    this.#shut = false;
    this.#commandRail();
    this.#pressureRaised = false;
    if (this.#pressureCommandable) this.#plant.setPressure(PRESSURE.minPa);
  }

  #commandRail(): void {
    this.#plant.setRail({ pump: this.#pumping, reliefShut: this.#reliefShut, shutOff: this.#shut });
  }

  /** LINE-89: there is something that the dead-man and the interlocks have to watch. */
  get #live(): boolean {
    return this.#armed || this.#keeping || this.#pressureRaised;
  }

  /** Making safe but for the rail. */
  #stopWork(): void {
    this.#nextPulseStart = NEVER;
    this.#nextPulseEnd = NEVER;
    this.#nextPulseLook = NEVER;
    if (this.#burst !== null) this.#burst.active = false;
    this.#plant.setSupply(SUPPLY.safeMv);
    this.#armed = false;
    this.#deadmanAt = NEVER;
  }

  #latch(fault: FaultCode): void {
    this.#makeSafe();
    this.#fault ??= fault;
  }

  #supervise(): void {
    this.#nextSupervision += SUPERVISION_US;
    const now = this.#read();
    const undriven = this.#isDrivenUnasked(now);
    const frozen = this.#frozenInput(now);
    this.#overrun = now.edges - this.#edgesAtLook > (WATCH.meterMaxHz * SUPERVISION_US) / 1e6;
    this.#edgesAtLook = now.edges;
    const lost = (input: 'pressure' | 'rail' | 'meter') => (this.#isLost(input, now) ? this.#looksLost[input] + 1 : 0);
    this.#looksLost = { pressure: lost('pressure'), rail: lost('rail'), meter: lost('meter') };
    this.#looksOverCurrent = now.currentMa > SAFETY.tripMa ? this.#looksOverCurrent + 1 : 0;
    this.#looksOverPressure = now.pressurePa > SAFETY.tripPa ? this.#looksOverPressure + 1 : 0;
    this.#looksOverTemperature = hottest(now) > SAFETY.tripMilliC ? this.#looksOverTemperature + 1 : 0;
    if ((now.interlocks & EMERGENCY_STOP) === 0) this.#latch('emergency-stop');
    else if (this.#live && (now.interlocks & COVER) === 0) this.#latch('interlock-cover');
    else if (this.#live && (now.interlocks & VENTILATION) === 0) this.#latch('interlock-ventilation');
    else if (this.#now - this.#convertedAt > CONVERTER_US) this.#latch('converter');
    else if (this.#overrun) this.#latch('meter');
    else if (this.#looksLost.pressure >= LOOKS_TO_TRIP) this.#latch('sensor-pressure');
    else if (this.#looksLost.rail >= LOOKS_TO_TRIP) this.#latch('sensor-rail-temperature');
    else if (this.#looksLost.meter >= LOOKS_TO_TRIP) this.#latch('sensor-meter-temperature');
    else if (this.#looksOverCurrent >= LOOKS_TO_TRIP) this.#latch('over-current');
    else if (this.#looksOverPressure >= LOOKS_TO_TRIP) this.#latch('over-pressure');
    else if (this.#looksOverTemperature >= LOOKS_TO_TRIP) this.#latch('over-temperature');
    else if (frozen !== null) this.#latch(`sensor-${frozen}`);
    else if (undriven) this.#latch('driver');
  }

  /** The plant through the inputs: as they are calibrated, and standing still with the converter. */
  #read(): PlantReadings {
    const now = this.#plant.read();
    if (this.converterStopped) {
      const { edges, lastEdgeUs, interlocks } = now;
      return { ...this.#readings, edges, lastEdgeUs, interlocks };
    }
    this.#convertedAt = this.#now;
    this.#readings = this.#scales === SCALES ? now : { ...now, ...Object.fromEntries(frameSignals.map(({ input, field }) => [field, this.#scaled(input, wireReadingOf(now, field) ?? 0)])) };
    return this.#readings;
  }

  #scaled(input: Input, value: number): number {
    const made = SCALES[input];
    const { zero, full } = this.#scales[input];
    return zero + ((value - made.zero) / (made.full - made.zero)) * (full - zero);
  }

  /** LINE-92: outside the electrical range. */
  #isLost(input: 'pressure' | 'rail' | 'meter', now: PlantReadings): boolean {
    const { zero, full } = this.#scales[input];
    const value = { pressure: now.pressurePa, rail: now.railMilliC, meter: now.meterMilliC }[input];
    const permille = ((value - zero) / (full - zero)) * 1e3;
    return permille < WATCH.sensorLowPermille || permille > WATCH.sensorHighPermille;
  }

  /** LINE-92: pressure and current are moved by every pulse. A current of nothing is that of an injector not plugged in. */
  #frozenInput(now: PlantReadings): 'pressure' | 'current' | null {
    const active = this.#burst?.active === true;
    for (const input of ['pressure', 'current'] as const) {
      const frozen = active && now.frozen.includes(input) && (input === 'pressure' || now.currentMa > 0);
      if (!frozen) this.#frozenSince[input] = NEVER;
      else this.#frozenSince[input] = Math.min(this.#frozenSince[input], this.#now);
      if (this.#now - this.#frozenSince[input] >= WATCH.frozenMs * 1e3) return input;
    }
    return null;
  }

  /** LINE-94: nothing is driven, and yet current or fluid flows. */
  #isDrivenUnasked(now: PlantReadings): boolean {
    if (!this.#live || this.#burst?.active === true || this.#now < this.#drivenUntil) {
      this.#idleSince = NEVER;
      return false;
    }
    this.#idleSince = Math.min(this.#idleSince, this.#now);
    if (this.#now - this.#idleSince < AFTER_PULSE_US) {
      this.#currentSince = NEVER;
      this.#flowFrom = { us: NEVER, edges: 0, pressurePa: 0 };
      return false;
    }
    this.#currentSince = now.currentMa > WATCH.idleMa ? Math.min(this.#currentSince, this.#now) : NEVER;
    if (this.#now - this.#currentSince >= (WATCH.idleMs * 1e3) / 2) return true;
    const from = this.#flowFrom;
    if (from.us !== NEVER && this.#now - from.us < WATCH.idleMs * 1e3) return false;
    this.#flowFrom = { us: this.#now, edges: now.edges, pressurePa: now.pressurePa };
    return from.us !== NEVER && now.edges - from.edges >= WATCH.idleEdges && Math.abs(now.pressurePa - from.pressurePa) <= STEADY_PA;
  }

  #startPulse(): void {
    const burst = this.#runningBurst();
    this.#plant.pulse(this.#misbehaves.driven(burst.channel), this.#now, burst.widthUs);
    burst.started += 1;
    this.#nextPulseEnd = this.#now + burst.widthUs;
    this.#drivenUntil = this.#nextPulseEnd;
    // LINE-95. One that is shorter is looked at before its end.
    if (this.#plant.drivenMa(burst.channel) > SAFETY.tripMa) this.#nextPulseLook = this.#now + Math.min(INTO_PULSE_US, burst.widthUs / 2);
    this.#nextPulseStart = burst.started < burst.planned ? this.#now + burst.periodUs : NEVER;
  }

  #endPulse(): void {
    const burst = this.#runningBurst();
    this.#nextPulseEnd = NEVER;
    burst.done += 1;
    if (burst.done === burst.planned) burst.active = false;
  }

  #runningBurst(): Burst {
    if (this.#burst === null) throw new Error('a pulse fell due without a burst');
    return this.#burst;
  }

  #sendTelemetry(): void {
    const r = this.#read();
    const burst = this.#burst;
    const edges = r.edges - this.#edgesAtStart;
    const at = Math.floor(this.#now - this.#startedUs);
    const frame: Telemetry = {
        atUs: clamp(at, 0, U48),
        frame: this.#frame,
        boot: this.#boot,
        ...this.#told(r),
        edges: clamp(edges, 0, U48),
        lastEdgeUs: edges === 0 ? 0 : clamp(Math.floor(r.lastEdgeUs - this.#startedUs), 0, at),
        burst: burst?.number ?? 0,
        active: burst?.active ?? false,
        commanded: burst?.commanded ?? 0,
        done: burst?.done ?? 0,
        armed: this.#armed,
        fault: this.#fault ?? '',
        interlocks: r.interlocks & U16,
    };
    if (this.#misbehaves.none) {
      this.#emit(encodeTelemetry(frame));
      this.#nextTelemetry += this.#telemetryUs;
    } else {
      for (const line of this.#misbehaves.frames(frame)) this.#emit(line);
      this.#nextTelemetry += this.#misbehaves.interval(this.#telemetryUs);
    }
    this.#frame += 1;
  }

  /** As they are put on the line: those of every frame, and those that were asked for. */
  #told(readings: PlantReadings): WireReadings {
    const told = mapWire(readings, sensor);
    for (const { field } of this.#further) (told as Record<string, number>)[field] = sensor(wireReadingOf(readings, field) ?? 0);
    return told;
  }

  /** LINE-114: of the names asked for those that this bench reads. */
  #addSignals(names: readonly string[]): Outcome {
    const readings = this.#read();
    this.#further = furtherSignals.filter(({ input, field }) => names.includes(input) && wireReadingOf(readings, field) !== undefined);
    return { word: 'signals', names: this.#further.map(({ input }) => input) };
  }

  #takeLine(text: string): void {
    const line = decodeFromHost(text);
    if (line.kind === 'bad') {
      if (text !== '') this.#badLines += 1;
      return;
    }
    if (line.kind === 'request' && line.request.word === 'hello') {
      this.#takeHello(line.seq, line.request.token);
      return;
    }
    const word = line.kind === 'request' ? line.request.word : line.word;
    if (this.#last === null) {
      this.#emit(encodeRefusal(line.seq, { word, code: 'no-hello', text: 'Nothing is done before a hello: this controller has just started.' }));
      return;
    }
    const ahead = (line.seq - this.#last.seq) & U16;
    if (ahead > 32_767) {
      this.#emit(encodeRefusal(line.seq, { word, code: 'stale', text: 'This sequence number is older than the latest; nothing was done.' }));
      return;
    }
    this.#feedDeadMan();
    if (ahead !== 0) {
      const outcome: Outcome =
        line.kind === 'request' ? this.#carryOut(line.request) : { refused: line.code, text: unfitTexts[line.code] };
      this.#last = { seq: line.seq, answer: encodeOutcome(line.seq, word, outcome) };
      // The time of a new dead-man or a fresh arming counts from the request itself.
      this.#feedDeadMan();
    }
    this.#emit(this.#last.answer);
  }

  #takeHello(seq: number, token: string): void {
    this.#feedDeadMan();
    if (this.#hello?.seq !== seq || this.#hello.token !== token) {
      const answer = encodeReply(seq, {
        word: 'hello',
        token,
        protocol: PROTOCOL,
        model: MODEL,
        serial: this.#misbehaves.serial(this.#serial),
        firmware: FIRMWARE,
        boot: this.#boot,
        channels: this.#channels,
      });
      this.#hello = { seq, token, answer };
      this.#extended = false;
      this.#further = [];
      this.#last = { seq, answer };
    }
    this.#emit(this.#hello.answer);
  }

  #feedDeadMan(): void {
    this.#deadmanAt = this.#live ? this.#now + this.#deadmanUs : NEVER;
  }

  // eslint-disable-next-line max-lines-per-function, complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
  #carryOut(request: Request): Outcome {
    switch (request.word) {
      case 'hello':
        throw new Error('hello has its own way through the sequence rules');
      case 'describe':
        return this.#describe(request.topic);
      case 'alive':
        return { word: 'alive' };
      case 'deadman':
        if (request.ms < SAFETY.deadmanMinMs || request.ms > SAFETY.deadmanMaxMs) {
          return range('ms', SAFETY.deadmanMinMs, SAFETY.deadmanMaxMs);
        }
        this.#deadmanUs = request.ms * 1_000;
        return { word: 'deadman' };
      case 'telemetry':
        if (request.hz < 1 || request.hz > SAFETY.telemetryMaxHz) return range('hz', 1, SAFETY.telemetryMaxHz);
        this.#telemetryUs = Math.round(1_000_000 / request.hz);
        this.#nextTelemetry = Math.ceil(this.#now) + this.#telemetryUs;
        return { word: 'telemetry' };
      case 'arm':
        return this.#arm();
      case 'safe':
        this.#makeSafe();
        return { word: 'safe' };
      case 'supply':
        if (request.mv < SUPPLY.minMv || request.mv > SUPPLY.maxMv) return range('mv', SUPPLY.minMv, SUPPLY.maxMv);
        if (request.mv > SUPPLY.safeMv) {
          const notReady = this.#notReady();
          if (notReady !== null) return notReady;
        }
        this.#plant.setSupply(request.mv);
        return { word: 'supply' };
      case 'pressure':
        if (!this.#pressureCommandable) {
          return { refused: 'unsupported', text: 'This bench has no commanded regulator; set the pressure by hand.' };
        }
        if (request.pa < PRESSURE.minPa || request.pa > PRESSURE.maxPa) return range('pa', PRESSURE.minPa, PRESSURE.maxPa);
        if (this.#fault !== null) return this.#faultRefusal(this.#fault);
        this.#plant.setPressure(request.pa);
        this.#pressureRaised = request.pa > PRESSURE.minPa;
        return { word: 'pressure' };
      case 'burst':
        return this.#startBurst(request);
      case 'halt':
        this.#halt();
        return { word: 'halt' };
      case 'clear':
        return this.#clear();
      case 'rail':
        return { word: 'rail', pumping: this.#pumping, relieved: this.#railOutputs.relief && !this.#reliefShut, shut: this.#shut, keeping: this.#keeping };
      case 'pump':
        return this.#pump(request.on);
      case 'shut-off':
        return this.#shutOff(request.shut);
      case 'keep-pressure':
        return this.#keepPressure();
      case 'echo':
        return {
          word: 'echo',
          number: this.#burst?.number ?? 0,
          channel: this.#burst === null ? 0 : this.#misbehaves.echoed(this.#burst.channel),
          widthNs: (this.#burst?.widthUs ?? 0) * 1_000,
          periodUs: this.#burst?.periodUs ?? 0,
          count: this.#burst?.commanded ?? 0,
        };
      case 'calibrate':
        return this.#calibrate(request.input, { zero: request.zero, full: request.full });
      case 'signals':
        return this.#addSignals(request.names);
    }
  }

  /** LINE-91. */
  #calibrate(input: Input, scale: Scale): Outcome {
    if (this.#live) return { refused: 'busy', text: 'A bench that is armed or has its regulator up is not calibrated; make it safe first.' };
    const trip = { supply: SUPPLY.maxMv, current: SAFETY.tripMa, pressure: SAFETY.tripPa, rail: SAFETY.tripMilliC, meter: SAFETY.tripMilliC }[input];
    const most = input === 'supply' || input === 'current' ? 1 : WATCH.sensorHighPermille / 1e3;
    const share = (trip - scale.zero) / (scale.full - scale.zero);
    const fits = scale.zero >= -WIDEST_SCALE && scale.full <= WIDEST_SCALE && scale.zero < scale.full && share > 0 && share < most;
    if (!fits) return { refused: 'range', text: 'With this scale the trip limit of the input could not be measured.' };
    this.#scales = { ...this.#scales, [input]: scale };
    this.#calibrated = true;
    return { word: 'calibrate' };
  }

  /** LINE-84. */
  #pump(on: boolean): Outcome {
    if (!this.#railOutputs.pump && !this.#railOutputs.relief) return { refused: 'unsupported', text: 'This bench has no pump and no relief valve to command.' };
    if (on) {
      const notReady = this.#notReady();
      if (notReady !== null) return notReady;
    }
    this.#switchPump(on);
    return { word: 'pump' };
  }

  #switchPump(on: boolean): void {
    this.#pumping = on && this.#railOutputs.pump;
    if (on) this.#reliefShut = this.#railOutputs.relief;
    this.#commandRail();
  }

  /** LINE-85. */
  #shutOff(shut: boolean): Outcome {
    if (!this.#railOutputs.shutOff) return { refused: 'unsupported', text: 'This bench has no shut-off valve to command.' };
    if (shut && !this.#keeping) {
      const notReady = this.#notReady();
      if (notReady !== null) return notReady;
    }
    this.#shut = shut;
    this.#commandRail();
    return { word: 'shut-off' };
  }

  /** LINE-86. */
  #keepPressure(): Outcome {
    if (!this.#keeping) {
      const notReady = this.#notReady();
      if (notReady !== null) return notReady;
      this.#stopWork();
      this.#keeping = true;
    }
    return { word: 'keep-pressure' };
  }

  #describe(topic: Extract<Request, { word: 'describe' }>['topic']): Outcome {
    switch (topic) {
      case 'timing':
        return { word: 'describe', topic, ...TIMING };
      case 'supply':
        return { word: 'describe', topic, ...SUPPLY };
      case 'pressure':
        return this.#pressureCommandable
          ? { word: 'describe', topic, commandable: true, ...PRESSURE }
          : { word: 'describe', topic, commandable: false, minPa: 0, maxPa: 0 };
      case 'safety':
        return { word: 'describe', topic, ...SAFETY };
      case 'extensions':
        this.#extended = true;
        return { word: 'describe', topic, extensions: EXTENSIONS };
      case 'rail':
        return { word: 'describe', topic, ...this.#railOutputs };
      case 'watch':
        return { word: 'describe', topic, ...WATCH };
      case 'health':
        return { word: 'describe', topic, badLines: this.#badLines + this.#splitter.overlong, byteErrors: 0, starts: this.#starts, cause: this.#cause, stackFree: FREE_STACK };
      case 'calibration':
        return { word: 'describe', topic, scales: this.#scales, stored: this.#calibrated };
    }
  }

  #arm(): Outcome {
    const { interlocks } = this.#read();
    if ((interlocks & EMERGENCY_STOP) === 0) this.#latch('emergency-stop');
    if (this.#fault !== null) return this.#faultRefusal(this.#fault);
    if ((interlocks & ALL_CLOSED) !== ALL_CLOSED) {
      const open = SAFETY.interlocks.filter((_, bit) => (interlocks & (1 << bit)) === 0);
      return { refused: 'interlock', text: `Open: ${open.join(', ')}. The bench stays disarmed.` };
    }
    if (!this.#armed && !this.#keeping && !this.#extended) this.#switchPump(true);
    this.#keeping = false;
    this.#armed = true;
    return { word: 'arm' };
  }

  #startBurst(request: Extract<Request, { word: 'burst' }>): Outcome {
    const { channel, periodUs, count } = request;
    if (channel < 1 || channel > this.#channels) return range('channel', 1, this.#channels);
    if (request.widthNs < TIMING.minWidthNs || request.widthNs > TIMING.maxWidthNs) {
      return range('width-ns', TIMING.minWidthNs, TIMING.maxWidthNs);
    }
    if (periodUs < TIMING.minPeriodUs || periodUs > TIMING.maxPeriodUs) {
      return range('period-us', TIMING.minPeriodUs, TIMING.maxPeriodUs);
    }
    if (count < 1 || count > TIMING.maxCount) return range('count', 1, TIMING.maxCount);
    const widthNs = Math.floor((this.#misbehaves.width(request.widthNs) + TIMING.tickNs / 2) / TIMING.tickNs) * TIMING.tickNs;
    if (widthNs > periodUs * 1_000) {
      return { refused: 'range', text: 'The pulse is longer than its period.' };
    }
    const notReady = this.#notReady();
    if (notReady !== null) return notReady;
    if (this.#burst?.active === true) {
      return { refused: 'busy', text: `Burst ${this.#burst.number} is still active; wait for it or halt it.` };
    }
    if (this.#now < this.#drivenUntil) return { refused: 'busy', text: 'The last pulse of the burst before is not over yet.' };
    this.#burst = {
      number: this.#nextBurst,
      channel,
      widthUs: widthNs / 1_000,
      periodUs,
      commanded: count,
      planned: count,
      started: 0,
      done: 0,
      active: true,
    };
    this.#nextPulseStart = Math.ceil(this.#now) + FIRST_PULSE_US;
    this.#nextBurst = this.#nextBurst === U32 ? 1 : this.#nextBurst + 1;
    this.burstsAccepted += 1;
    return { word: 'burst', number: this.#burst.number, widthNs };
  }

  /** LINE-38: no pulse starts any more, the one in progress runs to its end. */
  #halt(): void {
    const burst = this.#burst;
    if (burst?.active !== true) return;
    this.#nextPulseStart = NEVER;
    burst.planned = burst.started;
    if (burst.done === burst.started) burst.active = false;
  }

  #clear(): Outcome {
    if (this.#fault === null) return { word: 'clear' };
    const now = this.#read();
    const there =
      (now.interlocks & EMERGENCY_STOP) === 0 ||
      (this.#fault === 'interlock-cover' && (now.interlocks & COVER) === 0) ||
      (this.#fault === 'interlock-ventilation' && (now.interlocks & VENTILATION) === 0) ||
      now.currentMa > SAFETY.tripMa ||
      now.pressurePa > SAFETY.tripPa ||
      hottest(now) > SAFETY.tripMilliC ||
      this.#isLost('pressure', now) ||
      this.#isLost('rail', now) ||
      this.#isLost('meter', now) ||
      this.converterStopped ||
      this.#overrun;
    if (there) return { refused: 'fault', text: `The cause of a fault (latched: ${this.#fault}) is still there.` };
    this.#fault = null;
    return { word: 'clear' };
  }

  #notReady(): Outcome | null {
    if (this.#fault !== null) return this.#faultRefusal(this.#fault);
    if (!this.#armed) return { refused: 'not-armed', text: 'The bench is not armed.' };
    return null;
  }

  #faultRefusal(fault: FaultCode): Outcome {
    return { refused: 'fault', text: `Latched fault: ${fault}. Remove the cause and clear it.` };
  }
}

const unfitTexts = {
  unknown: 'This controller does not know that word.',
  form: 'The fields of this request are not those of the specification.',
} as const;

function encodeOutcome(seq: number, word: Refusal['word'], outcome: Outcome): string {
  return 'refused' in outcome
    ? encodeRefusal(seq, { word, code: outcome.refused, text: outcome.text })
    : encodeReply(seq, outcome);
}

function range(field: string, low: number, high: number): Outcome {
  return { refused: 'range', text: `${field} must be from ${low} to ${high}.` };
}

function hottest(readings: PlantReadings): number {
  return Math.max(readings.railMilliC, readings.meterMilliC);
}

function clamp(value: number, low: number, high: number): number {
  return Math.min(high, Math.max(low, value));
}

/** Whole wire units, inside what the line can carry. */
function sensor(value: number): number {
  return clamp(Math.round(value), -I32, I32);
}
