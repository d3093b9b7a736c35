/**
 * DER (ITU-T X.690), as a time-stamp authority writes and reads it: element by element with its exact bytes, because hashes and signatures are over those.
 * Strict: lengths are definite and as short as they can be, and nothing stands between or after elements. Throws `NotDer` for everything else.
 */
export class NotDer extends Error {}

export interface Der {
  readonly tag: number;
  /** With tag and length. */
  readonly bytes: Buffer;
  readonly content: Buffer;
}

export const derTag = { boolean: 0x01, integer: 0x02, bits: 0x03, octets: 0x04, nothing: 0x05, oid: 0x06, utf8: 0x0c, generalizedTime: 0x18, sequence: 0x30, set: 0x31 } as const;
/** Of a field that is named by its place: [n] of a primitive, [n] of something made of others. */
export const fieldTag = { primitive: (n: number): number => 0x80 + n, made: (n: number): number => 0xa0 + n } as const;

/** The element at the beginning of `bytes`; more may follow it. */
function first(bytes: Buffer): Der {
  const [tag = 0, short = 0] = bytes;
  if (bytes.length < 2) throw new NotDer('it ends in the middle of an element');
  if ((tag & 0x1f) === 0x1f) throw new NotDer('it has a tag of several bytes');
  const octets = short < 0x80 ? 0 : short & 0x7f;
  if (short === 0x80 || octets > 4) throw new NotDer('it has a length that DER does not know');
  if (bytes.length < 2 + octets) throw new NotDer('it ends in the middle of an element');
  const length = octets === 0 ? short : bytes.readUIntBE(2, octets);
  if (octets > 0 && (length < 0x80 || length < 2 ** (8 * (octets - 1)))) throw new NotDer('a length is longer than it needs to be');
  const from = 2 + octets;
  if (bytes.length < from + length) throw new NotDer('it ends in the middle of an element');
  return { tag, bytes: bytes.subarray(0, from + length), content: bytes.subarray(from, from + length) };
}

/** The one element that `bytes` are. */
export function readDer(bytes: Buffer): Der {
  const der = first(bytes);
  if (der.bytes.length !== bytes.length) throw new NotDer('something follows it');
  return der;
}

/** What a SEQUENCE, a SET or a field holds, in its order. */
export function elementsOf(der: Der): readonly Der[] {
  const elements: Der[] = [];
  for (let rest = der.content; rest.length > 0; rest = rest.subarray(elements.at(-1)?.bytes.length ?? rest.length)) elements.push(first(rest));
  return elements;
}

/** `der`, if it is what is expected there. */
export function expectDer(der: Der | undefined, tag: number, what: string): Der {
  if (der?.tag !== tag) throw new NotDer(`it has no ${what} where one belongs`);
  return der;
}

/** An element of these parts. */
export function derOf(tag: number, ...parts: readonly Buffer[]): Buffer {
  const content = Buffer.concat(parts);
  const octets = content.length < 0x80 ? 0 : Math.ceil(content.length.toString(16).length / 2);
  const head = Buffer.alloc(2 + octets);
  head[0] = tag;
  head[1] = octets === 0 ? content.length : 0x80 + octets;
  if (octets > 0) head.writeUIntBE(content.length, 2, octets);
  return Buffer.concat([head, content]);
}

/** A number of any size that is not negative, big-endian. */
export const derInteger = (bytes: Buffer): Buffer => {
  const at = bytes.findIndex((byte) => byte !== 0);
  const digits = at < 0 ? Buffer.from([0]) : bytes.subarray(at);
  return derOf(derTag.integer, (digits[0] ?? 0) < 0x80 ? digits : Buffer.concat([Buffer.from([0]), digits]));
};

/** Dotted, as in standards: `2.16.840.1.101.3.4.2.1`. */
export function derOid(dotted: string): Buffer {
  const [root = 0, second = 0, ...rest] = dotted.split('.').map(Number);
  const base128 = (n: number): number[] => {
    const digits = [n % 128];
    for (let left = Math.floor(n / 128); left > 0; left = Math.floor(left / 128)) digits.unshift(128 + (left % 128));
    return digits;
  };
  return derOf(derTag.oid, Buffer.from([40 * root + second, ...rest].flatMap(base128)));
}

export function oidIn(der: Der | undefined): string {
  const { content } = expectDer(der, derTag.oid, 'identifier');
  const numbers: number[] = [];
  let n = 0;
  let begun = false;
  for (const byte of content) {
    if (!begun && byte === 0x80) throw new NotDer('an identifier is longer than it needs to be');
    n = n * 128 + (byte & 0x7f);
    begun = (byte & 0x80) !== 0;
    if (n > Number.MAX_SAFE_INTEGER) throw new NotDer('an identifier is too long');
    if (begun) continue;
    if (numbers.length === 0) numbers.push(Math.min(2, Math.floor(n / 40)), n - 40 * Math.min(2, Math.floor(n / 40)));
    else numbers.push(n);
    n = 0;
  }
  if (begun || numbers.length === 0) throw new NotDer('an identifier ends too early');
  return numbers.join('.');
}

/** A small INTEGER, or a field that stands for one. */
export function smallIn({ content }: Der): number {
  if (content.length === 0 || content.length > 6) throw new NotDer('a number has a size that does not belong there');
  return content.readIntBE(0, content.length);
}
