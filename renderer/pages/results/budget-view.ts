/** Uncertainty budgets as tables that can be followed line by line (GUM, table H.1). */
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { budgetTable } from '../../../app/reduce/budget-table.ts';
import type { Evidence } from '../../../app/reduce/budget-table.ts';
import type { Result } from '../../../app/uncertainty/budget.ts';
import type { ResultBudget } from '../../../app/results/line-budget.ts';
import type { MassPerPulse } from '../../../app/reduce/mass.ts';
import { errorSource, labelOf, meaningOf } from '../../../app/uncertainty/source.ts';
import { degreesShown as degrees, figureShown as figure, percentShown as percentFigure } from '../../components/figures.ts';
import { shownIn, unitShown } from '../../settings/quantities.ts';

/** No coverage factor of a normal distribution or of Student's is less. */
const leastOfNormal = 1.955;

/** The steps from the parts to the stated uncertainty, in words. `text` writes a number in the unit of the result. */
export function stepsOf({ rows, result }: ResultBudget, text: (u: number) => string): readonly string[] {
  return [
    `Random part: ${text(result.uRandom)}.`,
    `Shared parts, added in squares: ${text(result.uShared)}. They do not become smaller by measuring more often.`,
    `Both, added in squares: combined standard uncertainty ${text(result.u)}.`,
    `Effective degrees of freedom: ${degrees(result.effectiveDof)}; for 95 % that is a coverage factor of ${result.coverageFactor.toFixed(2)}${result.coverageFactor < leastOfNormal ? whyLess(rows) : ''}.`,
    `Expanded uncertainty U95 = ${result.coverageFactor.toFixed(2)} × ${text(result.u)} = ${text(result.expanded)}.`,
  ];
}

const leftIn = labelOf(errorSource('bench-course'));
/** RED-89, RED-145 */
const whyLess = ([largest]: ResultBudget['rows']): string =>
  largest?.source === leftIn ? ', because an error of known size that is not taken off makes most of it' : ', because a bound makes most of it, and errors do not go beyond a bound';

interface TermRow {
  readonly source: string;
  /** What it is, and where its uncertainty was taken from. */
  readonly meaning: string;
  readonly kind: 'random' | 'shared';
  readonly estimate: string;
  readonly u: string;
  /** Change of the mass for one unit, percent. */
  readonly sensitivity: string;
  /** Brought to the mass, percent. */
  readonly contribution: string;
  readonly sharePercent: number;
}

export interface MassBudget {
  readonly rows: readonly TermRow[];
  readonly mass: Result;
  readonly steps: readonly string[];
}

interface ShownInput {
  readonly unit: string;
  /** Of an uncertainty: kelvin where the estimate is in degrees Celsius. */
  readonly uUnit: string;
  readonly factor: number;
  readonly offset: number;
}

/** Inputs in the units of the trade, pressure and temperature in those that were chosen. */
function shownInput(unit: string): ShownInput {
  switch (unit) {
    case 'Pa':
      return { unit: unitShown('kPa'), uUnit: unitShown('kPa'), factor: 1e-3 * shownIn('kPa', 1, true), offset: 0 };
    case 'K':
      return { unit: unitShown('°C'), uUnit: unitShown('K'), factor: shownIn('K', 1), offset: shownIn('°C', -273.15) };
    case 's':
      return { unit: 'ms', uUnit: 'ms', factor: 1e3, offset: 0 };
    case '1/m3':
      return { unit: 'edges/L', uUnit: 'edges/L', factor: 1e-3, offset: 0 };
    case 'm3/s':
      return { unit: 'mL/min', uUnit: 'mL/min', factor: 6e7, offset: 0 };
    case 'kg/m3':
      return { unit: 'kg/m³', uUnit: 'kg/m³', factor: 1, offset: 0 };
    default:
      return { unit, uUnit: unit, factor: 1, offset: 0 };
  }
}

/** Budget of the mass of one window. */
export function budgetOfMass(outcome: MassPerPulse, equipment: Equipment): MassBudget {
  const { mass, rows } = budgetTable(outcome, equipment);
  const relative = (u: number): string => `${percentFigure(u / mass.value)} %`;
  return {
    mass,
    rows: rows.map((row): TermRow => {
      const { unit, uUnit, factor, offset } = shownInput(row.unit);
      const u = row.standardUncertainty * factor;
      return {
        source: labelOf(row.source),
        meaning: [meaningOf(row.source), evidenceText(row.evidence)].filter((part) => part !== '').join(' '),
        kind: row.kind,
        estimate: `${figure(row.value * factor + offset, u)} ${unit}`,
        u: `${figure(u, u)} ${uUnit}`,
        sensitivity: `${figure((100 * row.sensitivity) / factor / mass.value)} % per ${uUnit}`,
        contribution: `${percentFigure(row.relativeContribution)} %`,
        sharePercent: 100 * row.shareOfVariance,
      };
    }),
    steps: [
      `Random parts, added in squares: ${relative(mass.uRandom)}.`,
      `Shared parts, added in squares: ${relative(mass.uShared)}. All windows of these instruments share them.`,
      `Both, added in squares: ${relative(mass.u)}. Effective degrees of freedom: ${degrees(mass.effectiveDof)}; for 95 % that is a coverage factor of ${mass.coverageFactor.toFixed(2)}.`,
      `Expanded uncertainty U95 = ${mass.coverageFactor.toFixed(2)} × ${relative(mass.u)} = ${relative(mass.expanded)} of the mass.`,
    ],
  };
}

function evidenceText(evidence: Evidence): string {
  switch (evidence.kind) {
    case 'certificate':
      return `From certificate ${evidence.number} of ${evidence.date} for ${evidence.instrument} ${evidence.serialNumber}.`;
    case 'fluid':
      return `Lot ${evidence.lot}: ${evidence.text}.`;
    case 'statement':
      return '';
  }
}

/** How the mass came from what was measured, step by step. `pulse` writes a mass per pulse with its unit. */
export function massSteps(mass: MassPerPulse, pulse: (kg: number) => string): readonly string[] {
  return [
    `The meter gave ${figure(mass.meterHertz)} edges a second at ${figure(mass.kFactorPerCubicMetre / 1e3)} edges per litre; the fluid in it had ${figure(mass.meterDensity)} kg/m³. That is ${pulse(mass.measured)} as measured.`,
    ...(mass.leaked > 0 ? [`Of that ${pulse(mass.leaked)} leaked past the injector and is subtracted.`] : []),
    `Referred to the plan's pressure: × ${mass.pressureFactor.toFixed(5)}. Referred to the reference temperature: × ${mass.temperatureFactor.toFixed(5)}.`,
    `Result: ${pulse(mass.mass)}.`,
  ];
}

