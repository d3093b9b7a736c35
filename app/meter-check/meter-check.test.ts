import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parseEquipment } from '../equipment/parse.ts';
import { densityOfHeptane } from '../fluid/heptane.test-helper.ts';
import { celsius, kilopascals, pascals } from '../quantities/quantity.ts';
import { combined } from '../uncertainty/budget.ts';
import { labelOf } from '../uncertainty/source.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { buoyancyFactor } from './buoyancy.ts';
import { compareWith } from './compare.ts';
import { evaluateMeterCheck } from './evaluate.ts';
import { meterHistory, type NumberedCheck } from './in-force.ts';
import { meterStanding } from './standing.ts';
import { parseMeterCheck, type MeterCheck } from './meter-check.ts';

const record = syntheticEquipment;
const room = kilopascals(record.ambientKpa);

interface Made {
  readonly number?: string;
  readonly date?: string;
  readonly validUntil?: string;
  readonly purpose?: 'calibration' | 'verification';
  /** True K-factor over that of the record. */
  readonly ratio?: number;
  /** Relative error of each run of a rate. */
  readonly scatter?: readonly number[];
  readonly hertz?: readonly number[];
  readonly over?: Record<string, unknown>;
}

/** What the lab would write down for a meter whose K-factor is `ratio` times that of the record. */
function document({ number = 'MC-1', date = '2026-03-01', validUntil = '2026-09-01', purpose = 'calibration', ratio = 1, scatter = [1e-4, -1e-4, 0], hertz = [2, 20, 80], over = {} }: Made = {}) {
  const meterPressureKpa = 400;
  return {
    meterCheckVersion: 1,
    purpose,
    certificate: { number, date, validUntil },
    operator: 'Operator 1',
    meterSerialNumber: record.meter.serialNumber,
    balance: { serialNumber: 'B-1', uncertaintyG: 0.005, certificate: { number: 'C-B', date: '2026-01-05', validUntil: '2027-01-05' } },
    fluid: record.fluid,
    ambientKpa: record.ambientKpa,
    temperatureUncertaintyC: 0.1,
    pressureUncertaintyKpa: 0.4,
    evaporation: { gramsPerMinute: 0.01, uncertaintyGramsPerMinute: 0.0005 },
    flowRates: hertz.map((f) => ({
      runs: scatter.map((error) => {
        const durationS = 20_000 / f / 4;
        const edges = 5000;
        const kFactor = kFactorAt(record.meter, f) * ratio * (1 + error);
        const massKg = (edges * densityOfHeptane(celsius(21), pascals(room + meterPressureKpa * 1e3))) / kFactor;
        const caught = massKg * 1e3 - (0.01 * durationS) / 60;
        const startG = 250;
        return { edges, durationS, startG, endG: startG + caught / buoyancyFactor(densityOfHeptane(celsius(21), room)), meterTemperatureC: 21, meterPressureKpa };
      }),
    })),
    ...over,
  };
}

function checkOf(made: Made = {}): MeterCheck {
  const parsed = parseMeterCheck(document(made));
  if (!parsed.ok) throw new Error(parsed.problems.map((p) => `${p.path}: ${p.text}`).join(' '));
  return parsed.check;
}

function evaluated(made: Made = {}) {
  const check = checkOf(made);
  const result = evaluateMeterCheck(check);
  if (result.kind !== 'evaluated') throw new Error(result.text);
  return { check, result };
}

const numbered = (...made: readonly Made[]): NumberedCheck[] => made.map((one, i) => ({ no: i + 1, check: checkOf(one) }));

