/** Short-pulse correction: what a pulse passes more than the line says, over pulse width (RED-33). */
import { carried, combine, randomOnly, sharedPart, stateCarried, withPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource, labelOf } from '../uncertainty/source.ts';
import { lineMass, lineMassCarried, widthScatter } from '../reduce/carried-line.ts';
import { interpolateMonotone } from '../reduce/monotone.ts';
import type { LineCell, Reduction, WidthResult } from '../reduce/reduction.ts';
import { gridValue } from './grid.ts';
import type { GridCell, GridTable } from './grid.ts';
import { chancesOfBend } from './begin-of-bend.ts';
import { interpolateCarried } from './interpolate.ts';
import type { Knot } from './interpolate.ts';

/** One table for each pressure, period and injector: voltage down, pulse width across; kg to add to m (PW - X). */
export function shortPulseTables(reduction: Reduction, widths: readonly number[]): readonly GridTable[] {
  const groups = new Map<string, LineCell[]>();
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') continue;
    const key = `${cell.pressure}|${cell.period}|${cell.injector}`;
    const list = groups.get(key);
    if (list === undefined) groups.set(key, [cell]);
    else list.push(cell);
  }
  return [...groups.values()].flatMap((cells): readonly GridTable[] => {
    const [first] = cells;
    if (first === undefined) return [];
    const rows = cells.toSorted((a, b) => a.voltage - b.voltage);
    const axis = widths.length > 0 ? widths : [...new Set(rows.flatMap((c) => c.widths.map((w) => w.width)))].sort((a, b) => a - b);
    return [
      {
        quantity: 'short-pulse-correction',
        title: 'Short-pulse correction, to be added to m (PW - X)',
        siUnit: 'kg',
        of: first.serialNumber,
        period: first.period,
        at: `${first.pressure / 1e3} kPa`,
        method: 'measured mean less line below the linear region, times the chance that the bend has begun there, Fritsch-Butland over width; 0 in the region',
        rows: { name: 'supply voltage', siUnit: 'V', values: rows.map((c) => c.voltage) },
        columns: { name: 'pulse width', siUnit: 's', values: axis },
        cells: rows.map((cell) => axis.map((width) => shortPulseAt(cell, width))),
      },
    ];
  });
}

/** What one cell lies off its line by. */
interface Curve {
  /** Shortest first. */
  readonly knots: readonly Knot[];
  /** The same for what lies between them: the scatter of a bend that has hardly begun counts for less. RED-153 */
  readonly inner: readonly Knot[];
  /** Of the knots, down to which the curve grows steadily. */
  readonly resolvedFrom: number;
}

/** A bend of short pulses is of this size, relative to the mass of the line: what tells how likely a distance is where there is one (an estimate, no source). */
const usualBend = 0.01;
/** Of the variance of scatter so much stays between widths in any case: the chance is told by the same windows. Of coverage on simulated benches of another hand (RED-153). */
const keptScatter = 1 / 8;
/** The steepness of the curve at a width is known from the widths beside it to so much of itself (an estimate). */
const uSteepness = 0.3;
/**
 * Where pulses are so short that the needle hardly reaches its stop, it bounces between two measured widths as it likes. So much the curve is steeper there than the chords say, relative to the line (standard uncertainty), for a width that
 * passes far more than `ballistic` less or more than its line; injectors of many sizes (RED-174).
 */
const uBallistic = 1.6;
const ballistic = 0.04;
/** A bounce takes so long, s, that it leaves the curve between two widths no farther than it goes in this. From the same injectors. */
const bounceS = 3e-5;

const curves = new WeakMap<LineCell, Curve>();

/** Asked for at many widths of the same few cells, so it is kept. */
function curveOf(cell: LineCell): Curve {
  const known = curves.get(cell) ?? curveBelow(cell);
  curves.set(cell, known);
  return known;
}

function curveBelow(cell: LineCell): Curve {
  const rising = cell.widths.toSorted((a, b) => a.width - b.width);
  const found = rising.map((w) => (w.inRegion ? 0 : w.mass - lineMass(cell, w.width)));
  const residuals = referredAlong(cell, rising, found);
  const measured = rising.map((w, i) => {
    const own = residualCarried(cell, w, residuals[i] ?? 0, steepnessAt(rising, residuals, i));
    const moved = (residuals[i] ?? 0) - (found[i] ?? 0);
    return moved === 0 ? own : withPart(own, sharedPart(errorSource('bend-steepness', placeOf(cell, w)), uSteepness * moved));
  });
  const outside = rising.flatMap((w, i) => (w.inRegion ? [] : [{ of: beyondWholeLine(measured[i] ?? carried(0), w), usual: usualBend * lineMass(cell, w.width) }]));
  const chances = chancesOfBend(outside, cell.scatter.dof);
  const from = resolvedFrom(rising, residuals, measured.map((of) => stateCarried(of).u));
  const told = measured.map((of, i) => (i < from ? betweenBounces(of, cell, rising[i]) : of));
  const knotsOf = (share: (chance: number) => number) => told.map((of, i): Knot => ({ x: rising[i]?.width ?? 0, of: believed(of, chances[i] ?? 1, cell, rising[i], share) }));
  return { knots: knotsOf(() => 1), inner: knotsOf((chance) => Math.sqrt(chance + (1 - chance) * keptScatter)), resolvedFrom: from };
}

