/**
 * Directed trials for the fault contract: a short world in which one fault is put into one mode of the run, at an instant of it
 * that is drawn, and what comes of it is held against its cell. A world without the fault says first when that mode is.
 */
import { parsePlan } from '../../app/plan/parse.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { RunCommand } from '../../app/journal/events.ts';
import type { Mode } from '../../app/journal/state.ts';
import { scenarioSchema, type Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { cellOf, modes, type Cell, type Outcome, type Row } from './contract.ts';
import { contract } from './contract-windows.ts';
import { Chance, withHappenings, type Happening, type Timed } from './draw.ts';
import { placeholders, withHouseHappenings, type HouseDrawn, type HouseHappening } from './house-draw.ts';
import { stormOfTheHouse } from './house.ts';
import { asOfARun } from './house-judges.ts';
import { judged, type Violation } from './storm.ts';
import type { Evidence, Seen } from './world.ts';

/** What one trial found. Times are from the fault, s. */
interface Trial {
  readonly seed: number;
  readonly atS: number;
  /** The fault came in its mode. */
  readonly reached: boolean;
  /** Which outcome of the cell it was. */
  readonly outcome: Outcome | null;
  readonly safeS: number;
  readonly endS: number;
  readonly problems: readonly string[];
}

type BenchFault = Scenario['faults'][number]['fault'];

let plan: Plan | null = null;

/** Few points, all kinds of waits, a zero point, and guards that note, hold and trip. */
function trialPlan(): Plan {
  if (plan !== null) return plan;
  const small = readSample('small-plan') as Record<string, unknown> & { readonly guards: readonly unknown[] };
  const parsed = parsePlan({
    ...small,
    axes: { voltageV: [12], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 1 },
    zero: { windowS: 3, settleS: 1, deadTimeUs: 20 },
    guards: [...small.guards, { id: 'rail-warm', signal: 'rail-temperature-c', high: 26, hysteresis: 1, dwellS: 0.5, level: 'hold', maxResumes: 5, clearS: 2 }],
  });
  if (!parsed.ok) throw new Error(`the plan of the trials is none: ${JSON.stringify(parsed.problems)}`);
  plan = parsed.plan;
  return plan;
}

// ------------------------------------------------------------------ the way into a mode

const startS = 4;

/** How a happening is put into a world: after so long, and as a command of whoever holds control. */
interface Ways {
  readonly from: (atS: number) => Timed;
  readonly command: (atS: number, command: RunCommand) => HouseHappening;
}

const intoARun: Ways = {
  from: (atS) => ({ atS }),
  command: (atS, command) => ({ kind: 'command', atS, command }),
};
/** Counted from the opening of the run, which a person sees to. */
const fromTheOpening = (atS: number): Timed => ({ atS, upon: { event: 'preflight', nth: 1 } });
const intoTheHouse: Ways = {
  from: fromTheOpening,
  command: (atS, command) => ({
    kind: 'asked', ...fromTheOpening(atS), window: 0, name: 'run.command', params: { id: placeholders.run, command, by: 'a person', commandId: `way-${command.kind}` },
  }),
};

/** From the start of the run to the mode. `xS`: after the proof. */
function wayTo(mode: Mode, xS: number, { from, command }: Ways): readonly HouseHappening[] {
  const start = command(startS, { kind: 'start' });
  // The proof takes less than 3 s.
  const atS = startS + 3 + xS;
  const fault = (when: number, forS: number, what: BenchFault): HouseHappening => {
    const { upon } = from(when);
    return { kind: 'bench', fault: { begins: { atS: when }, forS, fault: what }, ...(upon === undefined ? {} : { upon }) };
  };
  switch (mode) {
    case 'ready':
      return [];
    case 'proving':
    case 'measuring':
      return [start];
    case 'making-safe':
    case 'paused':
      return [start, command(atS, { kind: 'pause-now' })];
    case 'held':
      return [start, fault(startS + 2, 45, { kind: 'over-temperature', riseC: 9 })];
    case 'tripped':
      return [start, fault(atS, 0.5, { kind: 'emergency-stop' })];
    case 'ended':
      return [start, command(atS, { kind: 'abort' })];
  }
}

interface Way {
  readonly drawn: HouseDrawn;
  /** When the mode is, and a fault may be put into it, s. */
  readonly fromS: number;
  readonly toS: number;
}

interface Looked {
  /** null: the program threw. */
  readonly evidence: Evidence | null;
  readonly violations: readonly Violation[];
}

/** Lets it happen, to a run alone or to the whole house, of which the evidence is that of its run. */
async function lookAt(drawn: HouseDrawn, inHouse: boolean): Promise<Looked> {
  if (!inHouse) return judged(drawn);
  const { evidence, violations } = await judged(drawn, stormOfTheHouse);
  const run = evidence?.runs[0];
  return { evidence: evidence === null || run === undefined ? null : asOfARun(evidence, { ...run, seen: evidence.seen }), violations };
}

const withAll = (drawn: HouseDrawn, list: readonly HouseHappening[], inHouse: boolean): HouseDrawn =>
  inHouse ? withHouseHappenings(drawn, list) : { ...drawn, ...withHappenings(drawn, list as readonly Happening[]) };

const ways = new Map<string, Promise<Way>>();

function way(mode: Mode, seed: number, inHouse: boolean): Promise<Way> {
  const name = `${mode} ${seed} ${inHouse ? 'house' : 'run'}`;
  let there = ways.get(name);
  if (there === undefined) ways.set(name, (there = find(mode, seed, inHouse)));
  return there;
}

async function find(mode: Mode, seed: number, inHouse: boolean): Promise<Way> {
  const chance = new Chance(seed, `way to ${mode}`);
  const rail = chance.strikes(0.5);
  const nothing: HouseDrawn = {
    seed, sea: 'storm', plan: trialPlan(), happenings: [], takesOver: chance.strikes(0.5), overS: 0, personFromS: 40, windows: [], fair: true,
    scenario: scenarioSchema.parse({ scenarioVersion: 1, seed: seed % 2 ** 32, ...(rail ? {} : { rail: { pump: false, relief: false, shutOff: false } }) }),
  };
  const drawn = withAll(nothing, wayTo(mode, chance.uniform(1, 8), inHouse ? intoTheHouse : intoARun), inHouse);
  if (mode === 'ready' && !inHouse) return { drawn, fromS: 2, toS: 10 };
  const commits = (await lookAt(drawn, inHouse)).evidence?.seen.filter((one) => one.kind === 'commit') ?? [];
  const first = commits.findIndex((one) => one.mode === mode);
  const from = commits[first]?.at;
  const next = commits.slice(first).find((one) => one.mode !== mode)?.at ?? 40;
  if (from === undefined) throw new Error(`a trial did not come to ${mode} (seed ${seed})`);
  switch (mode) {
    case 'proving':
    case 'making-safe':
      return { drawn, fromS: from, toS: next };
    case 'measuring':
      return { drawn, fromS: from, toS: from + 0.5 * (next - from) };
    case 'ready':
      // Until the first frame has come the run is still being opened.
      return { drawn, fromS: from + 3.5, toS: from + 8 };
    default:
      return { drawn, fromS: from + 0.3, toS: from + 8 };
  }
}

// ------------------------------------------------------------------ what came of it

const drivingModes: ReadonlySet<Mode | null> = new Set(['proving', 'measuring']);
const begins: ReadonlySet<string> = new Set(['proving-started', 'measuring-started', 'resumed']);

type Commit = Extract<Seen, { kind: 'commit' }>;

/** What is seen of a fault until a person acts. */
class Aftermath {
  readonly mode: Mode;
  readonly at: number;
  readonly until: number;
  readonly after: readonly Seen[];
  readonly commits: readonly Commit[];
  readonly evidence: Evidence;
  readonly #before: readonly Seen[];

  constructor(evidence: Evidence, happened: number, mode: Mode, until: number) {
    this.evidence = evidence;
    this.mode = mode;
    this.until = until;
    this.#before = evidence.seen.slice(0, happened);
    this.at = evidence.seen[happened]?.at ?? 0;
    this.after = evidence.seen.slice(happened + 1).filter((one) => one.at < until - 1e-3);
    this.commits = this.after.filter((one) => one.kind === 'commit');
  }

  /** From the fault until the bench is safe and stays so until it is meant to be driven again; Infinity: it is not. */
  safeS(): number {
    let left = !drivingModes.has(this.mode);
    let energised = (this.#before.findLast((one) => one.kind === 'supply')?.mv ?? 0) > 0;
    let last = this.at;
    for (const one of this.after) {
      if (energised) last = one.at;
      if (one.kind === 'commit') {
        if (left && one.bodies.some((body) => begins.has(body.kind))) return last - this.at;
        left ||= !drivingModes.has(one.mode);
      } else if (one.kind === 'supply') {
        energised = one.mv > 0;
      } else if (one.kind === 'pulse') {
        last = Math.max(last, one.at + one.widthUs / 1e6);
      } else if (one.kind === 'died' || one.kind === 'failed') {
        left = true;
      }
    }
    return energised ? Number.POSITIVE_INFINITY : last - this.at;
  }

  /** The modes from an instant after the fault on. */
  modesFrom(endS: number): readonly (Mode | null)[] {
    let at: Mode | null = this.mode;
    for (const one of this.commits) if (one.at <= this.at + endS) at = one.mode;
    return [at, ...this.commits.filter((one) => one.at > this.at + endS).map((one) => one.mode)];
  }

  /** From the fault until it is in a mode for good. */
  since(mode: Mode): number {
    // A bench that rests and was not confirmed safe is made safe again (RUN-6).
    const last = this.commits.findLastIndex((one) => one.mode !== mode && one.mode !== 'making-safe');
    if (last < 0 && this.mode === mode) return 0;
    const first = this.commits.slice(last + 1).find((one) => one.mode === mode);
    return first === undefined ? Number.POSITIVE_INFINITY : first.at - this.at;
  }

  said(): string {
    return this.after.map((one) => {
      switch (one.kind) {
        case 'commit':
          return JSON.stringify(one.bodies);
        case 'status':
        case 'failed':
        case 'not-opened':
        case 'second-writer':
          return one.text;
        default:
          return '';
      }
    }).join('\n');
  }

  /** The attempt that was going on when the run left measuring (or its host was gone) for the first time, else at the fault. */
  openAttempt(): { readonly point: number; readonly attempt: number } | null {
    const leaves = this.after.findIndex((one) => (one.kind === 'commit' && !drivingModes.has(one.mode)) || one.kind === 'died' || one.kind === 'failed');
    let open: { readonly point: number; readonly attempt: number } | null = null;
    for (const one of [...this.#before, ...this.after.slice(0, Math.max(0, leaves))]) {
      if (one.kind !== 'commit') continue;
      for (const body of one.bodies) {
        if (body.kind === 'attempt-started') open = body;
        if (body.kind === 'attempt-ended') open = null;
      }
    }
    return open;
  }

  endS(outcome: Outcome): number {
    switch (outcome.end) {
      case 'goes on':
      case 'stays':
        return 0;
      case 'held': {
        const held = this.commits.find((one) => one.mode === 'held');
        return held === undefined ? Number.POSITIVE_INFINITY : held.at - this.at;
      }
      case 'given up': {
        const failed = this.after.find((one) => one.kind === 'failed');
        return failed === undefined ? Number.POSITIVE_INFINITY : failed.at - this.at;
      }
      case 'where it was going':
        return this.since('paused');
      default:
        return this.since(outcome.end);
    }
  }
}

/** A run that has worked its plan off, or is about to. */
const atItsEnd = ({ bodies }: Commit): boolean =>
  bodies.some((body) => (body.kind === 'making-safe' && body.then.kind === 'ended' && body.then.ending !== 'aborted' && body.then.ending !== 'emergency-stopped') || body.kind === 'ended' || body.kind === 'made-safe');

const listed = (modesSeen: readonly (Mode | null)[]): string => modesSeen.filter((mode, i) => mode !== modesSeen[i - 1]).join(', ');

/** Where a new host leaves a run that it finds (RUN-80 to RUN-83). */
const leftIn = (mode: Mode): Mode => (mode === 'ready' || mode === 'tripped' || mode === 'ended' ? mode : 'paused');

function endProblem(found: Aftermath, { end, endS }: Outcome): string | null {
  const { commits, mode } = found;
  const all = listed([mode, ...commits.map((one) => one.mode)]);
  switch (end) {
    case 'goes on': {
      const left = commits.find((one) => !drivingModes.has(one.mode) && !atItsEnd(one));
      return left === undefined ? null : `the run does not go on: ${all}`;
    }
    case 'stays': {
      const resumed = mode === 'held' ? commits.findIndex((one) => one.bodies.some((body) => body.kind === 'resumed' && body.automatic)) : -1;
      const other = (resumed < 0 ? commits : commits.slice(0, resumed)).find((one) => one.mode !== mode);
      return other === undefined ? null : `the run does not stay ${mode}: ${all}`;
    }
    case 'held': {
      if (found.endS({ end } as Outcome) > endS) return `the run is not held within ${endS.toFixed(1)} s: ${all}`;
      if (commits.some((one) => one.mode === 'paused' || one.mode === 'tripped')) return `the run is not only held: ${all}`;
      return commits.some((one) => one.bodies.some((body) => body.kind === 'resumed' && body.automatic)) ? null : `the run does not go on by itself: ${all}`;
    }
    case 'given up': {
      if (found.endS({ end } as Outcome) > endS) return `the run is not given up within ${endS.toFixed(1)} s: ${all}`;
      const now = commits.at(-1)?.mode ?? mode;
      return now === leftIn(mode) ? null : `opened again the run is not ${leftIn(mode)}: ${all}`;
    }
    default: {
      const wanted = end === 'where it was going' ? 'paused' : end;
      const later = found.modesFrom(endS);
      // A bench that rests and was not confirmed safe is made safe again (RUN-6).
      return later[0] === wanted && later.at(-1) === wanted && later.every((one) => one === wanted || one === 'making-safe') ? null : `after ${endS.toFixed(1)} s the run is not ${wanted}: ${all}`;
    }
  }
}

function attemptProblem(found: Aftermath, { attempt }: Outcome): string | null {
  const open = found.openAttempt();
  if (open === null || attempt === 'any') return null;
  const ended = found.evidence.events.find((body) => body.kind === 'attempt-ended' && body.point === open.point && body.attempt === open.attempt);
  const verdict = ended?.kind === 'attempt-ended' ? ended.verdict : 'not ended';
  return (attempt === 'cut') === (verdict === 'cut') ? null : `the attempt that was going on was ${verdict}`;
}

/** What of an outcome was not as it says. */
function misses(found: Aftermath, outcome: Outcome): readonly string[] {
  const problems: (string | null)[] = [endProblem(found, outcome), attemptProblem(found, outcome)];
  if (outcome.safeS !== 'goes on') {
    const safeS = found.safeS();
    if (safeS > outcome.safeS + 1e-6) problems.push(`the bench was safe after ${safeS.toFixed(2)} s, and not within ${outcome.safeS.toFixed(2)} s`);
  }
  const said = found.said();
  if (outcome.said.length > 0 && !outcome.said.some((text) => said.includes(text))) problems.push(`nobody was told ${outcome.said.map((text) => `"${text}"`).join(' or ')}`);
  return problems.filter((problem) => problem !== null);
}

/** Accepted attempts that were told before are there at the end. */
function lostOf(evidence: Evidence, happened: number): readonly string[] {
  const kept = new Set(evidence.events.flatMap((body) => (body.kind === 'attempt-ended' && body.verdict === 'accepted' ? [`${body.point}:${body.attempt}`] : [])));
  return evidence.seen.slice(0, happened).flatMap((one) => (one.kind === 'told' ? one.bodies : [])).flatMap((body) =>
    body.kind === 'attempt-ended' && body.verdict === 'accepted' && !kept.has(`${body.point}:${body.attempt}`) ? [`the accepted attempt ${body.attempt} of point ${body.point} was lost`] : [],
  );
}

/** Puts the fault of the row into the mode once, and looks what comes of it. */
async function tryOnce(row: Row, mode: Mode, cell: Cell, seed: number, phase: number): Promise<Trial> {
  const inHouse = row.windows !== undefined;
  const { drawn: quiet, fromS, toS } = await way(mode, seed, inHouse);
  const atS = Math.round(new Chance(seed, `${row.id} in ${mode}, ${phase}`).uniform(fromS, toS) * 1e4) / 1e4;
  const longest = Math.max(0, ...cell.outcomes.map((outcome) => outcome.endS));
  const drawn = withAll({ ...quiet, personFromS: atS + row.lastsS + longest + 12 }, [...quiet.happenings, ...quiet.windows, ...row.happenings(atS, mode), ...(row.windows?.(atS) ?? [])], inHouse);
  const { evidence, violations } = await lookAt(drawn, inHouse);
  const others = violations.flatMap(({ rule, texts }) => texts.slice(0, 1).map((text) => `${rule}: ${text}`));
  const nothing = { seed, atS, outcome: null, safeS: 0, endS: 0 };
  if (evidence === null) return { ...nothing, reached: true, problems: others };
  const happened = evidence.seen.findIndex((one) => one.kind === 'happened' && one.at >= atS - 1e-6 && one.what === row.seenAs);
  const seen = evidence.seen[happened];
  if (seen?.kind !== 'happened' || seen.mode !== mode) return { ...nothing, reached: false, problems: others };
  // A fault that is said to be impossible has no outcome.
  if (cell.outcomes.length === 0) return { ...nothing, reached: true, problems: [...others, `it happened in ${mode}`] };
  const found = new Aftermath(evidence, happened, mode, drawn.personFromS ?? 0);
  const tried = cell.outcomes.map((outcome) => ({ outcome, problems: misses(found, outcome) }));
  const best = tried.reduce((least, one) => (one.problems.length < least.problems.length ? one : least));
  return {
    seed, atS, reached: true, outcome: best.outcome, safeS: best.outcome.safeS === 'goes on' ? 0 : found.safeS(), endS: found.endS(best.outcome),
    problems: [...best.problems, ...lostOf(evidence, happened), ...others],
  };
}

// ------------------------------------------------------------------ the whole table

/** Another instant is drawn so often when the mode was over before the fault came. */
const mostPhases = 6;

export interface PairFindings {
  readonly row: Row;
  readonly mode: Mode;
  readonly trials: readonly Trial[];
  /** What is wrong with the cell itself. */
  readonly empty: string | null;
  readonly impossible: boolean;
}

export const isContradicted = ({ trials, empty, impossible }: PairFindings): boolean =>
  empty !== null || (impossible ? trials.some((trial) => trial.reached) : !trials.some((trial) => trial.reached) || trials.some((trial) => trial.problems.length > 0));

/** Every fault in every mode, `rounds` times from `seed` on. */
export async function holdToContract(seed: number, rounds: number, rows: readonly Row[] = contract, inModes: readonly Mode[] = modes): Promise<readonly PairFindings[]> {
  const all: PairFindings[] = [];
  for (const row of rows) {
    for (const mode of inModes) {
      const cell = cellOf(row, mode);
      const trials: Trial[] = [];
      if (typeof cell === 'string') {
        all.push({ row, mode, trials, empty: cell, impossible: false });
        continue;
      }
      const impossible = 'impossible' in cell;
      for (let round = 0; round < rounds; round += 1) {
        for (let phase = 0; phase < mostPhases; phase += 1) {
          const trial = await tryOnce(row, mode, impossible ? { rules: '', outcomes: [], why: '' } : cell, seed + round, phase);
          if (trial.reached || trial.problems.length > 0 || phase === mostPhases - 1) trials.push(trial);
          if (trial.reached) break;
        }
      }
      all.push({ row, mode, trials, empty: null, impossible });
    }
  }
  return all;
}
