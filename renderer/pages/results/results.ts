/** Parts of a reduced run as the pages choose among them. */
import { quantityText } from '../../settings/quantities.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { densityOfRun } from '../../../app/fluid/density-of-run.ts';
import type { RunState } from '../../../app/journal/state.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import { celsius, pascals, toKilopascals, toMilliseconds } from '../../../app/quantities/quantity.ts';
import type { Reduction } from '../../../app/reduce/reduction.ts';
import { conditionKey } from '../../../app/results/run-results.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import { plain } from '../../../app/quantities/figures.ts';

/** Changes exactly when another attempt counts somewhere. */
export function countingKey(state: RunState): string {
  return state.points.map(({ chosen }) => chosen ?? '').join(',');
}

/** A pressure and period: what lines and tables stand for. */
export interface Condition {
  readonly key: string;
  /** Pa */
  readonly pressure: number;
  /** s */
  readonly period: number;
  readonly label: string;
}

/** In the order of the cells, each once. */
export function conditionsOf({ reduction }: RunResults): readonly Condition[] {
  const found = new Map<string, Condition>();
  for (const { pressure, period } of reduction.cells) {
    const key = conditionKey({ pressure, period });
    if (!found.has(key)) {
      found.set(key, { key, pressure, period, label: `${quantityText(toKilopascals(pressure), 'kPa')}, period ${plain(toMilliseconds(period))} ms` });
    }
  }
  return [...found.values()];
}

export type ResultCell = Reduction['cells'][number];

export function cellsAt({ reduction }: RunResults, condition: Condition): readonly ResultCell[] {
  return reduction.cells.filter((cell) => conditionKey(cell) === condition.key);
}

export function voltagesOf(cells: readonly ResultCell[]): readonly number[] {
  return [...new Set(cells.map((cell) => cell.voltage))].sort((a, b) => a - b);
}

/** Widths of the plan, s, shortest first. */
export function widthsOf({ points }: RunResults): readonly number[] {
  return [...new Set(points.filter((p) => p.role === 'measure').map((p) => p.width))].sort((a, b) => a - b);
}

/** Density to which masses are referred, kg/m3: what a volume flow is worked out with. null: outside of what is known. */
export function referenceDensity({ plan, equipment }: { readonly plan: Plan; readonly equipment: Equipment }, pressure: number): number | null {
  return densityOfRun(equipment, celsius(plan.reduction.referenceC), pascals(pressure + equipment.ambientKpa * 1e3))?.density ?? null;
}
