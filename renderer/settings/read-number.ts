/**
 * The one reader of numbers of the window (WIN-1). Point and comma both stand before the decimals; nothing is a sign
 * between thousands, in any browser and any language: a group sign that is dropped multiplies what is driven by ten.
 */
export type NumberRead =
  | { readonly kind: 'empty' }
  /** `text`: as it was typed, with a point before the decimals, no blanks around and a plain minus. */
  | { readonly kind: 'number'; readonly value: number; readonly text: string }
  /** `why`: in words, with what was typed. */
  | { readonly kind: 'unreadable'; readonly why: string };

const numberPattern = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?$/iu;

/** Reads a field that takes one number. Every text is one of the three; a number is finite. */
export function readNumber(typed: string): NumberRead {
  const trimmed = typed.trim();
  if (trimmed === '') return { kind: 'empty' };
  const text = trimmed.replaceAll(',', '.').replace(/^\u2212/u, '-');
  const value = numberPattern.test(text) ? Number(text) : Number.NaN;
  return Number.isFinite(value) ? { kind: 'number', value, text } : { kind: 'unreadable', why: whyNot(trimmed) };
}

/** The number that a text stands for; NaN where it stands for none. */
export function numberIn(typed: string): number {
  const read = readNumber(typed);
  return read.kind === 'number' ? read.value : Number.NaN;
}

function whyNot(trimmed: string): string {
  const quoted = `"${trimmed.length > 40 ? `${trimmed.slice(0, 40)}…` : trimmed}"`;
  if (/^[+\-\u2212]?\d[\d\s'’.,]*$/u.test(trimmed)) {
    return `${quoted} cannot be read as one number. Write one point or comma, before the decimals, and nothing between thousands: 1234.5 or 1234,5.`;
  }
  return `${quoted} is not a number. Write digits, with a point or a comma before the decimals.`;
}
