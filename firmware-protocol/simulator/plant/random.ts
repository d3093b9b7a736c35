import { uniformFloat64 } from 'pure-rand/distribution/uniformFloat64';
import { xoroshiro128plus } from 'pure-rand/generator/xoroshiro128plus';
import type { RandomGenerator } from 'pure-rand/types/RandomGenerator';

/** Outputs thrown away after seeding: the generator starts from few set bits and needs some rounds to mix them. */
const WARM_UP = 64;

/** A seeded source of chance for the simulator: the same on every machine; not for secrets. */
export class RandomSource {
  readonly #generator: RandomGenerator;
  #spare: number | null = null;

  constructor(seed: number) {
    this.#generator = xoroshiro128plus(seed | 0);
    for (let i = 0; i < WARM_UP; i += 1) this.#generator.next();
  }

  /** A new independent stream, named; the same seed and name give the same stream. */
  static named(seed: number, name: string): RandomSource {
    let hash = (seed ^ 0x9e3779b9) >>> 0;
    // Mixed by itself first, or seed and first letter could stand in for each other.
    hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b) >>> 0;
    hash = Math.imul(hash ^ (hash >>> 13), 0xc2b2ae35) >>> 0;
    hash = (hash ^ (hash >>> 16)) >>> 0;
    for (let i = 0; i < name.length; i += 1) {
      hash = Math.imul(hash ^ name.charCodeAt(i), 0x01000193) >>> 0;
      hash = (hash ^ (hash >>> 15)) >>> 0;
    }
    return new RandomSource(hash);
  }

  /** Uniform in [0, 1), 53 bits. */
  uniform(): number {
    return uniformFloat64(this.#generator);
  }

  /** Standard normal (Marsaglia polar method). */
  normal(): number {
    if (this.#spare !== null) {
      const spare = this.#spare;
      this.#spare = null;
      return spare;
    }
    for (;;) {
      const u = 2 * this.uniform() - 1;
      const v = 2 * this.uniform() - 1;
      const s = u * u + v * v;
      if (s > 0 && s < 1) {
        const f = Math.sqrt((-2 * Math.log(s)) / s);
        this.#spare = v * f;
        return u * f;
      }
    }
  }
}
