import { readFileSync, existsSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { validateXML } from 'xmllint-wasm';
import { withCertificate } from '../../app/equipment/certificate.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { statedOfCertificate } from '../../app/handover/stated.ts';
import { agreementOf } from '../../app/results/agreement.ts';
import { readDcc } from './read-dcc.ts';

const sample = parseEquipment(JSON.parse(readFileSync(join(import.meta.dirname, '../samples/equipment.json'), 'utf8')));
if (!sample.ok) throw new Error('sample');
const { equipment } = sample;

interface Parts { readonly serial?: string; readonly version?: string; readonly statement?: string; readonly data: string }

/** As a laboratory for flow might write it: other prefixes than ours, attributes and comments in it. */
const certificate = ({ serial = equipment.meter.serialNumber, version = '3.2.1', statement = '<c:declaration><c:content lang="en">Recalibration agreed with the customer</c:content></c:declaration><c:date>2027-03-14</c:date>', data }: Parts): string => `<?xml version="1.0" encoding="UTF-8"?>
<!-- made by hand -->
<c:digitalCalibrationCertificate xmlns:c="https://ptb.de/dcc" xmlns:d="https://ptb.de/si" schemaVersion="${version}">
  <c:administrativeData>
    <c:dccSoftware><c:software><c:name><c:content lang="en">by hand</c:content></c:name><c:release>1</c:release></c:software></c:dccSoftware>
    <c:coreData>
      <c:countryCodeISO3166_1>DE</c:countryCodeISO3166_1><c:usedLangCodeISO639_1>en</c:usedLangCodeISO639_1><c:mandatoryLangCodeISO639_1>en</c:mandatoryLangCodeISO639_1>
      <c:uniqueIdentifier>FLOW-2026-017 &amp; 018</c:uniqueIdentifier>
      <c:beginPerformanceDate>2026-03-11</c:beginPerformanceDate><c:endPerformanceDate>2026-03-12</c:endPerformanceDate><c:performanceLocation>laboratory</c:performanceLocation><c:issueDate>2026-03-15</c:issueDate>
    </c:coreData>
    <c:items><c:item id="i1"><c:name><c:content lang="en">Gear meter</c:content></c:name><c:identifications><c:identification><c:issuer>manufacturer</c:issuer><c:value>${serial}</c:value></c:identification></c:identifications></c:item></c:items>
    <c:calibrationLaboratory><c:contact><c:name><c:content lang="en">Example flow laboratory</c:content></c:name><c:location><c:city>Exampleton</c:city></c:location></c:contact></c:calibrationLaboratory>
    <c:respPersons><c:respPerson><c:person><c:name><c:content lang="en">A. Tester</c:content></c:name></c:person></c:respPerson></c:respPersons>
    <c:customer><c:name><c:content lang="en">Example bench laboratory</c:content></c:name><c:location><c:city>Elsewhere</c:city></c:location></c:customer>
    ${statement === '' ? '' : `<c:statements><c:statement>${statement}</c:statement></c:statements>`}
  </c:administrativeData>
  <c:measurementResults><c:measurementResult refId="i1"><c:name><c:content lang="en">Calibration</c:content></c:name><c:results><c:result><c:name><c:content lang="en">K-factor</c:content></c:name><c:data>${data}</c:data></c:result></c:results></c:measurementResult></c:measurementResults>
</c:digitalCalibrationCertificate>`;

const list = (name: string, unit: string, values: string, unsure = '', refType = 'basic_measuredValue') =>
  `<c:quantity refType="${refType}"><c:name><c:content lang="en">${name}</c:content></c:name><d:realListXMLList><d:valueXMLList>${values}</d:valueXMLList><d:unitXMLList>${unit}</d:unitXMLList>${unsure}</d:realListXMLList></c:quantity>`;
const unsure = (U: string, k: string) => `<d:expandedUncXMLList><d:uncertaintyXMLList>${U}</d:uncertaintyXMLList><d:coverageFactorXMLList>${k}</d:coverageFactorXMLList><d:coverageProbabilityXMLList>0.95</d:coverageProbabilityXMLList></d:expandedUncXMLList>`;
const temperature = '<c:quantity><c:name><c:content lang="en">temperature of the fluid</c:content></c:name><d:real><d:value>20.1</d:value><d:unit>\\degreecelsius</d:unit></d:real></c:quantity>';
const curve = `${temperature}<c:list>${list('frequency', '\\hertz', '400 100 25')}${list('K-factor', '\\litre\\tothe{-1}', '60010 60100 60400', unsure('72.012 72.12 120.8', '2'))}</c:list>`;
const wish = { instrument: 'meter', replaces: false } as const;

const read = (xml: string) => {
  const found = readDcc(xml);
  if (!found.ok) throw new Error(found.text);
  return found.certificate;
};
const refused = (xml: string, more: object = {}): string => {
  const found = readDcc(xml);
  if (!found.ok) return found.text;
  const done = withCertificate(equipment, found.certificate, { ...wish, ...more });
  return done.ok ? 'not refused' : done.text;
};

describe('TAB-28: the certificate of an instrument is read', () => {
  it('K curve with what is common and what is own of its uncertainty, number, date and end', () => {
    const done = withCertificate(equipment, read(certificate({ data: curve })), wish);
    if (!done.ok) throw new Error(done.text);
    expect(done.equipment.meter).toMatchObject({ certificate: { number: 'FLOW-2026-017 & 018', date: '2026-03-15', validUntil: '2027-03-14' }, serialNumber: equipment.meter.serialNumber, kind: equipment.meter.kind, edgesPerRevolution: equipment.meter.edgesPerRevolution });
    // 0.12, 0.12 and 0.2 % with k = 2: the first two are the least and common, of the third the rest is its own.
    expect(done.equipment.meter.relativeUncertaintyPercent).toBeCloseTo(0.06, 9);
    expect(done.equipment.meter.kFactor).toEqual([{ hertz: 25, edgesPerLitre: 60400, ownUncertaintyPercent: expect.closeTo(0.08, 6) as number }, { hertz: 100, edgesPerLitre: 60100 }, { hertz: 400, edgesPerLitre: 60010 }]);
    expect({ ...done.equipment, meter: null }).toEqual({ ...equipment, meter: null });
    expect(done.said.join(' ')).toContain('0.0600 % (k = 1)');
  });

  it('over flow as well as over frequency, per cubic metre as well as per litre, one uncertainty for all', () => {
    const data = `<c:list>${list('flow', '\\litre\\per\\minute', '0.1 0.4')}${list('K', '\\metre\\tothe{-3}', '6.01e7 6.0e7', unsure('60000', '2.0'))}</c:list>`;
    const done = withCertificate(equipment, read(certificate({ data })), wish);
    if (!done.ok) throw new Error(done.text);
    expect(done.equipment.meter.kFactor.map((p) => [p.hertz, p.edgesPerLitre])).toEqual([[expect.closeTo(100.166667, 5), 60100], [400, 60000]]);
    expect(done.equipment.meter.relativeUncertaintyPercent).toBeCloseTo((100 * 30000) / 6.01e7, 8);
  });

  it('of a transducer, with what it reads off inside its uncertainty as a bound', () => {
    const { serialNumber } = equipment.pressure;
    const data = `<c:list>${list('reference', '\\kilo\\pascal', '100 400', '', 'basic_nominalValue')}${list('reading', '\\kilo\\pascal', '100.3 399.8', unsure('0.8 1.2', '2'))}</c:list>`;
    const done = withCertificate(equipment, read(certificate({ serial: serialNumber, data })), { instrument: 'pressure', replaces: false });
    if (!done.ok) throw new Error(done.text);
    expect(done.equipment.pressure.uncertaintyKpa).toBeCloseTo(Math.hypot(0.6, 0.3 / Math.sqrt(3)), 6);
    expect(done.said.join()).toContain('inside their uncertainty');
    const off = withCertificate(equipment, read(certificate({ serial: serialNumber, data: data.replace('100.3', '101.3') })), { instrument: 'pressure', replaces: false });
    expect(off).toMatchObject({ ok: false, text: expect.stringContaining('at its point 1') as string });
    const errors = `<c:list>${list('set', '\\volt', '9 14', '', 'basic_nominalValue')}${list('error', '\\milli\\volt', '2 -1', unsure('6', '2'), 'basic_measurementError')}</c:list>`;
    const supply = withCertificate(equipment, read(certificate({ serial: equipment.supply.serialNumber, data: errors })), { instrument: 'supply', replaces: false });
    expect(supply.ok && supply.equipment.supply.uncertaintyMv).toBeCloseTo(Math.hypot(3, 2 / Math.sqrt(3)), 6);
  });

  it('ends when a period after its measurements is over, also over the end of a month', () => {
    const after = (period: string) => read(certificate({ statement: `<c:name><c:content lang="en">Validity</c:content></c:name><c:period>${period}</c:period>`, data: curve })).validUntil;
    expect([after('P1Y'), after('P18M'), after('P30D')]).toEqual(['2027-03-12', '2027-09-12', '2026-04-11']);
    expect(read(certificate({ statement: '', data: curve })).validUntil).toBeNull();
  });
});

describe('CMP-6: the certificate of another laboratory', () => {
  it('is held against our own results by dimension and name, as independent, place by place', () => {
    const data = `<c:quantity><c:name><c:content lang="en">fuel pressure</c:content></c:name><d:real><d:value>4</d:value><d:unit>\\bar</d:unit></d:real></c:quantity><c:list>${list('supply', '\\volt', '9 14', '', 'basic_nominalValue')}${list('Injector dead time', '\\micro\\second', '1010 600', unsure('12 6', '2'))}</c:list>`;
    const read = readDcc(certificate({ serial: 'S-1', data }));
    if (!read.ok) throw new Error(read.text);
    const partner = statedOfCertificate('partner', read.certificate, read.errors);
    expect(partner.numbers.map(({ of, quantity, voltage, pressure, period, value, expanded, carried }) => [of, quantity, voltage, pressure, period, value, expanded, carried])).toEqual([
      ['S-1', 'dead-time', 9, 4e5, null, expect.closeTo(1010e-6, 12), expect.closeTo(12e-6, 12), null],
      ['S-1', 'dead-time', 14, 4e5, null, expect.closeTo(600e-6, 12), expect.closeTo(6e-6, 12), null],
    ]);
    const own = { name: 'own', numbers: partner.numbers.map((n) => ({ ...n, period: 0.02, value: n.value + 6e-6, expanded: 5e-6 })) };
    const { rows } = agreementOf(own, partner);
    expect(rows.map((r) => r.en)).toEqual([expect.closeTo(-6 / 13, 9), expect.closeTo(-6 / Math.hypot(5, 6), 9)]);
    expect(rows.map((r) => r.correlation)).toEqual(['independent', 'independent']);
    // What is no dead time, slope or static flow is nobody's.
    expect(statedOfCertificate('x', { ...read.certificate, results: read.certificate.results.map((r) => ({ ...r, lists: r.lists.map((l) => l.map((q) => ({ ...q, name: 'resistance' }))) })) }, read.errors).numbers).toEqual([]);
  });
});

describe('TAB-29: what is not understood is refused, with words', () => {
  it.each([
    ['another instrument', certificate({ serial: 'X-9', data: curve }), /is of X-9, and the meter of this record is .*If the instrument was replaced, say so/],
    ['no end', certificate({ statement: '', data: curve }), /names no day until which it holds.*by your own interval/],
    ['not traceable', certificate({ statement: '<c:traceable>false</c:traceable>', data: curve }), /names no day|not traceable/],
    ['another version', certificate({ version: '2.4.0', data: curve }), /DCC of version 2\.4\.0/],
    ['another document', '<a xmlns="https://ptb.de/dcc"/>', /no digital calibration certificate/],
    ['torn', certificate({ data: curve }).slice(0, 900), /no well-formed XML: .*\d+/],
    ['a document type', certificate({ data: curve }).replace('<!-- made by hand -->', '<!DOCTYPE x [<!ENTITY a "aaaa">]>'), /document type/],
    ['no curve', certificate({ data: temperature }), /no list of K-factors/],
    ['a unit of its own', certificate({ data: curve.replace('\\litre\\tothe{-1}', '\\gallon\\tothe{-1}') }), /no list of K-factors.*\\gallon/],
    ['as found and as left', certificate({ data: curve + curve.slice(temperature.length) }), /2 lists of K-factors/],
    ['no uncertainty', certificate({ data: curve.replace(/<d:expandedUncXMLList>.*<\/d:expandedUncXMLList>/u, '') }), /no expanded uncertainty/],
    ['values that are not equally many', certificate({ data: curve.replace('400 100 25', '400 100') }), /not equally many/],
    ['values that are none', certificate({ data: curve.replace('400 100 25', '400 ten 25') }), /no numbers/],
    ['the same frequency twice', certificate({ data: curve.replace('400 100 25', '100 100 25') }), /must rise in frequency/],
  ])('%s', (_, xml, words) => {
    expect(refused(xml)).toMatch(words);
  });

  it('and what the person says stands only where the certificate leaves it open', () => {
    expect(refused(certificate({ statement: '', data: curve }), { validUntil: '2027-01-01' })).toBe('not refused');
    expect(refused(certificate({ data: curve }), { validUntil: '2026-12-31' })).toBe('not refused');
    expect(refused(certificate({ data: curve }), { validUntil: '2028-12-31' })).toContain('ends on 2027-03-14');
    expect(refused(certificate({ serial: 'X-9', data: curve }), { replaces: true })).toBe('not refused');
    expect(refused(certificate({ statement: '<c:traceable>false</c:traceable>', data: curve }), { validUntil: '2027-01-01' })).toContain('not traceable');
  });

  const schemas = process.env['RAILHOUSE_DCC_SCHEMAS'] ?? '';
  it.skipIf(!existsSync(join(schemas, 'dcc.xsd')))('the certificates that are read here are valid by the schema (where RAILHOUSE_DCC_SCHEMAS names its folder)', async () => {
    const file = (name: string) => ({ fileName: name, contents: readFileSync(join(schemas, name), 'utf8') });
    const { errors } = await validateXML({ xml: [{ fileName: 'certificate.xml', contents: certificate({ data: curve }) }], schema: [file('dcc.xsd')], preload: [file('SI_Format.xsd'), file('xmldsig-core-schema.xsd')], maxMemoryPages: 4096 });
    expect(errors).toEqual([]);
  });
});
