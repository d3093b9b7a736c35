/**
 * Names and other single lines that people give: they end up in lists, terminals, file names and spreadsheets, where a character
 * that moves the cursor, ends the line or turns the direction of writing shows something else than what is stored.
 */
import { z } from 'zod';

/** C0 and C1 controls, line and paragraph separators, embeddings and overrides of direction (Unicode 16, 23.1 and 23.2). */
const controls = String.raw`\u0000-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069`;
/** The same as JSON Schema needs it. */
export const oneLinePattern = new RegExp(`^[^${controls}]*$`);
const eachControl = new RegExp(`[${controls}]`, 'g');

/** What a guard is called by: it stands in journals and files. */
export const namePattern = /^[a-z][a-z0-9-]*$/;

/** A text of one line, `longest` characters at most. */
export const oneLine = (longest = 1000) => z.string().max(longest).regex(oneLinePattern);

/** For showing, and for documents from before control characters were refused: each becomes U+FFFD, the sign for what cannot be shown. */
export function shown(text: string): string {
  return text.replace(eachControl, '\ufffd');
}

/** A document with every text in it as `shown` gives it; the same object where there is nothing to change. */
export function shownThroughout<T>(document: T): T {
  return through(document) as T;
}

function through(value: unknown): unknown {
  if (typeof value === 'string') return oneLinePattern.test(value) ? value : shown(value);
  if (typeof value !== 'object' || value === null) return value;
  if (Array.isArray(value)) {
    const list = value.map(through);
    return list.some((item, i) => item !== value[i]) ? list : value;
  }
  const entries = Object.entries(value);
  const changed = entries.map(([name, item]) => [name, through(item)] as const);
  return changed.some(([, item], i) => item !== entries[i]?.[1]) ? Object.fromEntries(changed) : value;
}
