import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parseEquipment } from '../equipment/parse.ts';
import { expandPlan } from './expand.ts';
import { equipmentJsonSchema, planJsonSchema } from './json-schema.ts';
import { wantedUs } from './wanted.ts';
import { parsePlan } from './parse.ts';


type Document = Record<string, unknown>;

const plan = (change: Document = {}): Document => ({
  planVersion: 1,
  name: 'A plan',
  injectors: [
    { serialNumber: 'A1', type: 'T', channel: 1 },
    { serialNumber: 'A2', type: 'T', channel: 2 },
  ],
  axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 5, 12], periodMs: [20], replicates: 3 },
  ...change,
});
const axes = (change: Document) => plan({ axes: { ...(plan()['axes'] as Document), ...change } });
const guard = (change: Document) => plan({ guards: [{ id: 'g', signal: 'pressure-kpa', high: 500, level: 'trip', ...change }] });
const reference = (change: Document) =>
  plan({ reference: { injector: 'A1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 10, ...change } });

/** A plan with targets that knows its type; `again`: twice. */
const knowing = (change: Document, again?: Document): Document => {
  const known = (more: Document) => ({ type: 'T', pressureKpa: 400, linearFromOpenMs: 1.4, deadTimes: [{ voltageV: 10, deadTimeMs: 1.1 }, { voltageV: 14, deadTimeMs: 0.7 }], scatterPercent: 0.1, scatterUs: 1, from: 'run 1', ...more });
  return plan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 2.5, 3, 4, 6, 9], periodMs: [20], replicates: 1 }, targets: { deadTimeUs: 5, known: [known(change), ...(again === undefined ? [] : [known(again)])] } });
};

/** A plan that wants a map and nothing of measured cells; undefined: it wants nothing at all. */
const wantingMap = (change: Document | undefined): Document =>
  plan({
    axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 2.5, 3, 4, 6, 9], periodMs: [20], replicates: 1 },
    targets: change === undefined ? { hours: 2 } : { map: { voltageV: [10, 12, 14], pressureKpa: [350, 400], deadTimeUs: 5, ...change } },
  });

const certificate = { number: 'C-1', date: '2026-01-05', validUntil: '2027-01-04' };
const equipment = (change: Document = {}): Document => ({
  equipmentVersion: 1,
  name: 'Bench',
  meter: {
    kind: 'gear', serialNumber: 'M', kFactor: [{ hertz: 1, edgesPerLitre: 48_000 }, { hertz: 9, edgesPerLitre: 48_010 }],
    relativeUncertaintyPercent: 0.1, edgesPerRevolution: 24, certificate,
  },
  pressure: { serialNumber: 'P', uncertaintyKpa: 0.4, certificate },
  temperature: { serialNumber: 'T', uncertaintyC: 0.1, certificate },
  supply: { serialNumber: 'S', uncertaintyMv: 5, certificate },
  fluid: { name: 'n-heptane', lot: 'L', openedOn: '2026-01-05', densityUncertaintyPercent: 0.1 },
  ambientKpa: 101.325,
  ...change,
});

/** A document that must be refused: the rule, what is changed, the path named, and words that the sentence must hold. */
type Bad = readonly [rule: string, document: unknown, path: string, words: string];

