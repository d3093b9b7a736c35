/** A seeded source of chance for the simulator: the same on every machine, integer arithmetic only; not for secrets. */
export class RandomSource {
  #state: number;
  #spare: number | null = null;

  constructor(seed: number) {
    this.#state = seed >>> 0;
  }

  /** A new independent stream, named; the same name gives the same stream. */
  static named(seed: number, name: string): RandomSource {
    let hash = (seed ^ 0x9e3779b9) >>> 0;
    for (let i = 0; i < name.length; i += 1) {
      hash = Math.imul(hash ^ name.charCodeAt(i), 0x01000193) >>> 0;
      hash = (hash ^ (hash >>> 15)) >>> 0;
    }
    return new RandomSource(hash);
  }

  /** Uniform in [0, 1). */
  uniform(): number {
    this.#state = (this.#state + 0x6d2b79f5) >>> 0;
    let t = this.#state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
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
