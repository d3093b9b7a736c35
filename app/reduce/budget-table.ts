/** The uncertainty budget of one attempt as a table that anybody can follow (GUM, table H.1). RED-5. */
import type { Equipment } from '../equipment/equipment.ts';
import { kilograms } from '../quantities/quantity.ts';
import type { Kilograms } from '../quantities/quantity.ts';
import { combined, result } from '../uncertainty/budget.ts';
import type { BudgetTerm, Result } from '../uncertainty/budget.ts';
import { ownerOf, statementOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { MassPerPulse } from './mass.ts';

/** Where a standard uncertainty was taken from. */
export type Evidence =
  | { readonly kind: 'certificate'; readonly instrument: string; readonly serialNumber: string; readonly number: string; readonly date: string; readonly validUntil: string }
  | { readonly kind: 'fluid'; readonly lot: string; readonly text: string }
  /** From the window itself, or from how the bench works. */
  | { readonly kind: 'statement'; readonly text: string };

export interface BudgetRow {
  readonly source: ErrorSource;
  /** Estimate of the input, its standard uncertainty, both in `unit`. */
  readonly value: number;
  readonly unit: string;
  readonly standardUncertainty: number;
  /** Change of Qd, kg, for one unit of the input. */
  readonly sensitivity: number;
  /** Contribution to the standard uncertainty of Qd: kg, and relative. */
  readonly contribution: Kilograms;
  readonly relativeContribution: number;
  /** Share of the combined variance, 0 to 1. */
  readonly shareOfVariance: number;
  readonly kind: BudgetTerm['kind'];
  /** A: from a series of readings; B: from anything else (GUM 4.2, 4.3). */
  readonly type: 'A' | 'B';
  readonly dof: number;
  readonly evidence: Evidence;
}

export interface BudgetTable {
  /** Qd, kg, with random and shared parts apart. */
  readonly mass: Result;
  readonly rows: readonly BudgetRow[];
}

/** The budget of one window's mass. `equipment` is the record that the mass was reduced with. */
export function budgetTable(outcome: MassPerPulse, equipment: Equipment): BudgetTable {
  const { mass, budget } = outcome;
  const uRandom = combined(budget, 'random');
  const stated = result(mass, mass * uRandom, dofOfRandom(budget), mass * combined(budget, 'shared'));
  const variance = uRandom ** 2 + combined(budget, 'shared') ** 2;
  return {
    mass: stated,
    rows: budget.map((t) => ({
      source: t.source,
      value: t.value,
      unit: t.unit,
      standardUncertainty: t.standardUncertainty,
      sensitivity: t.sensitivity * mass,
      contribution: kilograms(t.contribution * mass),
      relativeContribution: t.contribution,
      shareOfVariance: variance > 0 ? t.contribution ** 2 / variance : 0,
      kind: t.kind,
      type: Number.isFinite(t.dof) ? 'A' : 'B',
      dof: t.dof,
      evidence: evidenceOf(t, equipment),
    })),
  };
}

/** Effective degrees of freedom of the random part of a mass. */
export function dofOfRandom(budget: readonly BudgetTerm[]): number {
  let fourth = 0;
  for (const t of budget) if (t.kind === 'random' && Number.isFinite(t.dof)) fourth += t.contribution ** 4 / t.dof;
  return fourth === 0 ? Number.POSITIVE_INFINITY : combined(budget, 'random') ** 4 / fourth;
}

function evidenceOf({ source }: BudgetTerm, { meter, pressure, temperature, fluid }: Equipment): Evidence {
  const certificate = (instrument: string, of: { readonly serialNumber: string; readonly certificate: Equipment['meter']['certificate'] }): Evidence => ({
    kind: 'certificate',
    instrument,
    serialNumber: of.serialNumber,
    ...of.certificate,
  });
  const statement = statementOf(source);
  if (statement !== null) return { kind: 'statement', text: statement };
  switch (ownerOf(source)) {
    case 'meter':
      return certificate('flow meter', meter);
    case 'pressure transducer':
      return certificate('pressure transducer', pressure);
    case 'thermometer':
      return certificate('thermometer', temperature);
    case 'fluid':
      return {
        kind: 'fluid',
        lot: fluid.lot,
        text:
          fluid.measuredDensity === undefined
            ? `equation of state of ${fluid.name} (Span and Wagner 2003), lot opened on ${fluid.openedOn}`
            : `${fluid.measuredDensity.kgPerM3} kg/m3 at ${fluid.measuredDensity.atC} degC, measured on ${fluid.measuredDensity.on}`,
      };
    default:
      return { kind: 'statement', text: '' };
  }
}
