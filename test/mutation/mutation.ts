/**
 * `npm run show -- mutation ROOM [SAMPLE|all] [SEED] [FILES...]`: changes the product in small ways (Stryker), one at a time, and counts how
 * many the tests of the room notice. Of each room a random sample is tried, and the score has the interval of a share; `all` tries each.
 * FILES (`invariance.ts blind.ts`): only these of the room; the score then says nothing of the rest.
 *
 * Left out: texts (a person judges words), changes of what a module computes once when it is loaded, and tests that start processes, a
 * browser or a storm, that draw inputs at random or reduce hundreds of runs. So what only those notice counts as not noticed.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { sampleOf, wilson, type Place } from './sampling.ts';

interface Room {
  /** The files that are changed. */
  readonly mutate: readonly string[];
  /** The tests that must notice: pure and quick ones. Of them `without` are left out. */
  readonly tests: readonly string[];
  readonly without?: readonly string[];
  /** Where they run: threads are quicker, native code of the serial port wants a process of its own. */
  readonly pool: 'threads' | 'forks';
}

const rooms: Readonly<Record<string, Room>> = {
  'app/reduce': {
    mutate: ['app/reduce/*.ts'],
    tests: ['app/reduce/*.test.ts', 'test/outside/{reduce,reduce-curves,statistics}.test.ts'],
    // They reduce hundreds of runs: what only they would notice counts as not noticed.
    without: ['app/reduce/{reduce,metrology,leak,robust,false-calls}.test.ts'],
    pool: 'threads',
  },
  'app/run': { mutate: ['app/run/**/*.ts'], tests: ['app/run/**/!(*.property).test.ts'], pool: 'threads' },
  'main/link': { mutate: ['main/link/*.ts'], tests: ['main/link/*.test.ts', 'main/bench/driver.test.ts'], pool: 'forks' },
};

/** The aim for each room. */
const wanted = 0.85;
const root = join(import.meta.dirname, '../..');

/** Of a report in the schema of mutation testing (mutation-testing-elements, version 2). */
interface Report {
  readonly files: Readonly<Record<string, { readonly source: string; readonly mutants: readonly ReportedMutant[] }>>;
}

interface ReportedMutant {
  readonly mutatorName: string;
  readonly replacement?: string;
  readonly status: 'Killed' | 'Timeout' | 'Survived' | 'NoCoverage' | 'Ignored' | 'CompileError' | 'RuntimeError' | 'Pending';
  readonly location: { readonly start: { readonly line: number; readonly column: number }; readonly end: { readonly line: number; readonly column: number } };
}

interface Mutant extends ReportedMutant {
  readonly file: string;
  readonly source: string;
}

const placeOf = ({ file, mutatorName, replacement = '', location: { start, end } }: Mutant): Place => ({ file, mutator: mutatorName, replacement, from: start, to: end });

/** One line for a person: where it was, what stood there and what it became. */
function inWords(mutant: Mutant): string {
  const { start, end } = mutant.location;
  const lines = mutant.source.split('\n').slice(start.line - 1, end.line);
  const text = lines.map((line, i) => line.slice(i === 0 ? start.column - 1 : 0, i === lines.length - 1 ? end.column - 1 : undefined)).join(' ');
  const short = (what: string): string => what.replace(/\s+/gu, ' ').slice(0, 90);
  return `${mutant.file}:${start.line}:${start.column} ${mutant.mutatorName}: ${short(text)}  =>  ${short(mutant.replacement ?? '')}`;
}

