import { expect, test } from 'vitest';
import { saidChanges } from './said-changes.ts';

test('WIN-136 an accepted point changes nothing of what is said, another mode does', () => {
  const said = (run: string): string => saidChanges('Bench B-1 connected', run, 'You hold control');
  expect(said('Run: measuring, 3 of 40 points accepted')).toBe('Bench B-1 connected. Run: measuring. You hold control');
  expect(said('Run: measuring, 4 of 40 points accepted')).toBe(said('Run: measuring, 3 of 40 points accepted'));
  expect(said('Run paused, 4 of 40 points accepted')).not.toBe(said('Run: measuring, 4 of 40 points accepted'));
});
