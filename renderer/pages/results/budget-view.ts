/** Uncertainty budgets as tables that can be followed line by line (GUM, table H.1). */
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { budgetTable } from '../../../app/reduce/budget-table.ts';
import type { Evidence } from '../../../app/reduce/budget-table.ts';
import type { Result } from '../../../app/uncertainty/budget.ts';
import { kFactorPointSource, leakChangeSource, leakMeterSource, leakPathSource, leakSource } from '../../../app/reduce/mass.ts';
import type { MassPerPulse } from '../../../app/reduce/mass.ts';
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { degrees, figure, percentFigure } from './figures.ts';

/** What each source is, in a sentence for somebody who has never seen a budget. Names are those of the reduction. */
const meanings: Readonly<Record<string, string>> = {
  'edge timing': 'The clock of the controller counts whole microseconds at the first and the last meter edge.',
  'steadiness and meter in-rotation': 'How much equal parts of the window differ: flow that was not steady, and the meter inside one revolution.',
  'meter K-factor': 'How well the certificate knows the volume that one meter edge stands for.',
  'fluid density': 'How well the density of this lot is known.',
  'rail pressure': 'How far the pressure transducer may read off.',
  [leakMeterSource]: 'How far the meter may be off at a flow as small as that of the leak.',
  'meter temperature': 'How far the thermometer in the meter may read off; it gives the density there.',
  'rail temperature': 'How far the thermometer on the rail may read off; it gives the density in the injector and the coil temperature.',
  'supply read-back': 'How far the read-back of the supply may be off; a lower voltage opens later.',
  'harness resistance': 'How well the resistance between supply and coil is known; what is lost on the way opens later.',
  'effect of the harness': 'How well it is known what that resistance does to the dead time.',
  'driver clamp': 'How well the clamp of all drivers is known; a higher clamp lets go earlier, and the dead time is longer.',
  'controller time base': 'How well the clock of the controller keeps time: pulses may all be a little longer than they were told to be.',
  'coil temperature model': 'How well it is known what a warmer coil does to the dead time.',
  'coil against rail temperature': 'How far the coil may be from the temperature of the rail.',
  'coil that follows duty late': 'The coil warms with longer pulses, but only slowly; so the widths of one line may have had different coil temperatures.',
};

/** Sources that are followed by the name of a point, block or injector. */
const meaningsByBeginning: readonly (readonly [string, string])[] = [
  ['driver clamp of channel', 'How far the clamp of this driver channel may be off by itself.'],
  [kFactorPointSource, 'How well the certificate knows this point of the curve by itself.'],
  [leakSource, 'How well it is known what leaked past the injector on average over this block; the mean is subtracted.'],
  [leakChangeSource, 'How far the leak may have stood from its mean while this injector was measured.'],
  [leakPathSource, 'Whether the leak goes through the seat of this injector, which leaks nothing while it is open.'],
];

function meaningOf(source: string): string {
  return meanings[source] ?? meaningsByBeginning.find(([beginning]) => source.startsWith(beginning))?.[1] ?? '';
}

interface BudgetRow {
  readonly source: string;
  readonly meaning: string;
  readonly kind: 'random' | 'shared';
  /** Standard uncertainty that it brings to the result. */
  readonly u: number;
  /** Of the combined variance, percent. */
  readonly sharePercent: number;
}

export interface ResultBudget {
  /** Largest first. */
  readonly rows: readonly BudgetRow[];
  readonly result: Result;
}

/** Of the combined uncertainty: less than this is rounding. */
const tooSmall = 1e-4;

/** Budget of one of the two results of a line; in its SI unit. */
export function budgetOfLine(cell: LineCell, of: 'deadTime' | 'slope'): ResultBudget {
  const result = cell[of];
  const effect = of === 'deadTime' ? 'onDeadTime' : 'onSlope';
  const share = (u: number): number => (result.u > 0 ? (100 * u * u) / (result.u * result.u) : 0);
  const rows: BudgetRow[] = [
    {
      source: 'scatter of the masses about the line',
      meaning: `From ${cell.sources.length} windows; ${degrees(result.dofRandom)} degrees of freedom. More replicates or widths make it smaller.`,
      kind: 'random',
      u: result.uRandom,
      sharePercent: share(result.uRandom),
    },
    ...cell.shared
      .map((part): BudgetRow => ({ source: part.source, meaning: meaningOf(part.source), kind: 'shared', u: Math.abs(part[effect]), sharePercent: share(part[effect]) }))
      .filter((row) => row.u > tooSmall * result.u),
  ];
  return { rows: rows.sort((a, b) => b.u - a.u), result };
}

/** The steps from the parts to the stated uncertainty, in words. `text` writes a number in the unit of the result. */
export function stepsOf({ result }: ResultBudget, text: (u: number) => string): readonly string[] {
  return [
    `Random part: ${text(result.uRandom)}.`,
    `Shared parts, added in squares: ${text(result.uShared)}. They do not become smaller by measuring more often.`,
    `Both, added in squares: combined standard uncertainty ${text(result.u)}.`,
    `Effective degrees of freedom: ${degrees(result.effectiveDof)}; for 95 % that is a coverage factor of ${result.coverageFactor.toFixed(2)}.`,
    `Expanded uncertainty U95 = ${result.coverageFactor.toFixed(2)} × ${text(result.u)} = ${text(result.expanded)}.`,
  ];
}

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

/** Inputs in the units of the trade. */
function shownInput(unit: string): ShownInput {
  switch (unit) {
    case 'Pa':
      return { unit: 'kPa', uUnit: 'kPa', factor: 1e-3, offset: 0 };
    case 'K':
      return { unit: '°C', uUnit: 'K', factor: 1, offset: -273.15 };
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
        source: row.name,
        meaning: [meaningOf(row.name), evidenceText(row.evidence)].filter((part) => part !== '').join(' '),
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

