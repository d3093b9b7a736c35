import fc from 'fast-check';
import { afterEach, expect, test } from 'vitest';
import { storedFrom } from '../settings/quantities.ts';
import { useSettings } from '../settings/settings.ts';
import type { PressureUnit, TemperatureUnit } from '../settings/settings.ts';
import { problemShown } from './problem-shown.ts';

const before = useSettings.getState();
afterEach(() => useSettings.setState(before));
const choose = (pressureUnit: PressureUnit, temperatureUnit: TemperatureUnit = 'degC'): void => useSettings.setState({ ...before, pressureUnit, temperatureUnit });

const tooMuch = 'This must be at most 1000, but it is 2068.42718795.';

test('WIN-206: limits and what was typed are told in the unit of the field, with the unit', () => {
  expect(problemShown(tooMuch, 'kPa')).toBe('This must be at most 1000 kPa, but it is 2068.43 kPa.');
  choose('psi', 'degF');
  expect(problemShown(tooMuch, 'kPa')).toBe('This must be at most 145.037 psi, but it is 300 psi.');
  expect(problemShown('This must be more than 0, but it is 0.', 'kPa')).toBe('This must be more than 0 psi, but it is 0 psi.');
  expect(problemShown('This must be at least -20, but it is -40.', '°C')).toBe('This must be at least −4 °F, but it is −40 °F.');
  expect(problemShown('This must be at most 5, but it is 10.', '°C', true)).toBe('This must be at most 9 °F, but it is 18 °F.');
  expect(problemShown('This must be at least 1, but it is 0.')).toBe('This must be at least 1, but it is 0.');
  expect(problemShown('This must be at most 1000, but it is 10000001.')).toBe('This must be at most 1000, but it is 10000001.');
  expect(problemShown('This must be at most 18, but it is 30.', 'V')).toBe('This must be at most 18 V, but it is 30 V.');
  useSettings.setState({ decimal: 'comma' });
  expect(problemShown(tooMuch, 'kPa')).toBe('This must be at most 145,037 psi, but it is 300 psi.');
});

test('WIN-206: a limit that is shown is inside of the limit that is meant', () => {
  fc.assert(
    fc.property(fc.constantFrom<PressureUnit>('kPa', 'bar', 'psi'), fc.constantFrom<TemperatureUnit>('degC', 'degF'), fc.constantFrom('kPa', '°C', 'V'), fc.constantFrom('at most', 'at least'), fc.double({ min: -300, max: 5000, noNaN: true }).filter((n) => Math.abs(n) > 1e-3), (pressure, temperature, unit, how, limit) => {
      choose(pressure, temperature);
      const said = problemShown(`This must be ${how} ${limit}, but it is 1.`, unit);
      const shown = storedFrom(unit, Number(/at (?:most|least) (\S+)/u.exec(said)?.[1]?.replace('−', '-')));
      // To the eighth decimal of the unit that is shown, to which the way there and back is rounded.
      expect(how === 'at most' ? shown - limit : limit - shown).toBeLessThan(storedFrom(unit, 1e-8, true));
      expect(Math.abs(shown - limit)).toBeLessThan(Math.max(1e-5 * Math.abs(limit), 1e-2));
    }),
  );
});