/** What became of the mutants of one room. */
function tried(name: string, { mutate, tests, without = [], pool }: Room, sample: number | null, seed: string): readonly Mutant[] {
  const folder = join(root, 'test/.out/mutation');
  const slug = name.replaceAll('/', '-');
  const reportPath = join(folder, `${slug}.json`);
  mkdirSync(folder, { recursive: true });
  const settings = {
    testRunner: 'vitest',
    plugins: ['@stryker-mutator/vitest-runner', './test/mutation/sample-checker.ts'],
    checkers: ['sample'],
    vitest: { configFile: 'test/mutation/vitest.config.ts', related: false, pool },
    mutate: [...mutate, '!**/*.test.ts', '!**/*.test-helper.ts'],
    mutator: { excludedMutations: ['StringLiteral'] },
    coverageAnalysis: 'perTest',
    ignoreStatic: true,
    concurrency: 1,
    // Endless loops are told by the count of their turns; time is for what only a busy machine makes slow, and must not be taken for noticing.
    timeoutMS: 60_000,
    timeoutFactor: 3,
    dryRunTimeoutMinutes: 20,
    disableTypeChecks: false,
    reporters: ['json', 'progress-append-only'],
    jsonReporter: { fileName: reportPath },
    tempDirName: `.cache/stryker-${slug}`,
    ignorePatterns: ['.cache', 'dist', 'test/.out', 'firmware-protocol/firmware/build'],
    allowEmpty: false,
    clearTextReporter: { allowColor: false },
    fileLogLevel: 'off',
  };
  const settingsPath = join(folder, `${slug}.settings.json`);
  writeFileSync(settingsPath, JSON.stringify(settings));
  const env = { ...process.env, MUTATION_SAMPLE: sample === null ? '' : String(sample), MUTATION_SEED: seed, MUTATION_TESTS: tests.join(' '), MUTATION_WITHOUT: without.join(' ') };
  const { status } = spawnSync(process.execPath, [join(root, 'node_modules/@stryker-mutator/core/bin/stryker.js'), 'run', settingsPath], { cwd: root, env, stdio: ['ignore', 'inherit', 'inherit'] });
  if (status !== 0) throw new Error(`Stryker ended with ${status ?? 'a signal'}; what it says stands above.`);
  const { files } = JSON.parse(readFileSync(reportPath, 'utf8')) as Report;
  return Object.entries(files).flatMap(([file, { source, mutants }]) => mutants.map((mutant) => ({ ...mutant, file, source })));
}

/** The score of one room or of files of it, printed; true when it is what is wanted. */
function show(title: string, name: string, room: Room, sample: number | null, seed: string): boolean {
  const all = tried(name, room, sample, seed).filter(({ status }) => status !== 'Ignored');
  const sampled = sampleOf(all, placeOf, sample ?? all.length, seed);
  // With a few of them the tests cannot even be begun; many are a fault of the machine, and then there is no score.
  const drawn = sampled.filter(({ status }) => status !== 'RuntimeError');
  if (drawn.length < 0.95 * sampled.length) throw new Error(`With ${sampled.length - drawn.length} of ${sampled.length} mutants the tests did not run. Nothing can be said; try again.`);
  const untried = drawn.filter(({ status }) => status === 'CompileError' || status === 'Pending');
  if (untried.length > 0) throw new Error(`${untried.length} mutants of the sample were not tried; the first: ${untried.slice(0, 1).map(inWords).join('')}`);
  const alive = drawn.filter(({ status }) => status === 'Survived' || status === 'NoCoverage');
  for (const mutant of [...alive].sort((a, b) => a.file.localeCompare(b.file) || a.location.start.line - b.location.start.line)) {
    process.stdout.write(`${mutant.status === 'NoCoverage' ? 'not run' : 'alive  '} ${inWords(mutant)}\n`);
  }
  const noticed = drawn.length - alive.length;
  const late = drawn.filter(({ status }) => status === 'Timeout').length;
  const { low, high } = wilson(noticed, drawn.length);
  const percent = (share: number): string => (100 * share).toFixed(1);
  const interval = drawn.length === all.length ? 'every mutant' : `a random sample of ${all.length}, 95 % interval ${percent(low)} to ${percent(high)} %`;
  process.stdout.write(`${title}: ${noticed} of ${drawn.length} mutants noticed, ${percent(noticed / drawn.length)} % (${interval}, seed ${seed}; ${alive.filter(({ status }) => status === 'NoCoverage').length} in code that these tests do not run, ${late} noticed by no end)\n`);
  return noticed / drawn.length >= wanted;
}

export function showMutation([name = '', sample = '400', seed = '1', ...files]: readonly string[]): Promise<boolean> {
  const chosen = name === 'each' ? Object.keys(rooms) : [name];
  const size = sample === 'all' ? null : Number(sample);
  if (chosen.some((one) => !(one in rooms)) || (size !== null && !(size >= 1))) {
    process.stderr.write(`Which room? ${Object.keys(rooms).join(', ')}, each; then how many mutants (400) or all, and a seed.\n`);
    return Promise.resolve(false);
  }
  const strangers = files.filter((file) => chosen.length > 1 || !existsSync(join(root, name, file)));
  if (strangers.length > 0) {
    process.stderr.write(`${strangers.join(', ')}: no file of ${name}. Files are named as they lie in one room, \`invariance.ts\`.\n`);
    return Promise.resolve(false);
  }
  const partOf = (one: string): Room => ({ ...(rooms[one] as Room), ...(files.length === 0 ? {} : { mutate: files.map((file) => `${one}/${file}`) }) });
  return Promise.resolve(chosen.map((one) => show(files.length === 0 ? one : `${one} (${files.join(', ')})`, one, partOf(one), size, seed)).every((good) => good));
}
