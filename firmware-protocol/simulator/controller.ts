/**
 * The controller of the simulated bench: the specification in `../README.md`, carried out on a plant. It is passive and
 * deterministic: time passes only in `advanceTo`, bytes come in only by `receive`, and the same calls give the same lines.
 */
import { furtherSignals, mapWire, wireReadingOf } from '../../app/bench/readings.ts';
import type { Signal, WireReadings } from '../../app/bench/readings.ts';
import { LONGEST_TO_CONTROLLER, U16, U48 } from '../line/codec.ts';
import type { FaultCode } from '../line/fault-texts.ts';
import { LineSplitter } from '../line/line-splitter.ts';
import {
  decodeFromHost, encodeRefusal, encodeReply, encodeTelemetry, type Input, type Request, type Scale, type Telemetry,
} from '../line/messages.ts';
import { encodeOutcome, range, unfitTexts, type RequestOutcome } from './controller-answers.ts';
import { ALL_CLOSED, COVER, EMERGENCY_STOP, EXTENSIONS, FIRMWARE, FREE_STACK, MODEL, PRESSURE, PROTOCOL, SAFETY, SUPERVISION_US, SUPPLY, TIMING, VENTILATION, WATCH } from './controller-facts.ts';
import { clamp, ControllerInputs, sensor } from './controller-inputs.ts';
import { ControllerPulses, type PulsesRequest } from './controller-pulses.ts';
import { ControllerRail, type RailEquipment } from './controller-rail.ts';
import { ControllerWatches, hottest } from './controller-watches.ts';
import { Misbehaviours } from './misbehaviour.ts';
import type { PlantPort, PlantReadings } from './plant/plant-port.ts';
import { RandomSource } from './plant/random.ts';

const DEFAULT_DEADMAN_MS = 1_000;
const DEFAULT_TELEMETRY_HZ = 10;
/** After a reset the controller is deaf and mute for this long. */
const START_UP_US = 300_000;

const NEVER = Number.POSITIVE_INFINITY;

export interface ControllerOptions {
  readonly plant: PlantPort;
  readonly serial: string;
  readonly channels: number;
  readonly pressureCommandable: boolean;
  readonly rail: RailEquipment;
  /** Boot ids are drawn from this. */
  readonly bootSeed: number;
  /** How it breaks the rules; absent: it does not. */
  readonly misbehaviours?: Misbehaviours;
  /** Takes every line that the controller says, LF included. */
  readonly emit: (line: string) => void;
}

export class SimulatedController {

  readonly #plant: PlantPort;
  readonly #serial: string;
  readonly #channels: number;
  readonly #pressureCommandable: boolean;
  readonly #rail: ControllerRail;
  readonly #emit: (line: string) => void;
  readonly #misbehaves: Misbehaviours;
  readonly #boots: RandomSource;
  readonly #splitter: LineSplitter;
  readonly #inputs: ControllerInputs;
  readonly #watches: ControllerWatches;
  readonly #pulses: ControllerPulses;

  /** Bench time; the controller's own clock is this less `#startedUs`. */
  #now = 0;
  #startedUs = 0;
  #boot = '';
  #edgesAtStart = 0;

  #last: { readonly seq: number; readonly answer: string } | null = null;
  #hello: { readonly seq: number; readonly token: string; readonly answer: string } | null = null;

  #armed = false;
  /** LINE-86. */
  #keeping = false;
  #pressureRaised = false;
  /** This conversation's host has asked for the extensions (LINE-87). */
  #extended = false;
  /** What the frames of this conversation carry beyond LINE-41. */
  #further: readonly Signal[] = [];
  #fault: FaultCode | null = null;
  #frame = 0;
  #telemetryUs = 0;
  #deadmanUs = 0;
  /** Since the start, without those that were too long: the splitter counts these over all starts. */
  #badLines = 0;
  #starts = 0;
  #cause: 'power-on' | 'button' = 'power-on';

  #nextTelemetry = 0;
  #nextSupervision = 0;
  #deadmanAt = NEVER;

