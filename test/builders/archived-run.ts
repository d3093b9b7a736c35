/** A made-up run as the archive receives it: a plan, and for each point the events and frames of one attempt. */
import type { BenchFrame } from '../../app/bench/port.ts';
import { equipmentSchema } from '../../app/equipment/equipment.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { planSchema } from '../../app/plan/plan.ts';
import { amperes, celsius, pascals, seconds, volts } from '../../app/quantities/quantity.ts';
import type { RunEventBody, StepKind, Verdict } from '../../app/journal/events.ts';
import { summariseWindow } from '../../app/run/window.ts';

const certificate = { number: 'C-100', date: '2026-01-10', validUntil: '2027-01-10' };

export const equipment = equipmentSchema.parse({
  equipmentVersion: 1,
  name: 'Test bench',
  meter: {
    kind: 'displacement',
    serialNumber: 'M-1',
    kFactor: [{ hertz: 100, edgesPerLitre: 100_000 }],
    relativeUncertaintyPercent: 0.05,
    edgesPerRevolution: 4,
    certificate,
  },
  pressure: { serialNumber: 'P-1', uncertaintyKpa: 0.2, certificate },
  temperature: { serialNumber: 'T-1', uncertaintyC: 0.1, certificate },
  supply: { serialNumber: 'V-1', uncertaintyMv: 5, certificate },
  fluid: { name: 'n-heptane', lot: 'L-1', openedOn: '2026-02-01', densityUncertaintyPercent: 0.02 },
  ambientKpa: 100,
});

/** Twelve points for each replicate of each injector. */
export const planOf = (name: string, order: string, serialNumbers: readonly string[], replicates = 3) =>
  planSchema.parse({
    planVersion: 1,
    zero: { windowS: 0 },
    pair: { windows: 0 },
    look: { windowS: 0 },
    invariance: { percent: 0 },
    blind: { percent: 0 },
    name,
    order,
    injectors: serialNumbers.map((serialNumber, i) => ({ serialNumber, type: `Type ${String.fromCharCode(65 + i)}`, channel: i + 1 })),
    axes: { voltageV: [9, 12, 14], pressureKpa: [400], widthMs: [2, 3, 4, 6], periodMs: [20], replicates },
  });

const meterHz = 240;
export const frameHz = 20;

/** The frames with numbers `from` (at least 1) to `from + count - 1` of a controller that measures a steady flow. */
export function framesFrom(from: number, count: number, bootId = 'b1'): BenchFrame[] {
  return Array.from({ length: count }, (_, i): BenchFrame => {
    const number = from + i;
    const us = number * (1e6 / frameHz);
    const edges = Math.floor((us * meterHz) / 1e6);
    // A little motion that is the same each time: whole numbers of the line's units, as from a controller.
    const wobble = (number * 7919) % 17;
    return {
      at: seconds(us / 1e6),
      number,
      bootId,
      supply: volts((12_000 + wobble) / 1e3),
      current: amperes((900 + 3 * wobble) / 1e3),
      pressure: pascals(400_000 + 11 * wobble),
      railTemperature: celsius((20_500 + wobble) / 1e3),
      meterTemperature: celsius((20_400 + wobble) / 1e3),
      edges,
      lastEdgeAt: seconds(Math.floor((edges * 1e6) / meterHz) / 1e6),
      burst: { number: 1, active: true, commanded: 1_000_000_000, done: number * 2 },
      armed: true,
      fault: null,
      interlocks: 3,
    };
  });
}

export const openedBody = (plan: ReturnType<typeof planOf>): RunEventBody => ({
  kind: 'opened',
  plan,
  equipment,
  operator: 'Operator 1',
  software: 'test 1',
  points: expandPlan(plan).length,
});

const steps: readonly StepKind[] = ['supply', 'condition', 'purge', 'settle', 'measure'];

/** All events of one attempt whose window is `frames`; an accepted one is chosen. */
export function attemptBodies(point: number, attempt: number, verdict: Verdict, frames: readonly BenchFrame[]): RunEventBody[] {
  const window = summariseWindow(frames, equipment.meter.edgesPerRevolution);
  if ('failure' in window) throw new Error(window.text);
  return [
    { kind: 'attempt-started', point, attempt, reason: attempt === 1 ? 'plan' : 'repeat', origin: 'first-pass' },
    ...steps.map((step): RunEventBody => ({ kind: 'step', step, point, attempt })),
    {
      kind: 'attempt-ended',
      point,
      attempt,
      verdict,
      window,
      criteria: [
        { rule: 'pressure', passed: true, text: `Mean ${(window.pressure.mean / 1e3).toFixed(2)} kPa, allowed 396.00 kPa to 404.00 kPa.` },
        { rule: 'supply', passed: verdict === 'accepted', text: `Mean ${window.supply.mean.toFixed(3)} V, allowed 11.950 V to 12.050 V.` },
      ],
      text: verdict === 'accepted' ? 'All criteria are met.' : 'The supply was out of its limits.',
    },
    ...(verdict === 'accepted' ? [{ kind: 'chosen', point, attempt, by: { rule: 'RUN-40' }, why: 'First accepted attempt.' } as const] : []),
  ];
}
