import { describe, expect, it } from 'vitest';
import { parseDetails, reportDetailsSchema } from '../../../app/report/details.ts';
import { detailsDraft, detailsIn } from './details-form.ts';

/** One of everything that details can say. */
const whole = {
  reportDetailsVersion: 1, title: 'Flow of four injectors',
  laboratory: { name: 'Bench house', address: ['1 Quay', 'Harbour'], contact: 'desk', place: 'Hall 2' },
  customer: { name: 'Harbour works', address: ['2 Quay'], contact: 'stores', reference: 'PO 7' },
  receivedOn: '2026-03-02', condition: 'used', conditions: [{ serialNumber: 'A:1', condition: 'nozzle worn: see photo' }], environment: '21 degC', method: 'P-7, issue 3',
  deviations: ['one period', 'no purge'], adjustment: 'cleaned', external: ['resistance by B'], opinions: ['replace A:1'],
  targets: { deadTimeUs: 8, slopePercent: 0.4, staticFlowPercent: 0.5 },
  limits: [
    { of: 'slope', type: 'P4', pressureKpa: 400, voltageV: 14, low: 3.8, high: 4.1 }, { of: 'static-flow', pressureKpa: 300, low: 230 }, { of: 'dead-time', voltageV: 9, high: 1.4 },
    { of: 'match', quantity: 'static-flow', pressureKpa: 300, within: 2 }, { of: 'match', quantity: 'dead-time', voltageV: 14, within: 15 },
    { of: 'leak', high: 0.1 }, { of: 'coil-resistance', type: 'P4', low: 11.5, high: 12.5, standardUncertaintyOhm: 0.05 },
  ],
  monteCarlo: false, notes: true, rule: { kind: 'stated-risk', risk: 0.07 },
};
const parsed = (document: unknown) => {
  const read = parseDetails(document);
  if (!read.ok) throw new Error(read.problems.map((p) => `${p.path}: ${p.text}`).join());
  return read.details;
};

describe('WIN-160', () => {
  it.each([whole, { ...whole, rule: { kind: 'simple' }, monteCarlo: true, notes: false }, { reportDetailsVersion: 1 }, { reportDetailsVersion: 1, rule: { kind: 'guard-band', times: 0.8 } }])('details that are opened and read again are the same: %#', (document) => {
    const draft = detailsDraft('x', parsed(document));
    const { document: again, problems } = detailsIn(draft);
    expect([...problems]).toEqual([]);
    expect(parsed(again)).toEqual(parsed(document));
  });

  it('there is nothing of details that the form leaves out, but what a report takes from the archive', () => {
    expect(Object.keys(reportDetailsSchema.shape).filter((part) => !(part in whole))).toEqual(['visits']);
  });

  it('a decimal comma is a decimal sign; what is wrong is named at its field, and nothing else is', () => {
    const draft = detailsDraft('x', null);
    const filled = detailsIn({ ...draft, values: { ...draft.values, 'targets.deadTimeUs': '7,5', 'laboratory.name': ' Bench house ' }, limits: [{ kind: 'slope', low: '3,8', high: '4,1' }] });
    expect(filled.problems.size).toBe(0);
    expect(parsed(filled.document)).toMatchObject({ targets: { deadTimeUs: 7.5 }, laboratory: { name: 'Bench house' }, limits: [{ of: 'slope', low: 3.8, high: 4.1 }] });
    const wrong = (change: object): readonly string[] => [...detailsIn({ ...draft, ...change }).problems.keys()];
    expect(wrong({ name: ' ' })).toEqual(['name']);
    expect(wrong({ values: { ...draft.values, 'targets.slopePercent': '4o' } })).toEqual(['targets.slopePercent']);
    expect(wrong({ values: { ...draft.values, conditions: 'A-1 worn' } })).toEqual(['conditions']);
    expect(wrong({ values: { ...draft.values, 'laboratory.contact': 'desk' } })).toEqual(['laboratory.name']);
    expect(wrong({ values: { ...draft.values, receivedOn: '2026-02-31' } })).toEqual(['receivedOn']);
    expect(wrong({ limits: [{ kind: 'slope', low: '4', high: '3' }] })).toEqual(['limits[0]']);
    expect(wrong({ limits: [{ kind: 'slope', low: '4.1.2' }] })).toEqual(['limits[0].low']);
    expect(wrong({ limits: [{ kind: 'match-slope' }] })).toEqual(['limits[0].high']);
    expect(wrong({ limits: [{ kind: 'coil-resistance', low: '11' }] })).toEqual(['limits[0].standardUncertaintyOhm']);
    expect(wrong({ rule: 'stated-risk', ruleNumber: '50' })).toEqual(['rule']);
    expect(wrong({ rule: 'stated-risk', ruleNumber: '' })).toEqual(['rule']);
  });

  it('a limit says nothing that one of its kind cannot: what was typed for another kind stays out', () => {
    const { document, problems } = detailsIn({ ...detailsDraft('x', null), limits: [{ kind: 'leak', type: 'P4', voltageV: '14', low: '1', high: '0.1' }] });
    expect([...problems]).toEqual([]);
    expect(document['limits']).toEqual([{ of: 'leak', high: 0.1 }]);
  });
});
