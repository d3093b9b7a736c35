/** What is read by the short way is what the schemas would have read, field by field: RUN-180. */
import { describe, expect, it } from 'vitest';
import type { RunEventBody } from './events.ts';
import { isPlainly } from './plain.ts';
import { bodySchemas } from './schemas.ts';

type Path = readonly string[];

const spread = { mean: 1, sd: 0.1 };
const window = {
  from: 1, to: 4, frames: 60, missingFrames: 0, edges: 120, firstEdgeAt: 1.01, lastEdgeAt: 3.99, partRates: [40, 40.1], pulses: 150, idle: { edges: 1, time: 2 },
  pressure: spread, supply: spread, railTemperature: spread, meterTemperature: spread, current: spread, supplyInPulse: spread,
};
const whole: readonly RunEventBody[] = [
  { kind: 'attempt-started', point: 0, attempt: 1, reason: 'plan', origin: 'first-pass' },
  { kind: 'step', step: 'supply', point: 3, attempt: 2 },
  { kind: 'attempt-ended', point: 0, attempt: 1, verdict: 'accepted', window, criteria: [{ rule: 'RUN-62', passed: true, text: '', quantity: 'p', found: 1, low: null, high: 2, unit: 'kPa' }], text: '', injector: 1, cause: 'c', drivenWidth: 5e-3 },
  { kind: 'attempt-ended', point: 0, attempt: 1, verdict: 'cut', window: null, criteria: [], text: '' },
  { kind: 'chosen', point: 0, attempt: 1, by: { rule: 'RUN-40' }, why: '' },
  { kind: 'chosen', point: 0, attempt: null, by: { person: 'op' }, why: 'air' },
] as unknown as readonly RunEventBody[];

/** Whatever may stand in a place, or be missing there. */
const anything: readonly unknown[] = [undefined, null, true, 'text', '', 'accepted', 'plan', 'second-pass', 'stop', 0, 1, -1, 0.5, -0, 1e300, 2 ** 53, Number.NaN, Number.POSITIVE_INFINITY, [], [1], [null], [spread], {}, spread, { rule: 1, person: 'op' }, { rule: 'RUN-1' }];

function places(value: unknown, at: Path = []): readonly Path[] {
  if (typeof value !== 'object' || value === null) return [at];
  return [at, ...Object.entries(value).flatMap(([key, of]) => places(of, [...at, key]))];
}

function replaced(value: unknown, [key, ...rest]: Path, by: unknown): unknown {
  if (key === undefined) return by;
  if (Array.isArray(value)) return value.map((item: unknown, i) => (String(i) === key ? replaced(item, rest, by) : item));
  return Object.fromEntries(Object.entries(value as object).flatMap(([name, of]) => (name !== key ? [[name, of]] : rest.length === 0 && by === undefined ? [] : [[name, replaced(of, rest, by)]])));
}

describe('RUN-180: the short way into the program', () => {
  it('is open to whole events', () => {
    for (const body of whole) expect(isPlainly(body.kind, body), body.kind).toBe(true);
  });

  it('lets nothing in that the schema of the kind refuses, whatever stands in whichever place', () => {
    let [tried, passed] = [0, 0];
    for (const body of whole) {
      for (const place of places(body)) {
        if (place.length === 0) continue;
        for (const other of anything) {
          const changed = replaced(body, place, other) as object;
          tried += 1;
          if (place[0] === 'kind' || !isPlainly(body.kind, changed)) continue;
          passed += 1;
          const read = bodySchemas[body.kind].safeParse(changed);
          expect(read.success, `${body.kind} ${place.join('.')}: ${typeof other} ${JSON.stringify(other)}`).toBe(true);
        }
      }
    }
    expect(tried).toBeGreaterThan(1500);
    expect(passed).toBeGreaterThan(100);
  });

  it('leaves to the schemas what it does not know, other kinds among it', () => {
    expect(isPlainly('paused', { kind: 'paused' })).toBe(false);
    expect(isPlainly('toString', {})).toBe(false);
    expect(isPlainly('attempt-ended', { ...whole[2], window: { ...window, decay: {} } })).toBe(false);
  });
});
