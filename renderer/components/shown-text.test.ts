import { afterEach, expect, test } from 'vitest';
import { quantityText } from '../settings/quantities.ts';
import { useSettings } from '../settings/settings.ts';
import { shownText } from './shown-text.ts';

const before = useSettings.getState();
afterEach(() => useSettings.setState(before));

test('WIN-190: a sentence has a minus sign before a negative number, and no other hyphen of it is touched', () => {
  expect(shownText('-0.5 % (-1.2 to -0.3), rail -5 degC')).toBe('−0.5 % (−1.2 to −0.3), rail −5 °C');
  for (const text of ['on 2026-11-27', 'SN-45', 'RH4-0117', 'a 3-4 range', 'report-12.json', 'n-heptane', '1e-5']) expect(shownText(text)).toBe(text);
});

test('RUN-246: a text of an earlier version is shown with terms of the trade, one of today as it is', () => {
  expect(shownText("The controller's dead-man works; coils are held against their type. Dead-man at 1 s.")).toBe("The controller's watchdog works; coils are compared with their type. Watchdog at 1 s.");
  const today = 'The watchdog of the controller was not proved: it latched no watchdog fault.';
  expect(shownText(today)).toBe(today);
});

test('WIN-190: units, minus and decimal sign of the settings come together, once', () => {
  useSettings.setState({ ...before, temperatureUnit: 'degF', pressureUnit: 'bar', decimal: 'comma' });
  const shown = shownText('400.5 kPa at -40.5 degC, +/- 0.5 degC off');
  expect(shown).toBe('4,005 bar at −40,9 °F, ± 0,9 °F off');
  expect(shownText(shown)).toBe(shown);
  expect(quantityText(-20, '°C')).toBe('−4 °F');
});
