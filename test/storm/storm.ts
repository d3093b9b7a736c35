/**
 * Runs seeds through the world and its judges, makes the list of happenings of a seed that fails as short as it can be, and
 * prints what a person needs to see it again: seed, commit, judge, and that list.
 */
import { spawnSync } from 'node:child_process';
import { isPairOfTheContract, pairsOfTheContract } from './contract-judge.ts';
import { draw, withHappenings, type Drawn, type Sea } from './draw.ts';
import { judges } from './judges.ts';
import type { Sighted, StormOf } from './storm-of.ts';
import { ProgramThrew, World, type Evidence } from './world.ts';

const stormOfARun: StormOf<Drawn, Evidence> = {
  draw,
  happenings: (drawn) => drawn.happenings,
  withHappenings: (drawn, list) => withHappenings(drawn, list as Drawn['happenings']),
  run: (drawn) => new World(drawn).run(),
  judges,
  events: (evidence) => evidence.events,
};
/** Where nothing is said, the storm is that of a run, and so are the types. */
const unlessSaid = <D extends Drawn, E extends Sighted>(): StormOf<D, E> => stormOfARun as unknown as StormOf<D, E>;

export interface Violation {
  readonly rule: string;
  readonly judge: string;
  readonly texts: readonly string[];
}

/** `evidence` null: the program threw. */
export async function judged<D extends Drawn = Drawn, E extends Sighted = Evidence>(
  drawn: D, of: StormOf<D, E> = unlessSaid(),
): Promise<{ readonly evidence: E | null; readonly violations: readonly Violation[] }> {
  let evidence: E;
  try {
    evidence = await of.run(drawn);
  } catch (error) {
    if (!(error instanceof ProgramThrew)) throw error;
    return { evidence: null, violations: [{ rule: 'STORM-25', judge: 'nothing throws', texts: [error.message] }] };
  }
  const violations: Violation[] = [];
  for (const { rule, name, violations: look } of of.judges) {
    const texts = await look(evidence);
    if (texts.length > 0) violations.push({ rule, judge: name, texts });
  }
  return { evidence, violations };
}

/** Does this list still show it? A program that throws shows something else. */
async function shows<D extends Drawn, E extends Sighted>(drawn: D, judge: string, of: StormOf<D, E>): Promise<boolean> {
  return (await judged(drawn, of)).violations.some((one) => one.judge === judge);
}

/** Leaves out halves, quarters, and at last single happenings, for as long as the same judge still finds something. */
export async function shortest<D extends Drawn = Drawn, E extends Sighted = Evidence>(drawn: D, judge: string, mostRuns = 60, of: StormOf<D, E> = unlessSaid()): Promise<D> {
  let list = of.happenings(drawn);
  let runs = 0;
  for (let size = Math.ceil(list.length / 2); size >= 1; size = size === 1 ? 0 : Math.ceil(size / 2)) {
    for (let from = 0; from < list.length && runs < mostRuns; ) {
      const without = list.filter((_, i) => i < from || i >= from + size);
      runs += 1;
      if (await shows(of.withHappenings(drawn, without), judge, of)) list = without;
      else from += size;
    }
  }
  return of.withHappenings(drawn, list);
}

export interface StormFindings<D extends Drawn = Drawn> {
  seeds: number;
  hosts: number;
  deaths: number;
  accepted: number;
  benchS: number;
  cpuS: number;
  /** What happened, in which mode of the run, and how often. */
  readonly reached: Map<string, number>;
  readonly failures: { readonly seed: number; readonly drawn: D; readonly violations: readonly Violation[] }[];
}

const cpuSeconds = (): number => {
  const { user, system } = process.cpuUsage();
  return (user + system) / 1e6;
};

/** Seeds `from` to `from + count - 1`; stops after `mostFailures`, or when `goOn` says so. */
export async function storm<D extends Drawn = Drawn, E extends Sighted = Evidence>(
  from: number, count: number, options: { readonly sea?: Sea; readonly mostFailures?: number; readonly goOn?: () => boolean } = {}, of: StormOf<D, E> = unlessSaid(),
): Promise<StormFindings<D>> {
  const found: StormFindings<D> = { seeds: 0, hosts: 0, deaths: 0, accepted: 0, benchS: 0, cpuS: 0, reached: new Map(), failures: [] };
  const before = cpuSeconds();
  for (let seed = from; seed < from + count && options.goOn?.() !== false; seed += 1) {
    const drawn = of.draw(seed, options.sea);
    const { evidence, violations } = await judged(drawn, of);
    found.seeds += 1;
    found.deaths += evidence?.deaths ?? 0;
    found.benchS += evidence?.benchS ?? 0;
    if (evidence !== null) found.accepted += of.events(evidence).filter((body) => body.kind === 'attempt-ended' && body.verdict === 'accepted').length;
    for (const one of evidence?.seen ?? []) {
      if (one.kind === 'host') found.hosts += 1;
      if (one.kind !== 'happened') continue;
      const pair = `${one.what} | ${one.mode}`;
      found.reached.set(pair, (found.reached.get(pair) ?? 0) + 1);
    }
    if (violations.length === 0) continue;
    found.failures.push({ seed, drawn, violations });
    if (found.failures.length >= (options.mostFailures ?? 5)) break;
  }
  found.cpuS = cpuSeconds() - before;
  return found;
}

