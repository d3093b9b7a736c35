import { describe, expect, it } from 'vitest';
import { agreementOf, pairVerdict } from '../results/agreement.ts';
import type { StatedNumber, StatedSet } from '../results/agreement.ts';
import { compareRuns } from '../results/comparison.ts';
import { drawErrors, madeRun, normalFrom, syntheticInjector, syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { carried, randomPart, sharedPart } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import { controllerDocument, controllerTables } from './build.ts';
import { parseLayout, plainLayout } from './layout.ts';
import { statedOfCsv, statedOfDocument, statedOfRun } from './stated.ts';

const plan = syntheticPlan({ voltageV: [9, 12, 14] }, 2);
const [first, second] = [madeRun({ plan, seed: 7 }), madeRun({ plan, seed: 8 })] as const;
/** Any names do, as long as they are one for one. */
const uuidOf = (name: string): string => `uuid of ${name}`;
const sets = [statedOfRun('run-7', first, uuidOf), statedOfRun('run-8', second, uuidOf)] as const;

function documentOf(run: typeof first, layout = plainLayout) {
  const built = controllerTables({ plan: run.plan, equipment: run.equipment, reduction: { ...run.reduction, windows: [] }, layout, travel: { runId: run.id, uuidOf } });
  if (!built.ok) throw new Error(built.text);
  return controllerDocument({ software: 's', run: { id: run.id, order: '', beganUtc: '', archiveId: '', archiveHead: '' }, notTraceable: [], layout, tables: built.tables, errorSources: [...built.errorSources] });
}

const plainNumber = (value: number, expanded: number, more: Partial<StatedNumber> = {}): StatedNumber => ({ of: 'S-1', quantity: 'slope', voltage: 12, pressure: 4e5, period: 0.02, value, expanded, k: 2, dof: Number.POSITIVE_INFINITY, carried: null, ...more });
const setOf = (name: string, ...numbers: StatedNumber[]): StatedSet => ({ name, numbers });

describe('CMP-1, CMP-2: two sets of results', () => {
  it('of two runs differ as the page of results has it, with the errors in common taken out by name', () => {
    const { rows } = agreementOf(...sets);
    const page = compareRuns(first, second).rows;
    expect(rows).toHaveLength(2 * page.length);
    for (const row of rows) {
      const { deadTime, slope } = page.find((p) => p.serialNumber === row.first.of && p.voltage === row.first.voltage) ?? {};
      const ours = row.first.quantity === 'slope' ? slope : deadTime;
      expect(row.difference).toBeCloseTo(ours?.value ?? 0, 15);
      expect(row.expanded / (ours?.u95 ?? 1)).toBeCloseTo(1, 10);
      expect(row.en).toBeCloseTo(row.difference / row.expanded, 12);
      expect(row.zeta).toBeCloseTo(row.difference / row.u, 12);
      expect(row.correlation).toBe('named');
    }
  });

  it('the same number twice does not differ, whatever its last digit became in a file', () => {
    const own = carried(1e-3, [sharedPart({ ...errorSource('k-factor'), key: 'meter' }, 1e-6)]);
    const again = { ...own, value: 1.0000000000004e-3 };
    const { rows, text } = agreementOf(setOf('a', plainNumber(own.value, 2e-6, { carried: own })), setOf('b', plainNumber(again.value, 2e-6, { carried: again })));
    expect(rows[0]).toMatchObject({ difference: 0, en: 0, zeta: 0 });
    expect(text).toContain('They agree');
    expect(text).not.toContain('On average');
  });

  it('that do not name their errors are taken for independent: En over the root of both U squared, zeta over both u', () => {
    const { rows, text } = agreementOf(setOf('a', plainNumber(10, 0.3)), setOf('b', plainNumber(10.4, 0.4)));
    expect(rows[0]).toMatchObject({ correlation: 'independent', en: expect.closeTo(0.8, 12) as number, zeta: expect.closeTo(1.6, 12) as number });
    expect(text).toContain('is not known');
    const far = agreementOf(setOf('a', plainNumber(10, 0.3)), setOf('b', plainNumber(11, 0.4)));
    expect(far.rows.map(pairVerdict)).toEqual([expect.stringContaining('DIFFER (an action signal')]);
    expect(agreementOf(setOf('a', plainNumber(10, 0.3)), setOf('b', plainNumber(10.6, 0.4))).rows.map(pairVerdict)).toEqual([expect.stringContaining('a warning signal')]);
  });

  it('CMP-3: are held against each other place by place, and what has no counterpart, or more than one, is counted', () => {
    const { rows, left } = agreementOf(
      setOf('a', plainNumber(1, 1), plainNumber(2, 1, { of: 'S-2' }), plainNumber(3, 1, { voltage: 14 })),
      setOf('b', plainNumber(1, 1, { period: null }), plainNumber(9, 1, { quantity: 'dead-time' }), plainNumber(3, 1, { voltage: 14 }), plainNumber(3, 1, { voltage: null, pressure: 4e5, of: 'S-3' })),
    );
    expect(rows.map((r) => [r.first.value, r.second.value])).toEqual([[1, 1], [3, 3]]);
    expect(left).toEqual(['1 results are in a alone.', '2 results are in b alone.']);
    expect(agreementOf(setOf('a', plainNumber(1, 1)), setOf('b', plainNumber(1, 1, { period: 0.02 }), plainNumber(1, 1, { period: null }))).left[0]).toContain('more than one');
  });

  it('CMP-4: a shift that all have in common is found and said, though no pair alone shows it, and none is found where there is none', () => {
    const shifted = (by: number) => setOf('b', ...Array.from({ length: 20 }, (_, i) => { const value = 1 + by; return plainNumber(value, 0.02, { of: `S-${i}`, carried: carried(value, [randomPart(errorSource('line-height', `b${i}`), 0.01, 100, `b${i}`), sharedPart({ ...errorSource('k-factor'), key: 'meter' }, 0.05)]) }); }));
    const own = setOf('a', ...Array.from({ length: 20 }, (_, i) => plainNumber(1, 0.02, { of: `S-${i}`, carried: carried(1, [randomPart(errorSource('line-height', `a${i}`), 0.01, 100, `a${i}`), sharedPart({ ...errorSource('k-factor'), key: 'meter' }, 0.05)]) })));
    const found = agreementOf(own, shifted(0.015));
    expect(found.rows.every((r) => Math.abs(r.en) < 1)).toBe(true);
    expect(found.text).toMatch(/They agree: no \|En\| of 20 is above 1\. On average b states a slope that is 1\.50? ± 0\.6\d % more\./);
    expect(agreementOf(own, shifted(0.001)).text).not.toContain('On average');
    expect(agreementOf(own, shifted(0.04)).text).toContain('THEY DIFFER: 20 of 20');
  });

  it('CMP-5: of one bench that drew its errors once, with nothing changed between, agree in 95 of 100 pairs', () => {
    const normal = normalFrom(5);
    let [apart, pairs] = [0, 0];
    for (let i = 0; i < 12; i += 1) {
      const errors = drawErrors(first.equipment, normal);
      const [a, b] = [2 * i + 100, 2 * i + 101].map((seed) => madeRun({ plan, seed, errors, injector: (n) => syntheticInjector(n) }));
      if (a === undefined || b === undefined) throw new Error('no run');
      const { rows } = agreementOf(statedOfRun('a', a, uuidOf), statedOfRun('b', b, uuidOf));
      apart += rows.filter((r) => Math.abs(r.en) > 1).length;
      pairs += rows.length;
    }
    expect(pairs).toBe(144);
    expect(apart / pairs).toBeLessThan(0.12);
    expect(apart).toBeGreaterThan(0);
  });
});

/** Nothing in it is quoted. How a CSV is read is tested where it is, in main/handover. */
const rowsOf = (text: string) => ({ rows: text.split(/\r?\n/).filter((line) => line !== '').map((line) => line.split(';')), separator: ';' });

describe('CMP-6: what others stated is read', () => {
  const against = (set: StatedSet) => agreementOf(sets[0], set);

  it('from tables.json with its errors: the same verdict as from the archive itself', () => {
    const read = statedOfDocument('tables.json', documentOf(second));
    const rows = against(read).rows;
    expect(rows).toHaveLength(agreementOf(...sets).rows.length);
    rows.forEach((row, i) => {
      const own = agreementOf(...sets).rows[i];
      expect(row.en / (own?.en ?? 0)).toBeCloseTo(1, 6);
      expect(row.correlation).toBe('named');
    });
  });

  it('from tables in the units of a controller, and not over battery voltage', () => {
    const layout = (input: object) => { const parsed = parseLayout({ layoutVersion: 1, name: 'x', ...input }); if (!parsed.ok) throw new Error('layout'); return parsed.layout; };
    for (const unit of ['cc/min', 'lb/h', 'g/min']) {
      const read = statedOfDocument('x', documentOf(second, layout({ flow: { unit }, deadTime: { unit: 'us' } })));
      read.numbers.forEach((n) => expect(n.value / (sets[1].numbers.find((s) => s.of === n.of && s.quantity === n.quantity && s.voltage === n.voltage)?.value ?? 0)).toBeCloseTo(1, 9));
      expect(read.numbers).toHaveLength(12);
    }
    const battery = statedOfDocument('x', documentOf(second, layout({ axes: { voltagesV: [12.5] }, wiringDrop: { volts: 0.5 } })));
    expect(battery.numbers).toEqual([]);
    expect(battery.said.join()).toContain('battery voltage');
  });

  it('from a CSV of a partner, in his separators, and refused with the row that cannot be read', () => {
    const text = 'injector;quantity;unit;voltage_V;pressure_kPa;period_ms;value;U95\r\nS-1;slope;g/s;12;400;20;4,01;0,02\r\nS-2;dead-time;us;12;400;;805;6\r\nS-2;colour;;12;400;;1;1\r\n';
    const read = statedOfCsv('partner.csv', rowsOf(text));
    if (typeof read === 'string') throw new Error(read);
    expect(read.numbers).toEqual([
      plainNumber(4.01e-3, expect.closeTo(2e-5, 12) as unknown as number, { value: expect.closeTo(4.01e-3, 12) as unknown as number }),
      plainNumber(0, 0, { of: 'S-2', quantity: 'dead-time', period: null, value: expect.closeTo(805e-6, 12) as unknown as number, expanded: expect.closeTo(6e-6, 12) as unknown as number }),
    ]);
    expect(statedOfCsv('x', rowsOf('a;b\n1;2\n'))).toContain('has no column injector, quantity');
    expect(statedOfCsv('x.csv', rowsOf(text.replace('0,02', '')))).toContain('x.csv, row 2');
    expect(statedOfCsv('x.csv', rowsOf(text.replace('g/s', 'furlong')))).toContain('row 2');
    expect(statedOfCsv('x.csv', rowsOf(text.replace('period_ms', 'value')))).toContain('has the column value twice');
  });
});
