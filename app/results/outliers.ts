/**
 * Replicates that do not belong together. They are shown and stay in every result: whether a window is left out is a
 * person's decision, made and written down with the run, and never this program's.
 */
import { shownPoint } from '../plan/points.ts';
import type { Plan } from '../plan/plan.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import type { Reduction, Source } from '../reduce/reduction.ts';
import { grubbs } from '../statistics/grubbs.ts';
import { replicateGroups, type Replicate, type ReplicateGroup } from './replicates.ts';
import { sampleOf } from '../statistics/sample.ts';

interface Outlier extends Source {
  readonly group: ReplicateGroup;
  /** own-group: against the replicates of its own group alone. all-groups: by the scatter of all groups together. */
  readonly test: 'own-group' | 'all-groups';
  /** kg */
  readonly mass: number;
  /** Distance from the mean of its group in standard deviations, and what chance leaves unexceeded. */
  readonly g: number;
  readonly critical: number;
  readonly text: string;
}

export interface OutlierReport {
  readonly outliers: readonly Outlier[];
  /** Groups of at least three that were tested by themselves, and how many of them chance alone would be expected to name. */
  readonly groupsTested: number;
  readonly expectedByChance: number;
  /** Windows that were tested against the scatter of all groups together. */
  readonly windowsTested: number;
  readonly notTested: readonly { readonly group: ReplicateGroup; readonly text: string }[];
}

export interface OutlierLevels {
  /** Probability of calling an outlier in one good group. */
  readonly ownGroup: number;
  /** Probability of calling any outlier in a good run, by the scatter of all groups. */
  readonly allGroups: number;
}

/** ISO 5725-2 calls "outlier" what 1 % does not explain (from memory of its 7.3); the run as a whole is held to 5 %. */
const defaultLevels: OutlierLevels = { ownGroup: 0.01, allGroups: 0.05 };

/**
 * Two tests over the replicate masses of a run, which see different things. Three to five replicates by themselves show
 * little. The scatter of all groups together is known well: each distance from its group's mean is divided by what the
 * reduction's scatter model says of that mass, and the largest of the run is tested by Grubbs' statistic for residuals
 * with a pooled standard deviation (t at level/2N with nu - 1 degrees of freedom; for one group it is Grubbs' own test).
 * One that is found is set aside for the search only, and the search goes on, for at most a tenth of the windows.
 */
export function findOutliers(reduction: Reduction, plan: Pick<Plan, 'injectors'>, levels: OutlierLevels = defaultLevels): OutlierReport {
  const groups = replicateGroups(reduction);
  const outliers: Outlier[] = [];
  const notTested: { group: ReplicateGroup; text: string }[] = [];
  let groupsTested = 0;
  for (const group of groups) {
    const tested = grubbs(group.replicates.map((r) => r.mass), levels.ownGroup);
    if (tested.kind === 'not-tested') {
      notTested.push({ group, text: tested.text });
      continue;
    }
    groupsTested += 1;
    const found = group.replicates[tested.index];
    if (tested.outlier && found !== undefined) outliers.push(outlier(plan, group, 'own-group', found, tested.g, tested.critical));
  }
  const pooledSearch = searchAll(reduction, groups, levels.allGroups);
  for (const { group, replicate, g, critical } of pooledSearch.found) outliers.push(outlier(plan, group, 'all-groups', replicate, g, critical));
  outliers.sort((a, b) => a.point - b.point || a.attempt - b.attempt || a.test.localeCompare(b.test));
  return { outliers, groupsTested, expectedByChance: groupsTested * levels.ownGroup, windowsTested: pooledSearch.tested, notTested };
}

interface Standardised {
  readonly group: ReplicateGroup;
  /** Those not set aside, each divided by the model's standard deviation. */
  readonly kept: { readonly replicate: Replicate; readonly value: number }[];
}

