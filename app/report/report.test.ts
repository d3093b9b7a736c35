import { describe, expect, it } from 'vitest';
import { deadTimeTables, slopeTables } from '../tables/dead-time.ts';
import { shortPulseTables } from '../tables/short-pulse.ts';
import { plusMinus } from '../quantities/figures.ts';
import { syntheticEquipment, syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { reportOf } from './build.ts';
import { reportCsv, tablesOfReport } from './csv.ts';
import { reportDetailsSchema } from './details.ts';
import { documentText } from './document.ts';
import type { ReportCell, ReportDocument, ReportTable } from './document.ts';
import { ticksOf } from './figure-svg.ts';
import { jsonInReport, reportBody, reportTail, shownValue } from './html.ts';
import { madeReport, reportedPlan, reportInput } from './made-report.test-helper.ts';
import { cssString, escaped } from './markup.ts';
import { samePerson } from './same-person.ts';

const htmlOf = (document: ReportDocument): string => reportBody(document) + reportTail(null);
const issue = { number: 'R-2026-0001', by: 'B. Releaser', at: '2026-02-03T08:00:00.000Z', publicKey: 'k'.repeat(43), amends: null };

/** A cell of a table by its row and column. */
function at(tables: readonly ReportTable[], id: string, row: string, column: string): ReportCell {
  const table = tables.find((t) => t.id === id);
  const cell = table?.rows.find((r) => r.title === row)?.cells[table.columns.findIndex((c) => c.title === column)];
  if (cell === undefined) throw new Error(`no ${row}, ${column} in ${id}`);
  return cell;
}

/** RFC 4180. */
function parsedCsv(text: string): readonly (readonly string[])[] {
  return text.split('\r\n').filter((line) => line !== '').map((line) => [...line.matchAll(/(?:^|,)(?:"((?:[^"]|"")*)"|([^,]*))/g)].map(([, quoted, plain]) => (quoted === undefined ? (plain ?? '') : quoted.replaceAll('""', '"'))));
}

describe('REP-1, REP-9: a report', () => {
  it('is plain JSON, and the same each time', () => {
    const document = madeReport({ length: 'raw' });
    expect(JSON.parse(documentText(document))).toEqual(document);
    const again = madeReport({ length: 'raw' });
    expect(documentText(again)).toBe(documentText(document));
    expect(htmlOf(again)).toBe(htmlOf(document));
    expect(reportCsv(again)).toBe(reportCsv(document));
  });

  it('holds itself as JSON', () => {
    const document = madeReport();
    expect(jsonInReport(htmlOf(document))).toBe(documentText(document));
  });
});

describe('REP-2: contents', () => {
  const details = reportDetailsSchema.parse({
    reportDetailsVersion: 1,
    title: 'Report of calibration',
    laboratory: { name: 'Example Flow Laboratory', address: ['1 Sample Street'], contact: 'lab@example.invalid', place: 'Bench 2, Sample Hall' },
    customer: { name: 'Example Engine Works', address: ['2 Sample Road'], reference: 'PO 12' },
    receivedOn: '2026-01-12', condition: 'clean', conditions: [{ serialNumber: 'S-2', condition: 'bent plug' }], environment: 'air 21 degC', method: 'Procedure P-7', deviations: ['Point 3 was moved.'],
    adjustment: 'Cleaned before; results from before stand in report R-1.', external: ['Coil resistances are of Sample Coils.'], opinions: ['S-2 wears.'],
  });

  it('are all that the lab stated, and who measured and released', () => {
    const html = htmlOf(reportOf({ ...reportInput(), details, issue: { ...issue, amends: { number: 'R-2026-0000', sha256: 'a'.repeat(64), reason: 'Typing error' } } }));
    for (const text of [
      'Report of calibration', 'Example Flow Laboratory, 1 Sample Street, lab@example.invalid', 'Bench 2, Sample Hall', 'Example Engine Works, 2 Sample Road', 'PO 12', '2026-01-12', 'clean', 'bent plug', 'air 21 °C', 'Procedure P-7',
      'Point 3 was moved.', 'Cleaned before', 'Coil resistances are of', 'S-2 wears.', 'A. Measurer', 'B. Releaser', '2026-02-01 10:00 UTC', '2026-02-03 08:00 UTC', 'Report R-2026-0000, whose place it takes. Reason: Typing error',
      'The results relate only to the items named here', 'No recalibration interval', 'End of Report R-2026-0001',
    ]) expect(html).toContain(text);
    for (const { certificate, serialNumber } of [syntheticEquipment.meter, syntheticEquipment.pressure, syntheticEquipment.temperature, syntheticEquipment.supply]) {
      expect(html).toContain(certificate.number);
      expect(html).toContain(serialNumber);
    }
  });

  it('that nobody stated are said not to be', () => {
    const head = new Map(madeReport().head.map(({ name, text }) => [name, text]));
    for (const name of ['Laboratory', 'Measured at', 'Customer', 'Order', 'Items received']) expect(head.get(name)).toBe('not stated');
    expect(head.get('Released by')).toContain('nobody');
  });

  it('say where one person measured and released', () => {
    expect(samePerson('A. Measurer', 'a.  measurer ')).toBe(true);
    const by = (name: string) => madeReport({ issue: { ...issue, by: name } }).head.find((f) => f.name === 'Released by')?.text;
    expect(by('a. MEASURER')).toContain('the same person who measured');
    expect(by('B. Releaser')).toBe('B. Releaser');
  });
});

describe('REP-3: numbers', () => {
  const input = reportInput();
  const document = reportOf({ ...input, length: 'raw' });
  const { results: { reduction, masses } } = input;
  const read = JSON.parse(jsonInReport(htmlOf(document)) ?? '') as ReportDocument;

  it('are those of the reduction to the last bit, in the JSON that the file holds', () => {
    let held = 0;
    for (const [id, tables] of [['dead-time', deadTimeTables({ ...reduction, windows: [] })], ['slope', slopeTables({ ...reduction, windows: [] })]] as const) {
      tables.forEach((table, index) => {
        for (const row of table.rows) {
          table.columns.forEach((column, i) => {
            const cell = row.cells[i];
            if (cell?.kind !== 'value') throw new Error('each has a value here');
            expect(at(read.results, `${id}-${index + 1}`, column.title, `${row.voltage} V`)).toMatchObject({ value: cell.result.value, expanded: cell.result.expanded, coverageFactor: cell.result.coverageFactor });
            held += 1;
          });
        }
      });
    }
    expect(held).toBe(2 * 3 * 5);
    for (const [i, table] of shortPulseTables({ ...reduction, windows: [] }, []).entries()) {
      const shown = read.results.find((t) => t.id === `short-pulse-${i + 1}`);
      for (const column of shown?.columns ?? []) {
        const width = table.columns.values.findIndex((w) => `${Number((w * 1e3).toPrecision(10))} ms` === column.title);
        table.rows.values.forEach((voltage, r) => {
          const cell = table.cells[r]?.[width];
          if (cell?.kind === 'value') expect(at(read.results, `short-pulse-${i + 1}`, `${voltage} V`, column.title)).toMatchObject({ value: cell.result.value, expanded: cell.result.expanded });
        });
      }
    }
    for (const s of reduction.staticFlows) if (s.kind === 'static-flow') expect(read.results.find((t) => t.id === 'static-flow')?.rows.find((r) => r.title === s.serialNumber)?.cells[2]).toMatchObject({ value: s.flow.value, expanded: s.flow.expanded });
    expect(read.windows[0]?.rows.map((r) => r.cells[7])).toMatchObject(masses.map((m) => ({ kind: 'value', value: m.mass })));
  });

  it('stand in the HTML to the digit at which their uncertainty ends, and in the CSV with twelve', () => {
    const html = htmlOf(document);
    const rows = parsedCsv(reportCsv(document));
    const head = rows[0] ?? [];
    let values = 0;
    for (const table of tablesOfReport(document)) {
      const part = html.slice(html.indexOf(`<table id="${table.id}"`), html.indexOf('</table>', html.indexOf(`<table id="${table.id}"`)));
      const cells = [...part.matchAll(/<td class="number">([^<]*)<\/td>/g)].map(([, text]) => text);
      expect(cells).toEqual(table.rows.flatMap((row) => row.cells.flatMap((cell, i) => (cell.kind === 'value' ? [escaped(shownValue(cell, table.columns[i]))] : []))));
      for (const row of table.rows) {
        row.cells.forEach((cell, i) => {
          const column = table.columns[i];
          if (cell.kind !== 'value' || column === undefined || column.unit === null) return;
          if (cell.expanded !== null) expect(shownValue(cell, column)).toBe(plusMinus(cell.value * column.unit.factor, cell.expanded * column.unit.factor));
          const line = rows.find((r) => r[1] === table.id && r[3] === row.title && r[4] === column.title && r[5] === column.unit?.shown);
          if (rows.filter((r) => r[1] === table.id && r[3] === row.title && r[4] === column.title && r[5] === column.unit?.shown).length === 1) {
            expect(Number(line?.[head.indexOf('value')])).toBe(Number((cell.value * column.unit.factor).toPrecision(12)));
            values += 1;
          }
        });
      }
    }
    expect(values).toBeGreaterThan(150);
  });
});

describe('REP-4: names', () => {
  const evil = ['<script>alert(1)</script>', '"><img src=x onerror=alert(1)>', '</style><b>', "'; } body { display: none } /*", '&lt;b&gt;', '=1+1', '+1', '-1', '@SUM(A1)', '=cmd|"/c calc"!A1'];
  const tags = (html: string): readonly string[] => [...html.replace(/<style>.*?<\/style>/s, '').matchAll(/<\/?([a-zA-Z]+)/g)].map(([, tag = '']) => tag);

  /** Up to the first end of a style, as a browser reads it, without its strings. */
  const styleOf = (html: string): string => (html.split('<style>')[1]?.split('</style')[0] ?? '').replace(/"[^"\\]*(?:\\[0-9a-f]+ [^"\\]*)*"/g, '""');

  it.each(evil)('%s becomes no markup, style, script or formula, wherever it stands', (name) => {
    const injectors = reportedPlan.injectors.map((i, index) => ({ ...i, serialNumber: `${name}${index}`, type: name }));
    const document = (text: string, serials: typeof injectors): ReportDocument => {
      const input = reportInput({ plan: { ...reportedPlan, name: text, injectors: serials }, operator: text });
      const party = { name: text, address: [text], contact: text };
      return reportOf({
        ...input,
        order: text,
        issue: { ...issue, by: text, amends: { number: 'R-1', sha256: 'a'.repeat(64), reason: text } },
        details: reportDetailsSchema.parse({ reportDetailsVersion: 1, title: text, laboratory: party, customer: { ...party, reference: text }, condition: text, environment: text, method: text, deviations: [text], opinions: [text], limits: [{ of: 'slope', type: text, low: 1 }, { of: 'leak', high: 1 }] }),
      });
    };
    const plain = document('plain', reportedPlan.injectors.map((i, index) => ({ ...i, serialNumber: `plain${index}`, type: 'plain' })));
    const html = htmlOf(document(name, injectors));
    expect(tags(html)).toEqual(tags(htmlOf(plain)));
    expect(styleOf(html)).toBe(styleOf(htmlOf(plain)));
    expect(html).toContain(escaped(`${name}0`));
    for (const row of parsedCsv(reportCsv(document(name, injectors)))) for (const field of row) if (Number.isNaN(Number(field))) expect(field).not.toMatch(/^[=+\-@]/);
  });

  it('with line breaks, escapes and changes of direction are shown as what they are', () => {
    expect(escaped('a\nb\u202ec\u001b[31m')).toBe('a\ufffdb\ufffdc\ufffd[31m');
    expect(cssString('a"\\\n}é')).toBe('"a\\22 \\5c \\fffd \\7d \\e9 "');
  });
});

describe('REP-5: lengths', () => {
  it('one page has each injector while they fit, and the set where they do not', () => {
    const few = madeReport({ length: 'one-page' });
    expect(few.results.map((t) => t.id)).toEqual(['summary-1']);
    expect(few.results[0]?.columns.map((c) => c.title)).toEqual(['X, 9 V', 'X, 12 V', 'X, 14 V', 'm, 14 V', 'Qs']);
    expect([few.figures, few.budgets, few.windows]).toEqual([[], [], []]);
    expect(few.statements.map((s) => s.title)).toEqual(['Definitions', 'Conditions', 'Deviations from the method', 'Validity']);
    const many = reportOf({ ...reportInput({ plan: syntheticPlan({ voltageV: [12, 14] }, 30) }), length: 'one-page' });
    expect(many.results.map((t) => t.id)).toEqual(['spread']);
  });

  it('full has everything but raw data, raw has them', () => {
    const [full, raw] = [madeReport({ length: 'full' }), madeReport({ length: 'raw' })];
    expect(full.windows).toEqual([]);
    expect(raw.windows[0]?.rows.length).toBe(reportInput().results.masses.length);
    expect(raw.results).toEqual(full.results);
    expect(full.figures.length).toBeGreaterThan(2);
  });
});

describe('REP-6: what a reader must know first', () => {
  it('is nothing where nothing is wrong', () => expect(madeReport({ measured: { from: '2026-06-01T10:00:00.000Z', to: '2026-06-01T12:00:00.000Z' } }).warnings).toEqual([]));

  it('is a simulated bench, an ended certificate, an old fluid, missing points, an unfinished run and what cannot be traced', () => {
    const { state } = reportInput();
    expect(madeReport({ simulated: true }).warnings.join()).toContain('simulated');
    expect(madeReport({ measured: { from: '2031-06-01T10:00:00.000Z', to: '2031-06-01T12:00:00.000Z' } }).warnings.join()).toContain('Out of calibration');
    expect(madeReport({ state: { ...state, ending: null } }).warnings.join()).toContain('not finished');
    expect(madeReport({ state: { ...state, notTraceable: ['The meter is old.'] } }).warnings.join()).toContain('NOT TRACEABLE. The meter is old.');
    expect(madeReport({ state: { ...state, points: state.points.changed((p, i) => (i === 4 ? { ...p, chosen: null } : p)) } }).warnings.join()).toContain('1 point has no result: 5.');
    const fluid = { ...syntheticEquipment.fluid, openedOn: '2026-01-01', useWithinDays: 10 };
    expect(reportOf(reportInput({ equipment: { ...syntheticEquipment, fluid } })).warnings.join()).toContain('older than its lab allows');
  });

  it('is each agreed uncertainty that was not reached', () => {
    const { reduction } = reportInput().results;
    const largest = Math.max(...reduction.cells.map((c) => (c.kind === 'line' ? c.deadTime.expanded * 1e6 : 0)));
    const warned = (deadTimeUs: number) => madeReport({ details: reportDetailsSchema.parse({ reportDetailsVersion: 1, targets: { deadTimeUs } }) }).warnings.join();
    expect(warned(largest * 1.001)).not.toContain('agreed');
    expect(warned(largest * 0.999)).toContain('not met by 1 of 12');
    // The two figures beside each other say which is larger.
    const [, target = 0, most = 0] = (/at most ([\d.]+) us\).*the largest is ([\d.]+) us/.exec(warned(Number((largest * 0.9999).toPrecision(6)))) ?? []).map(Number);
    expect(most).toBeGreaterThan(target);
  });
});

describe('REP-44: what does not fit together', () => {
  const warned = (details: object, more: Parameters<typeof madeReport>[0] = {}) => madeReport({ ...more, details: reportDetailsSchema.parse({ reportDetailsVersion: 1, ...details }) }).warnings.join();

  it('is an agreed uncertainty of what was not measured', () => {
    const input = reportInput();
    const results = { ...input.results, reduction: { ...input.results.reduction, staticFlows: [] } };
    expect(warned({ targets: { staticFlowPercent: 1 } })).not.toContain('the run has none');
    expect(warned({ targets: { staticFlowPercent: 1 } }, { results })).toContain('An uncertainty of static flows was agreed (U95 at most 1 %), and the run has none of them.');
    expect(warned({}, { results })).toBe('');
  });

  it('is an item that was measured before it came', () => {
    expect(warned({ receivedOn: '2026-02-02' })).toContain('received on 2026-02-02, and were measured from 2026-02-01 on');
    expect(warned({ receivedOn: '2026-02-01' })).not.toContain('received');
  });
});

describe('REP-7: traceability', () => {
  it('is claimed through the certificates, or not at all', () => {
    expect(madeReport().traceability.sentences[0]).toContain('traceable to the SI');
    const { state } = reportInput();
    expect(madeReport({ state: { ...state, notTraceable: ['No certificate.'] } }).traceability.sentences[0]).toContain('NOT claimed');
  });

  it('has the budget of the worst line, whose parts make the whole', () => {
    const document = madeReport();
    const cells = reportInput().results.reduction.cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
    const worst = Math.max(...cells.map((c) => c.deadTime.expanded));
    const budget = document.budgets.find((t) => t.id === 'budget-dead-time-1');
    const u = (row: number): number => { const cell = budget?.rows.at(row)?.cells[1]; return cell?.kind === 'value' ? cell.value : Number.NaN; };
    const parts = (budget?.rows ?? []).slice(0, -1).map((_, i) => u(i));
    expect(Math.hypot(...parts) / u(-1)).toBeCloseTo(1, 3);
    expect(cells.some((c) => c.deadTime.expanded === worst && c.deadTime.u === u(-1))).toBe(true);
  });
});

describe('REP-8: the file', () => {
  const html = htmlOf(madeReport({ issue }));

  it('asks for nothing and has no script', () => {
    expect(html).not.toMatch(/<script|javascript:|\son\w+=|url\(\s*['"]?(?!#)|src=|https?:|@import/i);
    expect([...html.matchAll(/href="([^:"]*)/g)].map(([, scheme]) => scheme)).toEqual(['data', 'data']);
    expect(html).toContain("default-src 'none'");
  });

  it('numbers its pages and names itself on each', () => {
    expect(html).toContain('"Page " counter(page) " of " counter(pages)');
    expect(html).toContain(`@top-right { content: ${cssString('Report R-2026-0001')}`);
    expect(html).toContain('table-header-group');
  });

  it('tells series apart without colour: no two have the same mark and dash', () => {
    const [svg = ''] = /<svg.*?<\/svg>/s.exec(html) ?? [];
    const dashes = [...svg.matchAll(/<polyline[^>]*\/>/g)].map(([line]) => /stroke-dasharray="([^"]*)"/.exec(line)?.[1] ?? '');
    expect(dashes.length).toBe(4);
    expect(new Set(dashes).size).toBe(4);
  });

  it('has round numbers on its axes that span what is drawn', () => {
    for (const [low, high] of [[0.4, 1.37], [-0.0004, 0.0012], [5, 5], [0, 0], [-3e5, 7], [398.04, 400.65]] as const) {
      const ticks = ticksOf(low, high);
      expect(ticks.length).toBeGreaterThan(1);
      expect(ticks.length).toBeLessThan(9);
      expect(ticks[0]).toBeLessThanOrEqual(low);
      expect(ticks.at(-1)).toBeGreaterThanOrEqual(high);
    }
  });
});
