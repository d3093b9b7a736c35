import { expect, test } from 'vitest';
import { durationText, roughDuration } from './durations.ts';

test.each([
  [0.25, '0.3 s'], [9.94, '9.9 s'], [9.96, '10 s'], [59.4, '59 s'], [59.7, '1 min'], [61, '1 min 1 s'], [119.6, '2 min'], [599, '9 min 59 s'], [599.7, '10 min'], [750, '13 min'],
  [3569, '59 min'], [3599, '1 h'], [3900, '1 h 5 min'], [86_400, '24 h'], [172_700, '47 h 58 min'], [172_799, '2 d'], [200_000, '2 d 8 h'], [Number.NaN, '–'],
])('%d s is %s', (seconds, text) => expect(durationText(seconds)).toBe(text));

test.each([[20, 'less than a minute'], [55, '1 min'], [95, '2 min'], [720, '12 min'], [3900, '1 h 5 min']])('about %d s is %s', (seconds, text) => expect(roughDuration(seconds)).toBe(text));
