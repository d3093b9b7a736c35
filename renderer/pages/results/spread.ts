/** How the injectors of a set differ, at one voltage: in mass at a width, in dead time, in slope. SI units. */
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { deviationsFromMean, expandedWith, meanOfMembers, memberOf, randomOfWidth } from './estimate.ts';
import type { Member } from './estimate.ts';
import type { ResultCell } from './results.ts';

export type SpreadOf = { readonly kind: 'mass'; readonly width: number } | { readonly kind: 'dead-time' } | { readonly kind: 'slope' };

interface SpreadRow {
  readonly injector: number;
  readonly serialNumber: string;
  /** null: `why` says why not. */
  readonly value: number | null;
  /** With all parts; null: its scatter is not known. */
  readonly u95: number | null;
  readonly why: string;
  /** From the mean of the injectors that have a value, in the unit of the value. */
  readonly deviation: number | null;
  readonly deviationU95: number | null;
}

export interface Spread {
  readonly rows: readonly SpreadRow[];
  /** Of the injectors that have a value; null: none has. */
  readonly mean: number | null;
  readonly meanU95: number | null;
  readonly members: number;
  /** Largest less smallest. */
  readonly range: number | null;
  readonly lowest: SpreadRow | null;
  readonly highest: SpreadRow | null;
}

/** `cells` are those of one voltage, pressure and period. */
export function spreadOf(cells: readonly ResultCell[], of: SpreadOf): Spread {
  const found = cells.map((cell) => ({ cell, member: member(cell, of) }));
  const present = found.flatMap(({ cell, member: m }) => (typeof m === 'string' ? [] : [{ injector: cell.injector, member: m }]));
  const estimates = deviationsFromMean(present.map((p) => p.member));
  const byInjector = new Map(present.map((p, i) => [p.injector, estimates[i]]));
  const rows = found.map(({ cell: { injector, serialNumber }, member: m }): SpreadRow => {
    if (typeof m === 'string') return { injector, serialNumber, value: null, u95: null, why: m, deviation: null, deviationU95: null };
    const estimate = byInjector.get(injector);
    return { injector, serialNumber, value: m.value, u95: expandedWith(m.random, Math.hypot(...m.shared.map((s) => s.effect))), why: '', deviation: estimate?.value ?? null, deviationU95: estimate?.u95 ?? null };
  });
  const values = present.map((p) => p.member.value);
  const mean = meanOfMembers(present.map((p) => p.member));
  if (mean === null) return { rows, mean: null, meanU95: null, members: 0, range: null, lowest: null, highest: null };
  const [low, high] = [Math.min(...values), Math.max(...values)];
  return {
    rows,
    mean: mean.value,
    meanU95: mean.u95,
    members: values.length,
    range: high - low,
    lowest: rows.find((r) => r.value === low) ?? null,
    highest: rows.find((r) => r.value === high) ?? null,
  };
}

function member(cell: ResultCell, of: SpreadOf): Member | string {
  if (cell.kind === 'no-line') return cell.text;
  switch (of.kind) {
    case 'dead-time':
      return memberOf(cell.deadTime, cell.shared, 'onDeadTime');
    case 'slope':
      return memberOf(cell.slope, cell.shared, 'onSlope');
    case 'mass':
      return massMember(cell, of.width);
  }
}

/** An instrument's error moves slope and dead time, and so a mass by (w - t0) dk - k dt0. */
function massMember(cell: LineCell, width: number): Member | string {
  const at = cell.widths.find((w) => w.width === width);
  if (at === undefined) return 'No attempt counts at this width.';
  return {
    value: at.mass,
    random: randomOfWidth(cell, at),
    shared: cell.shared.map((part) => ({ source: part.source, effect: (width - cell.deadTime.value) * part.onSlope - cell.slope.value * part.onDeadTime })),
  };
}

/** In words what the spread is and whether the outermost injector stands out by more than its uncertainty. */
export function spreadSentence({ rows, members }: Spread): string {
  if (members < 2) return 'With fewer than two injectors that have a value there is no spread.';
  const told = rows.filter((r) => r.deviation !== null && r.deviationU95 !== null && Math.abs(r.deviation) > r.deviationU95).length;
  const missing = rows.length - members;
  return [
    missing === 0 ? `The mean is of all ${members} injectors.` : `The mean is of the ${members} injectors that have a value; ${missing} ${missing === 1 ? 'has' : 'have'} none.`,
    told === 0
      ? 'No injector differs from it by more than the uncertainty of the difference.'
      : `${told} of ${members} differ from it by more than the uncertainty of the difference.`,
  ].join(' ');
}