describe('the document', () => {
  it('MC-1: is refused with every problem named', () => {
    const refused = (over: Record<string, unknown>) => {
      const parsed = parseMeterCheck({ ...document(), ...over });
      return parsed.ok ? [] : parsed.problems.map((p) => p.path);
    };
    const run = { edges: 100, durationS: 60, startG: 300, endG: 300, meterTemperatureC: 21, meterPressureKpa: 400 };
    expect(refused({})).toEqual([]);
    expect(refused({ evaporation: undefined })).toEqual(['evaporation']);
    expect(refused({ flowRates: [{ runs: [run] }] })).toEqual(['flowRates[0].runs[0].endG']);
    expect(refused({ flowRates: [{ runs: [{ ...run, endG: Number.NaN }] }] })).toEqual(['flowRates[0].runs[0].endG']);
    expect(refused({ flowRates: [] })).toEqual(['flowRates']);
    expect(refused({ flowRates: [{ runs: [{ ...run, endG: 400, edges: -3 }] }] })).toEqual(['flowRates[0].runs[0].edges']);
    expect(refused({ certificate: { number: 'X', date: '2027-03-01', validUntil: '2027-02-01' } })).toEqual(['certificate.validUntil', 'balance.certificate']);
    const parsed = parseMeterCheck({ ...document(), certificate: { number: 'X', date: '2028-03-01', validUntil: '2029-02-01' } });
    expect(parsed.ok ? '' : parsed.problems[0]?.text).toMatch(/balance was not in calibration on the day of the check \(2028-03-01\)/);
  });
});

