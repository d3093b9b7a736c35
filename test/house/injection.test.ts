import { describe, expect, it } from 'vitest';
import type { Plan } from '../../app/plan/plan.ts';
import { street, summaryOf } from './injection.ts';

/** One pressure, and what takes most of the time left out. */
const small = (plan: Plan): Plan => ({ ...plan, injectors: plan.injectors.slice(0, 2), axes: { ...plan.axes, pressureKpa: [400], replicates: 1 }, pair: { windows: 0 }, invariance: { ...plan.invariance, percent: 0 }, blind: { ...plan.blind, percent: 0 } });

describe('TAB-21: a controller that loads the tables', () => {
  it('meters what it means to within the stated U, and does not when the file was changed on the way', async () => {
    const good = summaryOf(await street({ seed: 11, injections: 120, change: small }));
    expect(good.withinU).toBeGreaterThan(0.85);
    expect(good.worstOfU).toBeLessThan(3);
    // Dead times that are longer by 5 %.
    const spoil = (xml: string): string => xml.replace(/(<SHORT-NAME>dead_time_\d+_\w+?(?<!_U95)<\/SHORT-NAME>[\s\S]*?<SW-VALUES-PHYS>)([\s\S]*?)(<\/SW-VALUES-PHYS>)/g, (_, before: string, values: string, after: string) => `${before}${values.replace(/<V>([\d.]+)<\/V>/g, (__, v: string) => `<V>${Number(v) * 1.05}</V>`)}${after}`);
    const bad = summaryOf(await street({ seed: 11, injections: 120, change: small, spoil }));
    expect(bad.withinU).toBeLessThan(good.withinU - 0.3);
  }, 240_000);
});