/** How much steeper than the line the curve may be, kg/s, where a pulse of `open` kg by the line passes `off` kg more: a standard uncertainty. RED-174 */
function uBounce(cell: LineCell, off: number, open: number): number {
  const part = (off / open) ** 4;
  return ((uBallistic * part) / (part + ballistic ** 4)) * cell.slope.value;
}

/**
 * A width at which the curve is not resolved: how steep it is there the widths beside it do not tell, so neither what the windows were referred by along the width, nor what instruments move the dead time by,
 * is known in its effect.
 */
function betweenBounces(of: Carried, cell: LineCell, width: WidthResult | undefined): Carried {
  if (width === undefined) return of;
  const along = Math.hypot(referredBy(cell), ...cell.shared.map((p) => (p.source.quantity === 'line-definition' ? 0 : p.onDeadTime)));
  return withPart(of, sharedPart(errorSource('bounce', placeOf(cell, width)), uBounce(cell, of.value, lineMass(cell, width.width)) * along));
}

/** Between two widths below which the curve is not resolved it may go as it likes. */
function amongBounces(of: Carried, cell: LineCell, width: number, knots: readonly Knot[]): Carried {
  const nearest = Math.min(...knots.map((k) => Math.abs(k.x - width)));
  return withPart(of, sharedPart(errorSource('bounce', placeOf(cell, { width })), uBounce(cell, of.value, lineMass(cell, width)) * Math.min(nearest, bounceS)));
}

const placeOf = (cell: LineCell, { width }: { readonly width: number }): string => `${width} s of ${labelOf(cell.scatter.meanSource)}`;

/** By how much later the windows would have opened at the plan's conditions, s. */
const referredBy = ({ referred }: LineCell): number => referred.toVoltage + referred.toPressure + referred.toTemperature + referred.toCoil;

/**
 * As the plan's conditions would have it. Masses were referred to them as those of a line; a bend stands where the needle opens and moves
 * along the width with the dead time. RED-87
 */
function referredAlong(cell: LineCell, rising: readonly WidthResult[], found: readonly number[]): readonly number[] {
  const later = referredBy(cell);
  if (later === 0 || rising.length < 2) return found;
  const widths = rising.map((w) => w.width);
  return rising.map((w) => (w.inRegion ? 0 : interpolateMonotone(widths, found, w.width - later)));
}

/** What lies off a line beyond what its bend over the whole line explains; which line is meant is another question. RED-97 */
function beyondWholeLine(of: Carried, { ofBend = 0 }: WidthResult): Carried {
  return carried(of.value - ofBend, [...of.parts.values()].filter((p) => p.source.quantity !== 'line-definition'));
}

/** The mean over a bend that has begun and none, with what those two differ by. `share`: of scatter that is kept, by the chance. RED-86, RED-153 */
function believed(of: Carried, chance: number, cell: LineCell, width: WidthResult | undefined, share: (chance: number) => number): Carried {
  if (chance === 1 || width === undefined) return of;
  const { ofBend = 0 } = width;
  const spread = Math.sqrt(chance * (1 - chance)) * (of.value - ofBend);
  const parts = [...of.parts.values()].map((part) => (part.kind === 'random' ? { ...part, effect: share(chance) * part.effect } : part));
  return withPart(carried(ofBend + chance * (of.value - ofBend), parts), sharedPart(errorSource('bend-begins', placeOf(cell, width)), spread));
}

/** The correction of a cell at a width, s, in kg; missing where nothing so short was measured. */
export function shortPulseAt(cell: LineCell, width: number): GridCell {
  const { knots, inner, resolvedFrom: from } = curveOf(cell);
  const [shortest, longest] = [knots[0], knots.at(-1)];
  if (shortest === undefined || longest === undefined) return { kind: 'missing', reason: 'not-measured', text: 'No width was measured here.' };
  if (width < shortest.x * (1 - 1e-9)) {
    return { kind: 'missing', reason: 'shorter-than-measured', text: `The shortest width measured is ${(shortest.x * 1e3).toPrecision(4)} ms; nothing is known of shorter pulses.` };
  }
  if (width > longest.x * (1 + 1e-9)) return gridValue(longest.of, 'extrapolated');
  if (knots.length < 2) return gridValue(longest.of, 'measured');
  const exact = interpolateCarried(knots, width, 'pulse width');
  const { of, basis } = exact.basis === 'measured' ? exact : interpolateCarried(inner, width, 'pulse width');
  if (width >= (knots[from]?.x ?? 0) * (1 - 1e-9)) return gridValue(of, basis);
  return gridValue(basis === 'measured' ? of : amongBounces(of, cell, width, knots), 'unresolved');
}