/** Refused by the schema itself, hence by the JSON Schema as well. */
const badByForm: readonly Bad[] = [
  ['PLAN-20', null, '', 'an object with named fields, but it is null'],
  ['PLAN-20', plan({ planVersion: 2 }), 'planVersion', 'must be 1, but it is 2'],
  ['PLAN-20', plan({ name: undefined }), 'name', 'missing'],
  ['PLAN-20', plan({ name: '' }), 'name', 'must not be empty'],
  ['PLAN-20', plan({ colour: 'red' }), 'colour', 'no field of this name'],
  ['PLAN-20', axes({ widthsMs: [1] }), 'axes.widthsMs', 'no field of this name'],
  ['PLAN-20', axes({ widthMs: [2, 3, 4, '5'] }), 'axes.widthMs[3]', 'a finite number, but it is the text "5"'],
  ['PLAN-20', axes({ widthMs: [] }), 'axes.widthMs', '1 entry or more'],
  ['PLAN-20', axes({ widthMs: 3 }), 'axes.widthMs', 'a list, but it is 3'],
  ['PLAN-20', axes({ voltageV: [10, -1] }), 'axes.voltageV[1]', 'more than 0, but it is -1'],
  ['PLAN-20', axes({ replicates: 1.5 }), 'axes.replicates', 'a whole number, but it is 1.5'],
  ['PLAN-20', axes({ replicates: 1001 }), 'axes.replicates', 'at most 1000'],
  ['PLAN-20', plan({ sequence: { kind: 'backwards' } }), 'sequence.kind', 'one of nested, alternating, shuffled, randomised'],
  ['PLAN-20', plan({ settleS: 1e9 }), 'settleS', 'at most 86400'],
  ['PLAN-20', plan({ injectors: [{ serialNumber: 'A1', channel: 1 }] }), 'injectors[0].type', 'missing'],
  ['PLAN-20', guard({ id: 'Not Good' }), 'guards[0].id', 'small letters, digits and hyphens'],
  ['PLAN-25', guard({ high: undefined }), 'guards[0]', 'give low, high or both'],
];

