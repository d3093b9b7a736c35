/**
 * Replicates that do not belong together. They are shown and stay in every result: whether a window is left out is a
 * person's decision, made and written down with the run, and never this program's. Rules ST-1 to ST-4.
 */
import { shownPoint } from '../plan/points.ts';
import type { Plan } from '../plan/plan.ts';
import type { Reduction, Source } from '../reduce/reduction.ts';
import { searchOutliers, type OutlierSearch } from '../statistics/outlier-search.ts';
import { replicateGroups, type OneMass, type Replicate, type ReplicateGroup } from './replicates.ts';
import { sampleOf } from '../statistics/sample.ts';

interface Outlier {
  readonly group: ReplicateGroup;
  /** One window; or both of a pair, because nothing says which of two is wrong. */
  readonly windows: readonly Source[];
  /** Distance from the mean of its group in standard deviations of a window, by the scatter of all that is not named. */
  readonly g: number;
  readonly text: string;
}

export interface OutlierReport {
  /** In the order of the points. */
  readonly outliers: readonly Outlier[];
  /** What could have been named: windows with two replicates or more beside them, and pairs. */
  readonly windowsTested: number;
  readonly pairsTested: number;
  /** Windows that could not: without a replicate, or in a run whose scatter is not known well enough. */
  readonly windowsNotTested: number;
  /** What was tested, and how far out something had to lie to be named. */
  readonly text: string;
}

/** Probability of naming anything in a run whose windows scatter as the model of their variance says (common practice, no source). */
const defaultLevel = 0.05;

/**
 * All groups together tell the scatter, which three to five replicates by themselves do not: each distance from the mean of its
 * group is divided by what the reduction's scatter model says of that mass, and `searchOutliers` names what stands out.
 */
export function findOutliers(masses: readonly OneMass[], scatter: Reduction['scatter'], plan: Pick<Plan, 'injectors'>, level = defaultLevel): OutlierReport {
  const groups = replicateGroups(masses);
  const standardised = groups.flatMap((group) => {
    const { at, replicates } = group;
    const model = scatter.find((s) => s.pressure === at.pressure && s.period === at.period);
    const { mean } = sampleOf(replicates.map((r) => r.mass));
    const sd = model === undefined ? 0 : Math.sqrt(model.constant + model.relative * mean * mean);
    return sd > 0 ? [{ group, values: replicates.map((r) => r.mass / sd) }] : [];
  });
  const search = searchOutliers(standardised.map((s) => s.values), level);
  const outliers = search.named.flatMap(({ group: g, indices, g: distance }) => {
    const group = standardised[g]?.group;
    const windows = indices.flatMap((i) => group?.replicates[i] ?? []);
    return group === undefined ? [] : [{ group, windows: windows.map(({ point, attempt }) => ({ point, attempt })), g: distance, text: outlierText(plan, group, windows, distance) }];
  });
  outliers.sort((a, b) => (a.windows[0]?.point ?? 0) - (b.windows[0]?.point ?? 0) || (a.windows[0]?.attempt ?? 0) - (b.windows[0]?.attempt ?? 0));
  const windows = groups.reduce((sum, group) => sum + group.replicates.length, 0);
  const windowsNotTested = windows - search.values - 2 * search.pairs;
  return { outliers, windowsTested: search.values, pairsTested: search.pairs, windowsNotTested, text: reportText(search, outliers.length, windowsNotTested, level) };
}

function outlierText({ injectors }: Pick<Plan, 'injectors'>, { at, replicates }: ReplicateGroup, windows: readonly Replicate[], g: number): string {
  const serialNumber = injectors[at.injector]?.serialNumber ?? `of place ${at.injector + 1}`;
  const where = `Injector ${serialNumber} at ${at.voltage} V, ${at.pressure / 1e3} kPa and ${(at.width * 1e3).toFixed(3)} ms`;
  const named = (w: Replicate): string => `attempt ${w.attempt} of point ${shownPoint(w.point)}`;
  const far = `${g.toFixed(1)} standard deviations by the scatter of all replicates of the run`;
  const [one, other] = windows;
  if (one !== undefined && other !== undefined) {
    const percent = (100 * Math.abs(one.mass - other.mass)) / ((one.mass + other.mass) / 2);
    return `${where}: ${named(one)} and ${named(other)} differ by ${percent.toFixed(2)} %, ${far}; of two, nothing says which is wrong. Both are still part of every result. Look at both windows; measure both points again if something was wrong.`;
  }
  if (one === undefined) return where;
  const others = replicates.filter((r) => r !== one);
  const { mean } = sampleOf(others.map((r) => r.mass));
  const percent = (100 * (one.mass - mean)) / mean;
  return `${where}: ${named(one)} lies ${Math.abs(percent).toFixed(2)} % ${percent < 0 ? 'below' : 'above'} the mean of its ${others.length} other replicates, ${far}. It is still part of every result. Look at its window; measure the point again if something was wrong.`;
}

/** ST-3: says no more than was looked at. */
function reportText({ values, pairs, critical, dof }: OutlierSearch, named: number, notTested: number, level: number): string {
  const alone = notTested === 0 ? '' : ` ${notTested === 1 ? '1 window has' : `${notTested} windows have`} no replicate and could not be looked at.`;
  if (values + pairs === 0) return `Nothing was tested for outliers: the replicates leave ${dof} degrees of freedom to know scatter by, and 3 are needed. Plan more replicates.`;
  const parts = [...(values > 0 ? [`${values} windows that have two replicates or more beside them`] : []), ...(pairs > 0 ? [`${pairs} pairs of replicates`] : [])];
  const found = named === 0 ? 'No outlier was named' : named === 1 ? '1 outlier was named' : `${named} outliers were named`;
  return `${found} among ${parts.join(' and ')}. What lies less than about ${critical.toFixed(1)} standard deviations of a window out is not told from chance, which names something in ${(100 * level).toFixed(0)} % of good runs.${alone}`;
}