describe('K-factor', () => {
  it('MC-2, MC-3: comes back from what a known meter would have given', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.9, max: 1.1, noNaN: true }), fc.double({ min: 0.5, max: 200, noNaN: true }), (ratio, hertz) => {
        const { result } = evaluated({ ratio, hertz: [hertz], scatter: [0, 0] });
        expect((result.rates[0]?.kFactor.value ?? 0) / (kFactorAt(record.meter, hertz) * ratio)).toBeCloseTo(1, 12);
        expect(result.rates[0]?.hertz).toBeCloseTo(hertz, 9);
      }),
    );
  });

  it('MC-2: a density outside the range of the fluid is a typed answer', () => {
    const cold = document();
    cold.flowRates[0]?.runs.forEach((run) => (run.meterTemperatureC = -40));
    const parsed = parseMeterCheck(cold);
    expect(parsed.ok && evaluateMeterCheck(parsed.check)).toMatchObject({ kind: 'not-evaluated', reason: 'outside-fluid-range' });
  });

  it('MC-2: readings beyond what numbers hold are a typed answer', () => {
    const run = { edges: 1, durationS: 1e-320, startG: 0, endG: 1e-300, meterTemperatureC: 21, meterPressureKpa: 400 };
    const parsed = parseMeterCheck(document({ over: { flowRates: [{ runs: [run] }] } }));
    expect(parsed.ok && evaluateMeterCheck(parsed.check)).toMatchObject({ kind: 'not-evaluated', reason: 'not-a-number' });
  });

  it('MC-4: says the caution about evaporation, and more where it corrects much or is claimed to be none', () => {
    const cautions = (gramsPerMinute: number, uncertaintyGramsPerMinute: number) =>
      evaluated({ over: { evaporation: { gramsPerMinute, uncertaintyGramsPerMinute } } }).result.cautions;
    expect(cautions(0.001, 0.001)).toHaveLength(2);
    expect(cautions(0.001, 0.001)[0]).toContain('ISO 4185');
    expect(cautions(1, 0.1)[1]).toMatch(/Evaporation corrects a run by up to .* %/);
    expect(cautions(0, 0)[1]).toMatch(/Make a blank test/);
  });

  it('MC-5: each line of the budget is the change of K for a change of its input', () => {
    const base = document({ hertz: [20], scatter: [0] });
    const kOf = (over: Record<string, unknown>, runOver: Record<string, number> = {}) => {
      const [rate] = base.flowRates;
      const parsed = parseMeterCheck({ ...base, flowRates: [{ runs: [{ ...rate?.runs[0], ...runOver }] }], ...over });
      const result = parsed.ok ? evaluateMeterCheck(parsed.check) : null;
      if (result?.kind !== 'evaluated') throw new Error('no K-factor');
      return result.rates[0]?.runs[0];
    };
    const plain = kOf({});
    const run = base.flowRates[0]?.runs[0];
    if (plain === undefined || run === undefined) throw new Error('no run');
    const density = densityOfHeptane(celsius(21), room);
    const measured = (kgPerM3: number) => ({ fluid: { ...record.fluid, measuredDensity: { kgPerM3, atC: 21, on: '2026-02-01' } } });
    const changes: readonly [name: string, step: number, changed: ReturnType<typeof kOf>][] = [
      ['edge count', 1, kOf({}, { edges: run.edges + 1 })],
      ['balance', 0.01, kOf({}, { endG: run.endG + 0.01 })],
      ['evaporation', run.durationS / 60 / 1000, kOf({ evaporation: { gramsPerMinute: 0.011, uncertaintyGramsPerMinute: 0.0005 } })],
      ['air density', 0.01, kOf({ air: { densityKgPerM3: 1.21 } })],
      ['fluid density', (0.1 * (plain.budget.find((t) => labelOf(t.source) === 'fluid density')?.value ?? 0)) / density, kOf(measured(density + 0.1))],
      ['meter temperature', 0.1, kOf({}, { meterTemperatureC: 21.1 })],
      ['meter pressure', 10, kOf({}, { meterPressureKpa: 410 })],
      ['gas in the vessel', 1, kOf({ vessel: { vapourSaturation: 1, uncertainty: 0 } })],
    ];
    for (const [name, step, changed] of changes) {
      const line = plain.budget.find((t) => labelOf(t.source) === name);
      const found = ((changed?.kFactor ?? 0) / plain.kFactor - 1) / step;
      // The budget's line for temperature leaves out the vessel's buoyancy, a thousandth of it.
      expect(found / (line?.sensitivity ?? 0), name).toBeCloseTo(1, 2);
    }
    expect(plain.budget.map((t) => labelOf(t.source))).toEqual(changes.map(([name]) => name));
  });

  it('MC-15: start and stop, stored volume, drift of the balance and gas in the vessel enter where they are stated, and are asked for where not', () => {
    const stated = { startStopS: 0.1, storedVolumeMl: 0.05, vessel: { vapourSaturation: 1, uncertainty: 0.1 } };
    const [bare, full] = [evaluated(), evaluated({ over: { ...stated, balance: { ...document().balance, driftG: 0.01 } } })];
    const [run] = full.result.rates[2]?.runs ?? [];
    const line = (name: string) => run?.budget.find((t) => labelOf(t.source) === name);
    // 0.1 s of 62.5 s, 0.05 mL and 0.01 g of what was caught: each by hand.
    expect(line('start and stop')?.contribution).toBeCloseTo(0.1 / 62.5, 9);
    expect((line('balance drift')?.contribution ?? 0) * (run?.massG ?? 0)).toBeCloseTo(0.01, 4);
    expect((line('volume between meter and vessel')?.contribution ?? 0) * (run?.massG ?? 0)).toBeCloseTo(0.05 * 0.683, 3);
    expect((full.result.rates[2]?.kFactor.uRandom ?? 0) / (bare.result.rates[2]?.kFactor.uRandom ?? 1)).toBeGreaterThan(5);
    // Saturated gas is 0.137 kg/m3 heavier than air, so 200 ppm more went in than a vessel full of air says.
    expect((full.result.rates[0]?.runs[0]?.massG ?? 0) / (bare.result.rates[0]?.runs[0]?.massG ?? 1) - 1).toBeCloseTo(2e-4, 5);
    expect(bare.result.cautions.at(-1)).toMatch(/does not say how far apart .*startStopS.*storedVolumeMl.*balance\.driftG.*vessel/);
    expect(full.result.cautions.join(' ')).not.toContain('does not say');
  });

  it('MC-6: scatter averages, shared parts do not, and few runs widen the interval', () => {
    const many = evaluated({ scatter: [3e-4, -3e-4, 3e-4, -3e-4, 3e-4, -3e-4, 3e-4, -3e-4] }).result.rates[0];
    const few = evaluated({ scatter: [3e-4, -3e-4] }).result.rates[0];
    if (many === undefined || few === undefined) throw new Error('no rates');
    expect(many.kFactor.uRandom).toBeLessThan(few.kFactor.uRandom);
    expect(many.kFactor.uShared / few.kFactor.uShared).toBeCloseTo(1, 3);
    expect(many.kFactor.uShared / many.kFactor.value).toBeCloseTo(combined(many.runs[0]?.budget ?? [], 'shared'), 6);
    expect(few.kFactor.dofRandom).toBe(3);
    expect(few.kFactor.coverageFactor).toBeGreaterThan(many.kFactor.coverageFactor);
  });

  it('MC-6: runs that agree by luck are not taken as better than the count of edges', () => {
    const rate = evaluated({ scatter: [0, 0, 0] }).result.rates[0];
    expect((rate?.kFactor.uRandom ?? 0) / (rate?.kFactor.value ?? 1)).toBeCloseTo(1 / Math.sqrt(6) / 5000 / Math.sqrt(3), 9);
  });
});

