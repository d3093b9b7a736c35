/**
 * Is the storm worth anything? Faults of the program are planted, one at a time, in a copy of the tree, and the storm runs
 * there until it finds something. The work tree itself is never touched.
 */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { plantedInTheHouse } from './house-planted.ts';
import { one, plant, type Planted } from './planted-fault.ts';
import { commitOfTheTree } from './storm.ts';

const service = 'main/service';
const bench = 'main/bench';
const link = 'main/link';
const archive = 'main/archive';
const run = 'app/run';
const journal = 'app/journal';

export const plantedFaults: readonly Planted[] = [
  {
    name: 'requests go out before their commit',
    swaps: [
      { room: service, find: "for (const request of output.requests) if (request.request.kind === 'make-safe') this.#perform(request);", put: 'for (const request of output.requests) this.#perform(request);' },
      { room: service, find: "    for (const request of output.requests) if (request.request.kind !== 'make-safe') this.#perform(request);\n", put: '' },
    ],
  },
  one('frames are stored again with the next commit', service, 'if (frames.length > 0) this.#frames = [];', 'if (frames.length > 0) this.#frames = this.#frames.slice(-20);'),
  one('telling comes before the commit', service, '    let committed: readonly RunEvent[] = [];', '    let committed: readonly RunEvent[] = [];\n    if (output.events.length > 0) this.#tell(output.events, []);'),
  one('a commit that failed is passed over', service, '        this.#storageFailed(written.text);\n        return null;', '        this.#frames = [];'),
  one('a failed archive leaves the bench as it is', service, "void this.#bench.perform({ kind: 'make-safe' }).then((reply) => {", "void Promise.resolve<BenchReply>({ kind: 'done' }).then((reply) => {"),
  one('a stored run is opened without recovery', service, 'opening.push(...recoverRun(stored.state));', 'void recoverRun;'),
  one('the opening of a stored run is not committed', service, 'parts.archive.append(made.id, opening, [])', "parts.archive.append(made.id, which.kind === 'new' ? opening : opening.slice(0, 1), [])"),
  one('a bench that is down at the opening is not told of', service, "    if (bench.downReason !== null) service.#onLink({ state: 'down', reason: bench.downReason });\n", ''),
  one('no ticks', service, "    this.#feed({ kind: 'tick', ...this.#time() });\n", ''),
  one('a command that could not be written is called done', service, "return output?.answer ?? { accepted: false", "return output?.answer ?? { accepted: true"),
  {
    ...one('a window is filed under the segment that was last', archive, 'segmentOf(body.window.to)', '(next.segment?.number ?? null)'),
    harmless: 'It comes to the same: an attempt with a window ends upon a frame of the life that the window is of, because a frame of another life cuts it; so the last segment of that commit is the window\'s.',
  },
  one('a window is filed under the first segment', archive, 'segmentOf(body.window.to)', '0'),
  one('a failed commit moves the position on', archive, 'if (result.ok) this.#positions.set(id, after);', 'this.#positions.set(id, after);'),
  one('a step is no transaction', archive, 'return this.#transaction.immediate(work) as T;', 'return work();'),
  one('the hash leaves out the time', archive, 'head = chainHash(head, seq, at, text);', 'head = chainHash(head, seq, 0, text);'),
  one('the list is brought up to date now and then', archive, 'if (bodies.length > 0) putStatus', 'if (bodies.length > 1) putStatus'),
  one('the writer forgets its latest stretch of telemetry', archive, 'after = { ...next, head, status };', 'after = { ...(bodies.length > 2 ? position : next), head, status };'),
  one('each chunk loses its last frame', archive, 'encodeFrames(stretch.frames);', 'encodeFrames(stretch.frames.slice(0, -1));'),
  one('frames of a new start of the controller follow the old', archive, 'frame.bootId === before.bootId && frame.number', 'frame.number'),
  one('synchronous is off', archive, "db.pragma('synchronous = FULL');", "db.pragma('synchronous = OFF');"),
  one('synchronous is lowered', archive, "db.pragma('synchronous = FULL');", "db.pragma('synchronous = NORMAL');"),
  one('the writer lock is let go at once', archive, "db.exec('COMMIT; BEGIN IMMEDIATE');", "db.exec('COMMIT');"),
  one('an open attempt is not cut by a new host', run, 'if (state.current !== null) {', 'if (state.current !== null && state.hostRestarts > 1e9) {'),
  one('a trip does not outlive the host', run, "(then.kind === 'tripped' || then.kind === 'ended')", "then.kind === 'ended'"),
  one('safe is confirmed while the bench pulses', bench, '!frame.armed && !frame.burst.active && ', '!frame.armed && '),
  one('safe is confirmed with the supply still up', bench, '!frame.burst.active && Math.abs(frame.supply - safeSupply) <= SAFE_SUPPLY_TOLERANCE', '!frame.burst.active'),
  one('the controller is armed twice at once', bench, "return asBenchReply(await this.#ask({ word: 'arm' }, signal));", "void this.#ask({ word: 'arm' }, signal);\n        return asBenchReply(await this.#ask({ word: 'arm' }, signal));"),
  one('a bench that went is not called lost', bench, "    this.#tellLink({ state: 'down', reason });\n", ''),
  one('a bench that came back is told of twice', bench, '    this.#tellWatchers(null);\n    return true;', "    this.#tellWatchers(null);\n    this.#tellLink({ state: 'up', bootId: this.bootId, reason: 'The bench is connected again.' });\n    return true;"),
  one('safe is confirmed without a last question', bench, 'if (doubt === null) return', 'if (doubt !== undefined) return'),
  one('rail and meter temperature are exchanged', bench, '...readingsFromWire(t),', '...readingsFromWire(t), railTemperature: readingsFromWire(t).meterTemperature,'),
  one('the current is ten times too small', bench, '...readingsFromWire(t),', '...readingsFromWire(t), current: (readingsFromWire(t).current / 10) as typeof t.currentMa,'),
  one('pulses done are those commanded', bench, 'done: t.done }', 'done: t.commanded }'),
  one('safe is confirmed by the answer alone', bench, 'if (!(await port.until((frame) => frame !== null && isSafe(frame, port.capabilities), left(), signal))) continue;', 'if (port.downReason() !== null) continue;'),
  one('pulse widths are cut to whole microseconds', bench, 'const widthNs = Math.round(request.width * 1e9);', 'const widthNs = Math.floor(request.width * 1e6) * 1000;'),
  one('the period is a microsecond and a half long by mistake', bench, 'periodUs: Math.round(toMicroseconds(request.period))', 'periodUs: Math.round(toMicroseconds(request.period)) + 2'),
  one('the supply is set 30 mV high', bench, 'mv: Math.round(request.supply * 1e3)', 'mv: Math.round(request.supply * 1e3) + 30'),
  {
    name: 'a new start of the controller is noticed by nobody',
    swaps: [
      { room: bench, find: 'if (telemetry.boot !== this.bootId) {', put: "if (telemetry.boot === '') {" },
      { room: run, find: 'if (frame.bootId !== core.state.bench?.bootId) {', put: "if (frame.bootId === '') {" },
    ],
  },
  one('frames that the line repeated are taken again', bench, '    if (telemetry.frame <= this.#lastFrame) return;\n', ''),
  one('the time of an edge is that of its frame', bench, 'lastEdgeAt: seconds(t.lastEdgeUs / 1e6)', 'lastEdgeAt: seconds(t.atUs / 1e6)'),
  one('the pressure is set 1 kPa high', bench, 'pa: Math.round(request.pressure)', 'pa: Math.round(request.pressure) + 1000'),
  one('the neighbour is pulsed', bench, '{ word: \'burst\', channel: request.channel,', '{ word: \'burst\', channel: request.channel + 1,'),
  one('a new host goes on by itself', run, ": { kind: 'paused' };", ": { kind: 'held', guard: 'host', text: 'The program was started again.' };"),
  one('the second attempt has the number of the first', run, '      attempt: attempts.length + 1,', '      attempt: Math.max(1, attempts.length),'),
  one('stopping the pulses is not asked for', bench, "return asBenchReply(await this.#ask({ word: 'halt' }, signal));", "return { kind: 'done' };"),
  one('the heartbeat goes on in the silence', link, "if (job?.kind === 'silence' || !this.#greeted) return;", "if (!this.#greeted) return;"),
  one('an event is carried out and not written', run, 'this.events.push(event);', "if (event.kind !== 'wait-skipped' && event.kind !== 'acknowledged') this.events.push(event);"),
  one('an acknowledged bench is armed', run, "yield* ask({ kind: 'clear-faults' }, replyTimeout, anyReply)", "yield* ask({ kind: 'arm' }, replyTimeout, anyReply)"),
  one('a written event is told under the number of the one before', archive, 'const event: RunEvent = { seq, at, body };', 'const event: RunEvent = { seq: seq - 1, at, body };'),
  one('a trip cannot be left', run, "  tripped: ['making-safe'],\n", '  tripped: [],\n'),
  one('no heartbeat', link, '    this.#heartbeats += 1;\n', '    if (this.#heartbeats >= 0) return;\n'),
  one('an answer is taken whatever its number', link, 'job.seq === seq && ', ''),
  one('a repeat has a number of its own', link, '      this.#linesSentAgain += 1;\n      this.#send(job);\n    });', '      this.#linesSentAgain += 1;\n      job.seq = this.#nextSeq;\n      this.#nextSeq = (this.#nextSeq + 1) % SEQUENCE_NUMBERS;\n      this.#send(job);\n    });'),
  one('safe waits until its turn', link, "      if (request.word === 'safe') this.#clearTheWay();\n", ''),
  one('no watch over a silent line', link, '    if (!this.#greeted) return;\n    // It may be', '    if (this.#greeted) return;\n    // It may be'),
  one('an attempt stays open on the way to safe', run, 'if (current !== null) {\n      this.#core.emit({ kind: \'attempt-ended\', point: current.point, attempt: current.attempt, verdict: \'cut\'', 'if (current !== null && current.step === null) {\n      this.#core.emit({ kind: \'attempt-ended\', point: current.point, attempt: current.attempt, verdict: \'cut\''),
  one('measuring goes on after a reset without the proof', run, 'if (provedBootId !== bench?.bootId) {', 'if (provedBootId === null) {'),
  one('what was not confirmed is called confirmed', run, "kind: 'made-safe', confirmed: false,", "kind: 'made-safe', confirmed: true,"),
  one('old telemetry is not noticed', run, "this.#safety.hold('telemetry', `No telemetry", "void (`No telemetry"),
  one('an interlock that opens in a hold is passed over', run, "if (!this.#core.isDriving && mode !== 'held' && !(mode === 'making-safe'", "if (!this.#core.isDriving && !(mode === 'making-safe'"),
  one('the time for pressure set by hand goes on', run, 'if (byHand()) this.#course.restartWait();\n        else if', 'if (byHand() && since < 0) this.#course.restartWait();\n        else if'),
  one('a guard clears outside its low limit', run, 'value >= guard.low + margin', 'value >= guard.low - margin'),
  one('a guard clears outside its high limit', run, 'value <= guard.high - margin', 'value <= guard.high + margin'),
  {
    ...one('a reading that is no number is inside a high limit', run, 'value <= guard.high - margin', '!(value > guard.high - margin)'),
    harmless: 'Readings come over the line as whole numbers (LINE-7), so there is none that is no number. The guards alone are held to it by their own test.',
  },
  one('the pressure is set once for the run', run, '      if (commandable) {', '      if (commandable && point.index < 3) {'),
  one('a new host decides before what was decided is measured', run, 'this.#decided?.revision !== revision && this.#firstTarget() === null', 'this.#decided?.revision !== revision && (this.#firstTarget() === null || (this.#decided === null && this.#core.state.hostRestarts > 0))'),
  one('a pause at the next point ends a run that is at a decision', run, 'if (state.pausePending && this.#isUndecided) return pause();', ''),
  one('a decision that nobody waits for any more is taken', run, 'if (this.awaitsDecision !== number) return false;', 'if (this.#decisions === 0) return false;'),
  one('the last part of a decision is not written', run, 'for (const { points, rule, why } of decision.additions) this', 'for (const { points, rule, why } of decision.additions.slice(0, Math.max(1, decision.additions.length - 1))) this'),
  one('a decision goes by all but the last of what was measured', service, 'decision: decideNext(soFarOf(loaded.state))', 'decision: decideNext({ ...soFarOf(loaded.state), attempts: soFarOf(loaded.state).attempts.slice(0, -1) })'),
  one('a decision that cannot be made is told to nobody', service, '      take(number, decided);\n', '      if (decided.ok) take(number, decided);\n'),
  one('after a second death a run is taken for known', service, 'loaded.ok ? { ok: true, decision', "loaded.ok && loaded.state.hostRestarts > 1 ? { ok: true, decision: { additions: [], text: '' } } : loaded.ok ? { ok: true, decision"),
  one('accepted points are measured again', journal, 'while (run.firstPass < run.points.length && isSettled(', 'while (run.hostRestarts < 2 && run.firstPass < run.points.length && isSettled('),
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
    const problem = plant(fault, copy);
    if (problem !== null) return { cpuS: 0, seeds: 0, judge: 'not planted', text: problem };
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
