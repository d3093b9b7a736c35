/** What the commands say to programs, each of them, held against the schema that the program itself prints (CLI-12, CLI-16 of main/cli/README.md). */
import { Ajv2020 } from 'ajv/dist/2020.js';
import { spawn, spawnSync } from 'node:child_process';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { syntheticPlan } from '../../app/reduce/synthetic.test-helper.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { jsonLines } from '../../main/cli/json.ts';
import { makeProgram } from '../../main/cli/program.ts';
import { answerSchema } from '../../main/cli/schema-commands.ts';
import { bareEnvironment, replicatedPlan, scratchFolder } from '../builders/in-process.ts';
import { keepBentRuns } from '../builders/decided-run.ts';
import { onWindows } from '../builders/systems.ts';

const main = join(import.meta.dirname, '../../main/cli/main.ts');

type Answer = keyof typeof jsonLines;

let folder = '';
const at = (name: string): string => join(folder, name);
const archive = (): readonly string[] => ['--archive', at('archive.sqlite')];
const env = (): NodeJS.ProcessEnv => bareEnvironment(folder);

function run(...args: readonly string[]) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [main, ...args], { cwd: folder, env: env(), encoding: 'utf8', timeout: 120_000, maxBuffer: 1 << 28 });
  return { code: status, out: stdout, err: stderr };
}

/** As little as a certificate may say. */
const supplyCertificate = `<dcc:digitalCalibrationCertificate xmlns:dcc="https://ptb.de/dcc" xmlns:si="https://ptb.de/si" schemaVersion="3.2.1"><dcc:administrativeData><dcc:coreData><dcc:uniqueIdentifier>S-2026-1</dcc:uniqueIdentifier>
<dcc:endPerformanceDate>2026-03-12</dcc:endPerformanceDate></dcc:coreData><dcc:items><dcc:item id="i"><dcc:identifications><dcc:identification><dcc:value>SERIAL</dcc:value></dcc:identification></dcc:identifications></dcc:item></dcc:items>
<dcc:statements><dcc:statement><dcc:name><dcc:content>Next calibration</dcc:content></dcc:name><dcc:date>2027-03-12</dcc:date></dcc:statement></dcc:statements></dcc:administrativeData><dcc:measurementResults><dcc:measurementResult refId="i"><dcc:results><dcc:result><dcc:data><dcc:list>
<dcc:quantity refType="basic_measurementError"><dcc:name><dcc:content>error</dcc:content></dcc:name><si:realListXMLList><si:valueXMLList>0 0</si:valueXMLList><si:unitXMLList>\\milli\\volt</si:unitXMLList><si:expandedUncXMLList><si:uncertaintyXMLList>6</si:uncertaintyXMLList><si:coverageFactorXMLList>2</si:coverageFactorXMLList></si:expandedUncXMLList></si:realListXMLList></dcc:quantity>
</dcc:list></dcc:data></dcc:result></dcc:results></dcc:measurementResult></dcc:measurementResults></dcc:digitalCalibrationCertificate>`;

/** A fast run with a reference injector, blind windows and replicates. */
function writePlan(): void {
  writeFileSync(at('plan.json'), JSON.stringify(replicatedPlan({ percent: 15 })));
}

