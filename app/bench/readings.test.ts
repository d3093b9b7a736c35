import { describe, expect, it } from 'vitest';
import { guardedReading, guardSignalNames } from './guard-signals.ts';
import { frameSignals, mapWire, readingOf, readingsAt, readingsFromWire, readInto, signals, toShown, wireReadingOf, windowSignals } from './readings.ts';

const wire = { supplyMv: 12_003, currentMa: 950, pressurePa: 400_250, railMilliC: 20_500, meterMilliC: -20 };

describe('RUN-190 the table of signals', () => {
  it('names nothing twice', () => {
    for (const of of ['id', 'key', 'field', 'column', 'label', 'name'] as const) expect(new Set(signals.map((signal) => signal[of])).size).toBe(signals.length);
    expect(new Set(guardSignalNames).size).toBe(guardSignalNames.length);
  });

  it('brings the whole numbers of the line to SI, and SI to what is shown', () => {
    const readings = readingsFromWire(wire);
    expect(readings).toEqual({ supply: 12.003, current: 0.95, pressure: 400_250, railTemperature: 20.5 + 273.15, meterTemperature: -0.02 + 273.15 });
    expect(readingsFromWire({ ...wire, supplyInPulseMv: 11_950 })).toMatchObject({ supplyInPulse: 11.95 });
    const shown = Object.fromEntries(frameSignals.map((signal) => [signal.id, toShown(signal, readingOf(readings, signal.id) ?? Number.NaN)]));
    expect(shown).toEqual({ supply: 12.003, current: 0.95, pressure: 400.25, railTemperature: 20.5, meterTemperature: expect.closeTo(-0.02, 9) as number });
  });

  it('is followed by what names the readings of LINE-41 one by one', () => {
    const readings = readingsFromWire(wire);
    const values = new Float64Array(frameSignals.length);
    readInto(values, readings);
    expect([...values]).toEqual(frameSignals.map(({ id }) => readingOf(readings, id)));
    expect(readingsAt([...values].map((value) => [Number.NaN, value]), 1)).toEqual(readings);
    const doubled = mapWire(wire, (whole) => 2 * whole);
    expect(Object.keys(doubled)).toEqual(frameSignals.map(({ field }) => field));
    for (const { field } of frameSignals) expect(wireReadingOf(doubled, field)).toBe(2 * (wireReadingOf(wire, field) ?? Number.NaN));
  });

  it('keeps the orders in which frames and windows are stored', () => {
    expect(frameSignals.map(({ key }) => key)).toEqual(['supply-mv', 'current-ma', 'pressure-pa', 'rail-mdegc', 'meter-mdegc']);
    expect(windowSignals.map(({ id }) => id)).toEqual(['pressure', 'supply', 'current', 'railTemperature', 'meterTemperature', 'supplyInPulse']);
  });

  it('tells guards which of their signals are a reading', () => {
    expect(guardSignalNames.filter((signal) => guardedReading(signal) === null)).toEqual(['pressure-deviation-kpa', 'supply-deviation-v', 'idle-flow-ml-min']);
  });
});
