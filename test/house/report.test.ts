/** Reports of a real archive: issued, proved, changed, amended, printed. */
import { execFileSync, spawnSync } from 'node:child_process';
import { chmodSync, copyFileSync, existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { generateKeyPairSync } from 'node:crypto';
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import { noDetails, reportDetailsSchema } from '../../app/report/details.ts';
import { documentText, type ReportDocument } from '../../app/report/document.ts';
import { reportCsv } from '../../app/report/csv.ts';
import { reportBody, reportTail } from '../../app/report/html.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { reportOf } from '../../app/report/build.ts';
import { reportInput } from '../../app/report/made-report.test-helper.ts';
import { syntheticPlan } from '../../app/results/synthetic-run.test-helper.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { machineName } from '../../main/ending/process-there.ts';
import { makeProgram } from '../../main/cli/program.ts';
import { readRegister } from '../../main/report/register.ts';
import { issueReport, proveAgainst, type IssuedReport, type ToIssue } from '../../main/report/issue.ts';
import { releaseText } from '../../main/report/issuers.ts';
import { chromiumPath, chromiumPrinter, printPdf } from '../../main/report/pdf.ts';
import { checkListed, checkReport, sealText, sha256Of } from '../../main/report/seal.ts';
import { reportInArchive } from '../../main/report/source.ts';
import { timeStampRequest } from '../../main/report/time-stamp.ts';
import { samplePlan, withoutLeakChecks } from '../builders/in-process.ts';
import { measureInto } from '../builders/lab-archive.ts';
import { browserPath, HostProcess, keepScreen, launchBrowser, violations } from '../builders/window.ts';
import { hasOpenssl, makeAuthority, samplePolicy } from '../builders/time-stamp-authority.ts';
import { forge, forgeries, rewriteLedger } from './forgeries.ts';

const root = join(import.meta.dirname, '../..');
let folder = '';
let archiveFile = '';
let book = '';
let archive: Archive;
let runId = '';
let issued: Extract<IssuedReport, { ok: true }>;
let html: Buffer;
const at = '2026-02-03T08:00:00.000Z';
const details = reportDetailsSchema.parse(JSON.parse(readFileSync(join(root, 'main/samples/report-details.json'), 'utf8')));

const opened = (file: string): Archive => {
  const found = openArchive(file, { readOnly: true });
  if (!found.ok) throw new Error(found.text);
  return found.archive;
};
const order = (more: Partial<ToIssue> = {}): ToIssue => ({ archive, runId, details, length: 'full', paper: 'a4', by: 'B. Releaser', key: null, at, amends: null, book, print: chromiumPrinter(null), ...more });
const must = (result: IssuedReport): Extract<IssuedReport, { ok: true }> => {
  if (!result.ok) throw new Error(result.text);
  return result;
};

beforeAll(async () => {
  mkdirSync(join(root, 'test/.out'), { recursive: true });
  folder = mkdtempSync(join(root, 'test/.out', 'report-'));
  archiveFile = join(folder, 'archive.sqlite');
  book = join(folder, 'book');
  const clock = new VirtualClock(Date.UTC(2026, 1, 1));
  const made = openArchive(archiveFile, { now: () => clock.unixNow(), entropy: machineEntropy });
  if (!made.ok) throw new Error(made.text);
  made.archive.library.saveParts([{ order: 'Order 1', type: 'RH-P4', serialNumber: 'RH4-0118', coilResistanceOhm: 14.5, condition: 'scratched', channel: null }]);
  const plan = samplePlan('small-plan', withoutLeakChecks);
  const noisy = [{ begins: { atS: 10 }, forS: 6, fault: { kind: 'sensor-noisy' as const, sensor: 'pressure' as const, sd: 4000 } }];
  await measureInto(made.archive, clock, noisy, { ...plan, order: 'Order 1', axes: { ...plan.axes, widthMs: [3, 4, 5, 6, 8, 10] }, static: { ...plan.static, replicates: 1 } });
  made.archive.close();
  clock.stop();
  archive = opened(archiveFile);
  runId = archive.latestRun()?.id ?? '';
  issued = must(await issueReport(order()));
  html = readFileSync(join(issued.folder, 'report.html'));
}, 60_000);
afterAll(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

const inTables = (text: string): readonly number[] =>
  [...text.matchAll(/<table[^>]*>(.*?)<\/table>/gs)].flatMap((table) => [...table[0].matchAll(/>([^<]*)</gs)].flatMap((cell) => [...(cell[1] ?? '').matchAll(/\d/g)].map((digit) => table.index + cell.index + 1 + digit.index)));

describe('REP-20 a report of a stored run', () => {
  test('is the same whenever it is worked out, and has the condition under which an injector was booked in', () => {
    const once = reportInArchive(archive, { runId, details, length: 'raw', issue: null });
    const again = reportInArchive(archive, { runId, details, length: 'raw', issue: null });
    if (!once.ok || !again.ok) throw new Error('should be there');
    expect(documentText(again.document)).toBe(documentText(once.document));
    expect(html.toString('utf8')).toContain('scratched');
    expect(html.toString('utf8')).toContain('clean, no visible damage');
  });

  test('says what was rejected, and that nothing real was measured', () => {
    expect(html.toString('utf8')).toContain('were rejected and do not count');
    expect(html.toString('utf8')).toContain('simulated bench of this program');
  });

  test('can be worked out as it stood before more was measured', async () => {
    const copy = join(folder, 'more.sqlite');
    copyFileSync(archiveFile, copy);
    const clock = new VirtualClock(Date.UTC(2026, 1, 2));
    const made = openArchive(copy, { now: () => clock.unixNow(), entropy: machineEntropy });
    if (!made.ok) throw new Error(made.text);
    await measureInto(made.archive, clock, []);
    made.archive.append(runId, [{ kind: 'chosen', point: 0, attempt: null, by: { person: 'C. Later' }, why: 'A later decision.' }], []);
    made.archive.close();
    clock.stop();
    const later = opened(copy);
    const checked = checkReport(html, null);
    if (!checked.holds) throw new Error(checked.text);
    const now = reportInArchive(later, { runId, details, length: 'full', issue: null });
    expect(now.ok && JSON.stringify(now.document)).toContain('A later decision.');
    expect(proveAgainst(later, checked)).toMatchObject({ holds: true });
    later.close();
  });

  test('REP-50, REP-51, REP-52 has the examinations of its injectors in this job and the notes of the run, as they stood when it was written, and none of it becomes markup or a formula', () => {
    const copy = join(folder, 'recorded.sqlite');
    copyFileSync(archiveFile, copy);
    const found = openArchive(copy, { now: () => unixMillis(Date.UTC(2026, 1, 4)), entropy: machineEntropy });
    if (!found.ok) throw new Error(found.text);
    const { archive: lab } = found;
    const run = lab.run(runId);
    const hostile = '=1+2 <script>alert(1)</script>';
    const visit = {
      visitVersion: 1 as const, serialNumber: 'RH4-0118', type: '', order: run?.order ?? '', stage: 'as-found' as const, doneOn: '2026-02-01', by: 'V. Examiner', visual: hostile, spray: '', remark: '',
      coil: { ohm: 14.6, expandedOhm: 0.02, celsius: 20, expandedKelvin: 0 }, insulation: null, leak: { mlPerMinute: 0, kilopascals: 400 }, corrects: null,
    };
    const add = (more: object): void => expect(lab.visits.add({ ...visit, ...more }, [])).toMatchObject({ ok: true });
    add({});
    add({ stage: 'as-left', visual: 'read wrongly' });
    add({ stage: 'as-left', visual: 'clean', corrects: 2, remark: 'by another lamp' });
    add({ order: 'another job', visual: 'of another job' });
    const note = (text: string, mark: 'note' | 'look') => ({ kind: 'commanded' as const, id: text, by: 'N. Oter', command: { kind: 'note' as const, point: 1, attempt: null, injector: null, text, mark }, answer: 'accepted' as const, reason: '' });
    lab.append(runId, [note(hostile, 'look')], []);
    const wanted = { runId, details, length: 'full', issue: null } as const;
    const report = reportInArchive(lab, wanted);
    if (!report.ok) throw new Error(report.text);
    const { document } = report;
    const [examinations, notes] = document.recorded ?? [];
    expect(examinations?.rows.map(({ title, cells }) => [title, ...cells.slice(0, 2).map((cell) => (cell.kind === 'text' ? cell.text : ''))])).toEqual([['RH4-0118', 'As found', '2026-02-01'], ['RH4-0118', 'As left', '2026-02-01']]);
    // At 20 degC the resistance is the one that was read.
    expect(examinations?.rows[0]?.cells[2]).toMatchObject({ kind: 'value', value: 14.6 });
    expect(notes?.rows.map(({ title }) => title)).toEqual(['Point 2']);
    const page = reportBody(document);
    expect(page).not.toContain('<script>alert');
    expect(page.split('&lt;script&gt;alert(1)&lt;/script&gt;').length).toBeGreaterThanOrEqual(3);
    expect(page).toContain('to be looked at');
    expect(page).not.toContain('of another job');
    expect(page).not.toContain('read wrongly');
    expect(reportCsv(document)).toMatch(/,'=1\+2 <script>/u);
    // Worked out anew after more was recorded it says what stood then.
    const then = { head: lab.head(), events: document.basis.journal.events };
    add({ stage: 'cleaned', visual: 'later' });
    lab.append(runId, [note('a later note', 'note')], []);
    const again = reportInArchive(lab, { ...wanted, details: document.details, then });
    expect(again.ok && JSON.stringify(again.document.recorded)).toBe(JSON.stringify(document.recorded));
    const without = reportInArchive(lab, { ...wanted, details: { ...details, notes: false, visits: [] } });
    expect(without.ok && without.document.recorded).toBeUndefined();
    expect(reportInArchive(lab, { ...wanted, length: 'one-page' })).toMatchObject({ ok: true, document: expect.not.objectContaining({ recorded: expect.anything() as unknown }) as unknown });
    lab.close();
  });

  test('of a run in which nothing was measured is refused in words', () => {
    expect(reportInArchive(archive, { runId: 'nothing', details: noDetails, length: 'full', issue: null })).toMatchObject({ ok: false });
  });
});

describe('REP-21, REP-23 issuing', () => {
  test('numbers by the year, names who released, and leaves files that are not written to', async () => {
    const next = must(await issueReport(order({ by: 'Operator 1' })));
    expect([issued.number, next.number]).toEqual(['R-2026-0001', 'R-2026-0002']);
    expect(readFileSync(join(issued.folder, 'report.html'), 'utf8')).toContain('>B. Releaser<');
    expect(readFileSync(join(next.folder, 'report.html'), 'utf8')).toContain('Operator 1 (the same person who measured)');
    for (const name of readdirSync(issued.folder)) expect(statSync(join(issued.folder, name)).mode & 0o222).toBe(0);
    expect(must(await issueReport(order({ at: '2027-01-02T00:00:00.000Z' }))).number).toBe('R-2027-0001');
  });

  test('that fails enters nothing, and its number is free', async () => {
    const before = readRegister(book);
    const failed = await issueReport(order({ runId: 'nothing' }));
    expect(failed).toMatchObject({ ok: false });
    expect(readRegister(book)).toEqual(before);
    if (before.ok) expect(readdirSync(book).filter((name) => name.startsWith('R-')).length).toBe(before.value.reports.length);
  });

  test('is refused while another issues, and where others may read the key', async () => {
    writeFileSync(join(book, 'issuing.lock'), '');
    const busy = await issueReport(order());
    expect(busy.ok ? '' : busy.text).toContain('Another program');
    rmSync(join(book, 'issuing.lock'));
    expect(statSync(join(book, 'report-key.pem')).mode & 0o777).toBe(0o600);
    chmodSync(join(book, 'report-key.pem'), 0o644);
    const open = await issueReport(order());
    expect(open.ok ? '' : open.text).toContain('may be read by others');
    chmodSync(join(book, 'report-key.pem'), 0o600);
  });
});

describe('REP-24, REP-25 a report by itself', () => {
  test('holds, by its own key and by the one that was given', () => {
    expect(checkReport(html, null)).toMatchObject({ holds: true, seal: { number: 'R-2026-0001', archiveId: archive.archiveId() } });
    expect(checkReport(html, issued.publicKey)).toMatchObject({ holds: true });
    expect(checkReport(html, 'A'.repeat(43))).toMatchObject({ holds: false });
  });

  test('with one digit of any table changed is found, each in turn', () => {
    const text = html.toString('latin1');
    const digits = inTables(text);
    expect(digits.length).toBeGreaterThan(800);
    const missed = digits.filter((place) => {
      const changed = Buffer.from(html);
      changed[place] = ((html[place] ?? 0x30) - 0x30 + 1) % 10 + 0x30;
      return checkReport(changed, null).holds;
    });
    expect(missed).toEqual([]);
  });

  test('with a digit of its inner JSON or of its seal changed, a row dropped, anything added or hidden is found', () => {
    const text = html.toString('utf8');
    const json = text.indexOf('data:application/json');
    const some = [...text.slice(json, json + 60_000).matchAll(/(?<!%|%[0-9A-F])\d/g)].filter((_, i) => i % 37 === 0).map((m) => json + m.index);
    const seal = [...text.slice(text.lastIndexOf('<pre id="seal">')).matchAll(/[0-9a-f]/g)].map((m) => text.lastIndexOf('<pre id="seal">') + m.index);
    for (const place of [...some, ...seal]) {
      const other = text[place] === '5' ? '6' : '5';
      expect(checkReport(Buffer.from(text.slice(0, place) + other + text.slice(place + 1)), null).holds).toBe(false);
    }
    const row = /<tr><th scope="row".*?<\/tr>\n/.exec(text)?.[0] ?? '';
    const style = '<style>table { display: none }</style>';
    const tampered = [text.replace(row, ''), text.replace('</html>\n', `${style}</html>\n`), `${text}${style}`, text.replace('</pre>', `${style}</pre>`), text.replace('<pre id="seal">', `${style}<pre id="seal">`), text.replace('<pre id="seal">\n', '<pre id="seal">\n\n'), text.slice(0, -1), text.slice(0, text.lastIndexOf('<pre id="seal">'))];
    for (const one of tampered) {
      expect(one).not.toBe(text);
      expect(checkReport(Buffer.from(one), null).holds).toBe(false);
    }
    expect(checkReport(Buffer.concat([html.subarray(0, 500), Buffer.from([0xff]), html.subarray(500)]), null).holds).toBe(false);
  });

  test('that a forger seals anew has another key', () => {
    const { privateKey, publicKey } = generateKeyPairSync('ed25519');
    const own = (publicKey.export({ format: 'jwk' }) as { x: string }).x;
    const checked = checkReport(html, null);
    if (!checked.holds) throw new Error('should hold');
    const document = JSON.parse(checked.json) as ReportDocument;
    if (document.issue === null) throw new Error('was issued');
    const forged = { ...document, issue: { ...document.issue, publicKey: own }, warnings: [] };
    const body = reportBody(forged);
    const file = Buffer.from(body + reportTail(sealText({ ...checked.seal, body: sha256Of(body), publicKey: own }, privateKey)));
    expect(checkReport(file, null)).toMatchObject({ holds: true });
    expect(checkReport(file, issued.publicKey)).toMatchObject({ holds: false });
    // And its own words are not those of the archive.
    const whole = checkReport(file, null);
    expect(whole.holds && proveAgainst(archive, whole)).toMatchObject({ holds: false });
    // A seal of one report around the contents of another speaks of something else.
    const mixed = reportBody({ ...document, issue: { ...document.issue, number: 'R-2026-0099', publicKey: own } });
    expect(checkReport(Buffer.from(mixed + reportTail(sealText({ ...checked.seal, body: sha256Of(mixed), publicKey: own }, privateKey))), null)).toMatchObject({ holds: false });
  });

  test.skipIf(spawnSync('python3', ['--version']).status !== 0)('is checked in another language with nothing of ours', () => {
    const script = join(root, 'test/outside/check_report.py');
    expect(readFileSync(script, 'utf8').trimEnd().split('\n').length).toBeLessThanOrEqual(100);
    const file = join(issued.folder, 'report.html');
    expect(execFileSync('python3', [script, file, issued.publicKey], { encoding: 'utf8' })).toContain('is as it was issued');
    const changed = join(folder, 'changed.html');
    const text = html.toString('utf8');
    for (const one of [text.replace(/(\d)( ± )/, (_, d: string, s: string) => `${(Number(d) + 1) % 10}${s}`), text.replace(/signature ./, 'signature _'), `${text} `]) {
      writeFileSync(changed, one);
      expect(spawnSync('python3', [script, changed]).status).toBe(1);
    }
    expect(spawnSync('python3', [script, file, 'A'.repeat(43)]).status).toBe(1);
  });
});

describe('REP-26 amendments', () => {
  test('name the old report, which stays as it is, and the register knows', async () => {
    const old = must(await issueReport(order()));
    const before = readFileSync(join(old.folder, 'report.html'));
    const amended = must(await issueReport(order({ amends: { number: old.number, reason: 'The customer moved.' } })));
    const text = readFileSync(join(amended.folder, 'report.html'), 'utf8');
    expect(text).toContain(`Report ${old.number}, whose place it takes. Reason: The customer moved.`);
    const checked = checkReport(before, null);
    if (!checked.holds) throw new Error(checked.text);
    expect(text).toContain(checked.seal.body);
    expect(readFileSync(join(old.folder, 'report.html'))).toEqual(before);
    const register = readRegister(book);
    expect(register.ok && register.value.reports.find((r) => r.number === amended.number)?.amends).toBe(old.number);
    const twice = await issueReport(order({ amends: { number: old.number, reason: 'Again.' } }));
    expect(twice.ok ? '' : twice.text).toContain(`amended by ${amended.number} already`);
    expect(await issueReport(order({ amends: { number: 'R-1999-0001', reason: 'No such.' } }))).toMatchObject({ ok: false });
  });

  test('a register in which one character was changed issues nothing', async () => {
    const path = join(book, 'register.txt');
    const text = readFileSync(path, 'utf8');
    for (let i = 0; i < text.length; i += 17) {
      if (text[i] === '\n') continue;
      writeFileSync(path, text.slice(0, i) + (text[i] === '1' ? '2' : '1') + text.slice(i + 1));
      if (text.slice(i, i + 1) === '1' || readFileSync(path, 'utf8') !== text) expect(readRegister(book).ok).toBe(false);
    }
    // A line taken out of the middle.
    writeFileSync(path, text.split('\n').filter((_, i) => i !== 1).join('\n'));
    const refused = await issueReport(order());
    expect(refused.ok ? '' : refused.text).toContain('the register does not hold');
    writeFileSync(path, text);
    expect(readRegister(book).ok).toBe(true);
  });
});

describe('REP-35 a program that ended while it issued', () => {
  /** A book with one report, and one more that is being entered. */
  async function shelfWithTwo(name: string) {
    const shelf = join(folder, name);
    const first = must(await issueReport(order({ book: shelf })));
    const second = must(await issueReport(order({ book: shelf, by: 'Ä. Releaser ✓', amends: { number: first.number, reason: 'A reason.' } })));
    const path = join(shelf, 'register.txt');
    return { shelf, first, second, path, text: readFileSync(path) };
  }

  test('before its line was whole: the report is entered, and nothing is issued twice', async () => {
    const { shelf, second, path, text } = await shelfWithTwo('cut');
    const from = text.indexOf(0x0a) + 1;
    for (const size of [from, from + 1, from + 15, Math.floor((from + text.length) / 2), text.length - 1]) {
      writeFileSync(path, text.subarray(0, size));
      const mended = await issueReport(order({ book: shelf }));
      expect(mended.ok ? '' : mended.text, String(size)).toContain(`Report ${second.number} of run ${runId} was whole and signed`);
      expect(mended.ok ? '' : mended.text.includes('had been cut off'), String(size)).toBe(size > from);
      expect(mended.ok ? '' : mended.text).toContain('Nothing else was issued');
      // As if nothing had happened, to the last byte.
      expect(readFileSync(path).toString('utf8')).toBe(text.toString('utf8'));
    }
    const next = must(await issueReport(order({ book: shelf })));
    expect([next.number, next.mended]).toEqual(['R-2026-0003', []]);
    const read = readRegister(shelf);
    expect(read.ok && read.value.reports.map((r) => [r.number, r.by, r.amends])).toEqual([['R-2026-0001', 'B. Releaser', null], ['R-2026-0002', 'Ä. Releaser ✓', 'R-2026-0001'], ['R-2026-0003', 'B. Releaser', null]]);
  });

  test('with zeros where its line should stand, and without a whole report: the line is set aside, and its number is not given again', async () => {
    const { shelf, first, second, path, text } = await shelfWithTwo('zeros');
    const from = text.indexOf(0x0a) + 1;
    rmSync(second.folder, { recursive: true });
    writeFileSync(path, Buffer.concat([text.subarray(0, from + 20), Buffer.alloc(64), Buffer.from('\n')]));
    expect(readRegister(shelf)).toMatchObject({ ok: true, value: { reports: [{ number: first.number }] } });
    const next = must(await issueReport(order({ book: shelf })));
    expect(next.number).toBe('R-2026-0003');
    expect(next.mended.join(' ')).toContain('the register goes on after its last whole line');
    const [, aside = ''] = /set aside in (\S+\.txt)/.exec(next.mended.join(' ')) ?? [];
    expect(readFileSync(aside).subarray(0, 20)).toEqual(text.subarray(from, from + 20));
    expect(readFileSync(join(second.folder, 'not-issued.txt'), 'utf8')).toContain('not given again');
    const read = readRegister(shelf);
    expect(read.ok && [read.value.torn.length, ...read.value.reports.map((r) => r.number)]).toEqual([0, 'R-2026-0001', 'R-2026-0003']);
  });

  test('before its report was whole: nothing of it is entered, and the number is left out', async () => {
    const { shelf, first, second, path, text } = await shelfWithTwo('half');
    writeFileSync(path, text.subarray(0, text.indexOf(0x0a) + 1));
    const file = join(second.folder, 'report.html');
    const whole = readFileSync(file);
    rmSync(file);
    writeFileSync(file, whole.subarray(0, whole.length - 1));
    const next = must(await issueReport(order({ book: shelf, amends: { number: first.number, reason: 'Again.' } })));
    expect([next.number, next.mended]).toEqual(['R-2026-0003', []]);
  });

  test('leaves a lock behind that is taken over; one of another machine, or of a program that goes on, is not', async () => {
    const { shelf } = await shelfWithTwo('locked');
    const lock = join(shelf, 'issuing.lock');
    const gone = spawnSync(process.execPath, ['-e', '']).pid;
    writeFileSync(lock, `${machineName()} ${gone}\n`);
    expect(must(await issueReport(order({ book: shelf }))).number).toBe('R-2026-0003');
    for (const held of [`${machineName()} ${process.ppid}\n`, `another-machine ${gone}\n`, '']) {
      writeFileSync(lock, held);
      const busy = await issueReport(order({ book: shelf }));
      expect(busy.ok ? '' : busy.text).toContain('Another program');
      expect(readFileSync(lock, 'utf8')).toBe(held);
    }
    rmSync(lock);
    expect(readdirSync(shelf).filter((name) => name.startsWith('issuing'))).toEqual([]);
  });

  test('a line in the middle that was changed, with zeros or without its end, is no line that was cut off', async () => {
    const { shelf, path, text } = await shelfWithTwo('middle');
    const from = text.indexOf(0x0a) + 1;
    for (const wrong of [Buffer.concat([text.subarray(0, 10), Buffer.alloc(5), text.subarray(15)]), Buffer.concat([text.subarray(0, from - 1), text.subarray(from)])]) {
      writeFileSync(path, wrong);
      const refused = await issueReport(order({ book: shelf }));
      expect(refused.ok ? '' : refused.text).toContain('the register does not hold');
      expect(readFileSync(path)).toEqual(wrong);
    }
  });

  test('with lines from before people stood in it is read and goes on', async () => {
    const { shelf, first, path, text } = await shelfWithTwo('older');
    const fields = text.subarray(0, text.indexOf(0x0a)).toString('utf8').split(' ').slice(0, 5).join(' ');
    writeFileSync(path, `${fields} ${sha256Of(`${sha256Of('railhouse register of reports 1')} ${fields}`)}\n`);
    rmSync(join(shelf, 'R-2026-0002'), { recursive: true });
    expect(readRegister(shelf)).toMatchObject({ ok: true, value: { reports: [{ number: first.number, by: null }] } });
    must(await issueReport(order({ book: shelf })));
    expect(readRegister(shelf)).toMatchObject({ ok: true, value: { reports: [{ by: null }, { number: 'R-2026-0002', by: 'B. Releaser' }] } });
  });
});

describe('REP-27 a report against its archive', () => {
  const checkedReport = () => {
    const checked = checkReport(html, null);
    if (!checked.holds) throw new Error(checked.text);
    return checked;
  };

  test('comes out of it again, word for word', () => expect(proveAgainst(archive, checkedReport())).toMatchObject({ holds: true }));

  test('does not hold against another archive, nor one that was rewritten consistently', () => {
    for (const what of ['every mass is 3 % larger, in window, telemetry and chain', 'a rejected attempt was accepted', 'somebody else measured, at another time']) {
      const forgery = forgeries.find((f) => f.what === what);
      if (forgery === undefined) throw new Error(`no forgery "${what}"`);
      const copy = join(folder, 'forged.sqlite');
      rmSync(copy, { force: true });
      copyFileSync(archiveFile, copy);
      forge(copy, (db) => {
        forgery.forge(db);
        rewriteLedger(db);
      });
      const forged = opened(copy);
      // Nothing in the file alone tells.
      expect(forged.verify().passed).toBe(true);
      // The report's head does.
      expect(proveAgainst(forged, checkedReport())).toMatchObject({ holds: false, text: expect.stringContaining('The archive does not hold') as unknown });
      forged.close();
    }
    const other = join(folder, 'other.sqlite');
    const clock = new VirtualClock(Date.UTC(2026, 1, 1));
    const made = openArchive(other, { now: () => clock.unixNow(), entropy: machineEntropy });
    if (!made.ok) throw new Error(made.text);
    const proved = proveAgainst(made.archive, checkedReport());
    expect(proved.text).toContain('rests on archive');
    made.archive.close();
    clock.stop();
  });
});

describe('REP-28 the files of a report', () => {
  test('are in a signed list; one that was changed is not as it was issued', () => {
    const list = readFileSync(join(issued.folder, 'seal.txt'), 'utf8');
    for (const name of ['report.html', 'report.json', 'report.csv']) {
      const data = readFileSync(join(issued.folder, name));
      expect(checkListed(name, data, list, issued.publicKey)).toMatchObject({ holds: true, number: issued.number });
      expect(checkListed(name, Buffer.concat([data, Buffer.from(' ')]), list, null)).toMatchObject({ holds: false });
      expect(checkListed(name, data, list.replace(/file ([a-z.]+) [0-9a-f]/, 'file $1 x'), null)).toMatchObject({ holds: false });
      expect(checkListed(name, data, list.replace(/[0-9a-f]\nkey/, (m) => (m.startsWith('0') ? '1\nkey' : '0\nkey')), null)).toMatchObject({ holds: false });
    }
    expect(checkListed('report.pdf', Buffer.from(''), list, null)).toMatchObject({ holds: false });
  });
});

/** Number and size (mm) of the pages of a PDF that Chromium wrote. */
function pagesOf(pdf: Buffer): { readonly pages: number; readonly width: number; readonly height: number } {
  const text = pdf.toString('latin1');
  const [, width = 0, height = 0] = (/\/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]/.exec(text) ?? []).map(Number);
  return { pages: [...text.matchAll(/\/Type\s*\/Page\b(?!s)/g)].length, width: Math.round((width / 72) * 25.4), height: Math.round((height / 72) * 25.4) };
}

describe('REP-22 PDF', () => {
  test('is said not to be there where no browser is, and nothing is left behind', async () => {
    expect(chromiumPath({ PATH: folder })).toBe(chromiumPath({ PATH: '' }));
    expect(chromiumPath({ PATH: '/usr/bin', RAILHOUSE_CHROMIUM: join(folder, 'none') })).toBeNull();
    const file = join(folder, 'none.pdf');
    const printed = await printPdf('<p>', file, 'a4', null);
    expect(printed.ok ? '' : printed.text).toContain('No PDF was made: there is no Chromium');
    const broken = await printPdf('<p>', file, 'a4', '/bin/false');
    expect(broken.ok ? '' : broken.text).toContain('did not print');
    expect(existsSync(file)).toBe(false);
    expect(issued.notPrinted).toContain('No PDF was made');
  });

  test.skipIf(browserPath === null)('of one page is one page on either paper; of 40 injectors, 6 voltages and 3 pressures it is whole', async () => {
    const pdf = async (document: ReportDocument, paper: 'a4' | 'letter') => {
      const file = join(folder, `${paper}.pdf`);
      expect(await printPdf(reportBody(document) + reportTail(null), file, paper)).toEqual({ ok: true });
      return pagesOf(readFileSync(file));
    };
    const short = reportInArchive(archive, { runId, details, length: 'one-page', issue: null });
    if (!short.ok) throw new Error(short.text);
    expect(await pdf(short.document, 'a4')).toEqual({ pages: 1, width: 210, height: 297 });
    expect(await pdf(short.document, 'letter')).toEqual({ pages: 1, width: 216, height: 279 });
    const large = reportOf({ ...reportInput({ plan: syntheticPlan({ voltageV: [8, 9, 10, 12, 14, 16], pressureKpa: [300, 350, 400] }, 40) }), length: 'full' });
    const { pages } = await pdf(large, 'a4');
    expect(pages).toBeGreaterThan(15);
    expect(pages).toBeLessThan(200);
  }, 120_000);

  test.skipIf(browserPath === null)('REP-8 the HTML is clean for axe, and nothing of it is wider than its page', async () => {
    const browser = await launchBrowser();
    try {
      const page = await (await browser.newContext({ bypassCSP: true, viewport: { width: 1280, height: 900 } })).newPage();
      await page.setContent(html.toString('utf8'));
      expect(await violations(page)).toEqual([]);
      const large = reportOf({ ...reportInput({ plan: syntheticPlan({ voltageV: [8, 9, 10, 12, 14, 16], pressureKpa: [300, 350, 400] }, 40) }), length: 'full' });
      await page.setViewportSize({ width: 718, height: 1000 });
      const raw = reportInArchive(archive, { runId, details, length: 'raw', issue: null });
      if (!raw.ok) throw new Error(raw.text);
      for (const document of [large, raw.document]) {
        await page.setContent(reportBody(document) + reportTail(null));
        expect(await page.evaluate(`[...document.querySelectorAll('table')].filter((t) => t.getBoundingClientRect().width > t.closest('main').clientWidth).map((t) => t.id)`)).toEqual([]);
      }
    } finally {
      await browser.close();
    }
  }, 120_000);
});

/** What a command says on standard output, and the text and exit code that stopped it. */
async function said(...words: readonly string[]): Promise<{ readonly out: string; readonly stopped: string; readonly code: number }> {
  let out = '';
  const writes = [vi.spyOn(process.stdout, 'write'), vi.spyOn(process.stderr, 'write')];
  for (const write of writes) write.mockImplementation((text) => { out += String(text); return true; });
  try {
    await makeProgram().parseAsync(words, { from: 'user' });
    return { out, stopped: '', code: 0 };
  } catch (error) {
    return { out, stopped: (error as Error).message, code: (error as { readonly exitCode?: number }).exitCode ?? 1 };
  } finally {
    for (const write of writes) write.mockRestore();
  }
}

describe('reports by the command line', () => {
  test('are drafted, issued, proved, and refused where one digit was changed', async () => {
    const [to, shelf] = [join(folder, 'draft'), join(folder, 'shelf')];
    const chromium = process.env['RAILHOUSE_CHROMIUM'];
    process.env['RAILHOUSE_CHROMIUM'] = join(folder, 'none');
    try {
      const drafted = await said('report', runId.slice(0, 30), '--archive', archiveFile, '--to', to, '--length', 'one-page');
      expect(drafted).toMatchObject({ stopped: '', code: 0 });
      expect(readdirSync(to).sort()).toEqual(['report.csv', 'report.html', 'report.json']);
      expect(await said('prove-report', join(to, 'report.html'))).toMatchObject({ code: 8, stopped: expect.stringContaining('no seal') as unknown });
      expect(await said('issue-report', '--archive', archiveFile, '--book', shelf)).not.toMatchObject({ code: 0 });
      expect(await said('issue-report', '--archive', archiveFile, '--book', shelf, '--by', 'B. Releaser', '--amends', 'R-1')).toMatchObject({ code: 2, stopped: expect.stringContaining('--reason') as unknown });
      const made = await said('issue-report', '--archive', archiveFile, '--book', shelf, '--by', 'B. Releaser', '--details', join(root, 'main/samples/report-details.json'));
      expect(made).toMatchObject({ stopped: '', code: 0 });
      const [, number = '', key = ''] = /^(R-\d{4}-\d{4})$[^]*public key ([\w-]{43})/m.exec(made.out) ?? [];
      const file = join(shelf, number, 'report.html');
      const proved = await said('prove-report', file, '--public-key', key, '--against', archiveFile, '--book', shelf);
      expect(proved).toMatchObject({ stopped: '', code: 0 });
      expect(proved.out).toContain('every word and number of the report comes out the same');
      expect(proved.out).toContain('no report took its place');
      expect((await said('prove-report', join(shelf, number, 'report.csv'))).out).toContain('is as it was issued');
      const changed = join(folder, 'one-digit.html');
      writeFileSync(changed, readFileSync(file, 'utf8').replace(/(\d)( ± )/, (_, d: string, s: string) => `${(Number(d) + 1) % 10}${s}`));
      expect(await said('prove-report', changed)).toMatchObject({ code: 8, stopped: expect.stringContaining('NOT as it was issued') as unknown });
      const amended = await said('issue-report', '--archive', archiveFile, '--book', shelf, '--by', 'B. Releaser', '--amends', number, '--reason', 'A typing error.');
      expect(amended.code).toBe(0);
      expect((await said('prove-report', file, '--book', shelf)).out).toContain('TOOK ITS PLACE');
    } finally {
      if (chromium === undefined) delete process.env['RAILHOUSE_CHROMIUM'];
      else process.env['RAILHOUSE_CHROMIUM'] = chromium;
    }
  });
});

describe.skipIf(browserPath === null)('REP-38 a report in print and in grey', () => {
  /** Colours of a style or a figure, each as its grey of the same luminance (Rec. 709, on the coded values). */
  const inGrey = (text: string): string =>
    text.replaceAll(/#([0-9a-f]{6}|[0-9a-f]{3})\b/gi, (_, hex: string) => {
      const [r = 0, g = 0, b = 0] = ((hex.length === 3 ? hex.replaceAll(/./g, '$&$&') : hex).match(/../g) ?? []).map((two) => parseInt(two, 16));
      const grey = Math.round(0.2126 * r + 0.7152 * g + 0.0722 * b).toString(16).padStart(2, '0');
      return `#${grey.repeat(3)}`;
    });

  test('is clean for axe, and loses nothing', async () => {
    const browser = await launchBrowser();
    try {
      const page = await (await browser.newContext({ bypassCSP: true, viewport: { width: 1280, height: 900 } })).newPage();
      await page.emulateMedia({ media: 'print' });
      const text = html.toString('utf8');
      // What stands in the JSON and CSV inside is not shown.
      const grey = text.replace(/<style>.*?<\/style>/s, inGrey).replaceAll(/<svg.*?<\/svg>/gs, inGrey);
      expect(grey).not.toBe(text);
      for (const shown of [text, grey]) {
        await page.setContent(shown);
        expect(await violations(page)).toEqual([]);
      }
      await keepScreen(page, 'report-grey');
      const coloured = await page.evaluate<string[]>(`[...document.querySelectorAll('body, body *')].flatMap((e) => ['color', 'backgroundColor', 'fill', 'stroke', 'borderTopColor'].map((p) => getComputedStyle(e)[p])).filter((c) => { const [r, g, b] = (c.match(/[\\d.]+/g) ?? []).map(Number); return c.startsWith('rgb') && (r !== g || g !== b); })`);
      // Links keep the browser's own colour, and are underlined.
      expect([...new Set(coloured)].length).toBeLessThanOrEqual(2);
    } finally {
      await browser.close();
    }
    const figures = [...html.toString('utf8').matchAll(/<svg.*?<\/svg>/gs)].map((m) => m[0]);
    expect(figures.length).toBeGreaterThan(0);
    const large = reportOf({ ...reportInput({ plan: syntheticPlan({ voltageV: [9, 12, 14], pressureKpa: [300] }, 12) }), length: 'full' });
    const drawn = [...figures, ...[...reportBody(large).matchAll(/<svg.*?<\/svg>/gs)].map((m) => m[0])];
    let several = 0;
    for (const figure of drawn) {
      const lines = [...inGrey(figure).matchAll(/<polyline points="[^"]*" fill="none"([^>]*)\/>/g)].map((m) => /stroke-dasharray="([^"]*)"/.exec(m[1] ?? '')?.[1] ?? '');
      if (lines.length < 2) continue;
      several += 1;
      // As many dashes as there are, before one comes again; with its mark each pair is one of a kind.
      expect(new Set(lines).size).toBeGreaterThanOrEqual(Math.min(lines.length, 4));
    }
    expect(several).toBeGreaterThan(0);
  }, 120_000);
});

describe('REP-36 who may issue', () => {
  test('is everybody who can use the key, or those whom the book names', async () => {
    const shelf = join(folder, 'named');
    must(await issueReport(order({ book: shelf, by: 'Anybody' })));
    writeFileSync(join(shelf, 'issuers.txt'), '# who answers for reports\n\nB.  releaser\nC. Other\n');
    must(await issueReport(order({ book: shelf })));
    const refused = await issueReport(order({ book: shelf, by: 'Anybody' }));
    expect(refused.ok ? '' : refused.text).toContain('not among those who may issue');
    const read = readRegister(shelf);
    expect(read.ok && read.value.reports.map((r) => r.by)).toEqual(['Anybody', 'B. Releaser']);
  });
});

describe('REP-37 a key of a person', () => {
  const personal = () => {
    const { privateKey, publicKey } = generateKeyPairSync('ed25519');
    return { pem: privateKey.export({ format: 'pem', type: 'pkcs8', cipher: 'aes-256-cbc', passphrase: 'secret words' }), publicKey: (publicKey.export({ format: 'jwk' }) as { x: string }).x };
  };

  test('signs the whole file, and the seal of the laboratory says whose it is', async () => {
    const shelf = join(folder, 'personal');
    mkdirSync(shelf, { mode: 0o700 });
    const [mine, others] = [personal(), personal()];
    for (const [name, { pem }] of [['mine', mine], ['others', others]] as const) writeFileSync(join(folder, `${name}.pem`), pem);
    writeFileSync(join(shelf, 'issuers.txt'), `B. Releaser ${mine.publicKey}\nC. Other\n`);
    const issue = (key: string, ...more: readonly string[]) => said('issue-report', '--archive', archiveFile, '--book', shelf, '--by', 'B. Releaser', '--key', join(folder, key), ...more);
    expect(await issue('mine.pem')).toMatchObject({ code: 2, stopped: expect.stringContaining('RAILHOUSE_KEY_PASSPHRASE') as unknown });
    vi.stubEnv('RAILHOUSE_CHROMIUM', join(folder, 'none'));
    vi.stubEnv('RAILHOUSE_KEY_PASSPHRASE', 'wrong words');
    expect(await issue('mine.pem')).toMatchObject({ code: 2, stopped: expect.stringContaining('cannot be used') as unknown });
    vi.stubEnv('RAILHOUSE_KEY_PASSPHRASE', 'secret words');
    expect(await issue('others.pem')).toMatchObject({ code: 2, stopped: expect.stringContaining('not the one of B. Releaser') as unknown });
    const bare = await issueReport(order({ book: shelf }));
    expect(bare.ok ? '' : bare.text).toContain('with a key of his own');
    expect(await said('issue-report', '--archive', archiveFile, '--book', shelf, '--by', 'C. Other', '--key', join(folder, 'mine.pem'))).toMatchObject({ code: 2, stopped: expect.stringContaining('nobody could tell whose signature') as unknown });
    expect(readRegister(shelf)).toMatchObject({ value: { reports: [] } });

    expect(await issue('mine.pem')).toMatchObject({ code: 0, stopped: '' });
    vi.unstubAllEnvs();
    const file = join(shelf, 'R-2026-0001', 'report.html').replace('2026', String(new Date().getUTCFullYear()));
    expect(readFileSync(file, 'utf8')).toContain(mine.publicKey);
    expect((await said('prove-report', file, '--against', archiveFile)).out).toContain(`signed it with a key of his own too, ${mine.publicKey}`);
    const release = file.replace('report.html', 'release.txt');
    const text = readFileSync(release, 'utf8');
    chmodSync(release, 0o644);
    const { privateKey } = generateKeyPairSync('ed25519');
    const number = /report (R-\S+)/.exec(text)?.[1] ?? '';
    const byAnother = releaseText({ number, sha256: sha256Of(readFileSync(file)), by: 'B. Releaser' }, { ok: true, key: privateKey, publicKey: mine.publicKey });
    for (const wrong of [text.replace(/sha256 ./, 'sha256 x'), text.replace('B.%20', 'C.%20'), `${text} `, text.replace(/signature ./, (m) => (m.endsWith('A') ? 'signature B' : 'signature A')), byAnother]) {
      writeFileSync(release, wrong);
      expect(await said('prove-report', file)).toMatchObject({ code: 8, stopped: expect.stringContaining('is forged, or was changed') as unknown });
    }
    rmSync(release);
    expect((await said('prove-report', file)).out).toContain('is not at hand');
    expect((await said('prove-report', join(issued.folder, 'report.html'))).out).toContain('is the word of the laboratory');
  });
});

describe.skipIf(!hasOpenssl)('REP-34 a time stamp beside a report', () => {
  test('is asked for, kept once it was checked, and shown by the proof; a wrong one is not kept', async () => {
    const shelf = join(folder, 'stamped');
    const { folder: of } = must(await issueReport(order({ book: shelf })));
    const file = join(of, 'report.html');
    const place = join(folder, 'authority');
    mkdirSync(place);
    const authority = makeAuthority(place);
    const root = join(place, 'root.pem');
    const given = join(folder, 'given.tsr');
    const asked = await said('time-stamp', file, '--policy', samplePolicy);
    expect(asked).toMatchObject({ stopped: '', code: 0 });
    const request = readFileSync(join(of, 'report.tsq'));
    expect(asked.out).toContain(sha256Of(readFileSync(file)));
    // Asked again, it is the same: an answer fits whenever it comes.
    expect(await said('time-stamp', file)).toMatchObject({ code: 0 });
    expect(readFileSync(join(of, 'report.tsq'))).toEqual(request);

    const wrong: readonly (readonly [Buffer, string])[] = [
      [authority.answer(timeStampRequest('0'.repeat(64), Buffer.from([1]), null)), 'of another file'],
      [authority.answer(timeStampRequest(sha256Of(readFileSync(file)), Buffer.from([1]), null)), 'nonce'],
      [Buffer.from('nonsense'), 'cannot be read'],
    ];
    for (const [answer, why] of wrong) {
      writeFileSync(given, answer);
      const refused = await said('time-stamp', file, '--answer', given);
      expect(refused).toMatchObject({ code: 8, stopped: expect.stringContaining(why) as unknown });
      expect(refused.stopped).toContain('It was not kept');
      expect(existsSync(join(of, 'report.tsr'))).toBe(false);
    }
    writeFileSync(given, authority.answer(request));
    const kept = await said('time-stamp', file, '--answer', given, '--authority', root);
    expect(kept).toMatchObject({ stopped: '', code: 0 });
    expect(kept.out).toContain('ends in a certificate that was given');
    expect(await said('time-stamp', file)).toMatchObject({ code: 2, stopped: expect.stringContaining('has its time stamp already') as unknown });
    expect(await said('time-stamp', file, '--answer', given)).toMatchObject({ code: 8, stopped: expect.stringContaining('has its time stamp already') as unknown });

    const proved = await said('prove-report', file);
    expect(proved.out).toContain('Time stamp: this file existed as it is on ');
    expect((await said('prove-report', file, '--authority', root)).out).toContain('ends in a certificate that was given');
    // openssl says the same, with nothing of this program.
    expect(execFileSync('openssl', ['ts', '-verify', '-data', file, '-in', join(of, 'report.tsr'), '-CAfile', root], { encoding: 'utf8', stdio: 'pipe' })).toContain('OK');

    chmodSync(join(of, 'report.tsr'), 0o644);
    const bytes = readFileSync(join(of, 'report.tsr'));
    bytes[bytes.length - 1] = (bytes.at(-1) ?? 0) ^ 1;
    writeFileSync(join(of, 'report.tsr'), bytes);
    expect(await said('prove-report', file)).toMatchObject({ code: 8, stopped: expect.stringContaining('forged, or was changed') as unknown });
    expect(await said('prove-report', file, '--token', given)).toMatchObject({ code: 0 });
    writeFileSync(join(folder, 'draft.html'), '<p>');
    expect(await said('time-stamp', join(folder, 'draft.html'))).toMatchObject({ code: 2, stopped: expect.stringContaining('Only an issued report') as unknown });
  }, 60_000);
});

describe.skipIf(browserPath === null)('REP-29 the page Results', () => {
  test('saves a draft with the details of a file, and says what is wrong with another', async () => {
    const place = join(folder, 'window');
    mkdirSync(place);
    copyFileSync(archiveFile, join(place, 'archive.sqlite'));
    const host = await HostProcess.start(place, {});
    const browser = await launchBrowser();
    try {
      const page = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage();
      await page.goto(`${host.address}#/results/${runId}`);
      await page.getByRole('button', { name: 'Report …' }).click();
      const files = page.getByLabel('File with the details of the report');
      await files.setInputFiles({ name: 'wrong.json', mimeType: 'application/json', buffer: Buffer.from('{"reportDetailsVersion":1,"limits":[{"of":"slope"}]}') });
      await page.getByText('wrong.json cannot be used').waitFor();
      await files.setInputFiles(join(root, 'main/samples/report-details.json'));
      await page.locator('option:checked', { hasText: 'File report-details.json' }).waitFor({ state: 'attached' });
      expect(await violations(page)).toEqual([]);
      const download = page.waitForEvent('download');
      await page.getByRole('button', { name: 'Save the draft' }).click();
      const text = readFileSync(await (await download).path(), 'utf8');
      const same = reportInArchive(archive, { runId, details, length: 'full', issue: null });
      expect(same.ok && text === reportBody(same.document) + reportTail(null)).toBe(true);
      await page.getByText('report.html was saved as a draft').waitFor();
      await keepScreen(page, 'report-draft');
    } finally {
      await browser.close();
      await host.end();
    }
  }, 300_000);
});
