/** The proof that the controller's dead-man works, as figures: what is asked of the bench and what must be seen (RUN-12). */
import type { BenchCapabilities, BenchFrame, BurstRequest } from '../bench/port.ts';
import type { Plan } from '../plan/plan.ts';
import { seconds } from '../quantities/quantity.ts';
import type { Seconds } from '../quantities/quantity.ts';

/** The fault that the controller latches when its dead-man has acted; the only one the engine clears without a person. */
export const deadManFault = 'dead-man';

/** How close the supply must come to its safe value, V. */
const supplyTolerance = 0.5;

/** How long the host must be silent: the dead-man's time, a quarter of it more, at least 0.5 s more. */
export function proofSilence(plan: Plan, capabilities: BenchCapabilities): Seconds {
  const deadMan = Math.min(capabilities.deadManMax, Math.max(capabilities.deadManMin, plan.link.deadManMs / 1e3));
  return seconds(deadMan + Math.max(0.5, 0.25 * deadMan));
}

/** Pulses that are too short to open an injector, for ten times longer than the silence will last. */
export function proofBurst(plan: Plan, capabilities: BenchCapabilities): BurstRequest {
  const { minWidth, minPeriod, maxPeriod, maxCount } = capabilities;
  const lasting = 10 * proofSilence(plan, capabilities);
  const period = Math.min(maxPeriod, Math.max(minPeriod, 4 * minWidth, 0.02, lasting / maxCount));
  const channel = plan.injectors[0]?.channel;
  if (channel === undefined) throw new Error('A plan has at least one injector.');
  return { channel, width: minWidth, period: seconds(period), count: Math.min(maxCount, Math.ceil(lasting / period)) };
}

/** Pulses stopped, disarmed, supply at its safe value: null, or what is missing, as the end of a sentence. */
export function missingOfSafe(frame: BenchFrame, capabilities: BenchCapabilities): string | null {
  if (frame.armed) return 'it stayed armed.';
  if (frame.burst.active) return 'it did not stop the pulses.';
  if (!(frame.supply <= capabilities.safeSupply + supplyTolerance)) {
    return `it did not take the supply to its safe value of ${capabilities.safeSupply} V; the read-back is ${frame.supply.toFixed(2)} V.`;
  }
  return null;
}

/** Whether the controller has done all that its dead-man must do: null, or what is missing. */
export function missingOfDeadMan(frame: BenchFrame, capabilities: BenchCapabilities): string | null {
  if (frame.fault?.code !== deadManFault) return 'it latched no watchdog fault.';
  if (frame.burst.done >= frame.burst.commanded) return 'it did not stop the pulses.';
  return missingOfSafe(frame, capabilities);
}
