/**
 * `npm run show -- terminal-checklist [by-hand]`: what the program needs of a system, line by line, on the machine where a person wants to know:
 * Windows, macOS, or another Linux. The lines of the program itself are checked anywhere; `by-hand` asks a person to close windows and press keys,
 * and looks in the archive what came of it. The desktop's own lines are those of `desktop-checklist`. CLI-38.
 */
import { spawn, spawnSync, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { get } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { openArchive } from '../../main/archive/archive.ts';
import { shareOf } from '../../main/archive/network-share.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { loadRun } from '../../main/service/run-service.ts';
import { fail, pass, unless, type Line, type Outcome } from './checklist-line.ts';
import { runChecklist } from './desktop-checklist.ts';

const house = join(import.meta.dirname, '..', '..');
const launcher = join(house, 'main', 'launch', 'railhouse.mjs');
const main = join(house, 'main', 'cli', 'main.ts');
const windows = process.platform === 'win32';
/** A busy machine may take long over a start. */
const PATIENCE_MS = 60_000;
/** A person may be called away. */
const BY_HAND_MS = 300_000;

const notChecked = (why: string): Outcome => ({ result: 'not checked', why });

// ------------------------------------------------------------------ the program

/** Without what would change places or mean another bench. */
const env = (): NodeJS.ProcessEnv => Object.fromEntries(Object.entries(process.env).filter(([name]) => !name.startsWith('RAILHOUSE')));

interface Ran {
  readonly code: number | null;
  readonly said: string;
}

function run(...args: readonly string[]): Ran {
  const { status, stdout, stderr } = spawnSync(process.execPath, [main, ...args], { cwd: house, env: env(), encoding: 'utf8', timeout: 2 * PATIENCE_MS });
  return { code: status, said: stdout + stderr };
}

const lastLine = ({ code, said }: Ran): string => `code ${String(code)}: ${said.trim().split('\n').at(-1) ?? ''}`;
const ended = (ran: Ran, code: number): Outcome => unless(ran.code !== code, `it should end with ${code} and ended with ${lastLine(ran)}`);

/** A sweep in real time, so that there is time to end it. */
const slowSweep = (archive: string): readonly string[] => ['sweep', samplePath('small-plan'), '--archive', archive, '--operator', 'Checklist', '--speed', '1', '--every-point'];

class Going {
  readonly child: ChildProcess;
  readonly ended: Promise<Ran>;
  #said = '';

  constructor(script: string, args: readonly string[]) {
    this.child = spawn(process.execPath, [script, ...args], { cwd: house, env: env(), stdio: ['pipe', 'pipe', 'pipe'] });
    for (const stream of [this.child.stdout, this.child.stderr]) stream?.on('data', (bytes: Buffer) => void (this.#said += bytes.toString()));
    this.ended = once(this.child, 'close').then(([code]) => ({ code: code as number | null, said: this.#said }));
  }

  async says(pattern: RegExp): Promise<string> {
    for (const until = performance.now() + PATIENCE_MS; performance.now() < until; ) {
      const found = pattern.exec(this.#said)?.[0];
      if (found !== undefined) return found;
      if (this.child.exitCode !== null) break;
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
    throw new Error(`it did not say ${String(pattern)}: ${this.#said.trim().split('\n').at(-1) ?? ''}`);
  }

  async inTime(): Promise<Ran> {
    const late = new Promise<null>((resolve) => setTimeout(() => resolve(null), PATIENCE_MS).unref());
    const ran = await Promise.race([this.ended, late]);
    if (ran !== null) return ran;
    this.child.kill('SIGKILL');
    throw new Error(`it did not end within ${PATIENCE_MS / 1000} s`);
  }
}

/** How the latest run of an archive was left; null: there is no run in it yet. */
export function leftAs(archive: string): { readonly mode: string; readonly madeSafe: boolean } | null {
  if (!existsSync(archive)) return null;
  const opened = openArchive(archive, { readOnly: true });
  if (!opened.ok) return null;
  try {
    const id = opened.archive.latestRun()?.id;
    const loaded = id === undefined ? null : loadRun(opened.archive, id);
    if (id === undefined || loaded?.ok !== true) return null;
    // It rests safe where the last that was told of the bench is that it was seen safe.
    const safe = [...opened.archive.events(id)].map(({ body }) => body).findLast((body) => body.kind === 'made-safe');
    return { mode: loaded.state.mode, madeSafe: safe?.kind === 'made-safe' && safe.confirmed };
  } finally {
    opened.archive.close();
  }
}

/** Of a run that was to come to rest. */
export function restedAs(archive: string, mode: string): Outcome {
  const left = leftAs(archive);
  if (left === null) return fail('there is no run in the archive');
  return unless(left.mode !== mode || !left.madeSafe, `the run is ${left.mode}${left.madeSafe ? '' : ', and the bench was not confirmed safe'}`);
}

/** Ends a sweep in mid run and looks what became of it: paused, the bench safe, the code of that. */
async function endOf(archive: string, script: string, end: (going: Going) => void, code: number | null): Promise<Outcome> {
  const going = new Going(script, script === launcher ? slowSweep(archive) : [...slowSweep(archive), '--end-with-input']);
  await going.says(/Point 1, attempt \d+, accepted/);
  end(going);
  const ran = await going.inTime();
  if (code !== null && ran.code !== code) return ended(ran, code);
  for (const until = performance.now() + PATIENCE_MS; leftAs(archive)?.mode !== 'paused' && performance.now() < until; ) await new Promise((resolve) => setTimeout(resolve, 200));
  return restedAs(archive, 'paused');
}

// ------------------------------------------------------------------ lines that need nobody

interface Places {
  readonly folder: string;
  readonly archive: (name: string) => string;
}

const systemLines: readonly Line[] = [
  {
    what: 'system: there is a package of Node 24 for it, or Node 24 is here (CLI-31)',
    check: async () => {
      const { nodeFor } = (await import(pathToFileURL(join(house, 'main', 'launch', 'nodes.mjs')).href)) as { nodeFor: (machine: object) => { kind: string } };
      const { kind } = nodeFor({ version: '22.0.0', platform: process.platform, arch: process.arch });
      return kind === 'fetch' || process.versions.node.startsWith('24.') ? pass : fail(`none for ${process.platform} on ${process.arch}, and this is Node ${process.versions.node}`);
    },
  },
  {
    what: 'system: the files of the tree have the bytes that they were stored with (CLI-33)',
    check: () => {
      const changed = ['package-lock.json', 'main/launch/launch.mjs', 'main/samples/plan.json'].filter((path) => readFileSync(join(house, path), 'latin1').includes('\r'));
      return unless(changed.length > 0, `${changed.join(', ')} came with other line ends: "git config core.autocrlf false", then check the tree out anew`);
    },
  },
  { what: 'system: this folder lies on a disk of this machine (ARC-60)', check: () => { const share = shareOf(house); return unless(share !== null, `it lies on ${share ?? ''}`); } },
  {
    what: `system: "npm run cli -- --version" reaches the program from ${windows ? 'PowerShell' : 'a shell'}`,
    check: () => {
      const [shell, flag] = windows ? ['powershell.exe', '-Command'] : ['sh', '-c'];
      const { stdout, error } = spawnSync(shell, [flag, 'npm run cli -- --version'], { cwd: house, env: env(), encoding: 'utf8', timeout: 2 * PATIENCE_MS });
      if (error !== undefined) return notChecked(`${shell} cannot be run here`);
      return unless(!/^railhouse \d+\.\d+\.\d+/m.test(stdout), `it printed ${JSON.stringify(stdout.trim().slice(-200))}; call it as "npx railhouse" there`);
    },
  },
];

const programLines = ({ folder, archive }: Places): readonly Line[] => [
  { what: 'program: ports are listed', check: () => ended(run('ports'), 0) },
  { what: 'program: a whole run, in a folder with a space and letters of other languages', check: () => ended(run('sweep', samplePath('small-plan'), '--archive', archive('whole'), '--operator', 'Checklist', '--quiet'), 0) },
  { what: 'program: its archive is verified', check: () => ended(run('verify', archive('whole')), 0) },
  { what: 'program: its archive is copied while it may be in use', check: () => ended(run('backup', join(folder, 'copy.sqlite'), '--archive', archive('whole')), 0) },
  {
    what: 'program: a second writer is refused, and the first goes on',
    check: async () => {
      const first = new Going(main, [...slowSweep(archive('writers')), '--end-with-input']);
      await first.says(/Point 1, attempt \d+, accepted/);
      const second = run('sweep', samplePath('small-plan'), '--archive', archive('writers'), '--operator', 'Checklist');
      first.child.stdin?.end();
      const ran = await first.inTime();
      return second.code === 7 ? ended(ran, 5) : ended(second, 7);
    },
  },
  {
    what: 'program: the window is served, and the host ends when its standard input does',
    check: async () => {
      const host = new Going(main, ['window', '--archive', archive('window'), '--end-with-input']);
      const address = await host.says(/http:\/\/127\.0\.0\.1:\d+\S*/);
      const [answer] = (await once(get(address), 'response')) as [{ readonly statusCode?: number; readonly resume: () => void }];
      answer.resume();
      host.child.stdin?.end();
      const ran = await host.inTime();
      return answer.statusCode === 200 ? ended(ran, 0) : fail(`it answered ${String(answer.statusCode)}`);
    },
  },
  {
    what: windows ? 'program: serve-bench says that there are no pseudo-terminals' : 'program: a bench is served behind a pseudo-terminal',
    check: async () => {
      const bench = new Going(main, ['serve-bench', '--end-with-input']);
      if (windows) return ended(await bench.inTime(), 2);
      const path = await bench.says(/\/dev\/\S+/);
      const sheet = run('check-plan', samplePath('small-plan'), '--port', path.replace(/;$/, ''), '--equipment', samplePath('equipment'));
      bench.child.stdin?.end();
      await bench.inTime();
      return ended(sheet, 0);
    },
  },
];

const endLines = ({ archive }: Places): readonly Line[] => [
  { what: 'end: standard input is closed (CLI-30): paused, the bench safe', check: () => endOf(archive('input'), main, ({ child }) => child.stdin?.end(), 5) },
  { what: 'end: the launcher is killed (HOST-2): paused, the bench safe', check: () => endOf(archive('launcher'), launcher, ({ child }) => child.kill('SIGKILL'), null) },
  ...(['SIGINT', 'SIGTERM', 'SIGHUP'] as const).map((signal): Line => ({
    what: `end: ${signal} (HOST-1): paused, the bench safe`,
    check: () => (windows ? notChecked('Windows has no signal that asks; see the lines by hand') : endOf(archive(signal), main, ({ child }) => child.kill(signal), 5)),
  })),
];

/** Holds a file as a spreadsheet does on Windows: nobody else may change it or its folder. */
async function heldByWindows(path: string): Promise<ChildProcess> {
  const script = `$f = [IO.File]::Open('${path.replaceAll("'", "''")}', 'Open', 'Read', 'None'); 'held'; [Console]::In.ReadLine() | Out-Null`;
  const holder = spawn('powershell.exe', ['-NoProfile', '-Command', script], { stdio: ['pipe', 'pipe', 'inherit'] });
  await once(holder.stdout, 'data');
  return holder;
}

const exportLines = ({ folder, archive }: Places): readonly Line[] => {
  const to = join(folder, 'tables');
  const again = (): Ran => run('export', '--to', to, '--archive', archive('whole'));
  const whole = (): Ran => run('check-export', to);
  return [
    { what: 'export: written, and whole', check: () => { const first = again(); return first.code === 0 ? ended(whole(), 0) : ended(first, 0); } },
    { what: 'export: a second one takes the place of the first', check: () => { const second = again(); return second.code === 0 ? ended(whole(), 0) : ended(second, 0); } },
    {
      what: 'export: while a program holds maps.csv, the earlier one stays whole, and the file is named (EXP-3)',
      check: async () => {
        if (!windows) return notChecked('only Windows lets a program hold a file so');
        const holder = await heldByWindows(join(to, 'maps.csv'));
        const refused = again();
        holder.stdin?.end('\n');
        await once(holder, 'exit');
        if (refused.code !== 2 || !/maps\.csv .*held open by another program/.test(refused.said)) return fail(lastLine(refused));
        const stands = whole();
        return stands.code === 0 ? ended(again(), 0) : ended(stands, 0);
      },
    },
    {
      what: 'export: while a spreadsheet marks maps.csv as open, nothing is begun (EXP-3)',
      check: () => {
        const mark = join(to, '.~lock.maps.csv#');
        writeFileSync(mark, '');
        const refused = again();
        rmSync(mark);
        return refused.code === 2 && refused.said.includes('is open in a spreadsheet') ? ended(whole(), 0) : fail(lastLine(refused));
      },
    },
  ];
};

// ------------------------------------------------------------------ lines for a person

/** What a person does, and how the run must rest then. */
const byHand: readonly { readonly name: string; readonly what: string; readonly mode: string; readonly only?: NodeJS.Platform }[] = [
  { name: 'close', what: 'close that terminal window with the mouse', mode: 'paused' },
  { name: 'interrupt', what: 'press Ctrl-C once', mode: 'paused' },
  { name: 'twice', what: 'press Ctrl-C, and once more as soon as it says that it is stopping', mode: 'ended' },
  { name: 'break', what: 'press Ctrl-Break (Ctrl-Pause)', mode: 'paused', only: 'win32' },
  { name: 'sleep', what: 'send the machine to sleep for a minute, and wake it', mode: 'paused' },
];

/** As it is typed into a new terminal. */
export const typed = (archive: string): string => ['npx', 'railhouse', ...slowSweep(archive)].map((word) => (/[^\w./:\\-]/.test(word) ? `"${word}"` : word)).join(' ');

const handLines = ({ archive }: Places, asked: boolean, say: (text: string) => void, patience: number): readonly Line[] => [
  ...byHand.filter(({ only }) => only === undefined || only === process.platform).map(({ name, what, mode }): Line => ({
    what: `by hand: ${what}: ${mode}, the bench safe`,
    check: async () => {
      if (!asked) return notChecked('it takes a person: "npm run show -- terminal-checklist by-hand"');
      say(`\nOpen another terminal in ${house} and type:\n  ${typed(archive(name))}\nOnce it says "Point 1, attempt 1, accepted": ${what}. Waiting ...`);
      const rests = (): boolean => ['paused', 'ended', 'tripped'].includes(leftAs(archive(name))?.mode ?? '');
      for (const until = performance.now() + patience; !rests() && performance.now() < until; ) await new Promise((resolve) => setTimeout(resolve, 500));
      return leftAs(archive(name)) === null ? notChecked(`nothing was started within ${patience / 1000} s`) : restedAs(archive(name), mode);
    },
  })),
  ...[
    'with a bench at a port: "railhouse ports" lists it, and "check-controller" keeps every rule',
    'with a bench at a port: its cable is pulled in mid run; the run waits, and goes on when it is back (under another name of the port too)',
    'the desktop: signing out and shutting down in mid run make safe first ("desktop-checklist" has the other lines)',
  ].map((what): Line => ({ what: `by hand: ${what}`, check: () => notChecked('nothing here can see it; write down what you saw') })),
];

/** Every line, for files in `folder`. `asked`: a person is there. */
export const terminalLines = (folder: string, asked: boolean, say: (text: string) => void, patience = BY_HAND_MS): readonly Line[] => {
  // A name that takes quoting, and letters beyond ASCII.
  const inside = join(folder, 'prüf stand');
  mkdirSync(inside, { recursive: true });
  const places: Places = { folder: inside, archive: (name) => join(inside, `${name}.sqlite`) };
  return [...systemLines, ...programLines(places), ...exportLines(places), ...endLines(places), ...handLines(places, asked, say, patience)];
};

/** true: every line was checked and passes; null: none failed, and some could not be checked here. */
export async function showTerminalChecklist([how = '']: readonly string[]): Promise<boolean | null> {
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-terminal-'));
  const say = (text: string): void => void process.stdout.write(`${text}\n`);
  try {
    say(`${process.platform} on ${process.arch}, Node ${process.versions.node}`);
    const counts = await runChecklist(terminalLines(folder, how === 'by-hand', say), say);
    return counts.fail > 0 ? false : counts['not checked'] > 0 ? null : true;
  } finally {
    rmSync(folder, { recursive: true, force: true, maxRetries: 5 });
  }
}
