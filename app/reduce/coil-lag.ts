/**
 * Do coils follow their duty late? Sweeps that go up the widths find a coil cooler than settled, those that go down a warmer one, so
 * their dead times differ. The purge between windows leaves about half of that (coils that follow in 10 s) to all of it (30 s) in the line,
 * which nothing shows (own computation, first-order coils; RED-84).
 */
import type { Plan } from '../plan/plan.ts';
import { typeOfInjector } from './cell.ts';
import { grouped } from './cells.ts';
import type { FittedLine } from './effects.ts';
import { solveWithCovariance } from './least-squares.ts';
import type { SweepLag } from './reduction.ts';

/** One for each type: all its lines together, because the effect is nearly the same at every voltage. */
export function sweepLagsOf(lines: readonly FittedLine[], plan: Pick<Plan, 'injectors'>): readonly SweepLag[] {
  const typeOf = ({ cell }: FittedLine): string => typeOfInjector(plan, cell.at);
  return grouped(lines, typeOf).map((members): SweepLag => {
    let product = 0;
    let squares = 0;
    for (const line of members) {
      const sums = contrastOf(line);
      product += sums.product;
      squares += sums.squares;
    }
    const type = typeOf(members[0]);
    if (!(squares > 0)) return { type, difference: 0, u: null };
    return { type, difference: (2 * product) / squares, u: 2 / Math.sqrt(squares) };
  });
}

/** For the windows of a cell, those of its longest width first, 1 after a shorter width, -1 after a longer one, 0 after none or the same. */
function directionsOf({ groups }: FittedLine['cell']): readonly number[] {
  const inOrder: { readonly at: number; readonly width: number; readonly order: number }[] = [];
  for (const { width, observed } of groups) for (const { order } of observed) inOrder.push({ at: inOrder.length, width, order });
  const directions = new Array<number>(inOrder.length).fill(0);
  let last: number | null = null;
  for (const { at, width } of inOrder.sort((a, b) => a.order - b.order)) {
    if (last !== null) directions[at] = Math.sign(width - last);
    last = width;
  }
  return directions;
}

/** Least squares of the windows' distance from their line, s, on 1 for a sweep that goes up and -1 for one that goes down, beside height and slope of the line. */
function contrastOf({ cell, line, used, observations }: FittedLine): { readonly product: number; readonly squares: number } {
  const before = directionsOf(cell);
  // Windows of one width and direction are one row: the sum of their weights at their mean says the same.
  const rows = new Map<number, { readonly design: readonly number[]; weight: number; moment: number }>();
  for (let i = 0; i < used.length; i += 1) {
    const seen = observations[i];
    const direction = before[i];
    if (seen === undefined || direction === undefined || direction === 0) continue;
    const weight = (seen.weight * line.slope * line.slope) / seen.variance / line.fit.scale;
    const key = seen.width * direction;
    const row = rows.get(key) ?? { design: [1, seen.width, direction], weight: 0, moment: 0 };
    rows.set(key, row);
    row.weight += weight;
    row.moment += weight * (seen.width - line.deadTime - seen.mass / line.slope);
  }
  const told = [...rows.values()].filter(({ weight }) => weight > 0);
  const [design, weights] = [told.map((r) => r.design), told.map((r) => r.weight)];
  const solved = solveWithCovariance(design, told.map((r) => r.moment / r.weight), weights);
  const [value, variance] = [solved?.beta[2], solved?.covariance[2]?.[2]];
  // Where widths and directions go together neither tells the other apart.
  return value === undefined || variance === undefined ? { product: 0, squares: 0 } : { product: value / variance, squares: 1 / variance };
}

/** So many standard uncertainties of the difference are taken for scatter. */
const seen = 2;

/** Standard uncertainty of a dead time by it, s: all of the difference to either side, beyond what scatter explains. */
export function uOfLag(lag: SweepLag | undefined): number {
  return lag === undefined || lag.u === null ? 0 : Math.sqrt(Math.max(0, lag.difference * lag.difference - (seen * lag.u) ** 2));
}

/** What was found, what it means, and what to do. */
export function sweepLagSentence(lag: SweepLag): string {
  if (lag.u === null) return `${lag.type}: nothing tells whether coils follow their duty late, because the widths were not swept to and fro.`;
  const us = (s: number): string => `${(1e6 * s).toFixed(2)} us`;
  const found = `${lag.type}: dead times of sweeps up less those of sweeps down ${us(lag.difference)} ± ${us(2 * lag.u)} (k = 2)`;
  return Math.abs(lag.difference) > 3 * lag.u
    ? `${found}: coils follow their duty late. ${us(uOfLag(lag))} is in the uncertainty of every dead time. Settle longer before windows, and it becomes less.`
    : `${found}: no more than scatter explains${uOfLag(lag) > 0 ? `; ${us(uOfLag(lag))} is held for it` : ''}.`;
}
