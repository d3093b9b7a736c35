/**
 * One slope for all voltages of an injector. The supply moves when the needle opens and not how much flows through the open
 * injector, so lines at different voltages should be parallel. How far they are not is estimated as a variance, and every line
 * leans on the slope of all as far as that variance says, from one slope to slopes of their own without a jump (RED-23).
 */
import { fAbove } from '../distributions/distributions.ts';
import type { Plan } from '../plan/plan.ts';
import { grouped } from './cells.ts';
import { typeOfInjector } from './cell.ts';
import type { FittedCell } from './cell.ts';
import { lineFrom } from './line.ts';
import type { LineSlope } from './line.ts';
import type { FTest, SlopeModel } from './reduction.ts';

type FittedLine = Extract<FittedCell, { kind: 'line' }>;

/** Replaces the lines of every group whose slopes have something in common. */
export function shareSlopes(fitted: readonly FittedCell[], plan: Plan): { readonly fitted: readonly FittedCell[]; readonly models: readonly SlopeModel[] } {
  const models: SlopeModel[] = [];
  const shared = new Map<FittedCell, FittedLine>();
  const lines = fitted.filter((f): f is FittedLine => f.kind === 'line');
  const typeOf = (f: FittedLine): string => typeOfInjector(plan, f.cell.at);
  for (const group of grouped(lines, (f) => `${typeOf(f)}|${f.cell.at.pressure}|${f.cell.at.period}`)) {
    const [first] = group;
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
    if (choice === 'own') {
      models.push({ ...place, model: 'own', decidedBy: 'plan', test, trend });
      continue;
    }
    const found = choice === 'shared' ? parallel : spreadOf(injectors);
    models.push(
      choice === 'shared'
        ? { ...place, model: 'shared', decidedBy: 'plan', test, trend }
        : { ...place, model: 'weighted', decidedBy: 'spread', test, trend, spread: Math.sqrt(found.variance), commonSpread: Math.sqrt(found.commonVariance) },
    );
    for (const injector of injectors) {
      for (const { member, fit, dof, slope } of leaning(injector, found, choice === 'shared' ? scalesOfOne(injector) : scalesOf(injector))) shared.set(member, { ...member, line: lineFrom(fit, dof, member.line.lackOfFit, slope) });
    }
  }
  return { fitted: fitted.map((f) => shared.get(f) ?? f), models };
}

/** How far the slopes of a type differ over voltages beyond what their lines explain. */
interface Spread {
  /** Relative variance of a slope about that of its injector and what all injectors have in common at its voltage; 0: parallel. */
  readonly variance: number;
  /** Relative variance of what they have in common at a voltage, and what that is: relative, with its standard uncertainty, and the part of what was found that is believed. */
  readonly commonVariance: number;
  readonly common: ReadonlyMap<number, { readonly part: number; readonly value: number; readonly u: number }>;
}

const parallel: Spread = { variance: 0, commonVariance: 0, common: new Map() };

/** What the variance by the scatter model is multiplied by, and how well that is known. */
interface Scale {
  readonly scale: number;
  readonly dof: number;
  /** Told by one line alone. */
  readonly own: boolean;
}

/** One slope by the plan's word: what the slopes scatter by joins the estimate of the variance. */
function scalesOfOne({ members, inLines, ofSlopes, dof }: Common): readonly Scale[] {
  const all = dof + members.length - 1;
  return members.map(() => ({ scale: (inLines + ofSlopes) / all, dof: all, own: false }));
}

/** Variance scale of each line of an injector: that of all its lines together, and its own where its widths scatter more than its windows (RED-13). */
function scalesOf({ members }: Common): readonly Scale[] {
  let squares = 0;
  let dof = 0;
  for (const { line } of members) {
    if (line.lackOfFit.significant) continue;
    squares += line.dof * line.fit.scale;
    dof += line.dof;
  }
  return members.map(({ line }) => (line.lackOfFit.significant || dof === 0 ? { scale: line.fit.scale, dof: line.dof, own: true } : { scale: squares / dof, dof, own: false }));
}

/**
 * The variance beyond their own by which values differ from their mean, by the equation of Mandel and Paule (1970; from memory): their
 * weighted squares are as large as their degrees of freedom. 0: they differ by no more than their own variances explain.
 */
