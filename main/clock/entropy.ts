/** Chance as the host takes it: handed in like the clock, so that a run can be made again exactly from a seed. */
export interface Entropy {
  /** 32 random bits as an unsigned integer. */
  nextUint32(): number;
}

/** A name of 16 characters that no earlier conversation with a controller had (LINE-8). */
export const newToken = (entropy: Entropy): string =>
  [entropy.nextUint32(), entropy.nextUint32()].map((bits) => bits.toString(16).padStart(8, '0')).join('');