/** Refused by the rules between fields, which JSON Schema cannot express. */
const badBetweenFields: readonly Bad[] = [
  ['PLAN-20', axes({ voltageV: [10, NaN] }), 'axes.voltageV[1]', 'a finite number'],
  ['PLAN-20', axes({ voltageV: [Infinity] }), 'axes.voltageV[0]', 'a finite number'],
  ['PLAN-21', plan({ injectors: [{ serialNumber: 'A1', type: 'T', channel: 1 }, { serialNumber: 'A1', type: 'T', channel: 2 }] }), 'injectors[1].serialNumber', 'already that of injector 1 of the list'],
  ['PLAN-21', plan({ injectors: [{ serialNumber: 'A1', type: 'T', channel: 1 }, { serialNumber: 'A2', type: 'T', channel: 1 }] }), 'injectors[1].channel', 'already drives injector 1 of the list'],
  ['PLAN-21', plan({ guards: [1, 2].map(() => ({ id: 'g', signal: 'current-a', high: 3, level: 'note' })) }), 'guards[1].id', 'already that of guard 1'],
  ['PLAN-22', axes({ widthMs: [2, 3, 2] }), 'axes.widthMs[2]', '2 ms is the same as value 1'],
  ['PLAN-22', axes({ voltageV: [14, 14.0001] }), 'axes.voltageV[1]', '1 mV'],
  ['PLAN-23', reference({ injector: 'A9' }), 'reference.injector', 'not in the list of injectors'],
  ['PLAN-24', axes({ widthMs: [2, 25] }), 'axes.widthMs[1]', 'the duty would be 125.0 %'],
  ['PLAN-24', axes({ widthMs: [2, 18] }), 'axes.widthMs[1]', 'limits.dutyPercent allows (85 %)'],
  ['PLAN-24', axes({ widthMs: [2, 18], periodMs: [40, 20] }), 'axes.widthMs[1]', 'a period of 20 ms'],
  ['PLAN-24', reference({ widthMs: 19 }), 'reference.widthMs', 'duty of 95.0 %'],
  ['PLAN-24', plan({ purge: { widthMs: 30 } }), 'purge.widthMs', 'does not fit'],
  ['PLAN-25', guard({ low: 600 }), 'guards[0]', 'low must be below high'],
  ['PLAN-25', guard({ low: 490, hysteresis: 6 }), 'guards[0].hysteresis', 'With a hysteresis of ± 6 kPa'],
  ['PLAN-26', plan({ accept: { temperatureMinC: 30, temperatureMaxC: 20 } }), 'accept.temperatureMinC', 'must be below'],
  ['PLAN-26', plan({ condition: { temperatureMinC: 30 } }), 'condition.temperatureMinC', 'must be below'],
  ['PLAN-27', plan({ window: { minS: 10, maxS: 5 } }), 'window.minS', 'must not be longer'],
  ['PLAN-28', plan({ condition: { steadyS: 120 } }), 'condition.steadyS', 'given up after 120 s'],
  ['PLAN-84', plan({ reduction: { driftCorrection: 'reference' } }), 'reduction.driftCorrection', 'Give it a reference'],
  ['PLAN-86', plan({ types: [{ type: 'T' }, { type: 'T', resistanceOhm: 12 }] }), 'types[1].type', 'already that of type 1 of the list'],
  ['PLAN-86', plan({ types: [{ type: 'No such' }] }), 'types[0].type', 'No injector of this plan is of the type No such'],
  ['PLAN-86', plan({ types: [{ type: 'T', uncertaintyOhm: 0.1 }] }), 'types[0].resistanceOhm', 'and no resistance'],
  ['PLAN-86', plan({ types: [{ type: 'T', kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 0.1, timeConstantS: 5 }] }), 'types[0].uncertaintyTimeConstantS', 'the uncertainty of the time constant is missing'],
  ['PLAN-86', plan({ types: [{ type: 'T', kelvinPerWatt: 1, timeConstantS: 5 }] }), 'types[0].uncertaintyKelvinPerWatt', 'the uncertainty of that and the uncertainty of the time constant are missing'],
  ['PLAN-92', plan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 2.5, 3, 4, 6, 9], periodMs: [20], replicates: 1 }, targets: { deadTimeUs: 5, atVoltage: [{ voltageV: 12, deadTimeUs: 5 }] } }), 'targets.atVoltage[0].voltageV', 'none of the voltages'],
  ['PLAN-92', plan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 2.5, 3, 4, 6, 9], periodMs: [20], replicates: 1 }, targets: { deadTimeUs: 5, atVoltage: [{ voltageV: 10, deadTimeUs: 5 }, { voltageV: 10, deadTimeUs: 6 }] } }), 'targets.atVoltage[1].voltageV', 'already'],
  ['PLAN-92', plan({ targets: { deadTimeUs: 5 } }), 'targets', '3 are too few'],
  ['PLAN-100', wantingMap(undefined), 'targets.deadTimeUs', 'none of them wants anything'],
  ['PLAN-104', plan({ ...wantingMap({}), targets: { staticFlowPercent: 0.4 }, static: { replicates: 1 } }), 'targets.staticFlowPercent', 'static.replicates to 2 or more'],
  ['PLAN-102', wantingMap({ voltageV: [10, 12, 10.0004] }), 'targets.map.voltageV[2]', 'listed already'],
  ['PLAN-102', wantingMap({ pressureKpa: [350, 350] }), 'targets.map.pressureKpa[1]', 'listed already'],
  ['PLAN-102', wantingMap({ atVoltage: [{ voltageV: 11, deadTimeUs: 3 }] }), 'targets.map.atVoltage[0].voltageV', 'none of the voltages of the map'],
  ['PLAN-102', wantingMap({ atVoltage: [{ voltageV: 12, deadTimeUs: 3 }, { voltageV: 12, deadTimeUs: 4 }] }), 'targets.map.atVoltage[1].voltageV', 'already'],
  ['PLAN-99', knowing({ type: 'another' }), 'targets.known[0].type', 'No injector'],
  ['PLAN-99', knowing({ pressureKpa: 300 }), 'targets.known[0].pressureKpa', '300 kPa is none of the rail pressures'],
  ['PLAN-99', knowing({}, {}), 'targets.known[1].type', 'already'],
  ['PLAN-99', knowing({ deadTimes: [{ voltageV: 10, deadTimeMs: 1 }, { voltageV: 10, deadTimeMs: 1 }] }), 'targets.known[0].deadTimes', 'once'],
  ['PLAN-53', plan({ look: { longMs: 18 } }), 'look.longMs', 'duty of 90.0 %'],
  ['PLAN-53', plan({ look: { shortMs: 9 } }), 'look.shortMs', 'must be below the longer'],
  ['PLAN-29', axes({ widthMs: Array.from({ length: 500 }, (_, i) => 2 + i / 100), replicates: 101 }), 'axes', '207081 points'],
];

