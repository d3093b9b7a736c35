import { expect, it, vi } from 'vitest';
import { moreFlow, reducedSet } from './invariance-run.test-helper.ts';
import { shareSlopes } from './shared-slope.ts';

vi.mock(import('./shared-slope.ts'), async (original) => {
  const actual = await original();
  return { ...actual, shareSlopes: vi.fn(actual.shareSlopes) };
});

it('SCH-51 what the self-checks call is stated of the lines that are there: none is fitted anew', () => {
  const fitted = vi.mocked(shareSlopes);
  const calls = (part: number): { readonly called: boolean; readonly fits: number } => {
    fitted.mockClear();
    const { invariance } = reducedSet({ change: (window, _point, _before, over) => moreFlow(window, part * over) });
    return { called: invariance.members.some((m) => m.called), fits: fitted.mock.calls.length };
  };
  const quiet = calls(0);
  expect(quiet.called).toBe(false);
  // One reduction, and one with what the period pair said of the leak.
  expect(quiet.fits).toBe(2);
  expect(calls(2e-2)).toEqual({ called: true, fits: quiet.fits });
});
