import { decimals } from './decimals.ts';
import { sentenceShown } from '../settings/quantities.ts';

/** A minus sign where a hyphen stands for one: before a number that stands by itself, not in a day, a name, a range or a file's name. */
const minus = /(?<=^|[\s(±])-(?=\d)/gu;

/**
 * A text of the engine or the journal as people write it: its units and signs are in plain letters there. The words at the end are those of journals
 * and exports of earlier versions, which stay as they were written (RUN-246).
 */
export function shownText(text: string): string {
  return decimals(sentenceShown(text))
    .replaceAll(minus, '−')
    .replaceAll(/\bdegC\b/g, '°C')
    .replaceAll(/(\d) us\b/g, '$1\u00a0µs')
    .replaceAll('+/-', '±')
    .replaceAll(/\bdead-man\b/g, 'watchdog')
    .replaceAll(/\bDead-man\b/g, 'Watchdog')
    .replaceAll('held against', 'compared with');
}
