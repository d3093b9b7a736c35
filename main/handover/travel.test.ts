/** From two certificates of one bench alone, by a program that has nothing of this one, the difference of two dead times comes out as on the page. */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { controllerDocument, controllerTables } from '../../app/handover/build.ts';
import { documentSchema } from '../../app/handover/document.ts';
import type { ControllerDocument } from '../../app/handover/document.ts';
import { parseLayout, plainLayout } from '../../app/handover/layout.ts';
import { carriedFrom, ErrorRegister } from '../../app/handover/travel.ts';
import { compareRuns } from '../../app/results/comparison.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { resultsOf } from '../../app/results/run-results.ts';
import type { RunResults } from '../../app/results/run-results.ts';
import { madeAttempts, madeRun, syntheticEquipment, syntheticPlan } from '../../app/results/synthetic-run.test-helper.ts';
import { carried, sharedPart, stateCarried } from '../../app/uncertainty/carried.ts';
import { errorSource } from '../../app/uncertainty/source.ts';
import { dccFile } from './dcc.ts';
import { uuidOfName } from './uuid.ts';

const plan = syntheticPlan({ voltageV: [9, 12, 14], pressureKpa: [300, 400] }, 2);
/** The second with a supply of which only a bound is known inside pulses, large enough to move the coverage factor (RED-89). */
const bounded = { ...syntheticEquipment, supply: { ...syntheticEquipment.supply, insidePulseMv: 400 } };
const runs = [madeRun({ plan, seed: 7 }), resultsOf({ id: 'run-8', plan, equipment: bounded, points: expandPlan(plan), attempts: madeAttempts({ plan, seed: 8 }) })] as const;
const folder = mkdtempSync(join(tmpdir(), 'railhouse-travel-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function documentOf({ id, plan: of, equipment, reduction }: RunResults, layout = plainLayout): ControllerDocument {
  const built = controllerTables({ plan: of, equipment, reduction: { ...reduction, windows: [] }, layout, travel: { runId: id, uuidOf: uuidOfName } });
  if (!built.ok) throw new Error(built.text);
  return controllerDocument({ software: 'railhouse 0.1.0', run: { id, order: '', beganUtc: '2026-01-02T03:04:05.000Z', archiveId: 'a', archiveHead: '1:ab' }, notTraceable: [], layout, tables: built.tables, errorSources: [...built.errorSources] });
}

const documents = [documentOf(runs[0]), documentOf(runs[1])] as const;
const parties = { partiesVersion: 1 as const, certificate: 'EX-1', laboratory: { name: 'Example laboratory', city: 'Exampleton', countryCode: 'DE' }, responsible: 'A. Tester', customer: { name: 'Customer', city: 'Elsewhere' } };

describe('names of errors', () => {
  it('TAB-24: are UUIDs of version 5, as the example of RFC 9562 has it', () => {
    // RFC 9562, A.4: www.example.com within the namespace of the DNS.
    expect(uuidOfName('www.example.com', Buffer.from('6ba7b8109dad11d180b400c04fd430c8', 'hex'))).toBe('2ed6657d-e927-568b-95e1-2665a8aea6a2');
  });

  it('TAB-24: are the same in two runs for what one instrument does under one certificate, and others for scatter, and under another certificate', () => {
    const [first, second] = documents.map((d) => new Map((d.errorSources ?? []).map((s) => [s.quantity === 'k-factor' || s.quantity === 'line-height' ? s.name : s.uuid, s])));
    const meter = first?.get('meter K-factor');
    expect(meter).toMatchObject({ of: 'meter', instrument: runs[0].equipment.meter.serialNumber, certificate: runs[0].equipment.meter.certificate.number, kind: 'shared', rectangular: false });
    expect(second?.get('meter K-factor')?.uuid).toBe(meter?.uuid);
    const heights = (d: ControllerDocument) => (d.errorSources ?? []).filter((s) => s.quantity === 'line-height').map((s) => s.uuid);
    expect(heights(documents[0]).some((uuid) => heights(documents[1]).includes(uuid))).toBe(false);
    const { meter: own } = runs[1].equipment;
    const again = documentOf({ ...runs[1], equipment: { ...runs[1].equipment, meter: { ...own, certificate: { ...own.certificate, number: 'another' } } } });
    expect((again.errorSources ?? []).find((s) => s.name === 'meter K-factor')?.uuid).not.toBe(meter?.uuid);
    expect((again.errorSources ?? []).find((s) => s.name === 'rail pressure')?.uuid).toBe((documents[0].errorSources ?? []).find((s) => s.name === 'rail pressure')?.uuid);
  });
});

describe('TAB-23: every number keeps what each error does to it', () => {
  const layouts = [
    { axes: { voltagesV: [9.5, 11, 13], pressuresKpa: [350], widthsMs: [3, 4] }, deadTime: { unit: 'us', resolution: 0.4 }, flow: { unit: 'cc/min' }, wiringDrop: { volts: 0.3, expandedVolts: 0.1 }, otherFluids: [{ name: 'petrol', densityKgPerM3: 744, expandedKgPerM3: 1.5, atC: 20 }] },
    { shortPulse: { as: 'us', over: 'mass' }, axes: { massesMg: [10, 20] } },
  ].map((input) => {
    const parsed = parseLayout({ layoutVersion: 1, name: 'x', ...input });
    if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
    return parsed.layout;
  });

  it.each([['as measured', plainLayout], ['on a layout, rounded, shifted, for another fluid', layouts[0] ?? plainLayout], ['short pulses over mass', layouts[1] ?? plainLayout]] as const)('%s: put together again they are its U', (_, layout) => {
    const document = documentOf(runs[0], layout);
    expect(documentSchema.parse(document)).toEqual(document);
    let numbers = 0;
    for (const table of document.tables) {
      for (const cell of table.cells) {
        if (!('value' in cell)) continue;
        numbers += 1;
        const of = carriedFrom(cell.unrounded, cell.parts, document.errorSources);
        if (of === null) throw new Error('no parts');
        const { expanded, coverageFactor } = stateCarried(of);
        expect(Math.abs(expanded / cell.U95 - 1), table.id).toBeLessThan(1e-9);
        expect(Math.abs(coverageFactor / cell.k - 1)).toBeLessThan(1e-9);
      }
    }
    expect(numbers).toBeGreaterThan(20);
  });

  it('TAB-31: effects below any digit are left out, and no others', () => {
    const register = new ErrorRegister({ id: 'r', equipment: runs[0].equipment }, uuidOfName);
    const effects = [['k-factor', 3e-3], ['rail-pressure', 4e-3], ['line-height', 4.9e-12], ['fluid-density', -1e-15], ['leak', -5.1e-12]] as const;
    const parts = register.partsOf(carried(1, effects.map(([quantity, effect]) => sharedPart(errorSource(quantity), effect))));
    expect(parts.map(([at, effect]) => [register.sources[at]?.quantity, effect])).toEqual([['k-factor', 3e-3], ['rail-pressure', 4e-3], ['leak', -5.1e-12]]);
    // An error that does something to another number stands there.
    expect(register.partsOf(carried(1, [sharedPart(errorSource('fluid-density'), 1e-15)]))).toHaveLength(1);
    expect(register.partsOf(carried(1, []))).toEqual([]);
    const { tables } = documents[0];
    for (const cell of tables.flatMap((t) => t.cells)) {
      if ('value' in cell) for (const [, effect] of cell.parts ?? []) expect(Math.abs(effect)).toBeGreaterThan(0.99e-9 * (cell.U95 / cell.k));
    }
  });

  it('a page that shows them needs none of it', () => {
    const built = controllerTables({ plan, equipment: runs[0].equipment, reduction: { ...runs[0].reduction, windows: [] }, layout: plainLayout });
    expect(built.ok && built.errorSources).toEqual([]);
    expect(built.ok && built.tables.flatMap((t) => t.cells).some((c) => 'parts' in c)).toBe(false);
  });
});

describe.skipIf(spawnSync('python3', ['--version']).status !== 0)('TAB-24: two certificates of one bench, in another language with nothing of ours', () => {
  interface Row { readonly at: readonly [string, number, number, number]; readonly difference: number; readonly U: number; readonly u: number; readonly shared: number; readonly library: number | null }
  const script = join(import.meta.dirname, '../../test/outside/uncertain_difference.py');
  const files = documents.map((document, i) => {
    const json = join(folder, `${i}.json`);
    const xml = join(folder, `${i}.xml`);
    writeFileSync(json, JSON.stringify(document));
    writeFileSync(xml, dccFile({ document, parties, began: '2026-01-02', ended: '2026-01-02' }));
    return { json, xml };
  });
  const compared = compareRuns(runs[0], runs[1]).rows;

  it.each(['json', 'xml'] as const)('give the difference of every dead time and its U as the page does, to 1e-9 (%s)', (kind) => {
    const rows = (JSON.parse(execFileSync('python3', [script, files[0]?.[kind] ?? '', files[1]?.[kind] ?? ''], { encoding: 'utf8' })) as readonly Row[]).filter((r) => r.at[0] !== 'Set mean');
    expect(compared).toHaveLength(12);
    expect(rows).toHaveLength(compared.length);
    // A bound makes so much of some that their factor is that of a rectangle beside a normal distribution.
    expect(rows.some((r) => r.U / r.u < 1.9)).toBe(true);
    for (const { at, difference, U, u, shared, library } of rows) {
      const ours = compared.find((c) => c.serialNumber === at[0] && c.voltage === at[1] && c.pressure === at[2] * 1e3)?.deadTime;
      if (ours === undefined) throw new Error(`no ${at.join()}`);
      // What is mere rounding does not count (TAB-31).
      expect(shared).toBeGreaterThanOrEqual(4);
      expect(Math.abs(difference - ours.value) / ours.first).toBeLessThan(1e-9);
      expect(Math.abs(U / ours.u95 - 1)).toBeLessThan(1e-9);
      if (library !== null) expect(Math.abs(library / u - 1)).toBeLessThan(1e-9);
    }
  });
});