/** What a pulse of a width, s, delivers, kg: the line and the correction, without their uncertainties; NaN below the shortest width that was measured. */
export function deliveredMass(cell: LineCell, width: number): number {
  const { knots } = curveOf(cell);
  const [shortest, longest] = [knots[0], knots.at(-1)];
  if (shortest === undefined || longest === undefined || knots.length < 2 || width < shortest.x * (1 - 1e-9)) return Number.NaN;
  const correction = width > longest.x ? longest.of.value : interpolateMonotone(knots.map((k) => k.x), knots.map((k) => k.of.value), width);
  return lineMass(cell, width) + correction;
}

/** Steepest of the chords beside a width, with its sign: what an error along the width does. */
function steepnessAt(rising: readonly WidthResult[], residuals: readonly number[], i: number): number {
  const chord = (j: number): number => {
    const [a, b] = [rising[j], rising[j + 1]];
    return a === undefined || b === undefined ? 0 : ((residuals[j + 1] ?? 0) - (residuals[j] ?? 0)) / (b.width - a.width);
  };
  const [before, after] = [chord(i - 1), chord(i)];
  return Math.abs(before) > Math.abs(after) ? before : after;
}

/** A bend that fades with width stands out of the scatter from so many standard uncertainties. */
const standsOut = 3;
/** The bend at a width may differ by this factor from what the two next longer ones lead to. */
const steady = 2;

/**
 * Index of the shortest width down to which the bend grows steadily as pulses get shorter: each time by about the factor that
 * the two longer widths show. Below it the curve turns, or falls away, between the measured widths.
 */
// eslint-disable-next-line complexity -- a row of conditions on one walk down the widths, cheaper to read than to name
function resolvedFrom(rising: readonly WidthResult[], residuals: readonly number[], u: readonly number[]): number {
  for (let i = rising.length - 2; i >= 0; i -= 1) {
    const [here, next] = [residuals[i] ?? 0, residuals[i + 1] ?? 0];
    if (Math.abs(here) < standsOut * (u[i] ?? 0) && Math.abs(next) < standsOut * (u[i + 1] ?? 0)) continue;
    const [a, b, c] = [rising[i], rising[i + 1], rising[i + 2]];
    const further = residuals[i + 2] ?? 0;
    if (a === undefined || b === undefined) break;
    const known = c !== undefined && Math.abs(next) > standsOut * (u[i + 1] ?? 0) && Math.abs(further) > standsOut * (u[i + 2] ?? 0) && next * further > 0;
    // Where the longer widths show no bend yet, it may appear out of what their scatter hides, in one step of three widths.
    const expected = known ? next * (next / further) ** ((b.width - a.width) / (c.width - b.width)) : null;
    const ratio = expected === null ? null : here / expected;
    const jump = Math.abs(here) > steady ** 3 * Math.max(Math.abs(next), standsOut * (u[i + 1] ?? 0));
    const turns = here * next < 0 ? Math.abs(here) > standsOut * (u[i] ?? 0) : Math.abs(here) < Math.abs(next) - standsOut * (u[i] ?? 0);
    if (turns || (ratio === null ? jump : ratio > steady || ratio < 1 / steady)) return i + 1;
  }
  // The curve below the shortest width is not known: where it has left the line there, it may be on a steep side of a bump.
  return Math.abs(residuals[0] ?? 0) > standsOut * (u[0] ?? 0) ? 1 : 0;
}

/**
 * Mean less line. Instruments that scale masses scale the difference too; an error of the dead time moves curve and line
 * along the width together, and so changes their difference by its steepness. Another choice of widths moves the line alone (RED-85).
 */
function residualCarried(cell: LineCell, width: WidthResult, residual: number, steepness: number): Carried {
  const line = lineMassCarried(cell, width.width);
  const own = carried(0, [
    widthScatter(cell, width),
    ...cell.shared.map((part) =>
      sharedPart(
        part.source,
        part.source.quantity === 'line-definition'
          ? cell.slope.value * part.onDeadTime - part.onSlope * (width.width - cell.deadTime.value)
          : (residual * part.onSlope) / cell.slope.value - steepness * part.onDeadTime,
      ),
    ),
  ]);
  return combine(residual, [{ of: randomOnly(line, 0), sensitivity: -1 }, { of: own, sensitivity: 1 }]);
}
