/**
 * Values of one axis as people write them: `9; 10.5; 12-16 by 1`. Values keep their digits as typed, with a point before
 * the decimals; a range is worked out in decimals, so that 0.1-0.5 by 0.1 holds 0.3 and not 0.30000000000000004.
 *
 *     list  = part { (";" | tab | end of line | blanks | "," before a blank) part }
 *     part  = value | range
 *     range = value ("-" | "to") value ("by" | "step") value      also downwards: 16-12 by 1
 *
 * A comma right before a digit is a decimal comma where `;`, tab or end of line separate the values; where nothing of
 * that kind stands it may be either, and that is asked, never guessed (WIN-3).
 */

export interface ListReading {
  /** The values as a person would say them: `1.8`, `1 and 8`. */
  readonly said: string;
  readonly values: readonly string[];
}

export type ValuesRead =
  | { readonly ok: true; readonly values: readonly string[] }
  /** `at`: where in the text the part begins that could not be read. `readings`: what the text may mean; empty: nothing. */
  | { readonly ok: false; readonly at: number; readonly text: string; readonly readings: readonly ListReading[] };

/** As many as one axis of a plan may have. */
const most = 10_000;

const value = String.raw`(?:\d+(?:\.\d*)?|\.\d+)`;
const rangePattern = new RegExp(String.raw`(${value})\s*(?:-|–|\bto\b)\s*(${value})\s*(?:by|step)\s*(${value})(?=[\s,;]|$)`, 'yu');
const unfinishedPattern = new RegExp(String.raw`(${value})\s*(?:-|–|to\b)\s*(${value})(?=[\s,;]|$)`, 'yu');
const valuePattern = new RegExp(String.raw`(${value}(?:[eE][+-]?\d+)?)(?=[\s,;]|$)`, 'yu');
const separators = /[\s,;]*/yu;
const anything = /[^\s,;]+/yu;

const decimalComma = /,(?=\d)/gu;

/** All values of the text in its order, or the first part of it that cannot be read. An empty text has no values. */
export function readValues(text: string): ValuesRead {
  const at = text.search(decimalComma);
  if (at < 0) return readWithPoints(text, text);
  const withPoints = text.replaceAll(decimalComma, '.');
  if (/[;\t\r\n]/u.test(text.trim())) return readWithPoints(withPoints, text);
  const readings = [withPoints, text.replaceAll(decimalComma, ' ')].flatMap((meant): readonly ListReading[] => {
    const read = readWithPoints(meant, text);
    return read.ok ? [{ said: saidList(read.values), values: read.values }] : [];
  });
  const typed = text.trim();
  const ask = readings.length === 0 ? 'It fits neither a decimal comma nor a comma between values.' : `Does it mean ${readings.map(({ said }) => said).join(', or ')}?`;
  return { ok: false, at: readings.length === 0 ? at : 0, readings, text: `"${typed.length > 60 ? `${typed.slice(0, 60)}…` : typed}" has a comma before a digit. ${ask} Put ; between values: 1.8; 2.2 or 1,8; 2,2.` };
}

/** `9`, `9 and 10.5`, `9; 10; 11`, `9; 10; 11 … 16 (8 values)`. */
function saidList(values: readonly string[]): string {
  if (values.length > 6) return `${values.slice(0, 3).join('; ')} … ${values.at(-1) ?? ''} (${values.length} values)`;
  return values.length === 2 ? values.join(' and ') : values.join('; ');
}

