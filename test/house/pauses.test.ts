import { describe, expect, it } from 'vitest';
import { pausesEverywhere, sameMass } from './pauses.ts';

describe('pausing', () => {
  it('at any step, in both kinds, ends in the same accepted data as a run that nobody disturbed', async () => {
    const found = await pausesEverywhere(7);
    expect(found.problems).toEqual([]);
    expect(found.pauses).toBeGreaterThan(15);
    expect(found.greatestDifference).toBeLessThan(sameMass);
  });
});
