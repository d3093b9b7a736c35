/** A counted burst as it is typed in, against what the connected controller can do. Units of the screen: ms. */
import type { BenchCapabilities } from '../../../app/bench/port.ts';
import { toMilliseconds } from '../../../app/quantities/quantity.ts';

export interface BurstForm {
  readonly channel: number;
  readonly widthMs: number;
  readonly periodMs: number;
  readonly count: number;
}

/** PW / P that a plan allows by default, percent; the driver gets hot above it. */
const dutyLimit = 85;
/** The most the host takes in one burst by hand. */
export const mostPulses = 100_000;

/** Why it cannot be fired as it stands; empty: it can. */
export function burstProblem({ channel, widthMs, periodMs, count }: BurstForm, capabilities: BenchCapabilities): string {
  const { channels, minWidth, maxWidth, minPeriod, maxPeriod } = capabilities;
  const most = Math.min(mostPulses, capabilities.maxCount);
  if (!Number.isInteger(channel) || channel < 1 || channel > channels) return `The bench has the channels 1 to ${channels}.`;
  if (!(widthMs >= toMilliseconds(minWidth) && widthMs <= toMilliseconds(maxWidth))) return `The pulse width must be ${toMilliseconds(minWidth)} to ${toMilliseconds(maxWidth)} ms.`;
  if (!(periodMs >= toMilliseconds(minPeriod) && periodMs <= toMilliseconds(maxPeriod))) return `The period must be ${toMilliseconds(minPeriod)} to ${toMilliseconds(maxPeriod)} ms.`;
  if (!(widthMs / periodMs <= dutyLimit / 100)) return `The pulse width may be at most ${dutyLimit} % of the period.`;
  if (!Number.isInteger(count) || count < 1 || count > most) return `The count must be a whole number, 1 to ${most}.`;
  return '';
}
