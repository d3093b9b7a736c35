/** Injectors and drivers that do not work, on the whole simulated bench. */
import { expect, test } from 'vitest';
import { runInProcess, samplePlan, scenario } from '../builders/in-process.ts';
import { faultMatrix, goodInjectors } from './look.ts';

test.each([{ atBurst: 1 }, { atBurst: 6 }])('RUN-131 a driver that does not switch off (%o) trips, and nothing that was measured beside it counts', async (begins) => {
  const { events } = await runInProcess({
    plan: samplePlan('small-plan'),
    scenario: scenario({ faults: [{ begins, fault: { kind: 'driver-shorted', channel: 5 } }] }),
  });
  const trip = events.findIndex((event) => event.kind === 'tripped');
  expect(events[trip]).toMatchObject({ guard: expect.stringMatching(/idle-current|controller-fault|rail-pressure/) as string });
  // The proof is the first burst; each point has a purge and a burst.
  const driven = events.filter((event) => event.kind === 'attempt-ended' && event.verdict === 'accepted' && event.injector !== undefined);
  expect(driven.length).toBeLessThanOrEqual(2);
  expect(events.slice(trip).some((event) => event.kind === 'attempt-started')).toBe(false);
}, 60_000);

test('RUN-133 an injector that sticks in mid run is given up in under three minutes; the others end with their points', async () => {
  const plan = samplePlan('small-plan', (p) => ({ ...p, axes: { ...p.axes, replicates: 3 } }));
  const { state, events, verified } = await runInProcess({
    plan,
    scenario: scenario({ faults: [{ begins: { atBurst: 20 }, fault: { kind: 'injector-stuck-shut', channel: 2 } }] }),
  });
  const rejected = events.flatMap((event) => (event.kind === 'attempt-ended' && event.verdict === 'rejected' ? [event] : []));
  expect(rejected.map((event) => event.injector)).toEqual([1, 1, 1, 1]);
  expect(events.filter((event) => event.kind === 'injector-out')).toMatchObject([{ how: 'given-up', injector: 1, cause: 'no-flow' }]);
  const own = state.points.map((_, index) => index).filter((index) => state.points.at(index)?.waiting !== true);
  expect(state.counts.accepted).toBe(own.length);
  expect(verified).toBe(true);
}, 60_000);

test('RUN-142 each fault on a channel puts the right injector out or trips, and costs less than three minutes of bench time', async () => {
  const cells = await faultMatrix(77, [1, 6], ['stuck shut', 'open coil in mid run', 'coil of 14 ohm', 'passes 60 %', 'erratic, 40 %', 'swapped with the next', 'stuck open']);
  expect(cells.filter(({ held }) => !held)).toEqual([]);
  expect(cells).toHaveLength(14);
}, 120_000);

test('RUN-137 RUN-140 of 64 good injectors with production spread none is set aside; a look takes less than a minute', async () => {
  const good = await goodInjectors(8, 500);
  expect(good).toMatchObject({ injectors: 64, outs: [] });
  expect(good.longestLookS).toBeLessThan(60);
}, 120_000);
