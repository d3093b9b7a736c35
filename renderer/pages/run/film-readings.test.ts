import { expect, test, vi } from 'vitest';
import { FilmReadings, filmStretchMs } from './film-readings.ts';
import type { SignalPart } from './film-readings.ts';

const base = 10 * filmStretchMs;

/** A bench whose pressure in kPa is the second of the day. */
function readings(): { readonly readings: FilmReadings; readonly asked: number[] } {
  const asked: number[] = [];
  const read = ({ from, to, parts }: { readonly from: number; readonly to: number; readonly parts: number }): Promise<readonly SignalPart[]> => {
    asked.push(from / filmStretchMs);
    const step = (to - from) / parts;
    return Promise.resolve(Array.from({ length: parts }, (_, i) => {
      const at = from + (i + 0.5) * step;
      return { at, pressure: [at / 1000, at / 1000 + 1] as [number, number], temperature: null, supply: [14, 14] as [number, number], flow: null };
    }));
  };
  return { readings: new FilmReadings(read, base), asked };
}
const settled = (): Promise<void> => new Promise((resolve) => {
  setTimeout(resolve);
});

test('WIN-91 a strip of a film ends at its instant and reaches five minutes back, over the seam of two stretches', async () => {
  const { readings: film } = readings();
  const instant = base + 60_250;
  film.lookAt(instant);
  await settled();
  const { times, low, high } = film.source('pressure').view();
  expect(film.source('pressure').now()).toBe(instant / 1000);
  expect(times.at(-1)).toBe(base / 1000 + 59.5);
  expect(times[0]).toBeLessThanOrEqual((instant - filmStretchMs) / 1000);
  expect([...times].every((at, i) => i === 0 || at - (times[i - 1] ?? 0) === 1)).toBe(true);
  expect([low.at(-1), high.at(-1)]).toEqual([base / 1000 + 59.5, base / 1000 + 60.5]);
  film.close();
});

test('WIN-91 the value beside a strip is that of the instant, and none where nothing was read', async () => {
  const { readings: film } = readings();
  film.lookAt(base + 10_600);
  await settled();
  expect(film.valueOf('pressure')).toEqual([base / 1000 + 10.5, base / 1000 + 11.5]);
  expect(film.valueOf('flow')).toBeNull();
  film.close();
});

test('WIN-91 a stretch is asked for once, ahead of time, and whoever draws is told when it has come', async () => {
  const { readings: film, asked } = readings();
  let told = 0;
  film.onChange(() => {
    told += 1;
  });
  film.lookAt(base + 1000);
  film.lookAt(base + 2000);
  const before = told;
  await settled();
  expect(asked.toSorted((a, b) => a - b)).toEqual([9, 10, 11]);
  expect(told).toBeGreaterThan(before);
  film.close();
});

test('WIN-91 what the bench has read since is seen when a stretch is looked at again: a film of a run that goes on does not stay empty', async () => {
  vi.useFakeTimers();
  let readTo = base + 30_000;
  let asked = 0;
  const film = new FilmReadings(({ from, to }) => {
    asked += 1;
    return Promise.resolve(Array.from({ length: Math.max(0, Math.floor((Math.min(to, readTo) - from) / 1000)) }, (_, i) => ({ at: from + 1000 * i + 500, pressure: [1, 2] as [number, number], temperature: null, supply: null, flow: null })));
  }, base);
  film.lookAt(base + 20_000);
  await vi.advanceTimersByTimeAsync(1);
  readTo = base + filmStretchMs + 60_000;
  await vi.advanceTimersByTimeAsync(3000);
  const before = asked;
  film.lookAt(base + filmStretchMs + 40_000);
  await vi.advanceTimersByTimeAsync(1);
  expect(film.valueOf('pressure')).toEqual([1, 2]);
  expect(film.source('pressure').view().times.length).toBe(300 + 40);
  // Not at every step of a film that plays.
  const after = asked;
  for (let step = 0; step < 5; step += 1) film.lookAt(base + filmStretchMs + 41_000 + step);
  await vi.advanceTimersByTimeAsync(1);
  expect(after).toBeGreaterThan(before);
  expect(asked).toBe(after);
  film.close();
  vi.useRealTimers();
});
