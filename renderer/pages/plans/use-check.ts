/** What follows from the plan as it stands: points and totals worked out here, the sheet asked from the host. */
import { useEffect, useState } from 'react';
import type { PlanSheet } from '../../../app/contract/library-requests.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { estimateRun } from '../../../app/plan/estimate.ts';
import type { RunTotals } from '../../../app/plan/estimate.ts';
import { expectedPoints } from '../../../app/plan/expand.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { ask, useHostState } from '../../host/host.ts';

/** The value once it has stood still for `ms`. */
export function useSettled<T>(value: T, ms: number): T {
  const [settled, setSettled] = useState(value);
  useEffect(() => {
    const handle = setTimeout(() => setSettled(value), ms);
    return () => clearTimeout(handle);
  }, [value, ms]);
  return settled;
}

export interface Expanded {
  readonly plan: Plan;
  readonly points: readonly Point[];
  /** null: the equipment record has not been read. */
  readonly totals: RunTotals | null;
}

export function expanded(plan: Plan, equipment: Equipment | null): Expanded {
  const points = expectedPoints(plan);
  return { plan, points, totals: equipment === null ? null : estimateRun(plan, points, equipment) };
}

export type Checked =
  | { readonly state: 'waiting' }
  | { readonly state: 'failed'; readonly text: string }
  | { readonly state: 'done'; readonly sheet: PlanSheet | null; readonly problems: readonly { readonly path: string; readonly text: string }[] };

/** The host's answer about a plan; asked again when the bench or the equipment has changed. */
export function useSheet(plan: Plan | null): Checked {
  const [answer, setAnswer] = useState<{ readonly plan: Plan; readonly checked: Checked } | null>(null);
  const up = useHostState((host) => host.line.state === 'up');
  const bench = useHostState((host) => (host.bench.state === 'connected' ? `${host.bench.bootId} ${host.bench.link}` : host.bench.state));
  const equipment = useHostState((host) => host.equipment);
  useEffect(() => {
    if (plan === null || !up) return;
    let wanted = true;
    void ask('plan.check', { document: plan }).then((reply) => {
      if (!wanted) return;
      setAnswer({
        plan,
        checked: reply.ok ? { state: 'done', sheet: reply.value.sheet, problems: reply.value.problems } : { state: 'failed', text: reply.failure.text },
      });
    });
    return () => {
      wanted = false;
    };
  }, [plan, up, bench, equipment]);
  return answer !== null && answer.plan === plan ? answer.checked : { state: 'waiting' };
}