describe('verdict', () => {
  const verdict = (made: Made) => {
    const { check, result } = evaluated(made);
    return compareWith({ meter: record.meter, by: null }, record.meter, check, result);
  };

  it('MC-7: scatter above the limit, or no rate run twice, says nothing of the meter', () => {
    expect(verdict({ scatter: [3e-3, -3e-3, 0] })).toMatchObject({ verdict: 'not-repeatable' });
    expect(verdict({ scatter: [0] })).toMatchObject({ verdict: 'not-repeatable' });
  });

  it('MC-7: one run that is not of one piece with the others, and runs of two rates under one, say nothing either', () => {
    const spoilt = document({ scatter: [1e-5, -1e-5, 0] });
    const run = spoilt.flowRates[1]?.runs[2];
    if (run !== undefined) run.endG = run.startG + 0.9985 * (run.endG - run.startG);
    const parsed = parseMeterCheck(spoilt);
    const result = parsed.ok ? evaluateMeterCheck(parsed.check) : null;
    if (!parsed.ok || result?.kind !== 'evaluated') throw new Error('no check');
    // Pooled, it looks as if the check repeated well enough.
    expect(100 * (result.repeatability?.sd ?? 1)).toBeLessThan(0.1);
    const found = compareWith({ meter: record.meter, by: null }, record.meter, parsed.check, result);
    expect(found.verdict).toBe('not-repeatable');
    expect(found.text).toMatch(/run 3 of rate 2/);
    const mixed = document({ hertz: [4, 48, 80] });
    mixed.flowRates.push({ runs: [...(mixed.flowRates[0]?.runs ?? []), ...(mixed.flowRates[1]?.runs ?? [])] });
    const both = parseMeterCheck(mixed);
    expect(both.ok && meterHistory([{ no: 1, check: both.check }], record, '2026-05-01').entries[0]).toMatchObject({ effect: 'none', outcome: { comparison: { verdict: 'not-one-rate' } } });
  });

  it('MC-8: says the difference where it reaches farthest with its uncertainty, and not the largest difference', () => {
    const wide = document({ over: { evaporation: { gramsPerMinute: 0.5, uncertaintyGramsPerMinute: 0.5 } } });
    const parsed = parseMeterCheck(wide);
    const result = parsed.ok ? evaluateMeterCheck(parsed.check) : null;
    if (!parsed.ok || result?.kind !== 'evaluated') throw new Error('no check');
    const { text, deviations } = compareWith({ meter: record.meter, by: null }, record.meter, parsed.check, result);
    const [lowest] = deviations;
    expect(text).toContain(`± ${lowest?.expandedPercent.toFixed(3)} % at 2.00 Hz`);
  });

  it('MC-8: is within, outside or undecided by the uncertainty of the check', () => {
    expect(verdict({ ratio: 1 })).toMatchObject({ verdict: 'within' });
    expect(verdict({ ratio: 1.0029 })).toMatchObject({ verdict: 'undecided' });
    expect(verdict({ ratio: 0.9971 })).toMatchObject({ verdict: 'undecided' });
    expect(verdict({ ratio: 1.01 })).toMatchObject({ verdict: 'outside' });
    const low = verdict({ ratio: 0.99 });
    expect(low.verdict).toBe('outside');
    expect(low.text).toMatch(/-1\.\d{3} ± 0\.\d{3} % .*drifted by more than 0\.3 %/);
    expect(low.en).toBeGreaterThan(1);
    expect(verdict({ ratio: 1.0005 }).text).toMatch(/E_n is 0\.\d\d, so check and certificate agree/);
    for (const { percent, expandedPercent } of low.deviations) {
      expect(percent).toBeCloseTo(-1, 1);
      expect(expandedPercent).toBeGreaterThan(0.1);
    }
  });
});