const good: readonly unknown[] = [
  plan(),
  reference({}),
  guard({ low: 300, hysteresis: 20 }),
  plan({ sequence: { kind: 'randomised' }, window: { minEdges: 2 }, purge: { pulses: 0, widthMs: 30 } }),
  axes({ voltageV: [14, 14.001] }),
];

describe('reading a plan', () => {
  test.each([...badByForm, ...badBetweenFields])('%s refuses with the path (case %#)', (_rule, document, path, words) => {
    const parsed = parsePlan(document);
    expect(parsed.ok).toBe(false);
    if (parsed.ok) return;
    expect(parsed.problems.map((p) => p.path)).toContain(path);
    expect(parsed.problems.find((p) => p.path === path)?.text).toContain(words);
    for (const { text } of parsed.problems) expect(text).toMatch(/^[A-Z0-9].*\.$/u);
  });

  test('PLAN-20 reports every problem, not only the first', () => {
    const parsed = parsePlan(axes({ voltageV: ['a', 'b'], x: 1, y: 2 }));
    expect(parsed.ok ? [] : parsed.problems.map((p) => p.path)).toEqual(['axes.voltageV[0]', 'axes.voltageV[1]', 'axes.x', 'axes.y']);
  });

  test.each(good)('accepts a good plan (case %#)', (document) => {
    expect(parsePlan(document)).toMatchObject({ ok: true });
  });

  test('PLAN-85 what a plan says of its types adds no points, and a plan without them stays as it was stored', () => {
    const said = parsePlan(plan({ types: [{ type: 'T', resistanceOhm: 12, uncertaintyOhm: 0.2, kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 0.1, timeConstantS: 5, uncertaintyTimeConstantS: 1 }] }));
    const silent = parsePlan(plan());
    expect(said.ok && silent.ok && expandPlan(said.plan)).toEqual(silent.ok && expandPlan(silent.plan));
    expect(silent.ok && 'types' in silent.plan).toBe(false);
  });

  test('PLAN-60 PLAN-61 PLAN-62 what may go on by itself has its defaults in a plan that was stored before it could be said, and no other points', () => {
    expect(plan()).not.toHaveProperty('byItself');
    const stored = parsePlan(plan());
    const said = parsePlan(plan({ byItself: { gapS: 3, holdS: 600, perHour: 10 } }));
    expect(stored).toMatchObject({ ok: true, plan: { byItself: { gapS: 3, holdS: 600, perHour: 10 } } });
    expect(stored.ok && said.ok && expandPlan(stored.plan)).toEqual(said.ok && expandPlan(said.plan));
    for (const [field, value] of [['gapS', 0], ['holdS', -1], ['perHour', 0.5]] as const) {
      expect(parsePlan(plan({ byItself: { [field]: value } })), field).toMatchObject({ ok: false, problems: [{ path: `byItself.${field}` }] });
    }
  });

  test('fills in the defaults', () => {
    const parsed = parsePlan(plan());
    expect(parsed).toMatchObject({
      ok: true,
      plan: { sequence: { kind: 'shuffled', seed: 1 }, limits: { dutyPercent: 85 }, guards: [], purge: { pulses: 50 } },
    });
  });

  test('takes any document without falling over', () => {
    for (const document of [undefined, 0, 'x', [], [[]], { axes: [] }, { axes: { widthMs: { length: 1 } } }, () => 1]) {
      expect(parsePlan(document).ok).toBe(false);
    }
  });
});