/** `text` has no decimal comma any more; `typed` is the same length and is what a refusal quotes. */
function readWithPoints(text: string, typed: string): ValuesRead {
  const values: string[] = [];
  let at = 0;
  const match = (pattern: RegExp): RegExpExecArray | null => {
    pattern.lastIndex = at;
    return pattern.exec(text);
  };
  const refused = (where: number, why: string): ValuesRead => ({ ok: false, at: where, text: why, readings: [] });
  const tooMany = (where: number): ValuesRead => refused(where, `That is more than ${most} values, the most that one axis may have. Use a wider step.`);

  for (;;) {
    at += match(separators)?.[0].length ?? 0;
    if (at >= text.length) return { ok: true, values };

    const range = match(rangePattern);
    if (range !== null) {
      const [whole, from = '', to = '', by = ''] = range;
      const steps = stepsBetween(from, to, by);
      if (typeof steps === 'string') return refused(at, steps);
      if (values.length + steps.count > most) return tooMany(at);
      for (let i = 0; i < steps.count; i += 1) values.push(steps.value(i));
      at += whole.length;
      continue;
    }
    const unfinished = match(unfinishedPattern);
    if (unfinished !== null) {
      const [whole, from = '', to = ''] = unfinished;
      return refused(at, `"${whole}" is a range without a step. Write ${from}-${to} by 1, with the step that you want.`);
    }
    const single = match(valuePattern);
    if (single !== null) {
      if (values.length >= most) return tooMany(at);
      values.push(single[0].replace(/^\./u, '0.'));
      at += single[0].length;
      continue;
    }
    const found = typed.slice(at, at + (match(anything)?.[0].length ?? text.length));
    return refused(at, `"${found}" is neither a value nor a range. Write values with ; between them, like 9; 10.5, or a range like 12-16 by 1.`);
  }
}

/** A range in whole numbers of its last decimal, which are exact whatever the step. */
function stepsBetween(from: string, to: string, by: string): string | { readonly count: number; value(index: number): string } {
  const decimals = Math.max(...[from, to, by].map(decimalsOf));
  const [first, last, step] = [scaled(from, decimals), scaled(to, decimals), scaled(by, decimals)];
  const range = `${from}-${to} by ${by}`;
  if (step === 0n) return `The range ${range} has no step. Give a step above 0.`;
  const span = last > first ? last - first : first - last;
  if (span % step !== 0n) {
    const reached = last > first ? last - (span % step) : last + (span % step);
    return `The range ${range} does not end at ${to} but at ${unscaled(reached, decimals)}. Give that as its end, or a step that meets ${to}.`;
  }
  const signed = last > first ? step : -step;
  // A count beyond what a number holds is far beyond `most` as well.
  return { count: Number(span / step) + 1, value: (index) => unscaled(first + BigInt(index) * signed, decimals) };
}

function decimalsOf(text: string): number {
  return (text.split('.')[1] ?? '').length;
}

function scaled(text: string, decimals: number): bigint {
  const [whole = '', part = ''] = text.split('.');
  return BigInt(`${whole}${part.padEnd(decimals, '0')}`);
}

function unscaled(value: bigint, decimals: number): string {
  if (decimals === 0) return String(value);
  const digits = String(value).padStart(decimals + 1, '0');
  return `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`;
}

/** Adds what is not there yet; two texts of one number are the same value. */
export function withValues(
  list: readonly string[],
  added: readonly string[],
): { readonly list: readonly string[]; readonly added: number; readonly alreadyThere: readonly string[] } {
  const there = new Set(list.map(Number));
  const result = [...list];
  const alreadyThere: string[] = [];
  for (const text of added) {
    if (there.has(Number(text))) alreadyThere.push(text);
    else {
      there.add(Number(text));
      result.push(text);
    }
  }
  return { list: result, added: result.length - list.length, alreadyThere };
}

/** From the lowest to the highest; what is not a number comes last. */
export function ascending(list: readonly string[]): readonly string[] {
  const key = (text: string) => (Number.isNaN(Number(text)) ? Infinity : Number(text));
  return list.toSorted((a, b) => (key(a) < key(b) ? -1 : key(a) > key(b) ? 1 : 0));
}

/** The list as a text that `readValues` reads back. */
export function listText(list: readonly string[]): string {
  return list.join('; ');
}
