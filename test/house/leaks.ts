/**
 * Leaks that are drawn at random for a bench: how much, how it goes over the run and with pressure, and where it leaves. Nothing
 * here is what the reduction assumes: no leak is quite constant, pressure acts by a power of its own, half of them leave through
 * the seat of an injector, which leaks nothing while it is open, and the meter slips more at so small a flow than its certificate says.
 */
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import type { Fault } from '../../firmware-protocol/simulator/plant/scenario.ts';

export type LeakCourse = 'none' | 'constant' | 'growing' | 'beginning in mid run';

export interface BenchLeak {
  readonly course: LeakCourse;
  /** At its largest, at 400 kPa. */
  readonly mlPerMin: number;
  /** Driver channel of the injector whose seat leaks; null: it leaves elsewhere. */
  readonly channel: number | null;
  /** Volume flow, m3/s, at a time of the run (0 to 1) and a pressure, Pa. */
  readonly at: (time: number, pressure: number) => number;
  /** True K-factor over that of the curve at a meter frequency. */
  readonly meter: (hertz: number) => number;
}

/** What to draw: nothing, a leak of a fixed size, or sizes from 0.01 to 10 mL/min, evenly in the logarithm, and none in one of five. */
export type LeakDraw = 'none' | 'random' | { readonly constantMlPerMin: number };

const smallest = 0.01;
const largest = 10;

export function drawLeak(seed: number, draw: LeakDraw, channels: readonly number[]): BenchLeak {
  const random = RandomSource.named(seed, 'leak');
  if (draw === 'none') return { course: 'none', mlPerMin: 0, channel: null, at: () => 0, meter: () => 1 };
  const kind = random.uniform();
  const size = smallest * (largest / smallest) ** random.uniform();
  const mlPerMin = draw === 'random' ? (kind < 0.2 ? 0 : size) : draw.constantMlPerMin;
  const course: LeakCourse = mlPerMin === 0 ? 'none' : draw !== 'random' || kind < 0.5 ? 'constant' : kind < 0.75 ? 'growing' : 'beginning in mid run';
  const start = random.uniform();
  const growth = 1 - 0.9 * random.uniform();
  const power = 0.5 + 0.5 * random.uniform();
  const seat = random.uniform();
  const channel = seat < 0.5 ? (channels[Math.floor(2 * seat * channels.length)] ?? null) : null;
  const slip = 0.005 * random.uniform();
  // Dirt comes and goes: by 2 % over minutes.
  const waves = [7.3, 19.1, 43.7].map((cycles) => ({ cycles, phase: 2 * Math.PI * random.uniform() }));
  const wander = (time: number): number => 1 + 0.02 * waves.reduce((sum, w) => sum + Math.sin(2 * Math.PI * w.cycles * time + w.phase) / Math.sqrt(1.5), 0) / Math.sqrt(3) * Math.SQRT2;
  const over = (time: number): number => {
    if (course === 'growing') return 1 - growth + growth * time;
    return course === 'beginning in mid run' && time < start ? 0 : 1;
  };
  const volume = (mlPerMin * 1e-6) / 60;
  return {
    course,
    mlPerMin,
    channel,
    at: (time, pressure) => volume * over(time) * wander(time) * (pressure / 4e5) ** power,
    meter: (hertz) => (draw === 'random' ? 1 - slip / (1 + hertz / 0.3) : 1),
  };
}

/** The same draw as faults of a simulated bench whose run lasts about `durationS`; the bench's own plant then leaks. */
export function leakFaults(seed: number, channels: readonly number[], durationS: number): { readonly course: LeakCourse; readonly faults: readonly Fault[] } {
  const { course, mlPerMin, channel } = drawLeak(seed, 'random', channels);
  if (course === 'none') return { course, faults: [] };
  const random = RandomSource.named(seed, 'leak of a simulated bench');
  const law = random.uniform() < 0.5 ? ('orifice' as const) : ('laminar' as const);
  const from = course === 'growing' ? mlPerMin * 0.9 * random.uniform() : mlPerMin;
  const leak = { mlPerMin: from, law, growsMlPerMinPerH: ((mlPerMin - from) * 3600) / durationS };
  const begins = { atS: course === 'beginning in mid run' ? durationS * random.uniform() : 0 };
  return { course, faults: [{ begins, fault: channel === null ? { kind: 'fitting-leaking', ...leak } : { kind: 'injector-leaking', channel, ...leak } }] };
}
