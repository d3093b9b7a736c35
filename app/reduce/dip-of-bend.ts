/**
 * What straight lines say of the rail. A pressure that lies lower while an injector is open, the less the longer that is of the period, makes the flow grow over the pulse: it bends every line of its pressure
 * and period. So lines that bend by less than the bound of the record would make them tell that the rail does not dip by all of it. RED-178
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import { typeOfInjector } from './cell.ts';
import { straightBefore, usualBend } from './curvature.ts';
import type { Effect, FittedLine } from './effects.ts';
import type { Curvature } from './reduction.ts';

/** Steps between no dip and all of the bound. */
const steps = 200;

/** Likelihood of a bend that is off by `off`, 1/s, with the standard uncertainty `u`, but for a factor. */
const likelihood = (off: number, u: number): number => Math.exp((-off * off) / (2 * u * u)) / u;

/**
 * The part of the standard uncertainty of a dip (its bound, rectangular) that is left where lines bend by `relative` with the standard uncertainty `u`, and would bend by `most`, 1/s, if the rail dipped by all of
 * the bound. Any dip up to it is as likely before, and lines are straight by themselves or bend as RED-172 has it. The root mean square of what is likely then, because nothing is taken off; never more than 1.
 */
export function partLeftOfDip({ relative, u }: Pick<Curvature, 'relative' | 'u'>, most: number): number {
  if (!(most > 0) || !(u > 0)) return 1;
  let [all, squares] = [0, 0];
  for (let i = 0; i < steps; i += 1) {
    const part = (i + 0.5) / steps;
    const off = relative - part * most;
    const chance = straightBefore * likelihood(off, u) + (1 - straightBefore) * likelihood(off, Math.hypot(u, usualBend));
    all += chance;
    squares += chance * part * part;
  }
  return all > 0 ? Math.min(1, Math.sqrt((3 * squares) / all)) : 1;
}

/** The effects of all lines, with what their bends leave of the dip that the record bounds. */
export function withBendOfDip(effects: ReadonlyMap<FittedLine, readonly Effect[]>, curvatures: readonly Curvature[], plan: Pick<Plan, 'injectors'>, equipment: Equipment): ReadonlyMap<FittedLine, readonly Effect[]> {
  const { whileOpenKpa = 0 } = equipment.pressure;
  if (whileOpenKpa === 0) return effects;
  const left = new Map(
    curvatures.map((c) => {
      // Of the flow goes half of what goes of the pressure; the dip is the bound times the part of the period in which the injector is shut.
      const most = (0.5 * whileOpenKpa * 1e3) / c.pressure / c.period;
      return [`${c.type}|${c.pressure}|${c.period}`, partLeftOfDip(c, most)] as const;
    }),
  );
  return new Map(
    [...effects].map(([line, all]) => {
      const { at } = line.cell;
      const part = left.get(`${typeOfInjector(plan, at)}|${at.pressure}|${at.period}`) ?? 1;
      return [line, all.map((e) => (e.source.quantity === 'pressure-while-open' ? { source: e.source, onMean: part * e.onMean, onSlope: part * e.onSlope } : e))] as const;
    }),
  );
}
