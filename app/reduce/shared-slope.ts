/**
 * One slope for all voltages of an injector. The supply moves when the needle opens and not how much flows through the open
 * injector, so lines at different voltages should be parallel; where an F test does not speak against it, they are fitted
 * with one slope, and the record says so (RED-23).
 */
import { fAbove } from '../distributions/distributions.ts';
import type { Plan } from '../plan/plan.ts';
import { grouped } from './cells.ts';
import type { FittedCell } from './cell.ts';
import { lineFrom } from './line.ts';
import type { FTest, SlopeModel } from './reduction.ts';

/**
 * Slopes are shared where chance gives an F as large in more than this part of cases. A preliminary test at 5 % would pool
 * too often what differs a little; 25 % is the usual advice (Bancroft, Biometrics 20, 1964; from memory).
 */
export const poolingLevel = 0.25;

type FittedLine = Extract<FittedCell, { kind: 'line' }>;

/** Replaces the lines of every group whose slopes may be shared. */
export function shareSlopes(fitted: readonly FittedCell[], plan: Plan): { readonly fitted: readonly FittedCell[]; readonly models: readonly SlopeModel[] } {
  const models: SlopeModel[] = [];
  const shared = new Map<FittedCell, FittedLine>();
  const lines = fitted.filter((f): f is FittedLine => f.kind === 'line');
  const typeOf = (f: FittedLine): string => plan.injectors[f.cell.at.injector]?.type ?? '';
  for (const group of grouped(lines, (f) => `${typeOf(f)}|${f.cell.at.pressure}|${f.cell.at.period}`)) {
    const [first] = group;
    if (first === undefined) continue;
    const place = { type: typeOf(first), pressure: first.cell.at.pressure, period: first.cell.at.period };
    const injectors = grouped(group, (f) => String(f.cell.at.injector))
      .filter((members) => members.length > 1)
      .map(commonSlope);
    if (injectors.length === 0) {
      models.push({ ...place, model: 'own', decidedBy: 'one-voltage', test: null, trend: null });
      continue;
    }
    let sum = 0;
    let dofNumerator = 0;
    let dofDenominator = 0;
    for (const { members, inLines, ofSlopes, dof } of injectors) {
      sum += ofSlopes === 0 ? 0 : ofSlopes / (inLines / dof);
      dofNumerator += members.length - 1;
      dofDenominator += dof;
    }
    const test = testOf(sum / dofNumerator, dofNumerator, dofDenominator);
    const trend = testOf(trendOf(injectors), 1, dofDenominator);
    const choice = plan.reduction.slopeOverVoltage;
    const parallel = test.p > poolingLevel && trend.p > poolingLevel;
    const model = choice === 'tested' ? (parallel ? 'shared' : 'own') : choice;
    models.push({ ...place, model, decidedBy: choice === 'tested' ? 'f-test' : 'plan', test, trend });
    if (model === 'own') continue;
    for (const { members, slope, sxx, dof, inLines, ofSlopes } of injectors) {
      // The slopes' own scatter joins the estimate of the variance.
      const all = dof + members.length - 1;
      const scale = (inLines + ofSlopes) / all;
      for (const member of members) {
        let weights = 0;
        for (const o of member.observations) weights += o.weight / o.variance;
        const fit = { ...member.line.fit, slope, dof: all, scale, varianceOfMean: scale / weights, varianceOfSlope: scale / sxx };
        shared.set(member, { ...member, line: lineFrom(fit, all, member.line.lackOfFit, 'shared') });
      }
    }
  }
  return { fitted: fitted.map((f) => shared.get(f) ?? f), models };
}

/** Precision of a line's slope for a variance scale of 1: weighted square of the widths about their mean. */
function precisionOf({ observations, line }: FittedLine): number {
  let sxx = 0;
  for (const o of observations) sxx += (o.weight * (o.width - line.fit.meanX) ** 2) / o.variance;
  return sxx;
}

type Common = ReturnType<typeof commonSlope>;

/**
 * F of a common trend of the slopes, relative, over 1 / V: what warms the coil with duty tilts the lines of all injectors alike and
 * most at low voltage, which the scatter of single slopes would hide.
 */
function trendOf(injectors: readonly Common[]): number {
  let product = 0;
  let squares = 0;
  for (const { members, slope, sxx, inLines, dof } of injectors) {
    let mean = 0;
    for (const m of members) mean += precisionOf(m) / m.cell.at.voltage / sxx;
    const scale = inLines / dof;
    for (const m of members) {
      const x = (1 / m.cell.at.voltage - mean) * slope;
      const weight = precisionOf(m) / scale;
      product += weight * x * (m.line.slope - slope);
      squares += weight * x * x;
    }
  }
  return product === 0 ? 0 : (product * product) / squares;
}

function testOf(f: number, dofNumerator: number, dofDenominator: number): FTest {
  return { f, dofNumerator, dofDenominator, p: fAbove(f, dofNumerator, dofDenominator) };
}

function commonSlope(members: readonly FittedLine[]): {
  readonly members: readonly FittedLine[];
  readonly slope: number;
  readonly sxx: number;
  readonly dof: number;
  /** Sum of squares about the own lines, and of the slopes about the common one, in units of the scatter model. */
  readonly inLines: number;
  readonly ofSlopes: number;
} {
  let sxx = 0;
  let weighted = 0;
  let inLines = 0;
  let dof = 0;
  for (const member of members) {
    const precision = precisionOf(member);
    sxx += precision;
    weighted += precision * member.line.slope;
    inLines += member.line.dof * member.line.fit.scale;
    dof += member.line.dof;
  }
  const slope = weighted / sxx;
  let ofSlopes = 0;
  for (const member of members) ofSlopes += precisionOf(member) * (member.line.slope - slope) ** 2;
  return { members, slope, sxx, dof, inLines, ofSlopes };
}