beforeAll(() => {
  folder = scratchFolder();
  writePlan();
  // One point, held for as long as its stability needs at least.
  const held = replicatedPlan();
  writeFileSync(at('hold.json'), JSON.stringify({ ...held, injectors: held.injectors.slice(0, 1), axes: { ...held.axes, widthMs: [6], replicates: 1 }, reference: undefined, zero: { ...held.zero, windowS: 0 }, pair: { windows: 0 }, window: { ...held.window, minS: 70, maxS: 90 } }));
  const opened = openArchive(at('archive.sqlite'), { now: () => unixMillis(Date.UTC(2026, 2, 1)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  opened.archive.library.saveParts([{ order: 'J-1', type: 'T', serialNumber: 'S-9', coilResistanceOhm: 12.1, condition: 'new', channel: 8 }]);
  opened.archive.close();
  keepBentRuns(at('earlier.sqlite'), syntheticPlan({ voltageV: [9, 12, 14], widthMs: [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 6, 9, 12], replicates: 2 }, 3), [1], 1.6e-3);
  writeFileSync(at('type.json'), JSON.stringify({ typeRecordVersion: 1, type: 'RH-P4', staticFlowGPerMin: 240, maxVoltageV: 16 }));
  writeFileSync(at('visit.json'), JSON.stringify({ visitVersion: 1, serialNumber: 'S-1', type: 'T', order: 'J-1', stage: 'as-found', doneOn: '2026-03-02', by: 'A. Tester', visual: 'clean', spray: '', remark: '', coil: { ohm: 12.1, expandedOhm: 0.02, celsius: 23, expandedKelvin: 0.5 }, insulation: null, leak: null, corrects: null }));
  writeFileSync(at('certificate.xml'), supplyCertificate.replace('SERIAL', (JSON.parse(readFileSync(join(main, '../../samples/equipment.json'), 'utf8')) as { supply: { serialNumber: string } }).supply.serialNumber));
}, 120_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

interface Asked {
  readonly command: string;
  readonly args: () => readonly string[];
  /** Which answers its lines are. */
  readonly answers: readonly Answer[];
  readonly code?: number;
  /** On standard error; nothing where the code is 0 and this is missing. */
  readonly says?: RegExp;
}

/** The one report in the book. */
const issued = (): string => {
  const [folderOf = ''] = readdirSync(at('reports'), { withFileTypes: true }).filter((entry) => entry.isDirectory()).map(({ name }) => name);
  return join(at('reports'), folderOf, 'report.html');
};

/** In an order in which each finds what it needs. */
const asked: readonly Asked[] = [
  { command: 'check-plan', args: () => [at('plan.json')], answers: ['sheet'] },
  { command: 'forecast', args: () => [at('plan.json')], answers: ['forecast'] },
  { command: 'forecast', args: () => [join(main, '../../samples/plan.json'), '--hours', '0.3'], answers: ['forecast'] },
  { command: 'known-type', args: () => ['T', '--archive', at('earlier.sqlite')], answers: ['known-type'] },
  { command: 'sweep', args: () => [at('plan.json'), ...archive(), '--operator', 'A. Tester', '--record', at('transcript')], answers: ['run', 'sheet'] },
  { command: 'continue', args: () => [...archive(), '--operator', 'A. Tester'], answers: ['run', 'sheet'] },
  { command: 'measure-again', args: () => [...archive(), '--operator', 'A. Tester', '--points', '3'], answers: ['run', 'sheet'] },
  { command: 'runs', args: archive, answers: ['runs'] },
  { command: 'reduce', args: () => [...archive(), '--findings', '--other-density', '740'], answers: ['reduce'] },
  { command: 'reduce', args: () => [...archive(), '--budget', '3'], answers: ['budget'] },
  { command: 'export', args: () => [...archive(), '--to', at('tables'), '--voltages', '12,14'], answers: ['export'] },
  { command: 'tables', args: () => [...archive(), '--to', at('controller-tables')], answers: ['tables'] },
  { command: 'monte-carlo', args: archive, answers: ['monte-carlo'] },
  { command: 'read-certificate', args: () => [at('certificate.xml'), '--of', 'supply', '--equipment', join(main, '../../samples/equipment.json'), '--to', at('equipment-read.json')], answers: ['read-certificate'] },
  { command: 'compare', args: () => [at('controller-tables/tables.json'), at('controller-tables/tables.csv'), ...archive()], answers: ['compare'] },
  { command: 'type-spread', args: archive, answers: ['type-spread'] },
  { command: 'report', args: () => [...archive(), '--to', at('report')], answers: ['report'] },
  { command: 'issue-report', args: () => [...archive(), '--by', 'B. Releaser', '--book', at('reports')], answers: ['issue-report'] },
  { command: 'prove-report', args: () => [issued(), '--book', at('reports'), '--against', at('archive.sqlite')], answers: ['prove-report'] },
  { command: 'prove-report', args: () => [issued().replace(/html$/u, 'json')], answers: ['prove-report'] },
  { command: 'time-stamp', args: () => [issued()], answers: ['time-stamp'] },
  { command: 'outliers', args: archive, answers: ['outliers'] },
  { command: 'sweep', args: () => [at('hold.json'), '--archive', at('held.sqlite'), '--operator', 'A. Tester'], answers: ['run', 'sheet'] },
  { command: 'settling', args: archive, answers: ['settling'] },
  { command: 'stability', args: () => ['--archive', at('held.sqlite')], answers: ['stability'] },
  { command: 'match', args: () => [...archive(), '--sets', '2', '--of', '2', '--at', 'mass:14V:400kPa:3ms', 'dead-time:14V:400kPa'], answers: ['match'] },
  { command: 'blind-history', args: archive, answers: ['blind-history'] },
  { command: 'reference-history', args: archive, answers: ['reference-history'] },
  { command: 'meter-check add', args: () => [join(main, '../../samples/meter-check.json'), ...archive()], answers: ['meter-check'] },
  { command: 'meter-check list', args: () => [...archive(), '--date', '2026-12-31'], answers: ['meter-check'] },
  { command: 'meter-check in-force', args: () => [...archive(), '--date', '2026-12-31'], answers: ['meter-check in-force'] },
  { command: 'meter-check in-force', args: () => [...archive(), '--date', '2026-12-31', '--to', at('equipment.json')], answers: ['meter-check in-force'] },
  { command: 'qualification add', args: () => [join(main, '../../samples/qualification.json'), ...archive()], answers: ['qualification'] },
  { command: 'qualification list', args: archive, answers: ['qualification'] },
  { command: 'type-record save', args: () => [at('type.json'), ...archive(), '--operator', 'A. Tester', '--reason', 'from the maker'], answers: ['type-record'] },
  { command: 'type-record list', args: archive, answers: ['type-record'] },
  { command: 'injector list', args: archive, answers: ['injector'] },
  { command: 'injector withdraw', args: () => ['S-9', ...archive(), '--operator', 'A. Tester', '--reason', 'mistyped'], answers: ['injector'] },
  { command: 'injector take-back', args: () => ['S-9', ...archive(), '--operator', 'A. Tester'], answers: ['injector'] },
  { command: 'visit add', args: () => [at('visit.json'), ...archive()], answers: ['visit'] },
  { command: 'visit list', args: archive, answers: ['visit'] },
  { command: 'verify', args: archive, answers: ['verify'] },
  { command: 'prove', args: archive, answers: ['prove'] },
  { command: 'prove', args: () => [...archive(), '--to', at('proof.json')], answers: ['prove'] },
  { command: 'check-proof', args: () => [at('proof.json')], answers: ['check-proof'] },
  { command: 'check-proof', args: () => [at('proof.json'), '--head', `5:${'0'.repeat(64)}`], answers: ['check-proof'], code: 8 },
  { command: 'check-export', args: () => [at('tables')], answers: ['check-export'] },
  { command: 'check-export', args: () => [at('tables'), '--head', `5:${'0'.repeat(64)}`], answers: ['check-export'], code: 8 },
  { command: 'make-head-key', args: () => [at('key.pem')], answers: ['make-head-key'] },
  { command: 'backup', args: () => [at('copy.sqlite'), ...archive()], answers: ['backup'] },
  { command: 'bring-up-to-date', args: () => [at('copy.sqlite')], answers: ['bring-up-to-date'] },
  { command: 'ports', args: () => [], answers: ['ports'] },
  { command: 'check-controller', args: () => [], answers: ['check-controller'] },
  { command: 'replay', args: () => [at('transcript')], answers: ['replay'] },
  { command: 'replay', args: () => [at('transcript'), '--plan', at('plan.json'), '--archive', at('replayed.sqlite')], answers: ['run', 'replay'], code: 8, says: /blind windows.*drawn anew/s },
];

/** They go on until they are ended: what they say first. */
const serving: readonly Asked[] = [
  { command: 'serve-bench', args: () => [], answers: ['serve-bench'] },
  { command: 'window', args: () => ['--archive', at('window.sqlite')], answers: ['window'] },
];

/** The same as another of the table, and what tells nothing that is not JSON or a script already. */
const notAsked: Readonly<Record<string, string>> = {
  sample: 'is sweep with a plan of its own',
  'plan-schema': 'prints a JSON document',
  'equipment-schema': 'prints a JSON document',
  'layout-schema': 'prints a JSON document',
  'details-schema': 'prints a JSON document',
  'parties-schema': 'prints a JSON document',
  'output-schema': 'prints a JSON document',
  'type-record show': 'prints a JSON document',
  'visit show': 'prints a JSON document',
  completion: 'prints a script',
  start: 'opens a window for a person',
  build: 'tells nothing',
};

const leaves = (command: Command, path: readonly string[] = []): readonly (readonly [string, Command])[] =>
  command.commands.flatMap((one) => (one.commands.length > 0 ? leaves(one, [...path, one.name()]) : [[[...path, one.name()].join(' '), one] as const]));

const seen = new Set<Answer>();
const ajv = new Ajv2020({ strict: false, formats: { 'date-time': true } });

/** The lines, after each was found to be of one of the answers. */
function linesOf(text: string, answers: readonly Answer[]): readonly Record<string, unknown>[] {
  const checks = answers.map((answer) => [answer, ajv.compile(answerSchema(answer) as object)] as const);
  return text.split('\n').slice(0, -1).map((line) => {
    const value = JSON.parse(line) as Record<string, unknown>;
    const fits = checks.filter(([, check]) => check(value)).map(([answer]) => answer);
    expect(fits.length, line).toBeGreaterThan(0);
    for (const answer of fits) {
      // What the program prints is no more than its schema names.
      jsonLines[answer].parse(value);
      seen.add(answer);
    }
    return value;
  });
}

describe('CLI-12 every command that tells something tells it to programs', () => {
  it('those that do not are few and have a reason', () => {
    const all = leaves(makeProgram());
    const told = new Set([...asked, ...serving].map(({ command }) => command));
    expect(all.map(([name]) => name).filter((name) => !told.has(name) && !(name in notAsked))).toEqual([]);
    expect(all.filter(([name, command]) => told.has(name) !== command.options.some(({ long }) => long === '--json') && name !== 'sample').map(([name]) => name)).toEqual([]);
  });

  it.each(asked)('$command says JSON lines of its schema and nothing else ($answers)', { timeout: 120_000 }, ({ command, args, answers, code = 0, says }) => {
    const { code: ended, out, err } = run(...command.split(' '), ...args(), '--json');
    expect(`${ended ?? 'ended from outside'} ${ended === code ? '' : err}`).toBe(`${code} `);
    if (says !== undefined) expect(err).toMatch(says);
    const lines = linesOf(out, answers);
    if (command !== 'ports' && command !== 'continue') expect(lines.length).toBeGreaterThan(0);
  });

  it.skipIf(onWindows).each(serving)('$command says where it is', { timeout: 120_000 }, async ({ command, args, answers }) => {
    const child = spawn(process.execPath, [main, command, ...args(), '--json'], { cwd: folder, env: env(), stdio: ['ignore', 'pipe', 'ignore'] });
    const first = await new Promise<string>((resolve, reject) => {
      let said = '';
      child.stdout.on('data', (bytes: Buffer) => {
        said += bytes.toString();
        if (said.includes('\n')) resolve(said);
      });
      child.on('close', () => reject(new Error('it ended')));
    });
    child.removeAllListeners('close');
    child.kill('SIGTERM');
    await new Promise((resolve) => child.on('close', resolve));
    linesOf(first, answers);
  });

  it('a run tells how far it is, and each answer was seen', () => {
    const lines = run('sweep', at('plan.json'), '--archive', at('again.sqlite'), '--operator', 'A. Tester', '--json', '--quiet').out.split('\n').slice(0, -1).map((line) => JSON.parse(line) as { kind: string; accepted: number });
    expect(lines.filter(({ kind }) => kind === 'progress').length).toBeGreaterThan(0);
    expect(lines.at(-1)?.kind).toBe('rest');
    expect(Object.keys(jsonLines).filter((answer) => !seen.has(answer as Answer) && answer !== 'ports' && !onWindows)).toEqual([]);
  });

  it('the program prints the schema of each answer', () => {
    for (const answer of Object.keys(jsonLines) as Answer[]) expect(() => ajv.compile(answerSchema(answer) as object)).not.toThrow();
    expect(JSON.parse(run('output-schema', 'verify').out)).toEqual(answerSchema('verify'));
    expect(run('output-schema', 'nothing').code).toBe(2);
  });
});

describe('CLI-16 scripts that read an answer', () => {
  /** Names of fields with the way to them. */
  function fields(schema: unknown, way: string): readonly string[] {
    const { properties = {}, items, anyOf = [], required = [] } = schema as { properties?: Record<string, unknown>; items?: unknown; anyOf?: readonly unknown[]; required?: readonly string[] };
    return [
      ...Object.entries(properties).flatMap(([name, of]) => [`${way}.${name}${required.includes(name) ? '' : '?'}`, ...fields(of, `${way}.${name}`)]),
      ...(items === undefined ? [] : fields(items, `${way}[]`)),
      ...anyOf.flatMap((one) => fields(one, way)),
    ];
  }

  it('find every field that was there before', () => {
    const now = [...new Set((Object.keys(jsonLines) as Answer[]).flatMap((answer) => fields(answerSchema(answer), answer)))].sort();
    const promised = readFileSync(join(import.meta.dirname, 'fixtures/json-fields.txt'), 'utf8').trim().split('\n');
    expect(promised.filter((field) => !now.includes(field))).toEqual([]);
    // A new field is written down there too, and then it stays.
    expect(now.filter((field) => !promised.includes(field))).toEqual([]);
  });
});

describe('CLI-20 a reader that has had enough', () => {
  const reading: readonly (readonly [string, () => readonly string[]])[] = [
    ...asked.filter(({ command, code }) => code === undefined && !['sweep', 'continue', 'measure-again', 'meter-check add', 'qualification add', 'type-record save', 'injector withdraw', 'injector take-back', 'visit add', 'make-head-key', 'backup', 'check-controller'].includes(command)).map(({ command, args }) => [command, () => [...command.split(' '), ...args()]] as const),
    ...['plan-schema', 'equipment-schema', 'output-schema run', 'completion zsh', '--help', 'sweep --help'].map((line) => [line, () => line.split(' ')] as const),
  ];

  it.skipIf(onWindows).each(reading)('ends %s quietly', { timeout: 60_000 }, (_command, args) => {
    const { status, stderr } = spawnSync('bash', ['-c', 'set -o pipefail; node="$1"; shift; "$node" "$@" | true', 'bash', process.execPath, main, ...args()], { cwd: folder, env: env(), encoding: 'utf8' });
    expect(stderr).not.toMatch(/EPIPE|\n\s+at |defect/u);
    expect(status).toBe(0);
  });
});
