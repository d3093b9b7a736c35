/**
 * A whole bench behind its line: controller, plant, and what the scenario says goes wrong. Passive and deterministic:
 * the same scenario and the same calls give the same bytes. Whoever owns it decides what its time is.
 */
import { textOf } from '../line/line-splitter.ts';
import { SimulatedController } from './controller.ts';
import { inControllerTime } from './controller-time.ts';
import { drawInstrumentErrors } from './plant/instrument-errors.ts';
import { createPlant, type Plant } from './plant/plant.ts';
import type { Fault, Scenario } from './plant/scenario.ts';
import { Misbehaviours } from './misbehaviour.ts';
import { isWireFault, WireFaults } from './wire-faults.ts';

/** What an unfinished line from the host may grow to before it is handed on as it is; the controller drops it anyway. */
const LONGEST_UNFINISHED = 1024;

/** For lines as the controller says them, which are ASCII; several times as fast as `bytesOf`. */
const ascii = new TextEncoder();

interface Pending {
  readonly fault: Fault;
  /** Bench time at which this falls due, us; a beginning at a burst has none until that burst comes. */
  dueUs: number;
  state: 'waiting' | 'at-work' | 'over';
}

export class SimulatedBench {
  readonly #emit: (bytes: Uint8Array) => void;
  readonly #plant: Plant;
  /** True seconds in a second of the controller. */
  readonly #rate: number;
  readonly #controller: SimulatedController;
  readonly #toHost: WireFaults;
  readonly #toController: WireFaults;
  readonly #misbehaves = new Misbehaviours();
  /** Answers that are held back, in the order of their time, us. */
  readonly #late: { readonly dueUs: number; readonly line: string }[] = [];
  readonly #faults: Pending[];
  #now = 0;
  #nextFaultUs: number;
  #unfinished = '';
  #burstsSeen = 0;

