/**
 * The board of the reference firmware, emulated: the chip, what is soldered round it (decoder, dividers, transducers,
 * filters), and the plant at its terminals. It has the shape of the simulated controller, so whatever drives one drives
 * the other: bytes go in, time is let pass, lines come out.
 */
import { frameSignals, wireReadingOf } from '../../app/bench/readings.ts';
import type { PlantPort, PlantReadings } from '../../firmware-protocol/simulator/plant/plant-port.ts';
import type { Input, Scale } from '../../firmware-protocol/line/messages.ts';
import { SCALES } from '../../firmware-protocol/simulator/plant/scales.ts';
import { Atmega2560, CLOCK_HZ, flashImage } from './atmega2560.ts';

const CYCLES_PER_US = CLOCK_HZ / 1e6;
/**
 * How far the plant's time lies behind the chip's. A pulse is known when its end has been seen on the pin, and it is
 * given to the plant from its beginning, so the plant waits for at least the longest pulse. Everything measured comes
 * by this much late, edges and readings alike; interlocks do not.
 */
const PLANT_LAG_US = 110_000;
const LONGEST_PIECE_US = 100_000;
const STEP_US = 1_000;
const SUPPLY_FULL_SCALE_MV = 20_000;
const REGULATOR_FULL_SCALE_PA = 1_000_000;

export interface EmulatedBoardOptions {
  /** Intel HEX, as the build makes it. */
  readonly hex: string;
  readonly plant: PlantPort;
  /** Takes every line that the firmware says, LF included. */
  readonly emit: (line: string) => void;
  /** Told of every pulse at a driver's input, in cycles of the chip's clock, when it ends. */
  readonly onPulse?: (channel: number, startCycle: number, endCycle: number) => void;
}

interface Due {
  readonly atUs: number;
  readonly act: () => void;
}

export class EmulatedBoard {
  readonly chip: Atmega2560;
  /** Bursts that the firmware accepted since power-on, over all its resets, as it said itself. */
  burstsAccepted = 0;

  readonly #plant: PlantPort;
  readonly #emit: (line: string) => void;
  readonly #onPulse: (channel: number, startCycle: number, endCycle: number) => void;
  #now = 0;
  #text = '';
  #readings: PlantReadings;
  #edges: number;
  /** What is still to be done to the plant, in the order of time. */
  /** A short circuit in place of every coil: while a channel is driven the supply gives this much, mA. */
  shortMa = 0;
  /** Behind the supply's read-back: while a channel is driven it lies so much lower, mV. */
  sagMv = 0;
  /** Transducers of another make: what they stand for at 0 V and at the reference. */
  readonly scales: Record<Input, Scale> = { ...SCALES };
  readonly #due: Due[] = [];
  #openChannel = 0;
  #openedCycle = 0;
  /** The part of the open pulse that the plant was already given ends here. */
  #givenUs = 0;
  #rail = 0;
  #supplyDuty = 0;
  #regulatorDuty = 0;
  #dither = 1;

  constructor(options: EmulatedBoardOptions) {
    this.#plant = options.plant;
    this.#emit = options.emit;
    this.#onPulse = options.onPulse ?? (() => undefined);
    this.#readings = this.#plant.read();
    this.#edges = this.#readings.edges;
    // The chip reports its outputs while it is being made, before there is a chip to ask.
    let made: Atmega2560 | null = null;
    this.chip = made = new Atmega2560(flashImage(options.hex), {
      onByte: (byte) => {
        this.#hear(byte);
      },
      onOutputs: (cycle) => {
        if (made !== null) this.#followOutputs(made, cycle);
      },
      onDuties: (supply, regulator, cycle) => {
        this.#followDuties(supply, regulator, cycle);
      },
      analog: (input) => this.#analog(input),
      // Bit set: the loop is open and its opto-coupler dark.
      portC: () => ~this.#plant.read().interlocks & 0x07,
    });
  }

  /** Bytes from the host, at the present instant. */
  receive(bytes: Uint8Array): void {
    this.chip.receive(bytes);
  }

