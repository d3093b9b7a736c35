/** Time to reduce a long run: 8 injectors, 6 voltages, 3 pressures, 24 widths and 5 replicates make 17 280 attempts. */
import { expandPlan } from '../../app/plan/expand.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { drawErrors, normalFrom, quietScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../app/reduce/synthetic.test-helper.ts';
import { deadTimeTables } from '../../app/tables/dead-time.ts';
import type { BenchReport } from './report.ts';

export function bench(): Promise<BenchReport> {
  const plan = syntheticPlan(
    {
      voltageV: [8, 9, 10.5, 12, 14, 16],
      pressureKpa: [300, 400, 500],
      widthMs: [2, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6, 2.7, 2.8, 2.9, 3, 3.2, 3.4, 3.6, 3.8, 4, 4.5, 5, 6, 7, 8, 9, 10, 12],
      replicates: 5,
    },
    8,
  );
  const points = expandPlan(plan);
  const normal = normalFrom(1);
  const errors = drawErrors(syntheticEquipment, normal);
  const attempts = points.map((point) => ({
    point: point.index,
    attempt: 1,
    window: syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, errors, quietScatter, normal),
  }));
  const times: number[] = [];
  const processor: number[] = [];
  let cells = 0;
  for (let i = 0; i < 7; i += 1) {
    const cpuBefore = process.threadCpuUsage();
    const start = performance.now();
    const reduction = reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
    cells = deadTimeTables(reduction).reduce((sum, table) => sum + table.rows.length * table.columns.length, 0);
    times.push(performance.now() - start);
    const { user, system } = process.threadCpuUsage(cpuBefore);
    processor.push((user + system) / 1e3);
  }
  times.sort((a, b) => a - b);
  processor.sort((a, b) => a - b);
  return Promise.resolve({
    name: `Reduction of ${attempts.length} attempts to ${cells} table cells`,
    figures: [
      { label: 'median of 7', value: times[3] ?? Number.NaN, unit: 'ms' },
      { label: 'median of processor time, whatever else runs', value: processor[3] ?? Number.NaN, unit: 'ms' },
      { label: 'longest (the first compiles)', value: times[6] ?? Number.NaN, unit: 'ms' },
      { label: 'for an attempt', value: ((times[3] ?? Number.NaN) * 1e3) / attempts.length, unit: 'us' },
    ],
  });
}
