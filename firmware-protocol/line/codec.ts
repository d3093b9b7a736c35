/**
 * The form of a line, whatever it says: bounds, checksum, mark, sequence number (LINE-1 to LINE-9), and the strict
 * reading and writing of fields. What the words mean is in `messages.ts`.
 */
import { crc16 } from './crc16.ts';

/** Longest line in bytes, LF included (LINE-3). */
export const LONGEST_TO_CONTROLLER = 120;
export const LONGEST_TO_HOST = 360;

/** First character of a line: who says what (LINE-5). */
export const MARK = { request: '?', reply: '=', refusal: '!', telemetry: '.' } as const;

/** Why a line is not taken. None of these is ever answered (LINE-9). */
export type BadLine = 'too-long' | 'not-printable' | 'no-checksum' | 'wrong-checksum' | 'form';

/** Bounds of the integers on the line (LINE-7). */
export const U16 = 0xffff;
export const U32 = 0xffffffff;
export const U48 = 2 ** 48 - 1;
export const I32 = 0x7fffffff;

/** Bytes of ` #HHHH`, the tail of every line. */
export const TAIL = 6;

const hexPairs = Array.from({ length: 256 }, (_, byte) => byte.toString(16).toUpperCase().padStart(2, '0'));

/** Adds the tail: space, `#`, four hexadecimal digits, LF. `body` is everything before the tail. */
export function sealLine(body: string): string {
  const covered = body + ' ';
  const crc = crc16(covered);
  return `${covered}#${hexPairs[crc >> 8] ?? ''}${hexPairs[crc & 0xff] ?? ''}\n`;
}

function hexDigit(code: number): number {
  if (code >= 48 && code <= 57) return code - 48;
  if (code >= 65 && code <= 70) return code - 55;
  return -1;
}

function isPrintable(text: string): boolean {
  for (let i = 0; i < text.length; i += 1) {
    const code = text.charCodeAt(i);
    if (code < 32 || code > 126) return false;
  }
  return true;
}

/** null: bounds and checksum are right. `text` is a line without its LF. */
export function checkLine(text: string, longest: number): BadLine | null {
  const length = text.length;
  if (length + 1 > longest) return 'too-long';
  if (length < TAIL || text.charCodeAt(length - 5) !== 35 || text.charCodeAt(length - 6) !== 32) {
    return isPrintable(text) ? 'no-checksum' : 'not-printable';
  }
  let stated = 0;
  for (let i = length - 4; i < length; i += 1) {
    const digit = hexDigit(text.charCodeAt(i));
    if (digit < 0) return 'no-checksum';
    stated = (stated << 4) | digit;
  }
  if (stated === crc16(text, length - 5)) return null;
  return isPrintable(text) ? 'wrong-checksum' : 'not-printable';
}

/**
 * Reads a checked line from left to right. The first thing that does not fit sets `failed`, and from then on every
 * answer is empty; so a caller reads all it wants and asks once, at the end, with `complete`.
 */
export class LineReader {
  failed = false;
  readonly #text: string;
  readonly #end: number;
  #at = 0;

  /** `text` has passed `checkLine`. */
  constructor(text: string) {
    this.#text = text;
    this.#end = text.length - TAIL;
  }

  /** Everything was read and everything fitted. */
  complete(): boolean {
    return !this.failed && this.#at === this.#end;
  }

  /** The next field has this key. */
  isAt(key: string): boolean {
    return !this.failed && this.#text.startsWith(key, this.#at) && this.#at + key.length <= this.#end;
  }

  /** First character of the line. */
  mark(): string {
    this.#at = 1;
    return this.#end > 0 ? (this.#text[0] ?? '') : '';
  }

  /** A space and a canonical integer (LINE-7): no plus, no leading zero, no minus zero. */
  integer(key: string, low: number, high: number): number {
    this.#literal(key);
    const text = this.#text;
    let at = this.#at;
    const negative = at < this.#end && text.charCodeAt(at) === 45;
    if (negative) at += 1;
    const start = at;
    let value = 0;
    while (at < this.#end) {
      const digit = text.charCodeAt(at) - 48;
      if (digit < 0 || digit > 9) break;
      value = value * 10 + digit;
      at += 1;
    }
    const digits = at - start;
    const leadingZero = text.charCodeAt(start) === 48 && (digits > 1 || negative);
    if (negative) value = -value;
    if (digits === 0 || digits > 15 || leadingZero || value < low || value > high) return this.#fail(0);
    this.#at = at;
    return value;
  }

  flag(key: string): boolean {
    return this.integer(key, 0, 1) === 1;
  }

  /** A run of letters, digits and `.` `_` `-` (and `,` where lists are allowed), 1 to `longest` of them. */
  name(key: string, longest: number, commas = false): string {
    this.#literal(key);
    const text = this.#text;
    const start = this.#at;
    let at = start;
    while (at < this.#end) {
      const c = text.charCodeAt(at);
      const allowed =
        (c >= 97 && c <= 122) || (c >= 48 && c <= 57) || (c >= 65 && c <= 90) || c === 45 || c === 46 || c === 95 || (commas && c === 44);
      if (!allowed) break;
      at += 1;
    }
    if (this.failed || at === start || at - start > longest) return this.#fail('');
    this.#at = at;
    return text.slice(start, at);
  }

  /** The rest of the line: printable, neither beginning nor ending with a space, 1 to `longest` characters. */
  rest(key: string, longest: number): string {
    this.#literal(key);
    const rest = this.#text.slice(this.#at, this.#end);
    if (this.failed || !isText(rest, longest)) return this.#fail('');
    this.#at = this.#end;
    return rest;
  }

  #literal(expected: string): void {
    if (!this.failed && this.#at + expected.length <= this.#end && this.#text.startsWith(expected, this.#at)) {
      this.#at += expected.length;
    } else {
      this.failed = true;
    }
  }

  #fail<T>(empty: T): T {
    this.failed = true;
    return empty;
  }
}

function isText(text: string, longest: number): boolean {
  return text.length > 0 && text.length <= longest && isPrintable(text) && !text.startsWith(' ') && !text.endsWith(' ');
}

/** For the sending side: a value that the other end would refuse is a programming error here. */
export function integerField(value: number, low: number, high: number): number {
  if (!Number.isInteger(value) || value < low || value > high) {
    throw new RangeError(`${value} is not an integer from ${low} to ${high}`);
  }
  return value;
}

const namePattern = /^[A-Za-z0-9._-]+$/;

export function nameField(value: string, longest: number): string {
  if (value.length > longest || !namePattern.test(value)) throw new RangeError(`"${value}" is not a name of the line`);
  return value;
}

export function textField(value: string, longest: number): string {
  if (!isText(value, longest)) throw new RangeError(`"${value}" is not a text of the line`);
  return value;
}
