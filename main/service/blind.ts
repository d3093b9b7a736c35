/** The secrets of blind windows: chance and SHA-256 of the host (RUN-211). */
import { seconds } from '../../app/quantities/quantity.ts';
import type { BlindSource } from '../../app/run/engine.ts';
import { sealOf } from '../archive/seal.ts';
import { newId, type Entropy } from '../clock/entropy.ts';

/** One in so many is not shifted at all: what an operator cannot tell from the others. */
const unshifted = 4;

export function blindSource(entropy: Entropy): BlindSource {
  /** Uniform in 0 to n - 1. */
  const below = (n: number): number => {
    const whole = 0x1_0000_0000 - (0x1_0000_0000 % n);
    for (;;) {
      const drawn = entropy.nextUint32();
      if (drawn < whole) return drawn % n;
    }
  };
  return {
    draw({ point, attempt }, { low, high, step }) {
      const least = Math.ceil(low / step - 1e-6);
      const most = Math.floor(high / step + 1e-6);
      const steps = below(unshifted) === 0 || most < least ? 0 : least + below(most - least + 1);
      const secret = { point, attempt, shift: seconds(steps * step), salt: newId(entropy) };
      return { ...secret, seal: sealOf(secret) };
    },
  };
}
