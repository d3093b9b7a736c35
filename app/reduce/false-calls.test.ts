/** How often a sound bench is called, over many runs. */
import { expect, it } from 'vitest';
import { calledIn, reducedSet } from './invariance-run.test-helper.ts';

it('RED-112 at most one sound run in a hundred has a call', () => {
  let runs = 0;
  for (let seed = 1; seed <= 120; seed += 1) if (calledIn(reducedSet({ seed })).length > 0) runs += 1;
  // More than 4 of 120 has a chance of 0.7 % at one in a hundred.
  expect(runs).toBeLessThanOrEqual(4);
});
