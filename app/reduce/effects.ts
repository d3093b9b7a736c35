/** What the instruments' shared errors do to lines: carried through the weighted fit, line by line. */
import type { ErrorSource } from '../uncertainty/source.ts';
import { grouped } from './cells.ts';
import type { FittedCell } from './cell.ts';
import type { SharedPart } from './reduction.ts';

export type FittedLine = Extract<FittedCell, { kind: 'line' }>;

/** What one standard uncertainty of an instrument does to a line: to its height at the centre, kg, and its slope, kg/s. */
export interface Effect {
  readonly source: ErrorSource;
  readonly onMean: number;
  readonly onSlope: number;
}

/**
 * Carries every shared term of the masses' budgets through the weighted fit of each line: an error that scales all masses
 * alike moves the slope and not the crossing (RED-14), one that differs over the meter's frequency moves both. Lines
 * that share a slope share the mean effect on it.
 */
export function effectsOf(fitted: readonly FittedCell[]): ReadonlyMap<FittedLine, ReadonlyMap<string, Effect>> {
  const effects = new Map<FittedLine, ReadonlyMap<string, Effect>>();
  const lines = fitted.filter((f): f is FittedLine => f.kind === 'line');
  for (const f of lines) effects.set(f, effectsOnLine(f));
  const sharing = lines.filter((f) => f.line.slopeFrom.from !== 'own');
  for (const members of grouped(sharing, ({ cell: { at } }) => `${at.injector}|${at.pressure}|${at.period}`)) {
    const sources = new Map(members.flatMap((m) => [...(effects.get(m)?.values() ?? [])].map(({ source }) => [source.key, source] as const)));
    const onSlope = new Map<string, number>();
    for (const key of sources.keys()) {
      let sum = 0;
      for (const m of members) sum += m.line.slopeFrom.weight * (effects.get(m)?.get(key)?.onSlope ?? 0);
      onSlope.set(key, sum);
    }
    for (const m of members) {
      const own = effects.get(m);
      const part = m.line.slopeFrom.own;
      effects.set(m, new Map([...sources].map(([key, source]) => [key, { source, onMean: own?.get(key)?.onMean ?? 0, onSlope: part * (own?.get(key)?.onSlope ?? 0) + (1 - part) * (onSlope.get(key) ?? 0) }])));
    }
  }
  return effects;
}

/** Sum of the weights and weighted square of the widths about their mean. */
function sumsOf({ observations, line }: FittedLine): { readonly weights: number; readonly sxx: number } {
  let weights = 0;
  let sxx = 0;
  for (const o of observations) {
    weights += o.weight / o.variance;
    sxx += (o.weight * (o.width - line.fit.meanX) ** 2) / o.variance;
  }
  return { weights, sxx };
}

function effectsOnLine(f: FittedLine): ReadonlyMap<string, Effect> {
  const { used, observations, line } = f;
  const { weights, sxx } = sumsOf(f);
  const sums = new Map<string, { readonly source: ErrorSource; onMean: number; onSlope: number }>();
  let [height, tilt, mass] = [0, 0, 0];
  const take = (source: ErrorSource, sensitivity: number, u: number): void => {
    // Stated by the line itself, which knows how long the injector was open.
    if (source.quantity === 'leak-path') return;
    const error = mass * sensitivity * u;
    const sum = sums.get(source.key);
    if (sum === undefined) sums.set(source.key, { source, onMean: height * error, onSlope: tilt * error });
    else {
      sum.onMean += height * error;
      sum.onSlope += tilt * error;
    }
  };
  used.forEach(({ outcome }, i) => {
    const o = observations[i];
    if (o === undefined) return;
    height = o.weight / o.variance / weights;
    tilt = (o.weight * (o.width - line.fit.meanX)) / o.variance / sxx;
    mass = o.mass;
    outcome.eachShared(take);
  });
  return sums;
}

export type OnInjector = Pick<SharedPart, 'source' | 'onDeadTime'> & Partial<Pick<SharedPart, 'onSlope'>>;

/** RED-14 to RED-18. `onInjector` says what errors of the conditions do to the injector itself, beside its masses. */
export function sharedParts(
  { line }: FittedLine,
  effects: ReadonlyMap<string, Effect>,
  onInjector: readonly OnInjector[],
): readonly SharedPart[] {
  const parts = new Map<string, SharedPart>();
  for (const part of onInjector) parts.set(part.source.key, { onSlope: 0, ...part });
  const distance = line.fit.meanX - line.deadTime;
  for (const [key, { source, onMean, onSlope }] of effects) {
    const before = parts.get(key)?.onDeadTime ?? 0;
    parts.set(key, { source, onSlope, onDeadTime: before + (distance * onSlope - onMean) / line.slope });
  }
  return [...parts.values()];
}
