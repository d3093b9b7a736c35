/** Chance as the host takes it: handed in like the clock, so that a run can be made again exactly from a seed. */
export interface Entropy {
  /** 32 random bits as an unsigned integer. */
  nextUint32(): number;
}

const hex = (entropy: Entropy, words: number): string =>
  Array.from({ length: words }, () => entropy.nextUint32().toString(16).padStart(8, '0')).join('');

/** A name of 16 characters that no earlier conversation with a controller had (LINE-8). */
export const newToken = (entropy: Entropy): string => hex(entropy, 2);

/** A name that nothing else has: 128 bits in hexadecimal digits. */
export const newId = (entropy: Entropy): string => hex(entropy, 4);

/** What nobody can guess who was not told: 192 bits in 32 characters that an address can hold. */
export const newSecret = (entropy: Entropy): string =>
  Buffer.from(Uint32Array.from({ length: 6 }, () => entropy.nextUint32()).buffer).toString('base64url');
