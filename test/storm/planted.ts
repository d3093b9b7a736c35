/**
 * Is the storm worth anything? Faults of the program are planted, one at a time, in a copy of the tree, and the storm runs
 * there until it finds something. The work tree itself is never touched.
 */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { plantedInTheHouse } from './house-planted.ts';
import { one, type Planted } from './planted-fault.ts';
import { commitOfTheTree } from './storm.ts';

const service = 'main/service/run-service.ts';
const driver = 'main/bench/driver.ts';
const link = 'main/link/link.ts';
const write = 'main/archive/write.ts';
const archive = 'main/archive/archive.ts';
const engine = 'app/run/engine.ts';
const fold = 'app/run/fold.ts';

export const plantedFaults: readonly Planted[] = [
  {
    name: 'requests go out before their commit',
    swaps: [
      { file: service, find: "for (const request of output.requests) if (request.request.kind === 'make-safe') this.#perform(request);", put: 'for (const request of output.requests) this.#perform(request);' },
      { file: service, find: "    for (const request of output.requests) if (request.request.kind !== 'make-safe') this.#perform(request);\n", put: '' },
    ],
  },
  one('frames are stored again with the next commit', service, '      this.#frames = [];\n      committed', '      this.#frames = this.#frames.slice(-20);\n      committed'),
  one('telling comes before the commit', service, '    let committed: readonly RunEvent[] = [];', '    let committed: readonly RunEvent[] = [];\n    if (output.events.length > 0) this.#tell(output.events, []);'),
  one('a commit that failed is passed over', service, '        this.#storageFailed(written.text);\n        return null;', '        this.#frames = [];'),
  one('a failed archive leaves the bench as it is', service, "void this.#bench.perform({ kind: 'make-safe' }).then((reply) => {", "void Promise.resolve<BenchReply>({ kind: 'done' }).then((reply) => {"),
  one('a stored run is opened without recovery', service, 'opening.push(...recoverRun(stored.state));', 'void recoverRun;'),
  one('the opening of a stored run is not committed', service, 'parts.archive.append(made.id, opening, [])', "parts.archive.append(made.id, which.kind === 'new' ? opening : opening.slice(0, 1), [])"),
  one('a bench that is down at the opening is not told of', service, "    if (bench.downReason !== null) service.#onLink({ state: 'down', reason: bench.downReason });\n", ''),
  one('no ticks', service, "    this.#feed({ kind: 'tick', now: this.#now(), wall: this.#wall() });\n", ''),
  one('a command that could not be written is called done', service, "return output?.answer ?? { accepted: false", "return output?.answer ?? { accepted: true"),
  {
    ...one('a window is filed under the segment that was last', write, 'segmentOf(body.window.to)', '(next.segment?.number ?? null)'),
    harmless: 'It comes to the same: an attempt with a window ends upon a frame of the life that the window is of, because a frame of another life cuts it; so the last segment of that commit is the window\'s.',
  },
  one('a window is filed under the first segment', write, 'segmentOf(body.window.to)', '0'),
  one('a failed commit moves the position on', write, 'if (result.ok) this.#positions.set(id, after);', 'this.#positions.set(id, after);'),
  one('a step is no transaction', write, 'return this.#db.transaction(work).immediate();', 'return work();'),
  one('the hash leaves out the time', write, 'head = chainHash(head, seq, at, text);', 'head = chainHash(head, seq, 0, text);'),
  one('the list is brought up to date now and then', write, 'if (bodies.length > 0) putStatus', 'if (bodies.length > 1) putStatus'),
  one('each chunk loses its last frame', write, 'encodeFrames(stretch.frames);', 'encodeFrames(stretch.frames.slice(0, -1));'),
  one('frames of a new start of the controller follow the old', write, 'frame.bootId === before.bootId && frame.number', 'frame.number'),
  one('synchronous is off', archive, "db.pragma('synchronous = FULL');", "db.pragma('synchronous = OFF');"),
  one('synchronous is lowered', archive, "db.pragma('synchronous = FULL');", "db.pragma('synchronous = NORMAL');"),
  one('the writer lock is let go at once', 'main/archive/writer-lock.ts', "db.exec('COMMIT; BEGIN IMMEDIATE');", "db.exec('COMMIT');"),
  one('an open attempt is not cut by a new host', 'app/run/recover.ts', 'if (state.current !== null) {', 'if (state.current !== null && state.hostRestarts > 1e9) {'),
  one('a trip does not outlive the host', 'app/run/recover.ts', "(then.kind === 'tripped' || then.kind === 'ended')", "then.kind === 'ended'"),
  one('safe is confirmed while the bench pulses', driver, '!frame.armed && !frame.burst.active && ', '!frame.armed && '),
  one('safe is confirmed with the supply still up', driver, '!frame.burst.active && Math.abs(frame.supply - this.capabilities.safeSupply) <= SAFE_SUPPLY_TOLERANCE', '!frame.burst.active'),
  one('safe is confirmed without a last question', driver, 'if (doubt === null) return', 'if (doubt !== undefined) return'),
  one('rail and meter temperature are exchanged', driver, 'railTemperature: celsius(t.railMilliC / 1e3)', 'railTemperature: celsius(t.meterMilliC / 1e3)'),
  one('the current is ten times too small', driver, 'current: amperes(t.currentMa / 1e3)', 'current: amperes(t.currentMa / 1e4)'),
  one('pulses done are those commanded', driver, 'done: t.done }', 'done: t.commanded }'),
  one('safe is confirmed by the answer alone', driver, 'if (!(await this.#until((frame) => frame !== null && this.#isSafe(frame), left(), signal))) continue;', 'if (!this.#up) continue;'),
  one('pulse widths are cut to whole microseconds', driver, 'const widthNs = Math.round(request.width * 1e9);', 'const widthNs = Math.floor(request.width * 1e6) * 1000;'),
  one('the period is a microsecond and a half long by mistake', driver, 'periodUs: Math.round(toMicroseconds(request.period))', 'periodUs: Math.round(toMicroseconds(request.period)) + 2'),
  one('the supply is set 30 mV high', driver, 'mv: Math.round(request.supply * 1e3)', 'mv: Math.round(request.supply * 1e3) + 30'),
  {
    name: 'a new start of the controller is noticed by nobody',
    swaps: [
      { file: driver, find: 'if (telemetry.boot !== this.bootId) {', put: "if (telemetry.boot === '') {" },
      { file: engine, find: 'if (frame.bootId !== this.#state.bench?.bootId) {', put: "if (frame.bootId === '') {" },
    ],
  },
  one('frames that the line repeated are taken again', driver, '    if (telemetry.frame <= this.#lastFrame) return;\n', ''),
  one('the time of an edge is that of its frame', driver, 'lastEdgeAt: seconds(t.lastEdgeUs / 1e6)', 'lastEdgeAt: seconds(t.atUs / 1e6)'),
  one('the pressure is set 1 kPa high', driver, 'pa: Math.round(request.pressure)', 'pa: Math.round(request.pressure) + 1000'),
  one('the neighbour is pulsed', driver, '{ word: \'burst\', channel: request.channel,', '{ word: \'burst\', channel: request.channel + 1,'),
  one('a new host goes on by itself', 'app/run/recover.ts', ": { kind: 'paused' };", ": { kind: 'held', guard: 'host', text: 'The program was started again.' };"),
  one('the second attempt has the number of the first', engine, '      attempt: attempts.length + 1,', '      attempt: Math.max(1, attempts.length),'),
  one('stopping the pulses is not asked for', driver, "return asBenchReply(await this.#ask({ word: 'halt' }, signal));", "return { kind: 'done' };"),
  one('the heartbeat goes on in the silence', link, "if (job?.kind === 'silence' || !this.#greeted) return;", "if (!this.#greeted) return;"),
  one('no heartbeat', link, '    this.#heartbeats += 1;\n', '    if (this.#heartbeats >= 0) return;\n'),
  one('an answer is taken whatever its number', link, 'job.seq === seq && ', ''),
  one('a repeat has a number of its own', link, '      this.#linesSentAgain += 1;\n      this.#send(job);\n    });', '      this.#linesSentAgain += 1;\n      job.seq = this.#nextSeq;\n      this.#nextSeq = (this.#nextSeq + 1) % SEQUENCE_NUMBERS;\n      this.#send(job);\n    });'),
  one('safe waits until its turn', link, "      if (request.word === 'safe') this.#clearTheWay();\n", ''),
  one('no watch over a silent line', link, '    if (!this.#greeted) return;\n    // It may be', '    if (this.#greeted) return;\n    // It may be'),
  one('an attempt stays open on the way to safe', engine, 'if (current !== null) {\n      this.#emit({ kind: \'attempt-ended\', point: current.point, attempt: current.attempt, verdict: \'cut\'', 'if (current !== null && current.step === null) {\n      this.#emit({ kind: \'attempt-ended\', point: current.point, attempt: current.attempt, verdict: \'cut\''),
  one('measuring goes on after a reset without the proof', engine, 'if (this.#state.provedBootId === this.#state.bench?.bootId) {', 'if (this.#state.provedBootId !== null) {'),
  one('what was not confirmed is called confirmed', engine, "kind: 'made-safe',\n        confirmed: false,", "kind: 'made-safe',\n        confirmed: true,"),
  one('old telemetry is not noticed', engine, "this.#hold('telemetry', `No telemetry", "void (`No telemetry"),
  one('an interlock that opens in a hold is passed over', engine, "if (driving || mode === 'held' || (mode === 'making-safe'", "if (driving || (mode === 'making-safe'"),
  one('the time for pressure set by hand goes on', engine, 'without a limit, pulses off (RUN-42).\n      this.#phaseSince = this.#now;\n', 'without a limit, pulses off (RUN-42).\n'),
  one('a guard clears outside its low limit', 'app/run/guards.ts', 'value >= guard.low + margin', 'value >= guard.low - margin'),
  one('a guard clears outside its high limit', 'app/run/guards.ts', 'value <= guard.high - margin', 'value <= guard.high + margin'),
  {
    ...one('a reading that is no number is inside a high limit', 'app/run/guards.ts', 'value <= guard.high - margin', '!(value > guard.high - margin)'),
    harmless: 'Readings come over the line as whole numbers (LINE-7), so there is none that is no number. The guards alone are held to it by their own test.',
  },
  one('the pressure is set once for the run', engine, 'this.#capabilities.pressure.commandable && this.#pressureSet !== point.pressure', 'this.#capabilities.pressure.commandable && this.#lastId < 20'),
  one('accepted points are measured again', fold, 'while (run.firstPass < run.points.length && isSettled(', 'while (run.hostRestarts < 2 && run.firstPass < run.points.length && isSettled('),
];

