/** What the controller's pins touch: the simulated controller and the emulated firmware drive the same plant by this. */
import type { WireReadings } from '../../../app/bench/readings.ts';
import type { Input } from '../../line/messages.ts';

export interface PlantReadings extends WireReadings {
  /** Flow meter edges since the plant was made, and the plant time of the latest, us. */
  readonly edges: number;
  readonly lastEdgeUs: number;
  /** Inputs whose voltage stands perfectly still, without the noise that every live one has: the converter says one number. */
  readonly frozen: readonly Input[];
  /** Bit i is interlock i; 1 is closed (healthy). Bit 0 is the emergency stop, bit 1 the cover, bit 2 the ventilation. */
  readonly interlocks: number;
}

/** The outputs that command the rail. All false is what a reset leaves: pump off, relief valve open, shut-off valve open. */
export interface RailOutputs {
  readonly pump: boolean;
  /** The normally open relief valve of the rail is held shut. */
  readonly reliefShut: boolean;
  /** The valve between regulator and rail is shut. */
  readonly shutOff: boolean;
}

export interface PlantPort {
  /** Lets physical time pass up to `us`; never goes back. */
  advanceTo(us: number): void;
  setSupply(mv: number): void;
  setPressure(pa: number): void;
  setRail(outputs: RailOutputs): void;
  /** Drives `channel` from `startUs` (not before the last `advanceTo`) for `widthUs`. */
  pulse(channel: number, startUs: number, widthUs: number): void;
  read(): PlantReadings;
  /** Fields of readings beyond LINE-41 that the bench has, even where there is none at the moment. */
  readonly further?: readonly string[];
  /** Supply current while `channel` is driven, once its coil has taken what it takes, mA. */
  drivenMa(channel: number): number;
}
