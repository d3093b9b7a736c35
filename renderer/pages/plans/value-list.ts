/**
 * Values of one axis as people write them: `9, 10.5, 12-16 by 1`. Values keep their digits as typed; a range is worked
 * out in decimals, so that 0.1-0.5 by 0.1 holds 0.3 and not 0.30000000000000004.
 *
 *     list  = part { ("," | ";" | end of line | blanks) part }
 *     part  = value | range
 *     range = value ("-" | "to") value ("by" | "step") value      also downwards: 16-12 by 1
 */

export type ValuesRead =
  | { readonly ok: true; readonly values: readonly string[] }
  /** `at`: where in the text the part begins that could not be read. */
  | { readonly ok: false; readonly at: number; readonly text: string };

/** As many as one axis of a plan may have. */
const most = 10_000;

const value = String.raw`(?:\d+(?:\.\d*)?|\.\d+)`;
const rangePattern = new RegExp(String.raw`(${value})\s*(?:-|–|\bto\b)\s*(${value})\s*(?:by|step)\s*(${value})(?=[\s,;]|$)`, 'yu');
const unfinishedPattern = new RegExp(String.raw`(${value})\s*(?:-|–|to\b)\s*(${value})(?=[\s,;]|$)`, 'yu');
const valuePattern = new RegExp(String.raw`(${value}(?:[eE][+-]?\d+)?)(?=[\s,;]|$)`, 'yu');
const separators = /[\s,;]*/yu;
const anything = /[^\s,;]+/yu;

/** All values of the text in its order, or the first part of it that cannot be read. An empty text has no values. */
export function readValues(text: string): ValuesRead {
  const values: string[] = [];
  let at = 0;
  const match = (pattern: RegExp): RegExpExecArray | null => {
    pattern.lastIndex = at;
    return pattern.exec(text);
  };
  const tooMany = (where: number): ValuesRead => ({ ok: false, at: where, text: `That is more than ${most} values, the most that one axis may have. Use a wider step.` });

  for (;;) {
    at += match(separators)?.[0].length ?? 0;
    if (at >= text.length) return { ok: true, values };

    const range = match(rangePattern);
    if (range !== null) {
      const [whole, from = '', to = '', by = ''] = range;
      const steps = stepsBetween(from, to, by);
      if (typeof steps === 'string') return { ok: false, at, text: steps };
      if (values.length + steps.count > most) return tooMany(at);
      for (let i = 0; i < steps.count; i += 1) values.push(steps.value(i));
      at += whole.length;
      continue;
    }
    const unfinished = match(unfinishedPattern);
    if (unfinished !== null) {
      const [whole, from = '', to = ''] = unfinished;
      return { ok: false, at, text: `"${whole}" is a range without a step. Write ${from}-${to} by 1, with the step that you want.` };
    }
    const single = match(valuePattern);
    if (single !== null) {
      if (values.length >= most) return tooMany(at);
      values.push(single[0]);
      at += single[0].length;
      continue;
    }
    const found = match(anything)?.[0] ?? text.slice(at);
    return { ok: false, at, text: `"${found}" is neither a value nor a range. Write values like 9, 10.5 (with a decimal point) or a range like 12-16 by 1.` };
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
  return list.join(', ');
}