const parts = ['app', 'main', 'firmware-protocol', 'renderer/host', 'test/builders', 'test/storm', 'test/house/show.ts', 'package.json', 'tsconfig.json'];

const script = `
import { storm, story } from './test/storm/storm.ts';
const [seeds, mostCpuS] = process.argv.slice(1).map(Number);
const of = process.argv[3] === 'house' ? (await import('./test/storm/house.ts')).stormOfTheHouse : undefined;
const cpuS = () => { const { user, system } = process.cpuUsage(); return (user + system) / 1e6; };
const found = await storm(1, seeds, { mostFailures: 1, goOn: () => cpuS() < mostCpuS }, of);
const [first] = found.failures;
console.log(JSON.stringify({ cpuS: found.cpuS, seeds: found.seeds, ...(first === undefined ? {} : { seed: first.seed, judge: first.violations[0].judge, rule: first.violations[0].rule, text: first.violations[0].texts[0] }) }));
process.exit(0);
`;

interface Hunt {
  readonly cpuS: number;
  readonly seeds: number;
  readonly seed?: number;
  readonly judge?: string;
  readonly rule?: string;
  readonly text?: string;
}

/** Plants one fault in a copy of the tree and lets the storm run there, for so many minutes of CPU at most. */
export function hunt(fault: Planted, seeds: number, mostMinutes = 10): Hunt {
  const root = join(import.meta.dirname, '..', '..');
  const copy = mkdtempSync(join(tmpdir(), 'railhouse-planted-'));
  try {
    for (const part of parts) {
      mkdirSync(join(copy, part, '..'), { recursive: true });
      cpSync(join(root, part), join(copy, part), { recursive: true });
    }
    symlinkSync(join(root, 'node_modules'), join(copy, 'node_modules'));
    for (const { file, find, put } of fault.swaps) {
      const path = join(copy, file);
      const text = readFileSync(path, 'utf8');
      if (text.split(find).length !== 2) {
        return { cpuS: 0, seeds: 0, judge: 'not planted', text: `what is to be changed in ${file} is there ${text.split(find).length - 1} times` };
      }
      writeFileSync(path, text.replace(find, () => put));
    }
    const told = spawnSync(process.execPath, ['--input-type=module', '-e', script, String(seeds), String(mostMinutes * 60), fault.of ?? ''], { cwd: copy, encoding: 'utf8', timeout: 10 * mostMinutes * 60e3 });
    const line = told.stdout.trim().split('\n').at(-1) ?? '';
    if (!line.startsWith('{')) return { cpuS: Number.NaN, seeds: 0, judge: told.signal === null ? 'the program ended' : 'time over', text: told.stderr.slice(-300) };
    return JSON.parse(line) as Hunt;
  } finally {
    rmSync(copy, { recursive: true, force: true });
  }
}