  constructor(options: ControllerOptions) {
    this.#plant = options.plant;
    this.#serial = options.serial;
    this.#channels = options.channels;
    this.#pressureCommandable = options.pressureCommandable;
    this.#rail = new ControllerRail(options.plant, options.rail);
    this.#emit = options.emit;
    this.#misbehaves = options.misbehaviours ?? new Misbehaviours();
    this.#boots = RandomSource.named(options.bootSeed, 'boot');
    this.#splitter = new LineSplitter(LONGEST_TO_CONTROLLER, (text) => {
      this.#takeLine(text);
    });
    this.#inputs = new ControllerInputs(options.plant);
    this.#watches = new ControllerWatches(this.#inputs);
    this.#pulses = new ControllerPulses(options.plant, options.channels, this.#misbehaves);
    this.#start(0);
  }

  /** Bursts accepted since the controller was made, over all its resets. */
  get burstsAccepted(): number {
    return this.#pulses.accepted;
  }

  /** A fault of the controller's own: its analog readings stay as they are. */
  set converterStopped(stopped: boolean) {
    this.#inputs.stopped = stopped;
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
    const pulses = this.#pulses;
    for (;;) {
      const due = Math.min(
        this.#nextSupervision, this.#deadmanAt, pulses.nextLook, pulses.nextEnd, pulses.nextStart, this.#nextTelemetry,
      );
      if (due > us) break;
      this.#passTo(due);
      // Safety before work, work before talk.
      if (due === this.#nextSupervision) this.#supervise();
      else if (due === this.#deadmanAt) this.#latch('dead-man');
      else if (due === pulses.nextLook) {
        pulses.nextLook = NEVER;
        this.#latch('over-current');
      } else if (due === pulses.nextEnd) pulses.end();
      else if (due === pulses.nextStart) pulses.start(due);
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
    this.#edgesAtStart = this.#read().edges;
    this.#watches.restart(this.#edgesAtStart);
    this.#splitter.restart();
    this.#last = null;
    this.#hello = null;
    this.#extended = false;
    this.#further = [];
    this.#fault = null;
    this.#pulses.restart();
    this.#frame = 0;
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
    this.#rail.makeSafe();
    this.#pressureRaised = false;
    if (this.#pressureCommandable) this.#plant.setPressure(PRESSURE.minPa);
  }

  /** LINE-89: there is something that the dead-man and the interlocks have to watch. */
  get #live(): boolean {
    return this.#armed || this.#keeping || this.#pressureRaised;
  }

  /** Making safe but for the rail. */
  #stopWork(): void {
    this.#pulses.stop();
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
    const fault = this.#watches.look(this.#read(), { now: this.#now, live: this.#live, active: this.#pulses.active, drivenUntil: this.#pulses.drivenUntil });
    if (fault !== null) this.#latch(fault);
  }

  #read(): PlantReadings {
    return this.#inputs.read(this.#now);
  }

  #sendTelemetry(): void {
    const r = this.#read();
    const { burst } = this.#pulses;
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
    for (const { field } of this.#further) {
      const reading = wireReadingOf(readings, field);
      if (reading !== undefined) (told as Record<string, number>)[field] = sensor(reading);
    }
    return told;
  }

  /** LINE-114: of the names asked for those that this bench reads. */
  #addSignals(names: readonly string[]): RequestOutcome {
    const has = ({ field }: Signal): boolean => this.#plant.further?.includes(field) === true || wireReadingOf(this.#read(), field) !== undefined;
    this.#further = furtherSignals.filter((signal) => names.includes(signal.input) && has(signal));
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
      const outcome: RequestOutcome =
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

  // eslint-disable-next-line complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
  #carryOut(request: Request): RequestOutcome {
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
        this.#pulses.halt();
        return { word: 'halt' };
      case 'clear':
        return this.#clear();
      case 'rail':
        return { word: 'rail', ...this.#rail.stands(), keeping: this.#keeping };
      case 'pump':
        return this.#pump(request.on);
      case 'shut-off':
        return this.#shutOff(request.shut);
      case 'keep-pressure':
        return this.#keepPressure();
      case 'echo':
        return { word: 'echo', ...this.#pulses.echo() };
      case 'calibrate':
        return this.#calibrate(request.input, { zero: request.zero, full: request.full });
      case 'signals':
        return this.#addSignals(request.names);
    }
  }

  /** LINE-91. */
  #calibrate(input: Input, scale: Scale): RequestOutcome {
    if (this.#live) return { refused: 'busy', text: 'A bench that is armed or has its regulator up is not calibrated; make it safe first.' };
    if (!this.#inputs.calibrate(input, scale)) return { refused: 'range', text: 'With this scale the trip limit of the input could not be measured.' };
    return { word: 'calibrate' };
  }

  /** LINE-84. */
  #pump(on: boolean): RequestOutcome {
    const refused = this.#rail.noPump() ?? (on ? this.#notReady() : null);
    if (refused !== null) return refused;
    this.#rail.switchPump(on);
    return { word: 'pump' };
  }

  /** LINE-85. */
  #shutOff(shut: boolean): RequestOutcome {
    const refused = this.#rail.noShutOff() ?? (shut && !this.#keeping ? this.#notReady() : null);
    if (refused !== null) return refused;
    this.#rail.shutOff(shut);
    return { word: 'shut-off' };
  }

  /** LINE-86. */
  #keepPressure(): RequestOutcome {
    if (!this.#keeping) {
      const notReady = this.#notReady();
      if (notReady !== null) return notReady;
      this.#stopWork();
      this.#keeping = true;
    }
    return { word: 'keep-pressure' };
  }

  #describe(topic: Extract<Request, { word: 'describe' }>['topic']): RequestOutcome {
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
        return { word: 'describe', topic, ...this.#rail.outputs };
      case 'watch':
        return { word: 'describe', topic, ...WATCH };
      case 'health':
        return { word: 'describe', topic, badLines: this.#badLines + this.#splitter.overlong, byteErrors: 0, starts: this.#starts, cause: this.#cause, stackFree: FREE_STACK };
      case 'calibration':
        return { word: 'describe', topic, scales: this.#inputs.scales, stored: this.#inputs.calibrated };
    }
  }

  #arm(): RequestOutcome {
    const { interlocks } = this.#read();
    if ((interlocks & EMERGENCY_STOP) === 0) this.#latch('emergency-stop');
    if (this.#fault !== null) return this.#faultRefusal(this.#fault);
    if ((interlocks & ALL_CLOSED) !== ALL_CLOSED) {
      const open = SAFETY.interlocks.filter((_, bit) => (interlocks & (1 << bit)) === 0);
      return { refused: 'interlock', text: `Open: ${open.join(', ')}. The bench stays disarmed.` };
    }
    if (!this.#armed && !this.#keeping && !this.#extended) this.#rail.switchPump(true);
    this.#keeping = false;
    this.#armed = true;
    return { word: 'arm' };
  }

  #startBurst(request: PulsesRequest): RequestOutcome {
    const { unfit, widthNs } = this.#pulses.fit(request);
    const refused = unfit ?? this.#notReady() ?? this.#pulses.busy(this.#now);
    if (refused !== null) return refused;
    return { word: 'burst', number: this.#pulses.begin(request, widthNs, this.#now), widthNs };
  }

  #clear(): RequestOutcome {
    if (this.#fault === null) return { word: 'clear' };
    const now = this.#read();
    const there =
      (now.interlocks & EMERGENCY_STOP) === 0 ||
      (this.#fault === 'interlock-cover' && (now.interlocks & COVER) === 0) ||
      (this.#fault === 'interlock-ventilation' && (now.interlocks & VENTILATION) === 0) ||
      now.currentMa > SAFETY.tripMa ||
      now.pressurePa > SAFETY.tripPa ||
      hottest(now) > SAFETY.tripMilliC ||
      this.#inputs.isLost('pressure', now) ||
      this.#inputs.isLost('rail', now) ||
      this.#inputs.isLost('meter', now) ||
      this.#inputs.stopped ||
      this.#watches.overrun;
    if (there) return { refused: 'fault', text: `The cause of a fault (latched: ${this.#fault}) is still there.` };
    this.#fault = null;
    return { word: 'clear' };
  }

  #notReady(): RequestOutcome | null {
    if (this.#fault !== null) return this.#faultRefusal(this.#fault);
    if (!this.#armed) return { refused: 'not-armed', text: 'The bench is not armed.' };
    return null;
  }

  #faultRefusal(fault: FaultCode): RequestOutcome {
    return { refused: 'fault', text: `Latched fault: ${fault}. Remove the cause and clear it.` };
  }
}
