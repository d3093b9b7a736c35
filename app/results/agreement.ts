/**
 * Do two sets of results agree: two runs, two visits, two laboratories? En and zeta of each pair of numbers, with every error that both have in common taken out
 * as far as their documents say which those are, and a verdict in words. CMP-1 to CMP-5.
 */
import { figure, plain } from '../quantities/figures.ts';
import { coverageFactor, effectiveDegrees } from '../uncertainty/budget.ts';
import { combine, stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';

export const statedQuantities = ['dead-time', 'slope', 'static-flow'] as const;

/** As they are shown: name, unit, and what turns an SI value into it. */
export const shownQuantities = {
  'dead-time': { name: 'dead time', unit: 'µs', factor: 1e6 }, slope: { name: 'slope', unit: 'mg/ms', factor: 1e3 }, 'static-flow': { name: 'static flow', unit: 'mg/ms', factor: 1e3 },
} as const;

/** A result as somebody stated it. SI units. */
export interface StatedNumber {
  readonly of: string;
  readonly quantity: (typeof statedQuantities)[number];
  /** null: not said, or it does not matter (static flow). */
  readonly voltage: number | null;
  readonly pressure: number | null;
  readonly period: number | null;
  readonly value: number;
  readonly expanded: number;
  /** Coverage factor that made `expanded` of the standard uncertainty. */
  readonly k: number;
  /** Effective degrees of freedom; Infinity: very many, or not said. */
  readonly dof: number;
  /** With every error under its own name; null: nobody said which. */
  readonly carried: Carried | null;
}

/** What one run, visit or laboratory stated. */
export interface StatedSet {
  readonly name: string;
  readonly numbers: readonly StatedNumber[];
}

/** How the two of a pair hang together. named: errors of one name are one. independent: at least one does not say. */
type Correlation = 'named' | 'independent';

export interface AgreementRow {
  readonly first: StatedNumber;
  readonly second: StatedNumber;
  /** Second less first, its standard and its expanded uncertainty (95 %). */
  readonly difference: number;
  readonly u: number;
  readonly expanded: number;
  /** Difference over its expanded uncertainty (ISO/IEC 17043:2010, B.3.1.3), and over its standard uncertainty (ISO 13528:2015, 9.7). */
  readonly en: number;
  readonly zeta: number;
  readonly correlation: Correlation;
}

export interface Agreement {
  readonly rows: readonly AgreementRow[];
  /** For each quantity: rows, those with |En| > 1, and the mean difference with its expanded uncertainty; null where not every pair names its errors or units differ. */
  readonly sums: readonly AgreementSum[];
  /** What could not be compared, sentences. */
  readonly left: readonly string[];
  readonly text: string;
}

interface AgreementSum {
  readonly quantity: StatedNumber['quantity'];
  readonly rows: number;
  readonly apart: number;
  /** Mean of the differences, relative to the values for slopes and flows; with its expanded uncertainty. Null: errors are not named throughout, so nobody knows how the pairs hang together. */
  readonly mean: { readonly value: number; readonly expanded: number; readonly relative: boolean } | null;
}

const alike = (a: number | null, b: number | null): boolean => a === null || b === null || Math.abs(a - b) <= 1e-6 * Math.max(Math.abs(a), Math.abs(b));
const samePlace = (a: StatedNumber, b: StatedNumber): boolean =>
  a.of === b.of && a.quantity === b.quantity && (a.quantity === 'static-flow' || (alike(a.voltage, b.voltage) && alike(a.period, b.period))) && alike(a.pressure, b.pressure);

/** Each number of the first set against that of the second for the same injector, quantity and place. */
export function agreementOf(first: StatedSet, second: StatedSet): Agreement {
  const rows: AgreementRow[] = [];
  const used = new Set<StatedNumber>();
  let [onlyFirst, twice] = [0, 0];
  for (const a of first.numbers) {
    const here = second.numbers.filter((n) => !used.has(n) && samePlace(a, n));
    const [b, ...more] = here;
    for (const n of here) used.add(n);
    if (b === undefined) onlyFirst += 1;
    else if (more.length > 0) twice += 1;
    else rows.push(rowOf(a, b));
  }
  const onlySecond = second.numbers.length - used.size;
  const left = [
    ...(onlyFirst > 0 ? [`${onlyFirst} results are in ${first.name} alone.`] : []),
    ...(onlySecond > 0 ? [`${onlySecond} results are in ${second.name} alone.`] : []),
    ...(twice > 0 ? [`${twice} results of ${first.name} have more than one that they could be compared with (the place is not said in full).`] : []),
    ...(rows.length === 0 ? ['An injector is compared with itself: serial number, quantity, voltage, pressure and period must be the same in both.'] : []),
  ];
  const sums = statedQuantities.flatMap((quantity) => sumOf(quantity, rows.filter((r) => r.first.quantity === quantity)));
  return { rows, sums, left, text: verdictOf(rows, sums, second.name) };
}

/** Documents have twelve digits: what lies nearer than this part of the value is the same number. */
const digitsOfDocuments = 1e-10;
const apartBy = ({ value: a }: StatedNumber, { value: b }: StatedNumber): number => (Math.abs(b - a) <= digitsOfDocuments * Math.abs(a) ? 0 : b - a);

function rowOf(first: StatedNumber, second: StatedNumber): AgreementRow {
  const difference = apartBy(first, second);
  if (first.carried !== null && second.carried !== null) {
    const { u, expanded } = stateCarried(combine(difference, [{ of: second.carried, sensitivity: 1 }, { of: first.carried, sensitivity: -1 }]));
    return { first, second, difference, u, expanded, en: over(difference, expanded), zeta: over(difference, u), correlation: 'named' };
  }
  const [a, b] = [first.expanded / first.k, second.expanded / second.k];
  const u = Math.hypot(a, b);
  // For independent results En has the root of the sum of squares of both U in its denominator, as the standard has it.
  const en = over(difference, Math.hypot(first.expanded, second.expanded));
  return { first, second, difference, u, expanded: coverageFactor(effectiveDegrees([{ u: a, dof: first.dof }, { u: b, dof: second.dof }])) * u, en, zeta: over(difference, u), correlation: 'independent' };
}

/** Of the very same number nothing is unknown, and nothing differs. */
const over = (difference: number, u: number): number => (difference === 0 ? 0 : difference / u);

function sumOf(quantity: StatedNumber['quantity'], rows: readonly AgreementRow[]): readonly AgreementSum[] {
  if (rows.length === 0) return [];
  const apart = rows.filter((r) => Math.abs(r.en) > 1).length;
  const relative = quantity !== 'dead-time';
  const terms = rows.flatMap(({ first, second }) => {
    const by = 1 / rows.length / (relative ? first.value : 1);
    return first.carried === null || second.carried === null ? [] : [{ of: second.carried, sensitivity: by }, { of: first.carried, sensitivity: -by }];
  });
  if (terms.length < 2 * rows.length) return [{ quantity, rows: rows.length, apart, mean: null }];
  const value = rows.reduce((sum, r) => sum + r.difference / (relative ? r.first.value : 1), 0) / rows.length;
  return [{ quantity, rows: rows.length, apart, mean: { value, expanded: stateCarried(combine(value, terms)).expanded, relative } }];
}


/** Of one pair. ISO 13528:2015, 9.4.2 and 9.7: |zeta| above 2 a warning, above 3 an action signal. */
export function pairVerdict({ en, zeta, correlation }: AgreementRow): string {
  if (Math.abs(en) <= 1) return 'agree';
  const signal = Math.abs(zeta) >= 3 ? 'an action signal' : 'a warning signal';
  return `DIFFER (${signal}${correlation === 'independent' ? '; errors in common are not known, so they count twice' : ''})`;
}

/** With so few apart, chance explains them: so many or fewer come in 95 of 100 comparisons in which nothing differs, were they independent. */
function mostByChance(n: number): number {
  let [sum, term, k] = [0, 0.95 ** n, 0];
  for (;;) {
    sum += term;
    if (sum >= 0.95) return k;
    term *= ((n - k) / (k + 1)) * (0.05 / 0.95);
    k += 1;
  }
}

function verdictOf(rows: readonly AgreementRow[], sums: readonly AgreementSum[], second: string): string {
  if (rows.length === 0) return 'Nothing could be compared.';
  const apart = rows.filter((r) => Math.abs(r.en) > 1).length;
  const named = rows.filter((r) => r.correlation === 'named').length;
  const known =
    named === rows.length
      ? 'Errors that both have in common are taken out by name.'
      : named === 0
        ? 'Which errors both have in common is not known, so they are taken for independent: of one bench or one reference U of the differences is too large, and what agrees may still differ.'
        : `Of ${rows.length - named} pairs it is not known which errors they have in common; those are taken for independent.`;
  const chance = `of ${rows.length} with |En| > 1, where up to ${mostByChance(rows.length)} come by chance`;
  const verdict = apart === 0 ? `They agree: no |En| of ${rows.length} is above 1.` : apart <= mostByChance(rows.length) ? `They agree on the whole: ${apart} ${chance}.` : `THEY DIFFER: ${apart} ${chance}.`;
  const means = sums.flatMap(({ quantity, mean }) => {
    if (mean === null || Math.abs(mean.value) <= mean.expanded) return [];
    const [unit, factor] = mean.relative ? ['%', 100] as const : ['µs', 1e6] as const;
    return [`On average ${second} states a ${shownQuantities[quantity].name} that is ${figure(Math.abs(mean.value) * factor, mean.expanded * factor)} ± ${figure(mean.expanded * factor, mean.expanded * factor)} ${unit} ${mean.value > 0 ? 'more' : 'less'}.`];
  });
  return [verdict, ...means, known].join(' ');
}

/** Where a number is of, in words. */
export const placeWords = ({ of, quantity, voltage, pressure, period }: StatedNumber): string =>
  [of, shownQuantities[quantity].name, ...(voltage === null ? [] : [`${plain(voltage)} V`]), ...(pressure === null ? [] : [`${plain(pressure / 1e3)} kPa`]), ...(period === null || period === 0 ? [] : [`${plain(period * 1e3)} ms`])].join(', ');