const row = (...cells: readonly string[]): string => `| ${cells.join(' | ')} |\n`;

/** `planted`, `planted SEEDS`, `planted SEEDS part-of-a-name`, `planted SEEDS house`: how long the storm needs to find each, as the table of README.md. */
export function showPlanted([seeds = '100000', name = '']: readonly string[]): Promise<boolean> {
  const chosen = [...plantedFaults, ...plantedInTheHouse].filter((fault) => fault.of === name || fault.name.includes(name));
  const counted = chosen.filter((fault) => fault.harmless === undefined);
  let found = 0;
  process.stdout.write(`At commit ${commitOfTheTree()}:\n\n${row('planted fault', 'found by', 'seed', 'CPU s')}${row('---', '---', '---', '---')}`);
  for (const fault of counted) {
    const { cpuS, seeds: tried, seed, rule, judge, text } = hunt(fault, Number(seeds));
    if (seed !== undefined) found += 1;
    process.stdout.write(
      seed === undefined
        ? row(fault.name, `NOT FOUND ${judge ?? ''} ${text ?? ''}`.trim(), `${tried} tried`, cpuS.toFixed(1))
        : row(fault.name, `${rule ?? ''} ${judge ?? ''}`, String(seed), cpuS.toFixed(1)),
    );
  }
  process.stdout.write(`\n${found} of ${counted.length} planted faults found.\n`);
  for (const { name: what, harmless } of chosen) if (harmless !== undefined) process.stdout.write(`Not hunted: ${what}. ${harmless}\n`);
  return Promise.resolve(found === counted.length);
}
