/** What injectors are matched by as a person chooses it, and the chosen sets as a file. */
import type { AnswerTo, Params } from '../../../app/contract/contract.ts';
import { plain } from '../../../app/quantities/figures.ts';

export type Matched = AnswerTo<'sets.match'>;
export type AskedPoint = NonNullable<Params<'sets.match'>['points']>[number];
type Quantity = AskedPoint['quantity'];

export const quantityWords: Readonly<Record<Quantity, string>> = { slope: 'Slope', mass: 'Mass at a pulse width', 'dead-time': 'Dead time', 'static-flow': 'Static flow' };

const nearest = (values: readonly number[], to: number): number => values.reduce((best, value) => (Math.abs(value - to) < Math.abs(best - to) ? value : best), values[0] ?? to);

/** Another quantity at the same place, as far as that has been measured. null: it was measured nowhere. */
export function withQuantity(point: AskedPoint, quantity: Quantity, places: Matched['places']): AskedPoint | null {
  const { pressure, weight } = point;
  if (quantity === 'static-flow') return places.staticPressures.length === 0 ? null : { quantity, pressure: nearest(places.staticPressures, pressure), weight };
  const [voltage, period] = point.quantity === 'static-flow' ? [nearest(places.voltages, 14), places.periods[0] ?? 0.02] : [point.voltage, point.period];
  const place = { voltage, pressure: nearest(places.pressures, pressure), period, weight };
  const middle = places.widths[Math.floor(places.widths.length / 2)];
  if (quantity === 'mass') return middle === undefined ? null : { ...place, quantity, width: point.quantity === 'mass' ? point.width : middle };
  return { ...place, quantity };
}

export const proofWords: Readonly<Record<Exclude<Matched['proof'], 'none'>, string>> = { best: 'Proved best', objective: 'Proved in what was asked for', bound: 'Not proved best' };

/** Columns of the file of sets, one row for each member and point; the spread of a set stands in rows without an injector. */
export function setsCsv({ points, sets, text }: Matched): string {
  const heads = ['set', 'cost', 'injector', 'run', 'run_began_utc', 'point', 'weight', 'unit', 'deviation_from_set_mean', 'U95', 'proof'];
  const iso = (at: number): string => new Date(at).toISOString();
  const rows = sets.flatMap(({ cost, members, spread }, s) =>
    points.flatMap((point, p) => {
      const row = (injector: string, run: string, began: string, of: { readonly value: number; readonly expanded: number } | undefined): (string | number)[] => [s + 1, cost, injector, run, began, point.text, point.weight, point.unit, of?.value ?? '', of?.expanded ?? '', text];
      return [...members.map((m) => row(m.serialNumber, m.run, iso(m.at), m.deviations[p])), row('', '', '', spread[p])];
    }),
  );
  return [heads, ...rows].map((row) => row.map(csvText).join(',')).join('\r\n').concat('\r\n');
}

/** `3 sets of 4` */
export const wantedWords = (sets: number, of: number): string => `${plain(sets)} ${sets === 1 ? 'set' : 'sets'} of ${plain(of)}`;

const startsAFormula = /^[=+\-@\t\r]/u;

/** A field of a CSV file as exports have it: twelve digits, texts that a spreadsheet would compute with an apostrophe. */
export function csvText(value: string | number): string {
  const text = typeof value === 'number' ? String(Number(value.toPrecision(12))) : startsAFormula.test(value) ? `'${value}` : value;
  return /[",\r\n]/u.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
