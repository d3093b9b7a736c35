import { describe, expect, test } from 'vitest';
import { settingsFrom } from './settings.ts';
import { flowIn, pulseIn, unitsFor } from './units.ts';

test('settings that cannot be used are the defaults, one by one', () => {
  const defaults = settingsFrom(null);
  expect(defaults).toEqual({ theme: 'system', flowUnit: 'mg', operator: '', operators: [], pressureUnit: 'kPa', temperatureUnit: 'degC', dates: 'en', decimal: 'point', gloves: false, sound: 'two-tone', notify: false });
  for (const stored of ['', 'x', '7', 'null', '{"theme":"pink","flowUnit":"pints","operator":"  "}']) expect(settingsFrom(stored)).toEqual(defaults);
  expect(settingsFrom('{"theme":"dark","flowUnit":"lb/h","operator":" Ada "}')).toEqual({ theme: 'dark', flowUnit: 'lb/h', operator: 'Ada', operators: [], pressureUnit: 'kPa', temperatureUnit: 'degC', dates: 'en', decimal: 'point', gloves: false, sound: 'two-tone', notify: false });
});

describe('amounts of fluid', () => {
  test('1 lb/h is 0.125 997 9 g/s (NIST SP 811, B.9: lb/h to kg/s, 1.259 979 E-04)', () => {
    expect(flowIn('lb/h', 1.259979e-4, null)).toBeCloseTo(1, 6);
    expect(flowIn('g/s', 1.259979e-4, null)).toBeCloseTo(0.1259979, 9);
  });

  test('cc/min needs a density: 1 g/s of 0.6 g/cm3 is 100 cc/min', () => {
    expect(flowIn('cc/min', 1e-3, 600)).toBeCloseTo(100, 9);
    expect(flowIn('cc/min', 1e-3, null)).toBeNull();
  });

  test('a mass per pulse is mg, or a flow by its period: 10 mg every 20 ms is 0.5 g/s', () => {
    expect(pulseIn('mg', 10e-6, 0.02, null)).toBeCloseTo(10, 9);
    expect(pulseIn('g/s', 10e-6, 0.02, null)).toBeCloseTo(0.5, 9);
  });

  test('the density is stated with cc/min and lb/h, and where it is not known that is said', () => {
    expect(unitsFor('cc/min', 683.72).statement).toContain('683.7');
    expect(unitsFor('lb/h', 683.72).statement).toContain('683.7');
    expect(unitsFor('cc/min', null).statement).toMatch(/not known/);
    expect(unitsFor('mg', 683.72)).toMatchObject({ statement: '', pulseUnit: 'mg', flowUnit: 'g/s' });
  });
});
