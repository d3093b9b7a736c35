/** Each single fault that the extension `watch` is for, as a scenario begins it on a bench that is at work. */
import { expect, it } from 'vitest';
import { decodeFromController, encodeRequest, type Request, type Telemetry } from '../line/messages.ts';
import { scenarioSchema, type Fault } from './plant/scenario.ts';
import { SimulatedBench } from './simulated-bench.ts';

const BEGINS_S = 12;

/** When the controller latched, ms after the fault began (at the latest: frames are 5 ms apart), and what. */
function trip(fault: Fault['fault'], pulses: { readonly widthNs: number; readonly periodUs: number } | null): { readonly code: string; readonly ms: number; readonly frame: Telemetry } {
  let latest: Telemetry | null = null;
  const bench = new SimulatedBench(
    scenarioSchema.parse({ scenarioVersion: 1, faults: [{ begins: { atS: BEGINS_S }, fault }] }),
    (bytes) => {
      const line = decodeFromController(Buffer.from(bytes).toString('latin1').trimEnd());
      if (line.kind === 'telemetry') latest = line.telemetry;
    },
  );
  let seq = 0;
  let us = 0;
  const say = (request: Request) => {
    seq += 1;
    bench.receive(Buffer.from(encodeRequest(seq, request), 'latin1'));
  };
  const pass = (ms: number) => {
    us += ms * 1e3;
    bench.advanceTo(us);
  };
  const start: Request[] = [
    { word: 'hello', token: 't' }, { word: 'describe', topic: 'extensions' }, { word: 'deadman', ms: 10_000 }, { word: 'telemetry', hz: 200 },
    { word: 'arm' }, { word: 'pump', on: true }, { word: 'pressure', pa: 400_000 }, { word: 'supply', mv: 14_000 },
  ];
  for (const request of start) say(request);
  pass(8_000);
  if (pulses !== null) say({ word: 'burst', channel: 2, ...pulses, count: 100_000 });
  for (;;) {
    pass(5);
    say({ word: 'alive' });
    const frame = latest as Telemetry | null;
    if (frame === null) throw new Error('no frame');
    if (frame.fault !== '') return { code: frame.fault, ms: us / 1e3 - BEGINS_S * 1e3, frame };
    if (us > (BEGINS_S + 10) * 1e6) return { code: '', ms: Number.POSITIVE_INFINITY, frame };
  }
}

const pulses = { widthNs: 3_000_000, periodUs: 20_000 };

it.each<readonly [string, Fault['fault'], typeof pulses | null, string, number]>([
  ['LINE-92', { kind: 'sensor-lost', sensor: 'pressure', end: 'low' }, null, 'sensor-pressure', 50],
  ['LINE-92', { kind: 'sensor-lost', sensor: 'rail-temperature', end: 'high' }, pulses, 'sensor-rail-temperature', 50],
  ['LINE-92', { kind: 'sensor-lost', sensor: 'meter-temperature', end: 'low' }, pulses, 'sensor-meter-temperature', 50],
  ['LINE-92', { kind: 'sensor-stuck', sensor: 'pressure' }, pulses, 'sensor-pressure', 2_050],
  ['LINE-92', { kind: 'sensor-stuck', sensor: 'current' }, pulses, 'sensor-current', 2_050],
  ['LINE-93', { kind: 'converter-stopped' }, pulses, 'converter', 50],
  ['LINE-94', { kind: 'driver-shorted', channel: 3 }, null, 'driver', 1_000],
  ['LINE-96', { kind: 'meter-rattling', hertz: 20_000 }, null, 'meter', 50],
])('%s %o on a bench at work: latched in time, rail pressure given up', (_, fault, work, code, withinMs) => {
  const found = trip(fault, work);
  expect(found).toMatchObject({ code, frame: { armed: false, active: false } });
  expect(found.ms).toBeGreaterThanOrEqual(0);
  expect(found.ms).toBeLessThanOrEqual(withinMs + 5);
});

it.each([[3, 20], [2, 4], [0.5, 100]])('LINE-95 a shorted coil in pulses of %f ms every %f ms trips within 2 ms of the next pulse', (widthMs, periodMs) => {
  const found = trip({ kind: 'coil-shorted', channel: 2 }, { widthNs: widthMs * 1e6, periodUs: periodMs * 1e3 });
  expect(found.code).toBe('over-current');
  expect(found.ms).toBeLessThanOrEqual(periodMs + 2 + 5);
});

it('LINE-94 a sound bench at work trips nothing: while it is filled, between bursts, and with all injectors shut', () => {
  expect(trip({ kind: 'meter-silent' }, pulses).code).toBe('');
  expect(trip({ kind: 'sensor-noisy', sensor: 'supply', sd: 1 }, null).code).toBe('');
});
