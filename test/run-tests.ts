/**
 * The test command: the checks of the whole tree (types, style, rooms, unused code), then every test. Each check counts
 * as one test. Ends with 'N passed, N failed, N skipped' and exit code 0 only if nothing failed.
 *
 * `npm test -- PATH...` checks the types and runs the tests of these paths, `npm run check` makes the checks and no test,
 * `npm run test:quick` checks the types and runs the tests that start no process, no browser and no bench in real time.
 */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { toLookAt, whatToDo, type CheckTitle } from './checks.ts';

const root = join(import.meta.dirname, '..');
const out = join(import.meta.dirname, '.out');
mkdirSync(out, { recursive: true });

function run(file: string, args: readonly string[]): boolean {
  return spawnSync(process.execPath, [join(root, 'node_modules', file), ...args], { cwd: root, stdio: 'inherit' }).status === 0;
}

/**
 * Style of the files that are not known to be good: those that were changed, and those that import them over however many others. What is known lies
 * in .cache and is forgotten with every change of the linter, its rules or the packages.
 */
function style(): boolean {
  const place = join(root, '.cache', 'style.json');
  const listed = spawnSync('git', ['ls-files', '-z', '-o', '-c', '--exclude-standard', '*.ts', '*.tsx', '*.json'], { cwd: root, encoding: 'utf8' });
  const all = ['.', '--max-warnings', '0'];
  if (listed.status !== 0) return run('eslint/bin/eslint.js', all);
  const read = (path: string): string => readFileSync(join(root, path), 'utf8');
  const files = new Map(listed.stdout.split('\0').filter((path) => path !== '' && existsSync(join(root, path))).map((path) => [path, read(path)]));
  // What is declared for every file concerns every file, whatever it imports.
  const settings = [...['eslint.config.js', 'package-lock.json', 'tsconfig.json'].map(read), ...[...files.values()].filter((text) => /^declare (global|module)\b/m.test(text))].join('\n');
  let known: Record<string, string> = {};
  try {
    known = JSON.parse(readFileSync(place, 'utf8')) as Record<string, string>;
  } catch {
    // Nothing is known yet.
  }
  const { paths, marks } = toLookAt(files, settings, known, (text) => createHash('sha256').update(text).digest('hex'));
  const code = paths.filter((path) => /\.tsx?$/.test(path));
  process.stdout.write(`style: ${code.length} of ${[...files.keys()].filter((path) => /\.tsx?$/.test(path)).length} files have changed, or import what has\n`);
  const good = code.length === 0 || run('eslint/bin/eslint.js', [...code, '--max-warnings', '0', '--no-warn-ignored']);
  if (good) {
    mkdirSync(dirname(place), { recursive: true });
    writeFileSync(place, JSON.stringify(marks));
  }
  return good;
}

const tsc = (project: string) => (): boolean => run('typescript/bin/tsc', ['-p', project]);

const checks: Readonly<Record<CheckTitle, () => boolean>> = {
  'types of the whole tree': tsc('.'),
  'app/ without Node and DOM types': tsc('app'),
  'types of the window': tsc('renderer'),
  'style (eslint)': style,
  'rooms (dependency-cruiser)': () =>
    run('dependency-cruiser/bin/dependency-cruiser.mjs', ['app', 'main', 'firmware-protocol', 'renderer', 'test', '--config', '.dependency-cruiser.cjs']),
  'unused code (knip)': () => run('knip/bin/knip.js', []),
  'code that only tests use (knip)': () =>
    run('knip/bin/knip.js', ['--production', '--config', 'test/knip-product.json', '--include', 'files,exports,types,nsExports,nsTypes,enumMembers,duplicates']),
};

let passed = 0;
let failed = 0;
let skipped = 0;
const todo = whatToDo(process.argv.slice(2));

for (const title of todo.checks) {
  const started = performance.now();
  const good = checks[title]();
  process.stdout.write(`${good ? 'ok  ' : 'FAIL'} ${title} (${((performance.now() - started) / 1000).toFixed(1)} s)\n`);
  if (good) passed += 1;
  else failed += 1;
}

interface VitestReport {
  readonly numPassedTests: number;
  readonly numFailedTests: number;
  readonly numPendingTests: number;
  readonly numTodoTests: number;
  readonly success: boolean;
  readonly testResults: readonly { readonly status: string; readonly assertionResults: readonly unknown[] }[];
}

/** Runs the tests and adds what became of them. */
function runTests(selected: readonly string[]): void {
  const report = join(out, 'vitest.json');
  rmSync(report, { force: true });
  const green = run('vitest/vitest.mjs', ['run', '--reporter=default', '--reporter=json', `--outputFile.json=${report}`, ...selected]);
  try {
    const result = JSON.parse(readFileSync(report, 'utf8')) as VitestReport;
    passed += result.numPassedTests;
    failed += result.numFailedTests;
    skipped += result.numPendingTests + result.numTodoTests;
    // A file that could not even be loaded has no tests to count, and is a failure all the same.
    failed += result.testResults.filter((file) => file.status === 'failed' && file.assertionResults.length === 0).length;
  } catch {
    failed += 1;
  }
  if (!green && failed === 0) failed += 1;
}

if (todo.tests !== null) runTests(todo.tests);

process.stdout.write(`\n${passed} passed, ${failed} failed, ${skipped} skipped\n`);
process.exitCode = failed === 0 ? 0 : 1;