  /** Lets time pass up to `us` since power-on; never goes back. */
  advanceTo(us: number): void {
    while (this.#now < us) {
      const step = Math.min(us, (Math.floor(this.#now / STEP_US) + 1) * STEP_US);
      this.chip.runTo(Math.round(step * CYCLES_PER_US));
      this.#now = step;
      if (step % STEP_US === 0) this.#movePlant();
    }
  }

  /** The next instant at which bytes may come out without any going in. */
  nextDueUs(): number {
    return (Math.floor(this.#now / STEP_US) + 1) * STEP_US;
  }

  /** Presses the reset button. */
  reset(): void {
    this.chip.reset();
  }

  /** Channel that is being driven at this moment, or 0. */
  get openChannel(): number {
    return this.#openChannel;
  }

  #hear(byte: number): void {
    this.#text += String.fromCharCode(byte);
    if (byte !== 10) return;
    const line = this.#text;
    this.#text = '';
    const burst = /^= \d+ burst number=(\d+) /.exec(line);
    if (burst !== null) this.#countBurst(Number(burst[1]));
    this.#emit(line);
  }

  #latestBurst = 0;
  /** A repeated answer carries the same number; after a reset numbers begin at 1 again. */
  #countBurst(number: number): void {
    if (number !== this.#latestBurst) this.burstsAccepted += 1;
    this.#latestBurst = number;
  }

  /** The decoder: the pulse reaches the selected driver while the enable line is high. */
  #followOutputs(chip: Atmega2560, cycle: number): void {
    const open =
      chip.output('B', 6) && chip.output('A', 3)
        ? 1 + (chip.output('A', 0) ? 1 : 0) + (chip.output('A', 1) ? 2 : 0) + (chip.output('A', 2) ? 4 : 0)
        : 0;
    this.#followRail(chip, cycle);
    if (open === this.#openChannel) return;
    if (this.#openChannel !== 0) {
      this.#onPulse(this.#openChannel, this.#openedCycle, cycle);
      this.#givePulse(cycle / CYCLES_PER_US);
    }
    this.#openChannel = open;
    this.#openedCycle = cycle;
    this.#givenUs = cycle / CYCLES_PER_US;
  }

  /** Pump enable, relief valve, shut-off valve. */
  #followRail(chip: Atmega2560, cycle: number): void {
    const [pump, reliefShut, shutOff] = [chip.output('A', 4), chip.output('A', 5), chip.output('A', 6)];
    const rail = (pump ? 1 : 0) + (reliefShut ? 2 : 0) + (shutOff ? 4 : 0);
    if (rail === this.#rail) return;
    this.#rail = rail;
    this.#later(cycle / CYCLES_PER_US, () => {
      this.#plant.setRail({ pump, reliefShut, shutOff });
    });
  }

  #givePulse(untilUs: number): void {
    const channel = this.#openChannel;
    const startUs = this.#givenUs;
    this.#givenUs = untilUs;
    this.#later(startUs, () => {
      this.#plant.pulse(channel, startUs, untilUs - startUs);
    });
  }

  #followDuties(supply: number, regulator: number, cycle: number): void {
    const atUs = cycle / CYCLES_PER_US;
    if (supply !== this.#supplyDuty) {
      this.#supplyDuty = supply;
      this.#later(atUs, () => {
        this.#plant.setSupply(supply * SUPPLY_FULL_SCALE_MV);
      });
    }
    if (regulator !== this.#regulatorDuty) {
      this.#regulatorDuty = regulator;
      this.#later(atUs, () => {
        this.#plant.setPressure(regulator * REGULATOR_FULL_SCALE_PA);
      });
    }
  }

  #later(atUs: number, act: () => void): void {
    let at = this.#due.length;
    while (at > 0 && (this.#due[at - 1]?.atUs ?? 0) > atUs) at -= 1;
    this.#due.splice(at, 0, { atUs, act });
  }

  #movePlant(): void {
    if (this.#openChannel !== 0 && this.#now - this.#givenUs >= LONGEST_PIECE_US) this.#givePulse(this.#now);
    // A step ahead, so that the edges of the step to come are known before their time.
    const to = this.#now + STEP_US - PLANT_LAG_US;
    if (to < 0) return;
    for (let next = this.#due[0]; next !== undefined && next.atUs <= to; next = this.#due[0]) {
      this.#due.shift();
      this.#plant.advanceTo(next.atUs);
      next.act();
    }
    this.#plant.advanceTo(to);
    this.#readings = this.#plant.read();
    if (this.#readings.edges > this.#edges) {
      this.#edges = this.#readings.edges;
      this.chip.meterEdge(Math.round((this.#readings.lastEdgeUs + PLANT_LAG_US) * CYCLES_PER_US));
    }
  }

  /** Dividers and transducers of the board's description, and half a step of noise, as every real input has it. */
  #analog(index: number): number {
    const signal = frameSignals[index];
    if (signal === undefined) throw new Error(`nothing is connected to analog input ${index}`);
    const { input, field } = signal;
    const r = this.#readings;
    const driven = this.#openChannel !== 0;
    const read = (wireReadingOf(r, field) ?? 0) - (input === 'supply' && driven ? this.sagMv : 0);
    const value = input === 'current' && this.shortMa > 0 ? (driven ? this.shortMa : 0) : read;
    const { zero, full } = this.scales[input];
    const share = (value - zero) / (full - zero);
    if (r.frozen.includes(input)) return share;
    this.#dither = (Math.imul(this.#dither, 1_664_525) + 1_013_904_223) >>> 0;
    return share + (this.#dither / 2 ** 32 - 0.5) / 1024;
  }
}
