import { describe, expect, test } from 'vitest';
import { formatExpanded, formatQuantity } from './format.ts';
import { kilograms, microseconds, milliseconds } from './quantity.ts';
import type { KilogramsPerSecond } from './quantity.ts';

const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

describe('quantities with their unit', () => {
  test('end where their uncertainty ends, in the unit that is shown', () => {
    expect(plain(formatQuantity(milliseconds(0.68612), 'ms', microseconds(4.2)))).toBe('0.6861 ms');
    expect(plain(formatExpanded(milliseconds(0.68612), 'ms', microseconds(4.2)))).toBe('(0.6861 ± 0.0042) ms');
    expect(plain(formatExpanded(kilograms(12.3456e-6), 'mg', kilograms(0.021e-6)))).toBe('(12.346 ± 0.021) mg');
    expect(plain(formatExpanded(4.02e-3 as KilogramsPerSecond, 'mg/ms', 1.24e-5 as KilogramsPerSecond))).toBe('(4.020 ± 0.012) mg/ms');
    expect(plain(formatExpanded(4.02e-3 as KilogramsPerSecond, 'g/s', 1.24e-5 as KilogramsPerSecond))).toBe('(4.020 ± 0.012) g/s');
  });

  test('are never broken over two lines, and never a number where there is none', () => {
    expect(formatExpanded(milliseconds(1), 'ms', milliseconds(0.1))).not.toContain(' ');
    expect(plain(formatExpanded(milliseconds(Number.NaN), 'ms', milliseconds(1)))).toBe('– ms');
    expect(plain(formatExpanded(milliseconds(1.23456), 'ms', milliseconds(0)))).toBe('1.235 ms');
  });
});
