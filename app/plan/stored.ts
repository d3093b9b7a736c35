/**
 * Plans of old journals. A plan that somebody writes today gets today's defaults; a plan that a run was measured with
 * gives the same points for ever (PLAN-2), so what was not there then stays off when it is read again.
 */

import { shownThroughout } from '../boundary/text.ts';

/** Parts that came later and add points, as they were before they came: off. What order a plan had that does not say. */
const thenOff = {
  sequence: { kind: 'alternating', seed: 1 },
  zero: { windowS: 0, settleS: 3, decayS: 0, deadTimeUs: 2 },
  pair: { windows: 0 },
  invariance: { percent: 0, pressurePercent: 2 },
  blind: { percent: 0, mostUs: 20 },
  look: { windowS: 0, periodMs: 20, resistancePercent: 5, flowPercent: 25, scatterPercent: 4, shutMlMin: 20 },
};

/**
 * The plan of an `opened` event (or its document) with every later part that adds points off where it is absent, and with names
 * that can be shown (PLAN-70).
 */
export function asStored<T>(stored: T): T {
  if (typeof stored !== 'object' || stored === null) return stored;
  const plan = withOrder(shownThroughout(stored));
  return Object.keys(thenOff).every((part) => part in plan) ? plan : { ...thenOff, ...plan };
}

/** An order without its kind is the one that was usual when it was stored. PLAN-82 */
function withOrder<T extends object>(plan: T): T {
  const { sequence } = plan as { readonly sequence?: unknown };
  return typeof sequence === 'object' && sequence !== null && !('kind' in sequence) ? { ...plan, sequence: { ...thenOff.sequence, ...sequence } } : plan;
}