describe('in force', () => {
  it('MC-9: the record of a run has the checked K-factor, its uncertainty and its certificate, and is a valid record', () => {
    const { inForce } = meterHistory(numbered({ ratio: 1.001 }), record, '2026-05-01');
    if (inForce.kind !== 'in-force') throw new Error(inForce.text);
    const { meter } = inForce.equipment;
    for (const hertz of [0.5, 2, 7, 20, 300]) expect(kFactorAt(meter, hertz) / kFactorAt(record.meter, hertz)).toBeCloseTo(1.001, 4);
    expect(meter.certificate).toEqual({ number: 'MC-1', date: '2026-03-01', validUntil: '2026-09-01' });
    const { check, result } = evaluated({ ratio: 1.001 });
    const largest = Math.max(...compareWith({ meter: record.meter, by: null }, record.meter, check, result).deviations.map((d) => d.expandedPercent)) / 1.96;
    expect(meter.relativeUncertaintyPercent).toBeGreaterThan(largest * 0.999);
    expect(meter.relativeUncertaintyPercent).toBeLessThan(largest * 1.05);
    expect(parseEquipment(JSON.parse(JSON.stringify(inForce.equipment)))).toEqual({ ok: true, equipment: inForce.equipment });
    expect({ ...inForce.equipment, meter: record.meter }).toEqual(record);
  });

  it('MC-9: rates that disagree widen the uncertainty', () => {
    const skew = document({ hertz: [2, 20, 80], over: { limits: { driftPercent: 0.5 } } });
    for (const rate of [1, 2]) skew.flowRates[rate]?.runs.forEach((run) => (run.endG = 250 + (run.endG - 250) * 0.998));
    const parsed = parseMeterCheck(skew);
    if (!parsed.ok) throw new Error('refused');
    const { inForce } = meterHistory([{ no: 1, check: parsed.check }], record, '2026-05-01');
    if (inForce.kind !== 'in-force') throw new Error(inForce.text);
    expect(inForce.equipment.meter.relativeUncertaintyPercent).toBeGreaterThan(0.2 / 2 / Math.sqrt(3));
    expect(kFactorAt(inForce.equipment.meter, 11) / kFactorAt(record.meter, 11)).toBeCloseTo(1.001, 3);
  });

  it('MC-9: outside of the checked rates the curve is less sure, the farther the less', () => {
    const { inForce } = meterHistory(numbered({ hertz: [8, 20, 40] }), record, '2026-05-01');
    if (inForce.kind !== 'in-force') throw new Error(inForce.text);
    const own = (hertz: number) => inForce.equipment.meter.kFactor.find((p) => p.hertz === hertz)?.ownUncertaintyPercent ?? 0;
    const [lowest, highest] = [record.meter.kFactor[0]?.hertz ?? 0, record.meter.kFactor.at(-1)?.hertz ?? 0];
    expect(own(20)).toBe(0);
    expect(own(lowest)).toBeGreaterThan(0);
    expect(own(highest)).toBeGreaterThan(0);
  });

  it('MC-10: only checks of this meter up to the day count, the newest by its date', () => {
    const checks = numbered(
      { number: 'MC-2', date: '2026-04-01', ratio: 1.001 },
      { number: 'MC-1', date: '2026-02-01' },
      { number: 'MC-3', date: '2026-08-01', ratio: 1.002 },
      { number: 'other', date: '2026-04-15', over: { meterSerialNumber: 'M-2' } },
    );
    const on = (date: string) => {
      const { inForce } = meterHistory(checks, record, date);
      return inForce.kind === 'in-force' ? inForce.check.certificate.number : inForce.reason;
    };
    expect([on('2026-01-31'), on('2026-02-01'), on('2026-03-31'), on('2026-04-01'), on('2026-07-31'), on('2026-08-01')]).toEqual(['never-checked', 'MC-1', 'MC-1', 'MC-2', 'MC-2', 'MC-3']);
    expect(meterHistory(checks.toReversed(), record, '2026-08-01')).toEqual(meterHistory(checks, record, '2026-08-01'));
    const sameDay = numbered({ number: 'first' }, { number: 'second' });
    expect(meterHistory(sameDay, record, '2026-05-01').inForce).toMatchObject({ no: 2 });
  });

  it('MC-11: a calibration that has drifted comes into force only when a person has accepted it', () => {
    const drifted = { number: 'MC-2', date: '2026-04-01', ratio: 1.01 };
    expect(meterHistory(numbered({}, drifted), record, '2026-05-01').inForce).toMatchObject({ kind: 'none', reason: 'suspended' });
    const accepted = { ...drifted, over: { driftAccepted: { by: 'Operator 2', why: 'The rotor was changed.' } } };
    expect(meterHistory(numbered({}, accepted), record, '2026-05-01').inForce).toMatchObject({ kind: 'in-force', no: 2 });
  });

  it('MC-11: a verification confirms and never comes into force; one that does not repeat does nothing', () => {
    const verification = { purpose: 'verification', date: '2026-04-01' } as const;
    const { entries, inForce } = meterHistory(numbered({}, verification, { date: '2026-04-02', scatter: [5e-3, -5e-3] }), record, '2026-05-01');
    expect(entries.map((e) => e.effect)).toEqual(['came-into-force', 'confirmed', 'none']);
    expect(inForce).toMatchObject({ kind: 'in-force', no: 1 });
    expect(meterHistory(numbered(verification), record, '2026-05-01').inForce).toMatchObject({ kind: 'none', reason: 'never-checked' });
  });

  it('MC-12: a check that is outside suspends, and only a new calibration ends that', () => {
    const checks = numbered(
      {},
      { purpose: 'verification', date: '2026-04-01', ratio: 1.01 },
      { purpose: 'verification', date: '2026-04-10' },
      { number: 'MC-4', date: '2026-04-20', ratio: 1.0005 },
    );
    const suspended = meterHistory(checks, record, '2026-04-15').inForce;
    expect(suspended).toMatchObject({ kind: 'none', reason: 'suspended' });
    expect(suspended.kind === 'none' && suspended.text).toMatch(/check 2 .* drifted/);
    expect(meterHistory(checks, record, '2026-04-20').inForce).toMatchObject({ kind: 'in-force', no: 4 });
  });

  it('MC-12: drift is told against the K-factor that was in force, not against the old certificate', () => {
    const checks = numbered({ ratio: 1.0025, over: { limits: { driftPercent: 0.6 } } }, { date: '2026-04-01', ratio: 1.005, purpose: 'verification', over: { limits: { driftPercent: 0.6 } } });
    const outcome = meterHistory(checks, record, '2026-05-01').entries[1]?.outcome;
    expect(outcome?.evaluated === null ? [] : outcome?.comparison.deviations.map((d) => Math.round(d.percent * 20) / 20)).toEqual([0.25, 0.25, 0.25]);
  });

  it('MC-13: a calibration that has ended is not in force', () => {
    const checks = numbered({ validUntil: '2026-06-30' });
    expect(meterHistory(checks, record, '2026-06-30').inForce.kind).toBe('in-force');
    const ended = meterHistory(checks, record, '2026-07-01').inForce;
    expect(ended).toMatchObject({ kind: 'none', reason: 'ended' });
    expect(ended.kind === 'none' && ended.text).toContain('ended on 2026-06-30');
  });

  const knowsNothing = { over: { evaporation: { gramsPerMinute: 0.5, uncertaintyGramsPerMinute: 0.5 } } };

  it('MC-11: what knows the K-factor worse than the drift that it is to find comes into force over nothing and ends no suspension', () => {
    const alone = meterHistory(numbered(knowsNothing), record, '2026-05-01');
    expect(alone.entries[0]).toMatchObject({ effect: 'none', outcome: { comparison: { verdict: 'undecided' } } });
    expect(alone.entries[0]?.effectText).toMatch(/U95 of up to \d+\.\d+ % is more than the 0\.3 %/);
    const drifted = { date: '2026-03-10', ratio: 1.01, purpose: 'verification' } as const;
    const after = meterHistory(numbered({}, drifted, { ...knowsNothing, date: '2026-04-01' }), record, '2026-05-01');
    expect(after.inForce).toMatchObject({ kind: 'none', reason: 'suspended' });
  });

  it('MC-11: an undecided calibration takes the place of nothing, but for one that a person accepts; the first may agree with the certificate', () => {
    const first = meterHistory(numbered({ ratio: 1.0015 }), record, '2026-05-01');
    expect(first.entries[0]).toMatchObject({ effect: 'came-into-force', outcome: { comparison: { verdict: 'undecided' } } });
    const between = { date: '2026-04-01', ratio: 1.003, number: 'MC-2' };
    const second = meterHistory(numbered({}, between), record, '2026-05-01');
    expect(second.entries[1]?.outcome).toMatchObject({ comparison: { verdict: 'undecided' } });
    expect(second.entries[1]?.effectText).toMatch(/takes no place and ends no suspension/);
    expect(second.inForce).toMatchObject({ kind: 'in-force', no: 1 });
    const accepted = { ...between, over: { driftAccepted: { by: 'Operator 2', why: 'Known since the new bearing.' } } };
    expect(meterHistory(numbered({}, accepted), record, '2026-05-01').inForce).toMatchObject({ kind: 'in-force', no: 2 });
  });

  it('MC-11: a calibration of fewer than three rates comes into force nowhere', () => {
    const { entries, inForce } = meterHistory(numbered({ hertz: [48] }), record, '2026-05-01');
    expect(inForce).toMatchObject({ kind: 'none', reason: 'never-checked' });
    expect(entries[0]?.effectText).toMatch(/at least 3 flow rates, .* has 1\./);
  });

  it('MC-11: confirms and suspends only what there is', () => {
    const verification = { purpose: 'verification', date: '2026-10-01', validUntil: '2026-12-31' } as const;
    expect(meterHistory(numbered({}, verification), record, '2026-10-01').entries[1]).toMatchObject({ effect: 'none', effectText: expect.stringMatching(/no calibration .* in force that it could confirm/) as string });
    expect(meterHistory(numbered({ ...verification, ratio: 1.01 }), record, '2026-10-01').entries[0]?.effectText).toBe('Until a new calibration no K-factor of this meter is in force.');
  });

  it('MC-16: against a check of the same balance and lot, density and balance cancel, so an unchanged meter is confirmed', () => {
    const { entries } = meterHistory(numbered({ ratio: 1.002 }, { purpose: 'verification', date: '2026-04-01', ratio: 1.002 }), record, '2026-05-01');
    const [first, second] = entries.map((e) => (e.outcome.evaluated === null ? [] : e.outcome.comparison.deviations.map((d) => d.expandedPercent)));
    expect(Math.max(...(second ?? []))).toBeLessThan(0.5 * Math.max(...(first ?? [])));
    expect(entries[1]?.effect).toBe('confirmed');
    const otherLot = { ...record.fluid, lot: 'L-2' };
    const apart = meterHistory(numbered({ ratio: 1.002 }, { purpose: 'verification', date: '2026-04-01', ratio: 1.002, over: { fluid: otherLot } }), record, '2026-05-01').entries[1];
    const wide = apart?.outcome.evaluated === null ? [] : (apart?.outcome.comparison.deviations.map((d) => d.expandedPercent) ?? []);
    expect(Math.max(...wide)).toBeGreaterThan(Math.max(...(first ?? [])));
  });

  it('MC-17: creep from check to check is held against the certificate', () => {
    const years = Array.from({ length: 8 }, (_, i) => ({ number: `MC-${i + 1}`, date: `${2027 + i}-03-01`, validUntil: `${2028 + i}-04-01`, ratio: 1.002 ** (i + 1), over: { balance: { ...document().balance, certificate: { number: 'C-B', date: '2026-01-05', validUntil: '2040-01-05' } } } }));
    const { entries } = meterHistory(numbered(...years), record, '2036-01-01');
    const creeping = entries.findIndex((e) => e.outcome.evaluated !== null && e.outcome.comparison.verdict === 'outside');
    // 0.8 % with a U95 below 0.2 %, of which 0.6 % are allowed.
    expect(creeping).toBe(3);
    expect(entries[creeping]).toMatchObject({ effect: 'suspended' });
    expect(entries[creeping]?.outcome.evaluated !== null && entries[creeping]?.outcome.comparison.text).toMatch(/crept by more than 0\.6 % from its certificate/);
  });

  it('MC-18: what was said of a check stands, and a new certificate takes its place', () => {
    const [plain] = numbered({});
    if (plain === undefined) throw new Error('no check');
    const judged: NumberedCheck = { no: 1, check: { ...plain.check, judged: { against: record.meter, verdict: 'within', effect: 'came-into-force', text: 'As it was said.' } } };
    const repaired = { ...record, meter: { ...record.meter, kFactor: record.meter.kFactor.map((p) => ({ ...p, edgesPerLitre: 1.01 * p.edgesPerLitre })), certificate: { number: 'C-2', date: '2026-09-01', validUntil: '2027-09-01' } } };
    const { entries, inForce } = meterHistory([judged], repaired, '2026-10-01');
    expect(entries[0]).toMatchObject({ effect: 'came-into-force', superseded: true, outcome: { comparison: { verdict: 'within', text: 'As it was said.' } } });
    expect(entries[0]?.effectText).toMatch(/Certificate C-2 of 2026-09-01 stands in its place/);
    expect(inForce).toMatchObject({ kind: 'none', reason: 'never-checked' });
    // The record that the check made is held against what the check was held against.
    const made = meterHistory([judged], record, '2026-05-01').inForce;
    if (made.kind !== 'in-force') throw new Error(made.text);
    const again = meterHistory([judged], made.equipment, '2026-05-01');
    expect(again.record.meter).toEqual(record.meter);
    expect(again.inForce).toEqual(made);
  });

  it('PRE-63: a run is told what the checks say of its meter', () => {
    const on = (checks: readonly NumberedCheck[], equipment = record) => meterStanding(checks, equipment, '2026-05-01');
    const good = numbered({});
    expect(on([])).toMatchObject({ result: 'pass', checkedHertz: null });
    expect(on(good)).toMatchObject({ result: 'warn' });
    const made = meterHistory(good, record, '2026-05-01').inForce;
    if (made.kind !== 'in-force') throw new Error(made.text);
    const standing = on(good, made.equipment);
    expect(standing.result).toBe('pass');
    expect(standing.checkedHertz?.lowest).toBeCloseTo(2, 6);
    expect(standing.checkedHertz?.highest).toBeCloseTo(80, 6);
    const drifted = numbered({}, { date: '2026-04-01', ratio: 1.01, purpose: 'verification' });
    for (const equipment of [record, made.equipment]) expect(on(drifted, equipment)).toMatchObject({ result: 'untraceable', text: expect.stringMatching(/check 2 .* drifted/) as string });
    expect(on(numbered({ validUntil: '2026-04-01' }))).toMatchObject({ result: 'warn', text: expect.stringMatching(/ended/) as string });
    expect(on(numbered({ hertz: [48] }))).toMatchObject({ result: 'warn', text: expect.stringMatching(/no check came into force/) as string });
  });
});
