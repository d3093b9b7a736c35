/** How often a sound bench is called, over many runs. */
import { expect, it } from 'vitest';
import { calledIn, planOfSet, reducedSet } from './invariance-run.test-helper.ts';

it('RED-112 at most one sound run in a hundred has a call', () => {
  let runs = 0;
  for (let seed = 1; seed <= 120; seed += 1) if (calledIn(reducedSet({ seed })).length > 0) runs += 1;
  // More than 4 of 120 has a chance of 0.7 % at one in a hundred.
  expect(runs).toBeLessThanOrEqual(4);
});

it('RED-112 RED-171 nor where short widths alone were repeated, so that the scatter of long ones is hardly known', () => {
  const plan = planOfSet({}, { replicates: 3 });
  let runs = 0;
  for (let seed = 201; seed <= 320; seed += 1) {
    const seen = new Set<string>();
    // A run with targets that is ended early has repeated none but its shortest.
    const once = reducedSet({
      seed,
      of: plan,
      handedOver: (attempts, points) =>
        attempts.filter(({ point }) => {
          const at = points[point];
          if (at?.role !== 'measure' || at.width < 3.5e-3) return true;
          const key = `${at.injector} ${at.voltage} ${at.width}`;
          const first = !seen.has(key);
          seen.add(key);
          return first;
        }),
    });
    if (calledIn(once).length > 0) runs += 1;
  }
  expect(runs).toBeLessThanOrEqual(4);
});