function searchAll(reduction: Reduction, groups: readonly ReplicateGroup[], level: number) {
  const standardised = groups.flatMap((group): Standardised[] => {
    const { at, replicates } = group;
    if (replicates.length < 2) return [];
    const model = reduction.scatter.find((s) => s.pressure === at.pressure && s.period === at.period);
    if (model === undefined) return [];
    const { mean } = sampleOf(replicates.map((r) => r.mass));
    const sd = Math.sqrt(model.constant + model.relative * mean * mean);
    if (!(sd > 0)) return [];
    return [{ group, kept: replicates.map((replicate) => ({ replicate, value: replicate.mass / sd })) }];
  });
  const tested = standardised.reduce((sum, s) => sum + s.kept.length, 0);
  const found: { group: ReplicateGroup; replicate: Replicate; g: number; critical: number }[] = [];
  // Once, then only what a finding changes.
  const states = standardised.map(stateOf);
  for (let left = Math.floor(tested / 10); left > 0; left -= 1) {
    let squares = 0;
    let dof = 0;
    let count = 0;
    let farthest = 0;
    states.forEach((state, i) => {
      squares += state.squares;
      dof += Math.max(0, state.n - 1);
      count += state.n > 1 ? state.n : 0;
      if (state.distance > (states[farthest]?.distance ?? 0)) farthest = i;
    });
    const worst = states[farthest];
    const from = standardised[farthest];
    if (dof < 3 || !(squares > 0) || worst === undefined || from === undefined) break;
    const g = worst.distance / Math.sqrt(squares / dof);
    const t = coverageFactor(dof - 1, 1 - level / count);
    const critical = Math.sqrt((dof * t * t) / (dof - 1 + t * t));
    const replicate = from.kept[worst.index]?.replicate;
    if (g <= critical || replicate === undefined) break;
    found.push({ group: from.group, replicate, g, critical });
    from.kept.splice(worst.index, 1);
    states[farthest] = stateOf(from);
  }
  return { found, tested };
}

/** Sum of squares of one group, and its largest distance from the mean, scaled to have the variance of one window. */
function stateOf({ kept }: Standardised): { readonly n: number; readonly squares: number; readonly distance: number; readonly index: number } {
  const n = kept.length;
  if (n < 2) return { n, squares: 0, distance: 0, index: 0 };
  const { mean, squares } = sampleOf(kept.map((k) => k.value));
  let index = 0;
  let distance = -1;
  kept.forEach(({ value }, i) => {
    if (Math.abs(value - mean) <= distance) return;
    distance = Math.abs(value - mean);
    index = i;
  });
  // Of two, each lies as far out as the other: nothing says which is wrong, so only larger groups name one.
  return { n, squares, distance: n < 3 ? 0 : distance / Math.sqrt(1 - 1 / n), index };
}

function outlier(plan: Pick<Plan, 'injectors'>, group: ReplicateGroup, test: Outlier['test'], { point, attempt, mass }: Replicate, g: number, critical: number): Outlier {
  const { mean } = sampleOf(group.replicates.map((r) => r.mass));
  const { at } = group;
  const serialNumber = plan.injectors[at.injector]?.serialNumber ?? `of place ${at.injector + 1}`;
  const where = `Injector ${serialNumber} at ${at.voltage} V, ${at.pressure / 1e3} kPa and ${(at.width * 1e3).toFixed(3)} ms`;
  const percent = (100 * (mass - mean)) / mean;
  const by = test === 'own-group' ? 'the scatter of its own replicates' : 'the scatter of all replicates of the run';
  return {
    point, attempt, group, test, mass, g, critical,
    text: `${where}: attempt ${attempt} of point ${shownPoint(point)} lies ${Math.abs(percent).toFixed(2)} % ${percent < 0 ? 'below' : 'above'} the mean of its ${group.replicates.length} replicates, ${g.toFixed(2)} standard deviations by ${by} (chance leaves ${critical.toFixed(2)} unexceeded). It is still part of every result. Look at its window; measure the point again if something was wrong.`,
  };
}
