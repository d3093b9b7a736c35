/**
 * A report as one HTML file: own style, figures as SVG, the document itself as JSON and its results as CSV inside. It asks for nothing from
 * anywhere, has no script, and prints page n of m. The same document gives the same bytes. REP-4, REP-8, REP-9.
 */
import { plusMinus, trueMinus } from '../quantities/figures.ts';
import { reportCsv } from './csv.ts';
import { documentText } from './document.ts';
import type { ReportCell, ReportColumn, ReportDocument, ReportTable } from './document.ts';
import { figureSvg } from './figure-svg.ts';
import { escaped, typeset } from './markup.ts';
import { reportStyle } from './style.ts';

/** How a report is called on every page. */
const reportName = ({ issue }: Pick<ReportDocument, 'issue'>): string => (issue === null ? 'DRAFT, not issued' : `Report ${issue.number}`);

/** What stands before the JSON in the file, and after it. */
const jsonBegins = 'href="data:application/json;charset=utf-8,';

/** Everything up to where the seal of an issued report stands. */
export function reportBody(document: ReportDocument): string {
  const name = reportName(document);
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="${escaped(document.basis.writtenWith)}">
<title>${escaped(`${name}: ${document.title}`)}</title>
<style>${reportStyle(name, document.details.laboratory?.name ?? document.title, document.length === 'one-page')}</style>
</head>
<body${document.length === 'one-page' ? ' class="one-page"' : ''}>
<main>
${mainParts(document).filter((part) => part !== '').join('\n')}
<p class="end">End of ${document.issue === null ? 'the draft' : escaped(name)}</p>
</main>
`;
}

/** The rest of the file. `seal`: the text of the seal, which no markup can be in; null: a draft has none. */
export const reportTail = (seal: string | null): string => `${seal === null ? '' : `<pre id="seal">\n${seal}</pre>\n`}</body>\n</html>\n`;

/** The JSON of a document out of its file; null: there is none. */
export function jsonInReport(html: string): string | null {
  const from = html.indexOf(jsonBegins);
  const to = from < 0 ? -1 : html.indexOf('"', from + jsonBegins.length);
  if (to < 0) return null;
  try {
    return decodeURIComponent(html.slice(from + jsonBegins.length, to));
  } catch {
    return null;
  }
}

function mainParts(document: ReportDocument): readonly string[] {
  const { title, warnings, head, items, conformity, recorded = [], results, figures, statements, budgets, traceability, windows } = document;
  const paragraphs = (sentences: readonly string[]): string => sentences.map((s) => `<p>${escaped(typeset(s))}</p>`).join('\n');
  const section = (heading: string, ...parts: readonly string[]): string => (parts.every((p) => p === '') ? '' : `<section>\n<h2>${escaped(heading)}</h2>\n${parts.join('\n')}\n</section>`);
  const tables = (all: readonly ReportTable[]): string => all.map(tableHtml).join('\n');
  return [
    `<h1>${escaped(title)}</h1>\n<p class="name">${escaped(reportName(document))}</p>`,
    warnings.length === 0 ? '' : `<div class="warnings">\n${paragraphs(warnings)}\n</div>`,
    `<dl>\n${head.map(({ name, text }) => `<dt>${escaped(name)}</dt><dd>${escaped(text)}</dd>`).join('\n')}\n</dl>`,
    document.length === 'one-page' ? `<p><b>Items.</b> ${escaped(itemsInWords(items))}</p>` : section('Items', tableHtml(items)),
    recorded.length === 0 ? '' : section('Recorded beside the measuring', tables(recorded)),
    conformity === null ? '' : section('Conformity', `<p><b>${escaped(conformity.summary)}</b></p>\n<p>${escaped(conformity.rule)}</p>`, conformity.exceptions.rows.length === 0 ? '' : tableHtml(conformity.exceptions)),
    section('Results', tables(results)),
    conformity?.table == null ? '' : section('Results against their limits', tableHtml(conformity.table)),
    figures.length === 0 ? '' : section('Figures', `<div class="figures">\n${figures.map((f) => `<figure>\n<figcaption><b>${escaped(f.title)}</b>${escaped(f.caption)}</figcaption>\n${figureSvg(f)}\n</figure>`).join('\n')}\n</div>`),
    section('Statements', statements.map((s) => (document.length === 'one-page' ? `<p><b>${escaped(s.title)}.</b> ${escaped(typeset(s.sentences.join(' ')))}</p>` : `<h3>${escaped(s.title)}</h3>\n${paragraphs(s.sentences)}`)).join('\n')),
    budgets.length === 0 ? '' : section('Uncertainty budgets', tables(budgets)),
    document.length === 'one-page' ? section('Traceability', paragraphs([[...traceability.sentences, instrumentsInWords(traceability.table)].join(' ')])) : section('Traceability', paragraphs(traceability.sentences), tableHtml(traceability.table)),
    windows.length === 0 ? '' : section('Raw data', tables(windows)),
    section('What this report rests on', basisHtml(document)),
  ];
}

/** Serial numbers of one type and condition together. */
function itemsInWords({ rows }: ReportTable): string {
  const groups = new Map<string, string[]>();
  for (const { title, cells } of rows) {
    const [type, , , condition] = cells.map((cell) => (cell.kind === 'text' ? cell.text : ''));
    const key = `type ${type ?? ''}; as received: ${condition ?? ''}`;
    groups.set(key, [...(groups.get(key) ?? []), title]);
  }
  return [...groups].map(([what, serials]) => `${serials.join(', ')}: ${what}.`).join(' ');
}

function instrumentsInWords({ rows }: ReportTable): string {
  const texts = rows.map(({ title, cells }) => {
    const [serial, certificate, date, until, u] = cells.map((cell) => (cell.kind === 'text' ? cell.text : ''));
    return `${title} ${serial ?? ''}, certificate ${certificate ?? ''} of ${date ?? ''}, valid until ${until ?? ''}, standard uncertainty ${u ?? ''}`;
  });
  return `${texts.join('; ')}.`;
}

function basisHtml(document: ReportDocument): string {
  const { basis, issue } = document;
  const json = encodeURIComponent(documentText(document));
  const facts: readonly (readonly [string, string])[] = [
    ['Run', basis.runId],
    ['Journal', `${basis.journal.events} events, the last with the hash ${basis.journal.hash}`],
    ['Archive', basis.archiveId],
    ['Archive\'s head', basis.archiveHead],
    ['Plan, equipment', `SHA-256 ${basis.planSha256}, ${basis.equipmentSha256}`],
    ['Programs', `measured with ${basis.measuredWith}; written with ${basis.writtenWith}`],
    ...(issue?.byKey === undefined ? [] : [[`Key of ${issue.by}`, issue.byKey] as const]),
    ...(issue?.amends == null ? [] : [['Amended report', `${issue.amends.number}, SHA-256 ${issue.amends.sha256}`] as const]),
  ];
  return `<dl class="hash">\n${facts.map(([name, text]) => `<dt>${escaped(name)}</dt><dd>${escaped(text)}</dd>`).join('\n')}\n</dl>
<p class="screen">This report for programs: <a download="report.json" ${jsonBegins}${json}">JSON</a>, its tables: <a download="report.csv" href="data:text/csv;charset=utf-8,${encodeURIComponent(reportCsv(document))}">CSV</a>.</p>`;
}

