/** What the controller reads: the plant through its converter, by the scales of its inputs. LINE-91 to LINE-93 */
import { frameSignals, wireReadingOf } from '../../app/bench/readings.ts';
import { I32 } from '../line/codec.ts';
import type { Input, Scale } from '../line/messages.ts';
import { SAFETY, SUPPLY, WATCH } from './controller-facts.ts';
import type { PlantPort, PlantReadings } from './plant/plant-port.ts';
import { SCALES } from './plant/scales.ts';

/** The converter gives nothing new for this long (LINE-93). */
const CONVERTER_US = 25_000;
const WIDEST_SCALE = 100_000_000;

/** Those that a broken wire can be told of. */
export type WatchedInput = 'pressure' | 'rail' | 'meter';

export class ControllerInputs {
  /** A fault of the controller's own: its analog readings stay as they are. */
  stopped = false;
  /** Non-volatile: stays over a reset. */
  scales: Readonly<Record<Input, Scale>> = SCALES;
  calibrated = false;
  readonly #plant: PlantPort;
  #readings: PlantReadings;
  #convertedAt = 0;

  constructor(plant: PlantPort) {
    this.#plant = plant;
    this.#readings = plant.read();
  }

  /** At the present instant, us. */
  read(now: number): PlantReadings {
    const read = this.#plant.read();
    if (this.stopped) {
      const { edges, lastEdgeUs, interlocks } = read;
      return { ...this.#readings, edges, lastEdgeUs, interlocks };
    }
    this.#convertedAt = now;
    this.#readings = this.scales === SCALES ? read : { ...read, ...Object.fromEntries(frameSignals.map(({ input, field }) => [field, this.#scaled(input, wireReadingOf(read, field) ?? 0)])) };
    return this.#readings;
  }

  /** LINE-93. */
  stand(now: number): boolean {
    return now - this.#convertedAt > CONVERTER_US;
  }

  /** LINE-92: outside the electrical range. */
  isLost(input: WatchedInput, readings: PlantReadings): boolean {
    const { zero, full } = this.scales[input];
    const value = { pressure: readings.pressurePa, rail: readings.railMilliC, meter: readings.meterMilliC }[input];
    const permille = ((value - zero) / (full - zero)) * 1e3;
    return permille < WATCH.sensorLowPermille || permille > WATCH.sensorHighPermille;
  }

  /** LINE-91. False: with this scale the trip limit of the input could not be measured; the old one stands. */
  calibrate(input: Input, scale: Scale): boolean {
    const trip = { supply: SUPPLY.maxMv, current: SAFETY.tripMa, pressure: SAFETY.tripPa, rail: SAFETY.tripMilliC, meter: SAFETY.tripMilliC }[input];
    const most = input === 'supply' || input === 'current' ? 1 : WATCH.sensorHighPermille / 1e3;
    const share = (trip - scale.zero) / (scale.full - scale.zero);
    if (!(scale.zero >= -WIDEST_SCALE && scale.full <= WIDEST_SCALE && scale.zero < scale.full && share > 0 && share < most)) return false;
    this.scales = { ...this.scales, [input]: scale };
    this.calibrated = true;
    return true;
  }

  #scaled(input: Input, value: number): number {
    const made = SCALES[input];
    const { zero, full } = this.scales[input];
    return zero + ((value - made.zero) / (made.full - made.zero)) * (full - zero);
  }
}

export function clamp(value: number, low: number, high: number): number {
  return Math.min(high, Math.max(low, value));
}

/** Whole wire units, inside what the line can carry. */
export function sensor(value: number): number {
  return clamp(Math.round(value), -I32, I32);
}
