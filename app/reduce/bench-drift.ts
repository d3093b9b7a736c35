/**
 * How much the bench drifted while it measured, told by the reference point (RED-83). Whatever scales all masses alike (meter, transducer,
 * fluid) shows there and in nothing else: each line is measured within minutes, and cells measured at different times then differ. What that is in
 * a result: `bench-bias.ts`.
 */
import { fAbove } from '../distributions/distributions.ts';
import { isLeftIn } from '../uncertainty/source.ts';
import { fitLine } from './regression.ts';
import type { BenchDrift, ReducedWindow, Reduction } from './reduction.ts';
import { varianceAt } from './variance-model.ts';

/** Fewer reference points than this tell no scatter about their mean worth the name. */
const enough = 4;
/** A window that far from the two beside it, in standard deviations of that distance, is a gross error and no drift. */
const gross = 6;

interface Known {
  /** Place in the order of measuring. */
  readonly order: number;
  readonly mass: number;
  /** Relative standard deviation that one window scatters by. */
  readonly sd: number;
}

/** Reference windows in the order of measuring, without gross errors; null: too few to tell anything. */
export function referencesOf(windows: readonly ReducedWindow[], scatter: Reduction['scatter'], orders: ReadonlyMap<ReducedWindow, number>): readonly Known[] | null {
  const { known } = allReferences(windows, scatter, orders);
  return known.length < enough ? null : known;
}

function allReferences(windows: readonly ReducedWindow[], scatter: Reduction['scatter'], orders: ReadonlyMap<ReducedWindow, number>): { readonly all: readonly Known[]; readonly known: readonly Known[] } {
  const inOrder = windows.filter((w) => w.at.role === 'reference').toSorted((a, b) => (orders.get(a) ?? a.point) - (orders.get(b) ?? b.point));
  const all = inOrder.flatMap((w): Known[] => {
    const { at, outcome } = w;
    if (outcome.kind !== 'mass') return [];
    const model = scatter.find((s) => s.pressure === at.pressure && s.period === at.period);
    const variance = model === undefined ? 0 : varianceAt(model, outcome.mass, outcome.partTurn);
    return [{ order: orders.get(w) ?? w.point, mass: outcome.mass, sd: Math.max(Math.sqrt(variance) / outcome.mass, model === undefined ? outcome.uRandom : outcome.uTiming) }];
  });
  return { all, known: all.filter((one, i) => !isGross(one, all[i - 1], all[i + 1])) };
}

/** `orders`: rises in the order of measuring; absent: that of the points. `takenOff`: what was taken off for it; null: nothing. */
export function benchDriftOf(windows: readonly ReducedWindow[], scatter: Reduction['scatter'], orders: ReadonlyMap<ReducedWindow, number>, takenOff: NonNullable<Extract<BenchDrift, { kind: 'told' }>['takenOff']> | null = null): BenchDrift {
  const { all, known } = allReferences(windows, scatter, orders);
  if (all.length === 0) return { kind: 'not-told', text: 'No reference point was measured, so nothing is known of what the bench drifted, and no uncertainty holds anything for it. Give the plan a reference.' };
  if (known.length < enough) {
    return { kind: 'not-told', text: `${known.length} reference points do not tell what the bench drifted; ${enough} would. No uncertainty holds anything for it.` };
  }
  const mean = known.reduce((sum, k) => sum + k.mass, 0) / known.length;
  const dof = known.length - 1;
  // Mandel and Paule's equation, in its first step, for windows of one scatter: what they differ by less what they scatter by.
  const found = known.reduce((sum, k) => sum + (k.mass / mean - 1) ** 2, 0) / dof;
  const expected = known.reduce((sum, k) => sum + k.sd * k.sd, 0) / known.length;
  const f = found / expected;
  const line = fitLine(known.map((_, i) => i / dof), known.map((k) => k.mass / mean), null, 'known');
  const scatterDof = scatter.reduce((sum, s) => sum + s.dof, 0);
  return { kind: 'told', windows: known.length, u: Math.sqrt(Math.max(0, found - expected)), overRun: line.slope, p: fAbove(f, dof, Math.max(1, scatterDof)), ...(takenOff === null ? {} : { takenOff }) };
}

/** Against the mean of its neighbours, where it has two; what drifts goes on, what is wrong once comes back. */
function isGross(one: Known, before: Known | undefined, after: Known | undefined): boolean {
  if (before === undefined || after === undefined) return false;
  const off = one.mass - (before.mass + after.mass) / 2;
  return Math.abs(off) > gross * Math.sqrt(1.5) * one.sd * one.mass && Math.abs(off) > 2 * Math.abs(after.mass - before.mass);
}

/** What was found, and what is made of it. */
export function benchDriftSentence({ benchDrift: drift, cells }: Pick<Reduction, 'benchDrift' | 'cells'>): string {
  if (drift.kind === 'not-told') return drift.text;
  const percent = (x: number): string => `${(100 * x).toFixed(3)} %`;
  const chance = drift.p < 0.0005 ? 'less than 0.05 %' : `${Number((100 * drift.p).toPrecision(2))} %`;
  const { takenOff } = drift;
  if (takenOff !== undefined) {
    return `Corrected by the reference line, as the plan asks: every mass was divided by the course of the bench that ${drift.windows} reference points tell, by up to ${percent(takenOff.most)}. They differed by ${percent(drift.u)} (standard deviation) beyond what windows scatter by. Every slope and static flow has ${percent(takenOff.u)} for what they do not tell.`;
  }
  const found = drift.u === 0
    ? `The ${drift.windows} reference points differ by no more than windows scatter.`
    : `The ${drift.windows} reference points differ by ${percent(drift.u)} (standard deviation) beyond what windows scatter by (chance gives as much in ${chance} of runs).`;
  return `${found}${leftInSentence(cells)}`;
}

/** More than this of the variance of slopes is worth to be taken off. RED-146 */
const mostOfIt = 0.5;

/** What is left in of the lines: how far the bench stood off while they were measured, and what of their variance that makes. Empty: no line has it. */
function leftInSentence(cells: Reduction['cells']): string {
  let [most, squares, variances] = [0, 0, 0];
  for (const cell of cells) {
    if (cell.kind !== 'line') continue;
    const { value, u } = cell.slope;
    const off = Math.max(0, ...cell.shared.map((s) => (isLeftIn(s.source) ? Math.abs(s.onSlope) / value : 0)));
    most = Math.max(most, off);
    squares += off * off;
    variances += (u / value) ** 2;
  }
  if (most === 0) return '';
  const share = squares / variances;
  return ` While slopes were measured the bench stood off its mean over the run, by up to ${(100 * most).toFixed(3)} %. That is not taken off; it is in the uncertainty of slopes and static flows.${share > mostOfIt ? ` It makes up ${(100 * share).toFixed(0)} % of the variance of slopes: correct it by the reference point (reduction.driftCorrection: reference).` : ''}`;
}
