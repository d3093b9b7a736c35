/** Injectors and drivers that do not work, on the whole simulated bench. */
import { expect, test } from 'vitest';
import { runInProcess, samplePlan, scenario } from '../builders/in-process.ts';

test.each([{ atBurst: 1 }, { atBurst: 6 }])('RUN-131 a driver that does not switch off (%o) trips, and nothing that was measured beside it counts', async (begins) => {
  const { state, events } = await runInProcess({
    plan: samplePlan('small-plan'),
    scenario: scenario({ faults: [{ begins, fault: { kind: 'driver-shorted', channel: 5 } }] }),
  });
  const trip = events.findIndex((event) => event.kind === 'tripped');
  expect(events[trip]).toMatchObject({ guard: expect.stringMatching(/idle-current|controller-fault|rail-pressure/) as string });
  // The proof is the first burst; each point has a purge and a burst.
  expect(state.counts.accepted).toBeLessThanOrEqual(2);
  expect(events.slice(trip).some((event) => event.kind === 'attempt-started')).toBe(false);
}, 60_000);
