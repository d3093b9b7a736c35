/**
 * The test command: the checks of the whole tree (types, style, rooms, unused code), then every test. Each check counts
 * as one test. Ends with 'N passed, N failed, N skipped' and exit code 0 only if nothing failed.
 *
 * `npm test -- PATH...` checks the types and runs the tests of these paths, `npm run check` makes the checks and no test,
 * `npm run test:quick` checks the types and runs the tests that start no process, no browser and no bench in real time.
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';

const root = join(import.meta.dirname, '..');
const out = join(import.meta.dirname, '.out');
mkdirSync(out, { recursive: true });

function run(file: string, args: readonly string[]): boolean {
  return spawnSync(process.execPath, [join(root, 'node_modules', file), ...args], { cwd: root, stdio: 'inherit' }).status === 0;
}

interface Check {
  readonly title: string;
  readonly run: () => boolean;
}

const types: readonly Check[] = [
  { title: 'types of the whole tree', run: () => run('typescript/bin/tsc', ['-p', '.']) },
  { title: 'app/ without Node and DOM types', run: () => run('typescript/bin/tsc', ['-p', 'app']) },
  { title: 'types of the window', run: () => run('typescript/bin/tsc', ['-p', 'renderer']) },
];

const others: readonly Check[] = [
  { title: 'style (eslint)', run: () => run('eslint/bin/eslint.js', ['.', '--max-warnings', '0']) },
  {
    title: 'rooms (dependency-cruiser)',
    run: () =>
      run('dependency-cruiser/bin/dependency-cruiser.mjs', ['app', 'main', 'firmware-protocol', 'renderer', 'test', '--config', '.dependency-cruiser.cjs']),
  },
  { title: 'unused code (knip)', run: () => run('knip/bin/knip.js', []) },
  {
    title: 'code that only tests use (knip)',
    run: () => run('knip/bin/knip.js', ['--production', '--config', 'test/knip-product.json', '--include', 'files,exports,types,nsExports,nsTypes,enumMembers,duplicates']),
  },
];

/** The rooms whose tests are pure or live on the virtual clock. */
const quick = ['app', 'firmware-protocol/line', 'firmware-protocol/simulator', 'renderer', 'main/link/link.test', 'main/link/lines.test', 'main/link/replay', 'test/outside'];

let passed = 0;
let failed = 0;
let skipped = 0;
const asked = process.argv.slice(2);
const [only] = asked;
const checks = asked.length === 0 || only === 'check' ? [...types, ...others] : types;
const selected = only === 'quick' ? [...quick, ...asked.slice(1)] : asked;

for (const check of checks) {
  const started = performance.now();
  const good = check.run();
  process.stdout.write(`${good ? 'ok  ' : 'FAIL'} ${check.title} (${((performance.now() - started) / 1000).toFixed(1)} s)\n`);
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
function runTests(): void {
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

if (only !== 'check') runTests();

process.stdout.write(`\n${passed} passed, ${failed} failed, ${skipped} skipped\n`);
process.exitCode = failed === 0 ? 0 : 1;
