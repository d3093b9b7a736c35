/**
 * The rules that find the linear region against curves of the simulated injectors, whose needles bounce and whose short
 * pulses bend away: what bend the region still holds must move dead time and slope by little of what is stated of them.
 * The truth is the straight line through the noise-free masses at 4 ms and more.
 */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../../app/plan/expand.ts';
import { kilopascals, volts } from '../../app/quantities/quantity.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { noErrors, normalFrom, syntheticEquipment, syntheticPlan, syntheticWindow } from '../../app/reduce/synthetic.test-helper.ts';
import type { SyntheticInjector, SyntheticScatter } from '../../app/reduce/synthetic.test-helper.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { truthOf } from '../../firmware-protocol/simulator/truth.ts';

const bench = scenarioSchema.parse({ scenarioVersion: 1, seed: 7, instrumentErrors: false });
const widthsMs = [1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.4, 2.6, 2.8, 3, 3.5, 4, 5, 6, 8, 10, 12];
const injectors = 8;
/** As good a bench and a worse one: relative scatter of a window's mass, and scatter in pulse width, s. */
const scatters: readonly SyntheticScatter[] = [
  { relative: 4e-4, width: 2e-7, voltage: 0, pressure: 0, warmer: 0 },
  { relative: 2e-3, width: 1e-6, voltage: 0, pressure: 0, warmer: 0 },
];

/** The noise-free curve of one injector at one voltage as a line and what is missing to it. */
function curve(channel: number, voltageV: number): SyntheticInjector {
  const ask = (widths: readonly number[]) =>
    truthOf(bench, { channel, voltageV, pressureKpa: 400, widthsMs: widths, periodMs: 20, referenceC: 20 });
  const line = ask(widthsMs.filter((w) => w >= 4));
  const { massesMg } = ask(widthsMs);
  const slope = line.slopeMgPerMs * 1e-3;
  const deadTime = line.deadTimeMs * 1e-3;
  return {
    slope: () => slope,
    deadTime: () => deadTime,
    bend: (width) => {
      const i = widthsMs.findIndex((w) => Math.abs(w * 1e-3 - width) < 1e-9);
      return (massesMg[i] ?? Number.NaN) * 1e-6 - slope * (width - deadTime);
    },
  };
}

describe('the region that is found on curves of the simulated injectors', () => {
  for (const voltageV of [9, 10.5, 12, 14, 16]) {
    it(`RED-9, RED-10: at ${voltageV} V leaves a bias well below the stated uncertainty`, () => {
      const curves = Array.from({ length: injectors }, (_, i) => curve(i + 1, voltageV));
      const plan = syntheticPlan({ voltageV: [voltageV], widthMs: widthsMs }, injectors);
      const points = expandPlan(plan);
      for (const scatter of scatters) {
        const draws = 12;
        let deadTimeError = 0;
        let slopeError = 0;
        let deadTimeU = 0;
        let slopeU = 0;
        for (let draw = 1; draw <= draws; draw += 1) {
          const normal = normalFrom(1000 * draw + voltageV);
          const attempts = points.map((point) => {
            const injector = curves[point.injector];
            if (injector === undefined) throw new Error('no curve');
            return { point: point.index, attempt: 1, window: syntheticWindow(point, injector, plan, syntheticEquipment, noErrors, scatter, normal) };
          });
          for (const cell of reduceRun({ plan, equipment: syntheticEquipment, points, attempts }).cells) {
            if (cell.kind !== 'line') throw new Error(cell.text);
            const truth = curves[cell.injector];
            if (truth === undefined) throw new Error('no curve');
            deadTimeError += cell.deadTime.value - truth.deadTime(volts(voltageV), kilopascals(400));
            slopeError += cell.slope.value / truth.slope(kilopascals(400)) - 1;
            deadTimeU += cell.deadTime.u;
            slopeU += cell.slope.u / cell.slope.value;
            // The bounce where full lift is first reached lies below every region.
            const bent = cell.widths.find((w) => Math.abs(truth.bend?.(w.width) ?? 0) > 0.01 * w.mass);
            if (bent !== undefined) expect(cell.region.from).toBeGreaterThan(bent.width);
          }
        }
        // At most 0.31, at 10.5 V: a clamp of 40 V to ground lets the coil go more slowly than 40 V across it did, and the
        // curve bends a little more.
        expect(Math.abs(deadTimeError)).toBeLessThan(0.33 * deadTimeU);
        expect(Math.abs(slopeError)).toBeLessThan(0.2 * slopeU);
      }
    });
  }
});
