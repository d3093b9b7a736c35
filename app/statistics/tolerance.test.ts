import { describe, expect, it } from 'vitest';
import { twoSidedFactor } from './tolerance.ts';

const usual = { content: 0.95, confidence: 0.95 };

describe('CMP-9: factors of tolerance intervals', () => {
  it('two-sided: the exact ones (K. Krishnamoorthy and T. Mathew, Statistical Tolerance Regions, 2009, B.2; from memory), and near the older approximate ones', () => {
    for (const [n, k] of [[3, 9.789], [5, 5.077], [10, 3.393], [20, 2.76], [30, 2.555]] as const) expect(twoSidedFactor({ n, ...usual })).toBeCloseTo(k, 2);
    // Wald and Wolfowitz's approximation, which older tables of ISO 16269-6 have.
    for (const [n, k] of [[10, 3.379], [20, 2.752], [30, 2.549]] as const) expect(Math.abs(twoSidedFactor({ n, ...usual }) / k - 1)).toBeLessThan(0.006);
  });
});
