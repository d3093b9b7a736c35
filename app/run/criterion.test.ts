import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { allowedText, around, criterionText, held, shownUnit } from './criterion.ts';
import type { HeldQuantity } from './criterion.ts';

const quantities = [
  'edges', 'length', 'pressure', 'pressureScatter', 'supply', 'railTemperature', 'meterTemperature', 'halvesDifference', 'halvesEdges', 'missingFrames', 'frames', 'pulses',
  'flowAfterPulses', 'flowScatter',
] as const satisfies readonly HeldQuantity[];
const number = fc.double({ min: -1e4, max: 1e4, noNaN: true });
const bound = fc.option(number, { nil: null });
const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

describe('RUN-193 a criterion as values', () => {
  it('passes when what was found is known and within its limits, which are allowed', () => {
    fc.assert(
      fc.property(fc.constantFrom(...quantities), bound, bound, bound, (quantity, found, low, high) => {
        const criterion = held('RUN-60', quantity, found, low, high);
        expect(criterion).toMatchObject({ rule: 'RUN-60', quantity, found, low, high });
        expect(criterion.passed).toBe(found !== null && !(low !== null && found < low) && !(high !== null && found > high));
      }),
    );
    expect(held('RUN-62', 'pressure', 396, ...around(400, 4)).passed).toBe(true);
    expect(held('RUN-62', 'pressure', Number.NaN, ...around(400, 4)).passed).toBe(false);
  });

  it('has its text from nothing but the values, in plain letters in the journal and with the signs of units on a page', () => {
    fc.assert(
      fc.property(fc.constantFrom(...quantities), bound, bound, bound, (quantity, found, low, high) => {
        const criterion = held('RUN-60', quantity, found, low, high);
        // What is read back from the journal tells the same, whatever stands in its text.
        const read = { ...(JSON.parse(JSON.stringify(criterion)) as typeof criterion), text: 'other words' };
        expect(plain(criterionText(read)).replaceAll('°C', 'degC')).toBe(criterion.text);
      }),
    );
  });

  it.each([
    [held('RUN-60', 'edges', 60, 100, null), '60 meter edges, at least 100 wanted'],
    [held('RUN-62', 'pressure', 404.214, ...around(400, 0.3)), 'rail pressure 404.21 kPa on average, 399.7 to 400.3 kPa wanted'],
    [held('RUN-65', 'railTemperature', 31, 15, 30), 'fluid temperature in the rail 31.00 °C on average, 15 to 30 °C wanted'],
    [held('RUN-67', 'halvesDifference', null, null, 5), 'too few edges to compare the halves of the window'],
    [held('RUN-68', 'missingFrames', 5.25, null, 4), '5.3 % of the telemetry frames missing, at most 4 % allowed'],
    [held('RUN-69', 'pulses', 97, ...around(100, 2)), 'the controller counted 97 pulses, 98 to 102 wanted'],
    [held('RUN-105', 'pulses', 1, null, 0), 'the controller counted 1 pulses, at most 0 wanted'],
    // What could not be found, and what nothing was held against.
    [held('RUN-60', 'edges', null, 100, null), 'not known meter edges, at least 100 wanted'],
    [held('RUN-64', 'supply', 14.1234, null, null), 'supply 14.123 V on average'],
    [held('RUN-67', 'halvesDifference', 5.123, null, null), 'flow of the two halves differs by 5.12 %'],
    [held('RUN-64', 'supply', 14.1, ...around(14, 0.1 + 0.2)), 'supply 14.100 V on average, 13.7 to 14.3 V wanted'],
  ])('%j', (criterion, text) => {
    expect(plain(criterionText(criterion))).toBe(text);
  });

  it('says what was allowed by itself, with its unit', () => {
    const said = (low: number | null | undefined, high: number | null | undefined, unit: string | undefined) => plain(allowedText({ low, high, unit } as Parameters<typeof allowedText>[0]));
    expect(said(396, 404, 'kPa')).toBe('396 to 404 kPa');
    expect(said(15, null, 'degC')).toBe('at least 15 °C');
    expect(said(undefined, 2, '')).toBe('at most 2');
    expect(said(0, 0, undefined)).toBe('0 to 0');
    expect(said(null, undefined, 'V')).toBe('');
    expect(shownUnit('degC')).toBe('°C');
    expect(shownUnit('mL/min')).toBe('mL/min');
  });

  it('has no words for what the table does not name', () => {
    expect(() => held('RUN-60', 'colour' as HeldQuantity, 1, null, null)).toThrow('there are no words for colour');
    const strange = { rule: 'RUN-60', passed: true, text: 'blue', quantity: 'colour', found: 1, low: null, high: null, unit: '' };
    expect(criterionText(strange)).toBe('blue');
    expect(criterionText({ rule: 'RUN-62', passed: true, text: 'as it was', quantity: 'pressure' })).toBe('as it was');
    expect(criterionText({ ...strange, quantity: 'pressure', found: 400 })).toBe('rail pressure 400.00 on average');
  });

  it('of an earlier journal, or of what is no number, is the text that stands there', () => {
    expect(criterionText({ rule: 'RUN-62', passed: false, text: 'rail pressure 404.21 kPa on average, 400 kPa +/- 4 kPa wanted' })).toBe('rail pressure 404.21 kPa on average, 400 kPa +/- 4 kPa wanted');
  });
});
