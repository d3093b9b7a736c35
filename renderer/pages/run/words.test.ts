import { describe, expect, it } from 'vitest';
import { clockText, countingText, timeLeftText, waitingText } from './words.ts';

describe('words of the run page', () => {
  it('says lengths of time as one would', () => {
    expect([7, 750, 3723].map(clockText)).toEqual(['0:07', '12:30', '1:02:03']);
    const noon = new Date(2026, 10, 25, 12, 0).getTime();
    expect(timeLeftText(null, noon)).toBe('');
    expect(timeLeftText(20, noon)).toBe('less than a minute left, done about 12:00');
    expect(timeLeftText(720, noon)).toBe('about 12 min left, done about 12:12');
    expect(timeLeftText(13 * 3600, noon)).toBe('about 13 h left, done about 26 Nov, 01:00');
  });

  it('WIN-20 tells the clock of a simulated bench from the one on the wall', () => {
    const noon = new Date(2026, 10, 25, 12, 0).getTime();
    expect(timeLeftText(2400, noon, 20)).toBe('about 40 min of bench time left (2 min by the clock, 20 times as fast), done about 12:02');
  });

  it('says what is waited for with value, unit and band', () => {
    expect(waitingText({ text: 'rail pressure in band', value: 391.24, low: 396, high: 404, unit: 'kPa' })).toBe(
      'Waiting for: rail pressure in band, now 391.2 kPa, band 396.0 to 404.0 kPa.',
    );
    expect(waitingText({ text: 'meter edges', value: 40, low: 96, high: null, unit: 'edges' })).toBe('Waiting for: meter edges, 40 of 96 edges.');
    expect(waitingText({ text: 'supply read-back steady', value: null, low: 13.95, high: 14.05, unit: 'V' })).toBe(
      'Waiting for: supply read-back steady. No reading yet, band 13.950 to 14.050 V.',
    );
  });

  it('says which attempt counts, who says so and why', () => {
    const base = { attempts: [], skipped: null, queued: false, waiting: false, decided: false, firstPassRejected: 0, secondPassRejected: 0, queueRejected: 0 };
    expect(countingText({ ...base, chosen: null, choice: null })).toBe('Not measured yet.');
    expect(countingText({ ...base, chosen: 2, choice: { by: { rule: 'RUN-36' }, why: 'It was asked for.' } })).toBe('Attempt 2 counts: It was asked for.');
    expect(countingText({ ...base, chosen: null, choice: { by: { person: 'Operator' }, why: 'It leaks.' } })).toBe('No attempt counts (Operator decided): It leaks.');
  });
});
