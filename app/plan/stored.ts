/**
 * Plans of old journals. A plan that somebody writes today gets today's defaults; a plan that a run was measured with
 * gives the same points for ever (PLAN-2), so what was not there then stays off when it is read again.
 */

import { shownThroughout } from '../boundary/text.ts';

/** Parts that came later and add points, as they were before they came: off. */
const thenOff = {
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
  const plan = shownThroughout(stored);
  return Object.keys(thenOff).every((part) => part in plan) ? plan : { ...thenOff, ...plan };
}
