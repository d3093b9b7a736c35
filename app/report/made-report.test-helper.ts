/** Reports of made runs. */
import { foldRun } from '../journal/fold.ts';
import type { RunState } from '../journal/state.ts';
import type { Plan } from '../plan/plan.ts';
import { madeRun, syntheticEquipment, syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { reportOf } from './build.ts';
import type { ReportInput } from './build.ts';
import { noDetails } from './details.ts';
import type { ReportDocument } from './document.ts';

const basis: ReportInput['basis'] = {
  runId: 'run-7', archiveId: 'archive-1', archiveHead: `3:${'0'.repeat(64)}`, journal: { events: 9, hash: '1'.repeat(64) }, place: null,
  planSha256: '2'.repeat(64), equipmentSha256: '3'.repeat(64), measuredWith: 'test 1', writtenWith: 'test 2',
};

export const reportedPlan = syntheticPlan({ voltageV: [9, 12, 14] }, 4, {}, { static: { replicates: 2, voltageV: 14, periodMs: 20 } });

/** A run that was measured, whose journal holds only its opening. */
export function reportInput({ plan = reportedPlan, equipment = syntheticEquipment, operator = 'A. Measurer' }: { readonly plan?: Plan; readonly equipment?: ReportInput['results']['equipment']; readonly operator?: string } = {}): ReportInput {
  const results = { ...madeRun({ plan }), equipment };
  const state: RunState = { ...foldRun(null, { kind: 'opened', plan, equipment, operator, software: 'test 1', points: results.points.length }), ending: 'complete' };
  const withResults = { ...state, points: state.points.changed((point) => ({ ...point, chosen: 1 })) };
  return {
    results, state: withResults, times: [], details: noDetails, length: 'full', issue: null, basis, order: plan.order,
    measured: { from: '2026-02-01T10:00:00.000Z', to: '2026-02-01T12:00:00.000Z' }, simulated: false,
  };
}

export const madeReport = (changed: Partial<ReportInput> = {}): ReportDocument => reportOf({ ...reportInput(), ...changed });
