import { expect, it } from 'vitest';
import { scaleFor } from './strip-scale.ts';

it('WIN-19 a strip has three to five ticks of round numbers over whatever it shows', () => {
  for (let i = 0; i < 4000; i += 1) {
    // Spans over nine decades, at places up to a thousand spans away.
    const span = 10 ** (-4 + (i % 90) / 10);
    const low = span * (Math.sin(i * 12.9898) * 1000);
    const { bottom, top, ticks, decimals } = scaleFor(low, low + span);
    expect(ticks.length, `${low} over ${span}`).toBeGreaterThanOrEqual(3);
    expect(ticks.length).toBeLessThanOrEqual(5);
    expect(bottom).toBeLessThanOrEqual(low + span * 1e-6);
    expect(top).toBeGreaterThanOrEqual(low + span * (1 - 1e-6));
    // What is written beside them tells them apart, and is what they are.
    expect(new Set(ticks.map((tick) => tick.toFixed(decimals))).size).toBe(ticks.length);
    for (const tick of ticks) expect(Math.abs(Number(tick.toFixed(decimals)) - tick)).toBeLessThan(span * 1e-6);
  }
  expect(scaleFor(388, 401.2).ticks).toEqual([385, 390, 395, 400, 405]);
  expect(scaleFor(19.8, 20.9).ticks).toEqual([19.5, 20, 20.5, 21]);
});
