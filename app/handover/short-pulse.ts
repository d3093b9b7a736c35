/** Short-pulse correction as controllers take it: as mass or as time, over pulse width or over mass. TAB-7. */
import { lineMass } from '../reduce/carried-line.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import { gridValue } from '../tables/grid.ts';
import type { GridCell } from '../tables/grid.ts';
import { deliveredMass, shortPulseAt } from '../tables/short-pulse.ts';
import { combine } from '../uncertainty/carried.ts';
import type { ControllerLayout } from './layout.ts';
import { evenOnly, withMiddles } from './raw-table.ts';
import type { RawTable } from './raw-table.ts';

type ValueCell = Extract<GridCell, { kind: 'value' }>;

/** Steps in which the curve of a cell is walked from long pulses to short ones, between its neighbouring widths. */
const stepsBetween = 8;
/** Halvings of a step: a tenth of a nanosecond of a millisecond. */
const halvings = 24;

/** One table for each pressure, period and injector, over the voltages that were measured. */
export function shortPulseRaw(reduction: Reduction, layout: ControllerLayout): readonly RawTable[] {
  const groups = new Map<string, LineCell[]>();
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') continue;
    const key = `${cell.pressure}|${cell.period}|${cell.injector}`;
    groups.set(key, [...(groups.get(key) ?? []), cell]);
  }
  return [...groups.values()].flatMap((cells): readonly RawTable[] => {
    const rows = cells.toSorted((a, b) => a.voltage - b.voltage);
    const [first] = rows;
    if (first === undefined) return [];
    const { over, as } = layout.shortPulse;
    const axis = over === 'mass' ? layout.axes.massesMg.map((m) => m * 1e-6) : layout.axes.widthsMs.length > 0 ? layout.axes.widthsMs.map((w) => w * 1e-3) : measuredWidths(rows);
    const fine = withMiddles(axis);
    const all = rows.map((cell) => {
      if (over === 'width' && as === 'mg') return fine.map((at) => shortPulseAt(cell, at));
      const curve = deliveredBy(cell);
      return fine.map((at) => correction(curve, at, layout.shortPulse));
    });
    const voltages = rows.map((c) => c.voltage + (layout.wiringDrop?.volts ?? 0));
    return [
      {
        quantity: 'short-pulse-correction',
        title: as === 'mg' ? 'Short-pulse correction, mass beyond m (PW - X)' : 'Short-pulse correction, time to be added to X + M / m',
        of: first.serialNumber,
        period: first.period,
        pressure: first.pressure,
        method: 'measured mean less line below the linear region, Fritsch-Butland over width; 0 in the region',
        axes: [
          { name: layout.wiringDrop === undefined ? 'supply voltage at the injector' : 'battery voltage', values: voltages },
          { name: over === 'mass' ? 'mass per pulse' : as === 'us' ? 'uncorrected pulse width' : 'pulse width', values: axis },
        ],
        cells: all.map(evenOnly),
        between: { axes: [voltages, fine], cells: all },
      },
    ];
  });
}

const measuredWidths = (cells: readonly LineCell[]): readonly number[] => [...new Set(cells.flatMap((c) => c.widths.map((w) => w.width as number)))].sort((a, b) => a - b);

interface Delivered {
  readonly cell: LineCell;
  /** Widths from long to short, s, with the mass that is delivered, kg. */
  readonly walk: readonly { readonly width: number; readonly mass: number }[];
}

function deliveredBy(cell: LineCell): Delivered {
  const falling = measuredWidths([cell]).toReversed();
  const widths = falling.flatMap((w, i) => {
    const next = falling[i + 1];
    return next === undefined ? [w] : Array.from({ length: stepsBetween }, (_, k) => w + (k / stepsBetween) * (next - w));
  });
  return { cell, walk: widths.map((width) => ({ width, mass: deliveredMass(cell, width) })) };
}

/** The value at a breakpoint: a width, s, or a mass, kg. */
function correction(curve: Delivered, at: number, { as, over }: ControllerLayout['shortPulse']): GridCell {
  const { cell } = curve;
  const wanted = over === 'mass' ? at : lineMass(cell, at);
  const width = widthFor(curve, wanted);
  if (width === null) {
    const shortest = curve.walk.at(-1);
    return {
      kind: 'missing', reason: 'shorter-than-measured',
      text: `The least mass that is known here is ${((shortest?.mass ?? 0) * 1e6).toPrecision(3)} mg, at the shortest width that was measured; nothing is known of shorter pulses.`,
    };
  }
  const own = shortPulseAt(cell, width);
  return own.kind === 'missing' ? own : turned(curve, width, own, as);
}

/**
 * The longest width that delivers this mass: on the way down from long pulses the first that does, for below a bump of the needle the same
 * mass comes a second time, and no controller can tell which it gets. Null: no width that was measured.
 */
function widthFor({ cell, walk }: Delivered, wanted: number): number | null {
  const [longest] = walk;
  if (longest === undefined) return null;
  if (wanted >= longest.mass) return cell.deadTime.value + wanted / cell.slope.value;
  const i = walk.findIndex(({ mass }) => mass <= wanted);
  const [above, below] = [walk[i - 1], walk[i]];
  if (above === undefined || below === undefined) return null;
  let [high, low] = [above.width, below.width];
  for (let n = 0; n < halvings; n += 1) {
    const middle = (high + low) / 2;
    if (deliveredMass(cell, middle) > wanted) high = middle;
    else low = middle;
  }
  return (high + low) / 2;
}

/**
 * What the correction of mass at a width is worth when the width is chosen by it. An error of it moves the width by -1 / (k + c'), and so
 * the time that is added by as much, and what is added in mass by k / (k + c').
 */
function turned({ cell }: Delivered, width: number, { carried: own, basis }: ValueCell, as: 'us' | 'mg'): GridCell {
  const k = cell.slope.value;
  const h = 1e-6;
  const [before, after] = [deliveredMass(cell, width - h), deliveredMass(cell, width + h)];
  const steepness = Number.isFinite(before) ? (after - before) / (2 * h) : (after - deliveredMass(cell, width)) / h;
  const byMass = 1 / Math.max(steepness, k * 1e-3);
  const sensitivity = as === 'us' ? -byMass : k * byMass;
  const value = as === 'us' ? -own.value / k : own.value;
  return gridValue(combine(value, [{ of: own, sensitivity }]), basis);
}