describe('what is known of a type', () => {
  test('PLAN-98: is taken over, stands in the plan, and is nothing where the plan does not say', () => {
    const parsed = parsePlan(knowing({}));
    expect(parsed.ok ? parsed.plan.targets?.known[0] : parsed.problems).toMatchObject({ type: 'T', linearFromOpenMs: 1.4, from: 'run 1' });
    const absent = parsePlan(plan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 2.5, 3, 4, 6, 9], periodMs: [20], replicates: 1 }, targets: { deadTimeUs: 5 } }));
    expect(absent.ok && absent.plan.targets?.known).toEqual([]);
  });
});

describe('a map that is wanted', () => {
  test('PLAN-100 PLAN-101: has axes of its own, needs no target of measured cells, and adds no points', () => {
    const parsed = parsePlan(wantingMap({}));
    expect(parsed).toMatchObject({ ok: true, plan: { targets: { map: { voltageV: [10, 12, 14], pressureKpa: [350, 400], deadTimeUs: 5 }, hours: 24 } } });
    if (!parsed.ok) return;
    const { targets } = parsed.plan;
    expect([wantedUs(targets ?? {}, 10), wantedUs(targets?.map ?? {}, 12)]).toEqual([null, 5]);
    const measured = parsePlan(plan({ ...wantingMap({}), targets: { deadTimeUs: 5 } }));
    expect(measured.ok && expandPlan(measured.plan)).toEqual(expandPlan(parsed.plan));
    expect(parsePlan(wantingMap({ deadTimeUs: undefined }))).toMatchObject({ ok: false });
    expect(parsePlan(plan({ ...wantingMap({}), targets: { slopePercent: 1 } }))).toMatchObject({ ok: true });
  });
});

describe('reading an equipment record', () => {
  test('accepts a good one', () => expect(parseEquipment(equipment()).ok).toBe(true));

  test.each([
    [equipment({ ambientKpa: 0 }), 'ambientKpa', 'more than 0'],
    [equipment({ meter: { ...(equipment()['meter'] as Document), kFactor: [{ hertz: 9, edgesPerLitre: 1 }, { hertz: 1, edgesPerLitre: 1 }] } }), 'meter.kFactor[1].hertz', 'must rise'],
    [equipment({ supply: { serialNumber: 'S', uncertaintyMv: 5, certificate: { ...certificate, validUntil: '2025-01-01' } } }), 'supply.certificate.validUntil', 'before it was issued'],
    [equipment({ pressure: { serialNumber: 'P', uncertaintyKpa: 1, certificate: { ...certificate, date: '2026-02-30' } } }), 'pressure.certificate.date', 'a date like'],
    [equipment({ fluid: { name: 'n-heptane', lot: 'L', openedOn: '2026-01-05', densityUncertaintyPercent: 0.1, measuredDensity: { kgPerM3: 684, atC: 20, on: '2025-12-01' } } }), 'fluid.measuredDensity.on', 'before this lot was opened'],
  ])('refuses with the path (case %#)', (document, path, words) => {
    const parsed = parseEquipment(document);
    expect(parsed.ok ? [] : parsed.problems).toEqual([{ path, text: expect.stringContaining(words) as string }]);
  });
});

describe('PLAN-30 the JSON Schema accepts and refuses as the program does', () => {
  const ajv = new Ajv2020({ formats: { date: true }, strictTypes: false });
  const validPlan = ajv.compile(planJsonSchema());
  const validEquipment = ajv.compile(equipmentJsonSchema());
  const asJson = (document: unknown) => JSON.parse(JSON.stringify(document)) as unknown;

  test.each(good)('accepts (case %#)', (document) => expect(validPlan(asJson(document))).toBe(true));
  test.each(badByForm)('refuses %s (case %#)', (_rule, document) => expect(validPlan(asJson(document))).toBe(false));
  test('equipment', () => {
    expect(validEquipment(equipment())).toBe(true);
    expect(validEquipment(equipment({ ambientKpa: 'low' }))).toBe(false);
    expect(validEquipment(equipment({ meter: { serialNumber: 'M' } }))).toBe(false);
  });
});