/** Texts longer than this may be broken over lines. */
const BROKEN_FROM = 24;

/** Rows up to which a table is not broken over two pages. */
const WHOLE = 14;

function tableHtml(table: ReportTable): string {
  const reasons: string[] = [];
  const noteOf = (why: string): string => {
    const known = reasons.indexOf(why);
    const index = known < 0 ? reasons.push(why) - 1 : known;
    return index < 26 ? String.fromCharCode(97 + index) : String(index + 1);
  };
  const isText = (column: number): boolean => table.rows.every(({ cells }) => cells[column]?.kind !== 'value' && cells[column]?.kind !== 'verdict');
  const head = table.columns.map((c, i) => `<th scope="col"${isText(i) ? ' class="text"' : ''}>${escaped(c.title)}${c.unit === null || c.unit.shown === '' ? '' : `<span>${escaped(c.unit.shown)}</span>`}</th>`);
  // A name is not broken at its hyphens; a sentence is.
  const rowTitle = table.rows.every((row) => row.title.length <= BROKEN_FROM) ? ' class="whole"' : '';
  const rows = table.rows.map((row) => `<tr${row.title === 'Set mean' ? ' class="mean"' : ''}><th scope="row"${rowTitle}>${escaped(row.title)}</th>${row.cells.map((cell, i) => cellHtml(cell, table.columns[i], noteOf)).join('')}</tr>`);
  const notes = [...coverageNote(table), ...table.notes.map((note) => escaped(typeset(note))), ...reasons.map((why) => `<sup>${noteOf(why)}</sup> ${escaped(typeset(why))}`)];
  return `<div class="table${table.rows.length <= WHOLE ? ' short' : ''}">
<table id="${table.id}">
<caption>${escaped(table.title)}</caption>
<thead><tr><th scope="col">${escaped(table.corner)}</th>${head.join('')}</tr></thead>
<tbody>
${rows.join('\n')}
</tbody>
</table>
${notes.length === 0 ? '' : `<div class="notes">${notes.map((n) => `<p>${n}</p>`).join('')}</div>`}
</div>`;
}

const decidedWords = { pass: '✓ pass', fail: '✗ FAIL', neither: '? neither' } as const;

/** A value as the report shows it, to the digit at which its uncertainty ends. */
export function shownValue(cell: Extract<ReportCell, { kind: 'value' }>, column: ReportColumn | undefined): string {
  const unit = cell.unit ?? column?.unit ?? { shown: '', factor: 1 };
  const text =
    cell.expanded === null && column?.decimals !== undefined
      ? trueMinus((cell.value * unit.factor).toFixed(column.decimals))
      : plusMinus(cell.value * unit.factor, cell.expanded === null ? null : cell.expanded * unit.factor);
  return cell.unit === undefined ? text : `${text} ${cell.unit.shown}`;
}

function cellHtml(cell: ReportCell, column: ReportColumn | undefined, noteOf: (why: string) => string): string {
  switch (cell.kind) {
    case 'text':
      return `<td class="text${cell.text.length <= BROKEN_FROM ? ' whole' : ''}">${escaped(typeset(cell.text))}</td>`;
    case 'value':
      return `<td class="number">${escaped(shownValue(cell, column))}</td>`;
    case 'verdict':
      return `<td class="verdict">${decidedWords[cell.decided]}</td>`;
    case 'missing':
      return `<td class="number">–<sup>${noteOf(cell.text)}</sup></td>`;
  }
}

/** The coverage factors of a table (7.8.4.1 a, GUM 7.2.3). */
function coverageNote({ rows }: ReportTable): readonly string[] {
  const factors = rows.flatMap((r) => r.cells.flatMap((c) => (c.kind === 'value' && c.coverageFactor !== null && c.expanded !== null && c.expanded > 0 ? [c.coverageFactor] : [])));
  if (factors.length === 0) return [];
  const [low, high] = [factors.reduce((a, b) => Math.min(a, b)), factors.reduce((a, b) => Math.max(a, b))].map((k) => k.toFixed(2));
  return [`± U, expanded uncertainty for about 95 %, k = ${low === high ? low : `${low} to ${high}`}.`];
}
