/** Values at a pressure that was not measured, by calculation from one that was (RED-76, RED-77). */
import { combine, sharedPart, withPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { gridValue } from './grid.ts';
import type { GridCell, GridTable } from './grid.ts';

/** Parts of the measured pressure between which is calculated: common practice of the trade (measured at 400 kPa, told down to 300), no source. */
const least = 0.75;
const most = 1.15;
export const calculatedText = `from ${least} to ${most} times the measured pressure`;

/** Standard uncertainty of the exponent 0.5 of an orifice: measured exponents of port injectors lie within 0.02 of it (common practice, no source), rectangular. */
const uExponent = 0.02 / Math.sqrt(3);

const within = (measured: number, pressure: number): boolean => pressure >= least * measured * (1 - 1e-9) && pressure <= most * measured * (1 + 1e-9);

/** A flow, or what is proportional to one, by the law of an orifice; null: too far from the measured pressure. RED-76. */
export function flowAt(of: Carried, measured: number, pressure: number): Carried | null {
  if (!within(measured, pressure)) return null;
  const factor = Math.sqrt(pressure / measured);
  const value = of.value * factor;
  return withPart(combine(value, [{ of, sensitivity: factor }]), sharedPart(errorSource('orifice-law'), value * Math.log(pressure / measured) * uExponent));
}

/** A dead time by the pressure effect of the type, which the plan states; null: too far, or not stated. RED-77. */
export function deadTimeAt(of: Carried, measured: number, pressure: number, effect: Reduction['pressureEffect']): Carried | null {
  if (effect === undefined || !within(measured, pressure)) return null;
  const factor = 1 + effect.relativePerPascal * (pressure - measured);
  const part = sharedPart(errorSource('pressure-effect'), of.value * (pressure - measured) * effect.u);
  return withPart(combine(of.value * factor, [{ of, sensitivity: factor }]), part);
}

/** Static flow of each injector at the asked pressures, no table where none are asked for: measured there, or by calculation from the nearest that was. */
export function staticFlowTables({ staticFlows }: Reduction, pressures: readonly number[]): readonly GridTable[] {
  if (pressures.length === 0) return [];
  const serials = new Map(staticFlows.map((s) => [s.injector, s.serialNumber]));
  return [...serials].flatMap(([injector, serialNumber]): readonly GridTable[] => {
    const known = staticFlows.flatMap((s) => (s.kind === 'static-flow' && s.injector === injector ? [s] : []));
    const [first] = known;
    if (first === undefined) return [];
    const cells = pressures.map((pressure): GridCell => {
      const [nearest = first] = known.toSorted((a, b) => Math.abs(Math.log(a.pressure / pressure)) - Math.abs(Math.log(b.pressure / pressure)));
      if (Math.abs(nearest.pressure - pressure) <= 1e-9 * pressure) return gridValue(staticCarried(nearest), 'measured');
      const of = flowAt(staticCarried(nearest), nearest.pressure, pressure);
      return of === null
        ? { kind: 'missing', reason: 'too-far', text: `Static flow was not measured near this pressure; it is calculated ${calculatedText}.` }
        : gridValue(of, 'estimated');
    });
    return [
      {
        quantity: 'static-flow',
        title: 'Static flow Qs',
        siUnit: 'kg/s',
        of: serialNumber,
        period: 0,
        at: 'held open',
        method: 'measured, or the root of the pressure from the nearest that was measured',
        rows: { name: 'supply voltage', siUnit: 'V', values: [first.voltage] },
        columns: { name: 'rail pressure', siUnit: 'Pa', values: pressures },
        cells: [cells],
      },
    ];
  });
}
