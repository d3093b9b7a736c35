import type { BenchFrame } from '../../app/bench/port.ts';
import { amperes, celsius, kilopascals, seconds, volts } from '../../app/quantities/quantity.ts';

/** A frame of a quiet, disarmed bench, with what a test changes of it. */
export function frame(change: Partial<Omit<BenchFrame, 'at' | 'lastEdgeAt'>> & { readonly at: number; readonly lastEdgeAt?: number }): BenchFrame {
  return {
    number: Math.round(change.at * 20), bootId: 'a', supply: volts(0), current: amperes(0), pressure: kilopascals(400),
    railTemperature: celsius(20), meterTemperature: celsius(20), edges: 0, burst: { number: 0, active: false, commanded: 0, done: 0 },
    armed: false, fault: null, interlocks: 7, ...change, at: seconds(change.at), lastEdgeAt: seconds(change.lastEdgeAt ?? 0),
  };
}