function varianceBeyond(groups: readonly (readonly { readonly value: number; readonly variance: number }[])[], dof: number): number {
  if (!(dof > 0)) return 0;
  const squaresAt = (more: number): number => {
    let squares = 0;
    for (const group of groups) {
      let weights = 0;
      let mean = 0;
      for (const { value, variance } of group) {
        weights += 1 / (variance + more);
        mean += value / (variance + more);
      }
      mean /= weights;
      for (const { value, variance } of group) squares += (value - mean) ** 2 / (variance + more);
    }
    return squares;
  };
  if (!(squaresAt(0) > dof)) return 0;
  let low = 0;
  let high = Math.max(...groups.flat().map((g) => g.variance));
  while (squaresAt(high) > dof) high *= 4;
  for (let i = 0; i < 40; i += 1) {
    const middle = (low + high) / 2;
    if (squaresAt(middle) > dof) low = middle;
    else high = middle;
  }
  return high;
}

/**
 * First what all injectors of the type have in common at each voltage (coils that warm with duty, a bench that drifts from block to
 * block), believed by the part of its variance that its own uncertainty does not explain (empirical Bayes: Efron and Morris 1975, from memory);
 * then what each has by itself.
 */
function spreadOf(injectors: readonly Common[]): Spread {
  const slopes = injectors.map((injector) => {
    const scales = scalesOf(injector);
    return injector.members.map((m, i) => ({
      voltage: m.cell.at.voltage,
      value: m.line.slope / injector.slope,
      variance: (scales[i]?.scale ?? 0) / precisionOf(m) / (injector.slope * injector.slope),
    }));
  });
  const voltages = [...new Set(slopes.flat().map((s) => s.voltage))];
  const means = voltages.map((voltage) => {
    let weights = 0;
    let sum = 0;
    for (const s of slopes.flat()) {
      if (s.voltage !== voltage) continue;
      weights += 1 / s.variance;
      sum += s.value / s.variance;
    }
    return { voltage, value: sum / weights, variance: 1 / weights };
  });
  const commonVariance = varianceBeyond([means], voltages.length - 1);
  let weights = 0;
  let mean = 0;
  for (const m of means) {
    weights += 1 / (m.variance + commonVariance);
    mean += m.value / (m.variance + commonVariance);
  }
  mean /= weights;
  const common = new Map(
    means.map(({ voltage, value, variance }) => {
      const part = commonVariance / (commonVariance + variance);
      return [voltage, { part, value: part * (value - mean), u: Math.sqrt(part * variance) }];
    }),
  );
  const byItself = slopes.map((one) => one.map((s) => ({ ...s, value: s.value - (means.find((m) => m.voltage === s.voltage)?.value ?? 0) })));
  const dof = slopes.flat().length - injectors.length - (voltages.length - 1);
  return { variance: varianceBeyond(byItself, dof), commonVariance, common };
}

/**
 * Best linear unbiased prediction of each slope (Henderson 1975; Robinson 1991; from memory): a part `own` of what the line says by
 * itself, the rest from the injector's mean and from what all have in common at that voltage, with the error of each by its part.
 */
function leaning(injector: Common, { variance, common }: Spread, scales: readonly Scale[]): readonly { readonly member: FittedLine; readonly fit: FittedLine['line']['fit']; readonly dof: number; readonly slope: LineSlope }[] {
  const tau2 = variance * injector.slope * injector.slope;
  const lines = injector.members.map((member, i) => {
    const { scale, dof, own: ownScale } = scales[i] ?? { scale: 0, dof: 1, own: true };
    const u2 = scale / precisionOf(member);
    const { part, value, u } = common.get(member.cell.at.voltage) ?? { part: 0, value: 0, u: 0 };
    return { member, scale, dof, ownScale, u2, part, uCommon: u * injector.slope, moved: value * injector.slope, weight: 1 / (u2 + tau2), straight: member.line.slope - value * injector.slope };
  });
  const weights = lines.reduce((sum, l) => sum + l.weight, 0);
  const mean = lines.reduce((sum, l) => sum + l.weight * l.straight, 0) / weights;
  return lines.map(({ member, scale, dof, ownScale, u2, part, uCommon, moved, weight, straight }) => {
    const own = tau2 / (tau2 + u2);
    const parts = { own: Math.sqrt(own * u2), mean: (1 - own) / Math.sqrt(weights), common: (1 - own) * uCommon };
    const { fit } = member.line;
    let heights = 0;
    for (const o of member.observations) heights += o.weight / o.variance;
    return {
      member,
      dof,
      fit: { ...fit, slope: mean + own * (straight - mean) + moved, dof, scale, varianceOfMean: scale / heights, varianceOfSlope: parts.own ** 2 + parts.mean ** 2 + parts.common ** 2 },
      slope: { from: own === 0 && uCommon === 0 ? 'shared' : 'weighted', own, weight: weight / weights, common: part, ownScale, parts },
    };
  });
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
