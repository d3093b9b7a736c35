/** Text inside of markup: nothing that a name, an order or a reason holds can become a tag, an attribute, a rule of style or a script. REP-4. */
import { shown } from '../boundary/text.ts';

const entities: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;' };

/** For content and for attributes in quotes. Control characters and changes of direction become U+FFFD. */
export const escaped = (text: string): string => shown(text).replace(/[&<>"']/g, (c) => entities[c] ?? c);

/** A string of CSS with its quotes: all but plain letters and digits as their code points. */
export const cssString = (text: string): string => `"${Array.from(shown(text), (c) => (/[A-Za-z0-9 .,]/.test(c) ? c : `\\${(c.codePointAt(0) ?? 0xfffd).toString(16)} `)).join('')}"`;

/** Sentences of the house write units in plain letters, for terminals too; on paper they have their signs. */
export const typeset = (text: string): string =>
  text.replace(/(?<=\d )us\b/g, 'µs').replace(/\bdegC\b/g, '°C').replace(/(?<=\d )ohm\b/g, 'Ω').replace(/\bm3\b/g, 'm³').replace(/\bcm3\b/g, 'cm³').replace(/(?<=^|[\s(])-(?=\d)/g, '−');
