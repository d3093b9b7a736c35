/** What the instruments' shared errors do to lines: carried through the weighted fit, line by line. */
import { isLeftIn, isRectangular, ownerOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import { grouped } from './cells.ts';
import type { FittedCell, Observed } from './cell.ts';
import type { SharedPart } from './reduction.ts';

export type FittedLine = Extract<FittedCell, { kind: 'line' }>;

/** What one standard uncertainty of an instrument does to a line: to its height at the centre, kg, and its slope, kg/s. */
export interface Effect {
  readonly source: ErrorSource;
  readonly onMean: number;
  readonly onSlope: number;
}

/** By the key of the source. */
type OwnEffects = ReadonlyMap<string, Effect>;

/**
 * Carries every shared term of the masses' budgets through the weighted fit of each line: an error that scales all masses
 * alike moves the slope and not the crossing (RED-14), one that differs over the meter's frequency moves both. Lines
 * that share a slope share the mean effect on it.
 */
export function effectsOf(fitted: readonly FittedCell[]): ReadonlyMap<FittedLine, readonly Effect[]> {
  const effects = new Map<FittedLine, readonly Effect[]>();
  const alone = new Map<FittedLine, OwnEffects>();
  const sharing: FittedLine[] = [];
  for (const f of fitted) {
    if (f.kind === 'no-line') continue;
    const own = effectsOnLine(f);
    if (f.line.slopeFrom.from === 'own') effects.set(f, [...own.values()]);
    else {
      alone.set(f, own);
      sharing.push(f);
    }
  }
  for (const members of grouped(sharing, ({ cell: { at } }) => `${at.injector}|${at.pressure}|${at.period}`)) {
    // Of every source that any of them has, in the order of the first; one that a member does not have adds nothing.
    const places = new Map<string, number>();
    const common: { readonly source: ErrorSource; onSlope: number }[] = [];
    const own = members.map((m) => {
      const { weight } = m.line.slopeFrom;
      const placed: Effect[] = [];
      (alone.get(m) ?? none).forEach((effect, key) => {
        const { source, onSlope } = effect;
        const place = places.get(key);
        if (place === undefined) {
          placed[common.length] = effect;
          places.set(key, common.length);
          common.push({ source, onSlope: weight * onSlope });
        } else {
          placed[place] = effect;
          (common[place] as (typeof common)[number]).onSlope += weight * onSlope;
        }
      });
      return placed;
    });
    members.forEach((m, i) => effects.set(m, leaned(common, own[i] ?? [], m.line.slopeFrom.own)));
  }
  return effects;
}

/** What is in a line whose slope is by a part its own, for the rest that of its injector. `own`: by the place of the source in `common`. */
function leaned(common: readonly { readonly source: ErrorSource; readonly onSlope: number }[], own: readonly (Effect | undefined)[], part: number): readonly Effect[] {
  const together: Effect[] = [];
  for (let place = 0; place < common.length; place += 1) {
    const { source, onSlope } = common[place] as (typeof common)[number];
    const one = own[place];
    together.push({ source, onMean: one?.onMean ?? 0, onSlope: part * (one?.onSlope ?? 0) + (1 - part) * onSlope });
  }
  return together;
}

const none: OwnEffects = new Map();

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

interface Sum {
  readonly source: ErrorSource;
  onMean: number;
  onSlope: number;
  /** What came after it the last time. */
  next: Sum | undefined;
}

/** Sums up what each source does to one line, window after window. */
class LineEffects {
  readonly sums = new Map<string, Sum>();
  height = 0;
  tilt = 0;
  mass = 0;
  // Nearly every window has the sources of the one before it, in the same order: the sum that comes next is asked first.
  #next: Sum | undefined;
  #last: Sum | undefined;

  take(source: ErrorSource, sensitivity: number, u: number): void {
    // Stated by the line itself, which knows how long the injector was open.
    if (source.quantity === 'leak-path') return;
    const error = this.mass * sensitivity * u;
    const next = this.#next;
    let sum = next?.source === source ? next : this.sums.get(source.key);
    if (sum === undefined) {
      sum = { source, onMean: this.height * error, onSlope: this.tilt * error, next: undefined };
      this.sums.set(source.key, sum);
    } else {
      sum.onMean += this.height * error;
      sum.onSlope += this.tilt * error;
    }
    if (this.#last !== undefined) this.#last.next = sum;
    this.#last = sum;
    this.#next = sum.next;
  }
}

function effectsOnLine(f: FittedLine): OwnEffects {
  const { used, observations, line } = f;
  const { weights, sxx } = sumsOf(f);
  const effects = new LineEffects();
  for (let i = 0; i < used.length; i += 1) {
    const o = observations[i];
    if (o === undefined) continue;
    effects.height = o.weight / o.variance / weights;
    effects.tilt = (o.weight * (o.width - line.fit.meanX)) / o.variance / sxx;
    effects.mass = o.mass;
    const { outcome } = used[i] as Observed;
    const { count, sources, sensitivities, uncertainties } = outcome.sharedTerms();
    for (let k = 0; k < count; k += 1) effects.take(sources[k] as ErrorSource, sensitivities[k] as number, uncertainties[k] as number);
  }
  return effects.sums;
}

export type OnInjector = Pick<SharedPart, 'source' | 'onDeadTime'> & Partial<Pick<SharedPart, 'onSlope'>>;

/** RED-14 to RED-18. `onInjector` says what errors of the conditions do to the injector itself, beside its masses. */
export function sharedParts(
  { line }: FittedLine,
  effects: readonly Effect[],
  onInjector: readonly OnInjector[],
): readonly SharedPart[] {
  const parts = new Map<string, SharedPart>();
  for (const part of onInjector) parts.set(part.source.key, { onSlope: part.onSlope ?? 0, source: part.source, onDeadTime: part.onDeadTime });
  const distance = line.fit.meanX - line.deadTime;
  const others: SharedPart[] = [];
  for (const { source, onMean, onSlope } of effects) {
    const onDeadTime = (distance * onSlope - onMean) / line.slope;
    const before = parts.get(source.key);
    if (before === undefined) others.push({ source, onSlope, onDeadTime });
    else parts.set(source.key, { source, onSlope, onDeadTime: before.onDeadTime + onDeadTime });
  }
  return [...parts.values(), ...others];
}

/** What the shared parts of a line come to: their squares and products, what the leak and all others do to the dead time, s, the largest of those that are bounds, and of what is left in of the slope. */
export function summedUp(shared: readonly SharedPart[]): { readonly slopeSquares: number; readonly deadTimeSquares: number; readonly covariance: number; readonly uOfLeak: number; readonly uWithoutLeak: number; readonly boundOfDeadTime: number; readonly boundOfSlope: number; readonly leftIn: number } {
  let [slopeSquares, deadTimeSquares, covariance, boundOfDeadTime, boundOfSlope, leftIn] = [0, 0, 0, 0, 0, 0];
  const ofLeak: number[] = [];
  const others: number[] = [];
  for (const { source, onSlope, onDeadTime } of shared) {
    slopeSquares += onSlope * onSlope;
    deadTimeSquares += onDeadTime * onDeadTime;
    covariance += onSlope * onDeadTime;
    (ownerOf(source) === 'leak' ? ofLeak : others).push(onDeadTime);
    if (isLeftIn(source)) leftIn = Math.max(leftIn, Math.abs(onSlope));
    if (!isRectangular(source)) continue;
    boundOfDeadTime = Math.max(boundOfDeadTime, Math.abs(onDeadTime));
    boundOfSlope = Math.max(boundOfSlope, Math.abs(onSlope));
  }
  return { slopeSquares, deadTimeSquares, covariance, uOfLeak: Math.hypot(...ofLeak), uWithoutLeak: Math.hypot(...others), boundOfDeadTime, boundOfSlope, leftIn };
}
