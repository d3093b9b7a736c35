/** Static flow (SAE J1832 list: Qs): mass flow of an injector held open, from windows of pulses as long as their period. RED-24. */
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { carried, randomPart, sharedPart, stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { BenchBias } from './bench-bias.ts';
import { isOfLeak, leakOnMass, leakVerdictOf } from './leak-limits.ts';
import type { LookedFor } from './leak-limits.ts';
import type { MassPerPulse } from './mass.ts';
import type { LightWindow, ReducedWindow, StaticFlow } from './reduction.ts';
import { fitVarianceModel } from './variance-model.ts';
import { pairDisagrees, replicateWeights } from '../statistics/robust.ts';

/** The static flow as a value that can be computed on. */
export function staticCarried(of: Extract<StaticFlow, { kind: 'static-flow' }>): Carried {
  return carried(of.flow.value, [
    randomPart(of.scatter.source, of.scatter.u, of.scatter.dof, of.scatter.scale),
    ...of.shared.map(({ source, effect }) => sharedPart(source, effect)),
  ]);
}

interface HeldOpen {
  readonly source: ReducedWindow;
  readonly at: Point;
  readonly outcome: MassPerPulse;
  /** kg/s */
  readonly flow: number;
}

/**
 * Every injector and pressure of the plan. Scatter is pooled, relative, over the injectors of one pressure. `looked`: what is known
 * of leaks; null: nobody looked. `timeBase`: relative standard uncertainty of the controller's time; `bias`: what the bench drifted.
 */
export function staticFlowsOf(plan: Plan, points: readonly Point[], windows: readonly ReducedWindow[], looked: LookedFor | null, { timeBase: uTimeBase, bias }: { readonly timeBase: number; readonly bias: BenchBias }): { readonly staticFlows: readonly StaticFlow[]; readonly light: readonly LightWindow[] } {
  const ofStatic = windows.filter(({ at }) => at.role === 'static');
  const held: HeldOpen[] = ofStatic.flatMap((source) => {
    const { at, outcome } = source;
    return outcome.kind === 'mass' ? [{ source, at, outcome, flow: outcome.mass / at.period }] : [];
  });
  const pressures = [...new Set(points.map((p) => p.pressure))].sort((a, b) => a - b);
  const light: LightWindow[] = [];
  const staticFlows = pressures.flatMap((pressure) => {
    const here = plan.injectors.map((_, injector) => held.filter((h) => h.at.pressure === pressure && h.at.injector === injector));
    const scatter = scatterOf(here);
    return plan.injectors.map(({ serialNumber }, injector): StaticFlow => {
      const place = { injector, serialNumber, pressure };
      const windowsHere = here[injector] ?? [];
      const [first] = windowsHere;
      if (first === undefined) {
        return plan.static.replicates === 0
          ? { ...place, kind: 'no-static-flow', reason: 'not-planned', text: 'The plan does not hold the injectors open. Set static.replicates to measure static flow.' }
          : { ...place, kind: 'no-static-flow', reason: 'not-measured', text: 'No accepted attempt with this injector held open counts at this pressure.' };
      }
      const { mean, u: uScatter, weights, disagrees } = meanOf(windowsHere, scatter.relative);
      windowsHere.forEach(({ source: { point, attempt }, flow, at: { period } }, i) => {
        const weight = weights[i] ?? 1;
        if (weight < 0.5 || disagrees) light.push({ point, attempt, weight, mass: flow * period, expected: mean * period, against: disagrees ? 'pair' : 'repeats' });
      });
      const shared = new Map<string, { readonly source: ErrorSource; readonly effect: number }>();
      for (const { outcome } of windowsHere) {
        for (const t of outcome.budget) {
          if (t.kind !== 'shared') continue;
          const effect = (shared.get(t.source.key)?.effect ?? 0) + (mean * t.sensitivity * t.standardUncertainty) / windowsHere.length;
          shared.set(t.source.key, { source: t.source, effect });
        }
      }
      const timeBase = errorSource('time-base');
      if (uTimeBase > 0) shared.set(timeBase.key, { source: timeBase, effect: mean * uTimeBase });
      const counting = weights.reduce((sum, w) => sum + w, 0);
      const drifted = bias.partsOf(`injectors held open at ${pressure} Pa`, bias.overRun(windowsHere.map(({ source }, i) => ({ source, weight: (weights[i] ?? 0) / counting }))));
      for (const { source, relative } of drifted) shared.set(source.key, { source, effect: mean * relative });
      const stated: StaticFlow = {
        ...place,
        kind: 'static-flow',
        voltage: first.at.voltage,
        flow: stateCarried(carried(mean)),
        scatter: {
          source: errorSource('static-flow', `injector ${injector} at ${pressure} Pa`),
          u: uScatter,
          dof: scatter.dof,
          scale: `static flow at ${pressure} Pa`,
        },
        shared: [...shared.values()],
        sources: windowsHere.map(({ source: { point, attempt } }) => ({ point, attempt })),
      };
      const flow = stateCarried(staticCarried(stated));
      const leak = looked === null ? null : leakOnMass(windowsHere.map((h) => h.source), looked);
      if (leak !== null) {
        const { period } = first.at;
        const of = (only: (source: ErrorSource) => boolean): number => Math.hypot(...stated.shared.filter((s) => only(s.source)).map((s) => s.effect));
        const effect = { flow: leak.flow, shift: leak.perPeriod / period, u: of(isOfLeak), change: leak.change / period, contradiction: leak.contradiction / period };
        const without = { value: mean, uRandom: stated.scatter.u, dofRandom: stated.scatter.dof, uShared: of((source) => !isOfLeak(source)) };
        const { refused } = leakVerdictOf(effect, without, plan.reduction, 'the static flow');
        if (refused !== null) return { ...place, kind: 'no-static-flow', reason: 'leak', text: refused };
      }
      return { ...stated, flow };
    });
  });
  return { staticFlows, light };
}

/** Mean of the windows as much as each counts (RED-81), kg/s, with its standard uncertainty from scatter. */
function meanOf(windows: readonly HeldOpen[], relative: number): { readonly mean: number; readonly u: number; readonly weights: readonly number[]; readonly disagrees: boolean } {
  const flows = windows.map((h) => h.flow);
  const sd = relative * Math.max(...flows);
  const weights = replicateWeights(flows, sd);
  const disagrees = pairDisagrees(flows, sd);
  let sum = 0;
  let count = 0;
  flows.forEach((flow, i) => {
    sum += (weights[i] ?? 1) * flow;
    count += weights[i] ?? 1;
  });
  const mean = sum / count;
  // Of two that contradict each other one may be right: half their difference.
  const apart = disagrees ? Math.abs((flows[0] ?? 0) - (flows[1] ?? 0)) / 2 : 0;
  return { mean, u: Math.max((mean * relative) / Math.sqrt(count), apart), weights, disagrees };
}

/** Relative standard deviation of one window: from replicates, or from inside the windows where there are none. RED-80. */
function scatterOf(injectors: readonly (readonly HeldOpen[])[]): { readonly relative: number; readonly dof: number } {
  let timing = 0;
  let inside = 0;
  let insideDof = 0;
  const groups = injectors.flatMap((windows) => {
    const mean = windows.reduce((sum, h) => sum + h.flow, 0) / windows.length;
    let squares = 0;
    for (const { flow, outcome } of windows) {
      squares += (flow / mean - 1) ** 2;
      timing = Math.max(timing, outcome.uTiming);
      const parts = outcome.budget.find((t) => t.kind === 'random' && Number.isFinite(t.dof))?.dof ?? 0;
      inside += parts * outcome.uRandom ** 2;
      insideDof += parts;
    }
    return windows.length > 1 ? [{ mass: 1, variance: squares / (windows.length - 1), dof: windows.length - 1 }] : [];
  });
  const { relative, dof } = fitVarianceModel(groups, 'replicates');
  if (dof > 0) return { relative: Math.max(timing, Math.sqrt(relative)), dof };
  return { relative: Math.max(timing, insideDof > 0 ? Math.sqrt(inside / insideDof) : 0), dof: Math.max(1, insideDof) };
}