  constructor(scenario: Scenario, emit: (bytes: Uint8Array) => void, makePlant: (scenario: Scenario) => Plant = createPlant) {
    this.#emit = emit;
    this.#plant = makePlant(scenario);
    this.#rate = 1 + (scenario.timeBasePpm === undefined ? drawInstrumentErrors(scenario).timeBase : scenario.timeBasePpm * 1e-6);
    this.#toHost = new WireFaults(scenario.seed, 'to-host');
    this.#toController = new WireFaults(scenario.seed, 'to-controller');
    this.#controller = new SimulatedController({
      plant: inControllerTime(this.#plant, this.#rate),
      serial: `SIM-${String(scenario.seed).padStart(4, '0')}`,
      channels: scenario.injectors,
      pressureCommandable: scenario.pressureCommandable,
      rail: scenario.rail,
      bootSeed: scenario.seed,
      misbehaviours: this.#misbehaves,
      emit: (line) => {
        if (this.#misbehaves.none) this.#say(line);
        else this.#sayAsItMisbehaves(line);
      },
    });
    this.#faults = scenario.faults.map((fault) => ({
      fault,
      dueUs: 'atS' in fault.begins ? fault.begins.atS * 1e6 : Number.POSITIVE_INFINITY,
      state: 'waiting',
    }));
    this.#nextFaultUs = this.#earliest();
    this.advanceTo(0);
  }

  #say(line: string): void {
    if (this.#toHost.clear) {
      this.#emit(ascii.encode(line));
      return;
    }
    const arriving = this.#toHost.pass(line);
    if (arriving !== '') this.#emit(bytesOf(arriving));
  }

  #sayAsItMisbehaves(line: string): void {
    const { lateUs } = this.#misbehaves;
    const said = this.#misbehaves.answer(line);
    if (lateUs === 0 || line.startsWith('.')) this.#say(said);
    else this.#late.push({ dueUs: this.#now + lateUs, line: said });
  }

  /** Bytes from the host, at the present instant. */
  receive(bytes: Uint8Array): void {
    if (this.#toController.clear && this.#unfinished === '') {
      this.#controller.receive(bytes);
    } else {
      this.#receiveThroughFaults(textOf(bytes));
    }
    if (this.#controller.burstsAccepted !== this.#burstsSeen) this.#noticeBursts();
  }

  /** Lets time pass up to `us` since the bench was made; never goes back. */
  advanceTo(us: number): void {
    while (Math.min(this.#nextFaultUs, this.#late[0]?.dueUs ?? Number.POSITIVE_INFINITY) <= us) {
      const late = this.#late[0];
      if (late !== undefined && late.dueUs < this.#nextFaultUs) {
        this.#late.shift();
        this.#controller.advanceTo(late.dueUs / this.#rate);
        this.#now = Math.max(this.#now, late.dueUs);
        this.#say(late.line);
        continue;
      }
      const due = Math.max(this.#nextFaultUs, this.#now);
      this.#controller.advanceTo(due / this.#rate);
      this.#now = due;
      for (const pending of this.#faults) {
        if (pending.dueUs <= due) this.#turn(pending);
      }
      this.#nextFaultUs = this.#earliest();
    }
    this.#controller.advanceTo(us / this.#rate);
    this.#now = Math.max(this.#now, us);
  }

  /** Begins now, as if it stood in the scenario; `forS` absent: until the bench is switched off. */
  strike(fault: Fault['fault'], forS?: number): void {
    const pending: Pending = {
      fault: { begins: { atS: this.#now / 1e6 }, fault, ...(forS === undefined ? {} : { forS }) },
      dueUs: this.#now,
      state: 'waiting',
    };
    this.#faults.push(pending);
    this.#turn(pending);
    this.#nextFaultUs = this.#earliest();
  }

  /** The next instant at which bytes may come out without any going in; never more than a second or so ahead. */
  nextDueUs(): number {
    return Math.min(this.#controller.nextDueUs() * this.#rate, this.#late[0]?.dueUs ?? Number.POSITIVE_INFINITY);
  }

  /** The line is a stream of bytes, but what happens to it happens to lines: here they are put together again. */
  #receiveThroughFaults(text: string): void {
    this.#unfinished += text;
    for (;;) {
      const lf = this.#unfinished.indexOf('\n');
      if (lf < 0) break;
      const line = this.#unfinished.slice(0, lf + 1);
      this.#unfinished = this.#unfinished.slice(lf + 1);
      this.#controller.receive(bytesOf(this.#toController.pass(line)));
    }
    if (this.#unfinished.length > LONGEST_UNFINISHED) {
      this.#controller.receive(bytesOf(this.#toController.pass(this.#unfinished)));
      this.#unfinished = '';
    }
  }

  #noticeBursts(): void {
    this.#burstsSeen = this.#controller.burstsAccepted;
    for (const pending of this.#faults) {
      const { begins } = pending.fault;
      if (pending.state === 'waiting' && 'atBurst' in begins && begins.atBurst <= this.#burstsSeen) this.#turn(pending);
    }
    this.#nextFaultUs = this.#earliest();
  }

  /** What falls due with a fault: first it begins, then, where it has a duration, it ends. */
  #turn(pending: Pending): void {
    const { fault, forS } = pending.fault;
    if (pending.state === 'waiting') {
      pending.state = 'at-work';
      pending.dueUs = forS === undefined ? Number.POSITIVE_INFINITY : this.#now + forS * 1e6;
      if (fault.kind === 'controller-reset') {
        this.#controller.reset();
      } else if (fault.kind === 'converter-stopped') {
        this.#controller.converterStopped = true;
      } else if (fault.kind === 'controller-misbehaves') {
        this.#misbehaves.begin(fault.how);
      } else if (isWireFault(fault)) {
        this.#toHost.begin(fault);
        this.#toController.begin(fault);
      } else {
        this.#plant.begin(fault);
      }
    } else {
      pending.state = 'over';
      pending.dueUs = Number.POSITIVE_INFINITY;
      if (isWireFault(fault)) {
        this.#toHost.end(fault);
        this.#toController.end(fault);
      } else if (fault.kind === 'converter-stopped') {
        this.#controller.converterStopped = false;
      } else if (fault.kind === 'controller-misbehaves') {
        this.#misbehaves.end(fault.how);
      } else if (fault.kind !== 'controller-reset') {
        this.#plant.end(fault);
      }
    }
  }

  #earliest(): number {
    return this.#faults.reduce((earliest, pending) => Math.min(earliest, pending.dueUs), Number.POSITIVE_INFINITY);
  }
}

/** One byte per character, also for what noise made of a line. */
function bytesOf(text: string): Uint8Array {
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
  return bytes;
}
