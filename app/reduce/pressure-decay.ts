/**
 * Pressure decay: the rail is shut off at a zero point, and what leaks out of it lowers its pressure (RUN-107). It sees leaks for
 * which a meter stands still.
 *
 * A rail of compliance C (volume for a rise of pressure) that holds the volume V of fluid of thermal expansion a loses
 *   L = a V dT/dt - C dp/dt
 * because fluid that warms by dT/dt would raise the pressure by a V / C dT/dt if nothing leaked.
 */
import type { BenchFrame } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { PressureDecay } from '../journal/measured.ts';
import { kelvins, pascals } from '../quantities/quantity.ts';

/** The fluid in the rail does not warm all alike where its thermometer sits: relative. An estimate, no source. */
const uThermal = 0.3;
const fewestFrames = 5;

/** The frames that were taken while the rail was shut off; null: too few, or not of one life of the controller. */
export function summariseDecay(frames: readonly BenchFrame[]): PressureDecay | null {
  const [first] = frames;
  const last = frames[frames.length - 1];
  if (first === undefined || last === undefined || frames.length < fewestFrames || last.at <= first.at) return null;
  if (frames.some(({ bootId, burst }) => bootId !== first.bootId || burst.number !== first.burst.number)) return null;
  const times = frames.map(({ at }) => at);
  const pressure = lineThrough(times, frames.map((frame) => frame.pressure));
  const temperature = lineThrough(times, frames.map((frame) => frame.railTemperature));
  return {
    from: first.at,
    to: last.at,
    frames: frames.length,
    pressure: pascals(pressure.mean),
    railTemperature: kelvins(temperature.mean),
    slope: pressure.slope,
    uSlope: pressure.u,
    warming: temperature.slope,
    uWarming: temperature.u,
  };
}

/** Volume flow, m3/s, with its standard uncertainty; null: the record does not say what the rail is, or its fluid is out of range. */
export function leakOfDecay(decay: PressureDecay, equipment: Pick<Equipment, 'rail' | 'fluid' | 'ambientKpa'>): { readonly leak: number; readonly u: number } | null {
  const { rail } = equipment;
  const fluid = densityOfRun(equipment, decay.railTemperature, pascals(decay.pressure + equipment.ambientKpa * 1e3));
  if (rail === undefined || fluid === null) return null;
  const compliance = rail.complianceMlPerMpa * 1e-12;
  const expansion = fluid.thermalExpansion * rail.volumeMl * 1e-6;
  const fall = -compliance * decay.slope;
  const thermal = expansion * decay.warming;
  return {
    leak: fall + thermal,
    u: Math.hypot(compliance * decay.uSlope, (fall * rail.complianceUncertaintyPercent) / 100, expansion * decay.uWarming, thermal * uThermal),
  };
}

/** The result in words; empty: there is none. */
export function decayText(decay: PressureDecay, equipment: Pick<Equipment, 'rail' | 'fluid' | 'ambientKpa'>): string {
  const found = leakOfDecay(decay, equipment);
  const fell = `Shut off for ${(decay.to - decay.from).toFixed(1)} s, the rail changed its pressure by ${decay.slope.toFixed(1)} +/- ${(2 * decay.uSlope).toFixed(1)} Pa/s (k = 2)`;
  if (found === null) return `${fell}; the equipment record does not say what compliance the rail has.`;
  const perMinute = 60e6;
  return `${fell}: a leak of ${(found.leak * perMinute).toFixed(3)} +/- ${(2 * found.u * perMinute).toFixed(3)} mL/min (k = 2).`;
}

function lineThrough(x: readonly number[], y: readonly number[]): { readonly mean: number; readonly slope: number; readonly u: number } {
  const n = x.length;
  const meanOf = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / n;
  const [meanX, meanY] = [meanOf(x), meanOf(y)];
  let sxx = 0;
  let sxy = 0;
  x.forEach((value, i) => {
    sxx += (value - meanX) ** 2;
    sxy += (value - meanX) * ((y[i] ?? Number.NaN) - meanY);
  });
  const slope = sxy / sxx;
  let squares = 0;
  x.forEach((value, i) => {
    squares += ((y[i] ?? Number.NaN) - meanY - slope * (value - meanX)) ** 2;
  });
  return { mean: meanY, slope, u: Math.sqrt(squares / (n - 2) / sxx) };
}
