/** Hashes and chance of a tab. Keys and signatures are not to be had there: whoever asks for one is told so. */
import { sha1 } from '@noble/hashes/legacy.js';
import { sha256, sha384, sha512 } from '@noble/hashes/sha2.js';
import { Buffer } from 'buffer';

const kinds = { sha1, sha256, sha384, sha512 };
type Kind = keyof typeof kinds;
type Form = 'hex' | 'base64';

const bytesOf = (data: string | Uint8Array): Uint8Array => (typeof data === 'string' ? new TextEncoder().encode(data) : data);
const kindOf = (name: string): Kind => {
  const kind = name.toLowerCase();
  if (!(kind in kinds)) throw new Error(`A tab has no hash "${name}".`);
  return kind as Kind;
};

export function hash(name: string, data: string | Uint8Array, form: Form | 'buffer' = 'hex'): string | Buffer {
  const sum = Buffer.from(kinds[kindOf(name)](bytesOf(data)));
  return form === 'buffer' ? sum : sum.toString(form);
}

export function createHash(name: string) {
  const under = kinds[kindOf(name)].create();
  const made = {
    update(data: string | Uint8Array) {
      under.update(bytesOf(data));
      return made;
    },
    digest(form?: Form): string | Buffer {
      const sum = Buffer.from(under.digest());
      return form === undefined ? sum : sum.toString(form);
    },
  };
  return made;
}

export const randomBytes = (length: number): Buffer => Buffer.from(crypto.getRandomValues(new Uint8Array(length)));
export const randomUUID = (): string => crypto.randomUUID();

const absent = (): never => {
  throw new Error('A tab has no keys: what is signed, or compared with a signature, needs the program itself.');
};
export const createPrivateKey = absent;
export const createPublicKey = absent;
export const generateKeyPairSync = absent;
export const sign = absent;
export const verify = absent;
export const X509Certificate = absent;
