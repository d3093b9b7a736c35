/** Is an injector of the type that it is said to be? Its dead times tell it: those of a type differ little, and by about as much at every voltage. SCH-47 */
import { grouped } from '../reduce/cells.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import type { WantedCell } from './cells.ts';

/** Chance with which dead times of one of a run's injectors are called off though all are of one type. A false call costs a few windows, and no number. */
const calledOff = 0.05;
/** Fewer others do not tell how much a type differs. */
const fewestOthers = 4;

/** Numbers of the injectors, all of one type, whose dead times lie off those of the others by more than these differ (Student's t of one that is left out, at all voltages together; the level is shared by all: Bonferroni). */
export function standingOff(cells: readonly WantedCell[]): ReadonlySet<number> {
  const lines = cells.flatMap(({ injector, voltage, found }) => (found?.kind === 'line' ? [{ injector, voltage, deadTime: found.deadTime.value }] : []));
  const means = new Map(grouped(lines, (l) => String(l.voltage)).map((own) => [own[0].voltage, mean(own.map((l) => l.deadTime))] as const));
  const relative = grouped(lines, (l) => String(l.injector)).filter((own) => own.length === means.size).map((own) => ({ injector: own[0].injector, off: mean(own.map((l) => l.deadTime / (means.get(l.voltage) ?? Number.NaN))) }));
  const others = relative.length - 1;
  if (others < fewestOthers) return new Set();
  const limit = coverageFactor(others - 1, 1 - calledOff / relative.length);
  return new Set(
    relative.flatMap(({ injector, off }) => {
      const rest = relative.flatMap((r) => (r.injector === injector ? [] : [r.off]));
      const centre = mean(rest);
      const variance = rest.reduce((sum, r) => sum + (r - centre) ** 2, 0) / (others - 1);
      return Math.abs(off - centre) > limit * Math.sqrt(variance * (1 + 1 / others)) ? [injector] : [];
    }),
  );
}

const mean = (list: readonly number[]): number => list.reduce((sum, one) => sum + one, 0) / list.length;
