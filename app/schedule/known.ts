/** What earlier runs told of a type of injector, as a plan with targets may state it (SCH-12, PLAN-98). */
import type { Plan } from '../plan/plan.ts';
import { typicalDeadTime } from '../plan/typical.ts';
import { typeOfInjector } from '../reduce/cell.ts';
import type { LineCell, Reduction, ScatterModel } from '../reduce/reduction.ts';
import { varianceAt } from '../reduce/variance-model.ts';
import { median } from '../statistics/robust.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import type { KnownType } from './cells.ts';

/** Dead time of a type at a voltage, s: as it is stated, or between two that are, along the curve of a usual injector; null: the voltage lies outside. */
export function knownDeadTime({ deadTimes }: Pick<KnownType, 'deadTimes'>, voltage: number): number | null {
  const rising = deadTimes.toSorted((a, b) => a.voltageV - b.voltageV);
  const above = rising.find((d) => d.voltageV >= voltage);
  const below = rising.findLast((d) => d.voltageV <= voltage);
  if (above === undefined || below === undefined) return null;
  if (above.voltageV === below.voltageV) return above.deadTimeMs / 1e3;
  const [from, to] = [typicalDeadTime(below.voltageV), typicalDeadTime(above.voltageV)];
  return (below.deadTimeMs + ((typicalDeadTime(voltage) - from) / (to - from)) * (above.deadTimeMs - below.deadTimeMs)) / 1e3;
}

/** A run, as far as it tells of types. */
export interface EarlierRun {
  readonly plan: Plan;
  readonly reduction: Pick<Reduction, 'cells' | 'scatter'>;
}

/** Where lines of a type end and how its windows scatter, by earlier runs at a pressure, kPa; null: none of them has lines of it there. */
export function knownOf(runs: readonly EarlierRun[], type: string, pressureKpa: number, from: string): KnownType | null {
  const told = runs.flatMap((run) => {
    const lines = run.reduction.cells.filter((c): c is LineCell => c.kind === 'line' && typeOfInjector(run.plan, c) === type && Math.abs(c.pressure / 1e3 - pressureKpa) < 1e-9);
    const model = run.reduction.scatter.find((s) => Math.abs(s.pressure / 1e3 - pressureKpa) < 1e-9);
    return lines.length === 0 || model === undefined ? [] : [{ lines, scatter: model, relative: Math.sqrt(model.relative), open: Math.sqrt(model.constant) / median(lines.map((c) => c.slope.value)) }];
  });
  const lines = told.flatMap((t) => t.lines);
  const end = bendSeen(told, growingBelow);
  if (end === null) return null;
  const byVoltage = Map.groupBy(lines, (c) => c.voltage);
  return {
    type, pressureKpa, from,
    linearFromOpenMs: rounded(margin * 1e3 * end, 3),
    deadTimes: [...byVoltage].map(([voltageV, cells]) => ({ voltageV, deadTimeMs: rounded(1e3 * median(cells.map((c) => c.deadTime.value)), 4) })).sort((a, b) => a.voltageV - b.voltageV),
    scatterPercent: rounded(100 * median(told.map((t) => t.relative)), 4),
    scatterUs: rounded(1e6 * median(told.map((t) => t.open)), 3),
  };
}

const rounded = (value: number, digits: number): number => Number(value.toFixed(digits));

/** Beyond the end that was seen lines are taken for good from so many times its open time: what bends fades, and is seen a little too late. Found on simulated benches. */
export const margin = 1.05;
/** Widths whose open times lie within so much of each other are looked at together. */
const span = 1.2;
/** What they lie off their lines by in the mean counts as a bend where chance gives it so rarely (three and a half standard uncertainties of a scatter that is well known), and from so many seconds of open time. */
const seenFrom = { chance: 4.65e-4, offS: 0.5e-6, least: 4 };

/** Lines of one pressure, and how windows scatter there. */
export interface ScatteredLines {
  readonly lines: readonly LineCell[];
  readonly scatter: ScatterModel;
}

/** What bends does so the more the shorter: where a line was measured below its end, shorter pulses lie off by so many times as much. Else one long window that is off tilts a line, and it is no bend. */
const growingBelow = 2;
/** Bends stand at the short end: beyond this part of the longest pulse what lies off a line is something else, as a common slope on which it leans. */
const shortEnd = 1 / 3;

/**
 * The longest open time, s, about which pulses of many lines together lie off their lines; null: there are no lines, or they do so nowhere. It goes by the scatter between windows: what a
 * line states grows where it bends (RED-13). `growing`: a bend that is not at the shortest pulses has some below it that lie off by more than so many times as much.
 */
export function bendSeen(told: readonly ScatteredLines[], growing = 0): number | null {
  const falling = told
    .flatMap(({ lines, scatter }) =>
      lines.flatMap(({ widths, deadTime, slope }) =>
        widths.flatMap(({ width, windows, mass, deviationPercent }, _, { [0]: first }) => {
          const longest = first?.width ?? 0;
          const open = width - deadTime.value;
          const variance = varianceAt(scatter, mass) / slope.value ** 2 / windows;
          return deviationPercent === null || !(open > 0) || width > shortEnd * longest || !(variance > 0) ? [] : [{ open, off: (deviationPercent / 100) * open, weight: 1 / variance }];
        }),
      ),
    )
    .sort((a, b) => b.open - a.open);
  const dof = told.reduce((sum, { scatter }) => sum + scatter.dof, 0);
  if (dof === 0) return null;
  const times = coverageFactor(dof, 1 - seenFrom.chance);
  const groups = falling.flatMap(({ open }, i) => {
    let [count, sum, off, at] = [0, 0, 0, 0];
    for (let j = i; j < falling.length; j += 1) {
      const w = falling[j];
      if (w === undefined || w.open <= open / span) break;
      count += 1;
      sum += w.weight;
      off += w.weight * w.off;
      at += w.weight * w.open;
    }
    return count < seenFrom.least ? [] : [{ open: at / sum, off: Math.abs(off / sum), isSeen: Math.abs(off / sum) > seenFrom.offS && Math.abs(off) > times * Math.sqrt(sum) }];
  });
  // From the short end up: the most that shorter pulses lie off.
  const shorter = groups.map(() => 0);
  for (let i = groups.length - 2; i >= 0; i -= 1) shorter[i] = Math.max(shorter[i + 1] ?? 0, groups[i + 1]?.off ?? 0);
  const least = falling.at(-1)?.open ?? 0;
  return groups.find(({ isSeen, open, off }, i) => isSeen && (open < span * least || (shorter[i] ?? 0) >= growing * off))?.open ?? null;
}
