/**
 * The fields of a message, written once: from a table of them come its type, the text that is sent and the reading of what
 * was received. A field's key is its property in the words of the line (`widthNs` is `width-ns`, LINE-7).
 */
import type { LineReader} from './codec.ts';
import { integerField, nameField, U16, U32, U48, I32 } from './codec.ts';

/** How a value stands on the line. `key` begins with the space and ends with the equals sign. */
export interface Kind<T> {
  /** Throws RangeError for a value that the line cannot carry. */
  readonly write: (key: string, value: T) => string;
  /** What does not fit makes the line fail. */
  readonly read: (line: LineReader, key: string) => T;
  /** Of an integer: it may be written and read without these two. */
  readonly bounds?: { readonly low: number; readonly high: number };
}

/** Stands for an empty value, because a value is never empty (LINE-8). */
const NOTHING = 'none';

export const integer = (low: number, high: number): Kind<number> => ({
  write: (key, value) => `${key}${integerField(value, low, high)}`,
  read: (line, key) => line.integer(key, low, high),
  bounds: { low, high },
});

export const u16 = integer(0, U16);
export const u32 = integer(0, U32);
export const u48 = integer(0, U48);
export const i32 = integer(-I32, I32);

export const flag: Kind<boolean> = {
  write: (key, set) => `${key}${set ? '1' : '0'}`,
  read: (line, key) => line.flag(key),
};

export const name = (longest: number): Kind<string> => ({
  write: (key, value) => `${key}${nameField(value, longest)}`,
  read: (line, key) => line.name(key, longest),
});

/** The empty text stands for none. */
export const nameOrNone = (longest: number): Kind<string> => ({
  write: (key, value) => `${key}${value === '' ? NOTHING : nameField(value, longest)}`,
  read: (line, key) => {
    const said = line.name(key, longest);
    return said === NOTHING ? '' : said;
  },
});

export const choice = <const T extends string>(of: readonly T[], longest: number): Kind<T> => ({
  write: (key, value) => `${key}${value}`,
  read: (line, key) => {
    const said = line.name(key, longest);
    const found = of.find((one) => one === said);
    if (found === undefined) line.failed = true;
    return found ?? (said as T);
  },
});

/** Names separated by commas, together at most `longest`; `none` for no name at all. */
export const list = (longest: number, longestName: number): Kind<readonly string[]> => ({
  write: (key, names) => {
    const said = names.map((one) => nameField(one, longestName)).join(',');
    if (said.length > longest) throw new RangeError('the names are too long for one line');
    return `${key}${said === '' ? NOTHING : said}`;
  },
  read: (line, key) => {
    const said = line.name(key, longest, true);
    const names = said === NOTHING ? [] : said.split(',');
    if (names.some((one) => one === '' || one.length > longestName)) line.failed = true;
    return names;
  },
});

/** The same kind under a key that its property does not tell. */
export const keyed = <T>(key: string, kind: Kind<T>): Kind<T> & { readonly key: string } => ({ ...kind, key });

/** Of any value: it is written by a table that knows which. */
interface AnyKind {
  readonly write: (key: string, value: never) => string;
  readonly read: (line: LineReader, key: string) => unknown;
  readonly bounds?: { readonly low: number; readonly high: number };
  readonly key?: string;
}

export type Fields = Readonly<Record<string, AnyKind>>;

/** What a message of these fields says. */
export type Said<F> = { readonly [P in keyof F]: F[P] extends { readonly read: (line: LineReader, key: string) => infer T } ? T : never };

/** `widthNs` is ` width-ns=`; `MilliC` is thousandths of a degree. */
const keyOf = (property: string): string =>
  ` ${property.replace(/MilliC$/, 'Mdegc').replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}=`;

interface Entry {
  readonly property: string;
  readonly key: string;
  readonly kind: AnyKind;
  /** Most fields are integers and frames are many: those are written and read straight. */
  readonly isInteger: boolean;
  readonly low: number;
  readonly high: number;
}

/** The fields of one message, in the order of the line. */
export class FieldTable<F extends Fields> {
  readonly #entries: readonly Entry[];
  /** All properties, so that every message that is read has the same shape. */
  readonly #empty: Readonly<Record<string, unknown>>;

  constructor(fields: F) {
    this.#entries = Object.entries(fields).map(([property, kind]) => ({
      property, key: kind.key === undefined ? keyOf(property) : ` ${kind.key}=`, kind, isInteger: kind.bounds !== undefined, low: kind.bounds?.low ?? 0, high: kind.bounds?.high ?? 0,
    }));
    this.#empty = Object.fromEntries(Object.keys(fields).map((property) => [property, undefined]));
  }

  write(said: Said<F>): string {
    let text = '';
    for (const { property, key, kind, isInteger, low, high } of this.#entries) {
      const value = said[property] as never;
      text += isInteger ? key + String(integerField(value, low, high)) : kind.write(key, value);
    }
    return text;
  }

  /** Whether everything fitted, the line knows. */
  read(line: LineReader): Said<F> {
    const said: Record<string, unknown> = { ...this.#empty };
    for (const { property, key, kind, isInteger, low, high } of this.#entries) {
      said[property] = isInteger ? line.integer(key, low, high) : kind.read(line, key);
    }
    return said as Said<F>;
  }
}