export function commitOfTheTree(): string {
  const told = spawnSync('git', ['rev-parse', '--short=12', 'HEAD'], { cwd: import.meta.dirname, encoding: 'utf8' });
  return told.status === 0 ? told.stdout.trim() : 'not known';
}

export const figures = (found: StormFindings): string =>
  `${found.seeds} seeds, ${found.hosts} hosts, ${found.deaths} deaths, ${found.accepted} accepted attempts, ${(found.benchS / 3600).toFixed(2)} bench hours in ${found.cpuS.toFixed(0)} s of CPU (${(found.benchS / found.cpuS).toFixed(0)} bench hours a CPU hour)`;

/** Pairs of a fault and a mode of the fault contract that were reached. */
export const pairsReached = ({ reached }: StormFindings): string => {
  const pairs = [...reached.keys()].map((pair) => pair.split(' | ')).filter(([what = '', mode]) => mode !== 'no host' && isPairOfTheContract(what));
  return `${pairs.length} of ${pairsOfTheContract} pairs of the fault contract reached`;
};

export function story<D extends Drawn = Drawn, E extends Sighted = Evidence>(drawn: D, violations: readonly Violation[], of: StormOf<D, E> = unlessSaid()): string {
  const happenings = of.happenings(drawn);
  return [
    `seed ${drawn.seed} at commit ${commitOfTheTree()}:`,
    ...violations.flatMap(({ rule, judge, texts }) => texts.slice(0, 3).map((text) => `  ${rule} ${judge}: ${text}`)),
    `  shortest list of what happened (${happenings.length}):`,
    ...happenings.map((one) => `    ${JSON.stringify(one)}`),
  ].join('\n');
}

/** `storm SEED`, `storm SEED COUNT`, `storm SEED 8h` or `20m`; then `calm` or `still` for that sea alone, and `house` for host and windows too. */
export async function showStorm(args: readonly string[]): Promise<boolean> {
  const others = args.filter((arg) => arg !== 'house');
  return others.length < args.length ? show(others, (await import('./house.ts')).stormOfTheHouse) : show(others, stormOfARun);
}

async function show<D extends Drawn, E extends Sighted>([seedText = '1', howLong = '1', sea]: readonly string[], of: StormOf<D, E>): Promise<boolean> {
  const seed = Number(seedText);
  const [, number, unit] = /^([\d.]+)([hm])$/.exec(howLong) ?? [];
  const until = number === undefined ? Number.POSITIVE_INFINITY : performance.now() + Number(number) * (unit === 'h' ? 3600e3 : 60e3);
  const found = await storm(seed, number === undefined ? Number(howLong) : Number.MAX_SAFE_INTEGER - seed, {
    goOn: () => performance.now() < until,
    ...(sea === 'calm' || sea === 'still' || sea === 'storm' ? { sea } : {}),
  }, of);
  for (const { drawn, violations } of found.failures) {
    const judge = violations[0]?.judge ?? '';
    process.stdout.write(`${story(await shortest(drawn, judge, 60, of), violations, of)}\n`);
  }
  if (found.seeds === 1) {
    const drawn = of.draw(seed, sea as Sea | undefined);
    const { evidence } = await judged(drawn, of);
    for (const one of of.happenings(drawn)) process.stdout.write(`  ${JSON.stringify(one)}\n`);
    if (evidence !== null) {
      const events = of.events(evidence);
      const ending = events.findLast((body) => body.kind === 'ended');
      process.stdout.write(`  ${drawn.sea}, ${events.length} events, ended ${ending?.ending ?? 'not'}, journal ${evidence.hash}\n`);
    }
  }
  process.stdout.write(`${figures(found)}\n${pairsReached(found)}\n${found.failures.length} seeds with violations\n`);
  return found.failures.length === 0;
}
