import { expect, test } from 'vitest';
import { withStep } from './undo.ts';
import type { Step } from './undo.ts';

test('WIN-31: letters typed into one field are one step, a paste stands alone, and the latest hundred stay', () => {
  let steps: readonly Step<string>[] = [];
  for (const [before, mark] of [['', 'a'], ['1', 'a'], ['1.', 'a'], ['1.5', ''], ['1.5 2', ''], ['1.5 2 3', 'b'], ['x', 'a']] as const) steps = withStep(steps, { before, what: '', mark });
  expect(steps.map(({ before }) => before)).toEqual(['', '1.5', '1.5 2', '1.5 2 3', 'x']);
  for (let i = 0; i < 200; i += 1) steps = withStep(steps, { before: String(i), what: '', mark: '' });
  expect(steps.length).toBe(100);
  expect(steps.at(-1)?.before).toBe('199');
});
