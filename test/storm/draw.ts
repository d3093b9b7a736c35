/**
 * What a seed stands for: which plan, which bench, and what happens to them and when. Everything is drawn before anything
 * runs, as a list of happenings, so that a list that shows a fault can be made shorter and be run again.
 */
import { parsePlan } from '../../app/plan/parse.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { RunCommand, RunEventBody } from '../../app/journal/events.ts';
import type { Request } from '../../firmware-protocol/line/messages.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { scenarioSchema, type Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';

type BenchFault = Scenario['faults'][number];

/** The n-th such event of the journal, or the n-th line to the bench with such a word, counted over all hosts of the seed. */
export type Upon = { readonly event: RunEventBody['kind']; readonly nth: number } | { readonly word: Request['word']; readonly nth: number };

/** `atS`: from `upon` on, which may never come; without it from the beginning of the seed. */
export interface Timed {
  readonly atS: number;
  readonly upon?: Upon;
}

/** At an instant, at a commit (counted over all hosts of the seed) or at a line to the bench (counted likewise), or at the next of them. */
export type Instant =
  | Timed
  | { readonly fromS: number; readonly next: 'commit'; readonly where: 'before' | 'within' | 'after' }
  | { readonly fromS: number; readonly next: 'line'; readonly where: 'before' | 'after' }
  | { readonly commit: number; readonly where: 'before' | 'within' | 'after' }
  | { readonly line: number; readonly where: 'before' | 'after' };

/** Codes as SQLite reports them. */
export type DiskError = 'SQLITE_FULL' | 'SQLITE_IOERR_WRITE' | 'SQLITE_IOERR_FSYNC';

export type Happening =
  /** The process is gone, and another takes over after `backS`. */
  | { readonly kind: 'death'; readonly at: Instant; readonly backS: number }
  /** `told`: the operating system reports it; otherwise the line is merely silent. */
  | (Timed & { readonly kind: 'cable-pulled'; readonly forS: number; readonly told: boolean })
  /** `againS` after it came, each answer comes once more; absent or 0: it does not. */
  | (Timed & { readonly kind: 'lines-late'; readonly forS: number; readonly delayMs: number; readonly againS?: number })
  /** The controller answers, and its telemetry does not come. */
  | (Timed & { readonly kind: 'telemetry-stops'; readonly forS: number })
  /** The host stands still. `clockGoesOn`: its monotonic clock does not (a stopped process); otherwise it does stand still too (a suspended machine). */
  | (Timed & { readonly kind: 'host-stopped'; readonly forS: number; readonly clockGoesOn: boolean })
  | (Timed & { readonly kind: 'clock-stepped'; readonly byS: number })
  /** The n-th commit fails at one of its statements or at its end; `forGood`: so does every later one of that process. */
  | { readonly kind: 'disk-error'; readonly commit: number | { readonly fromS: number }; readonly code: DiskError; readonly where: 'statement' | 'end'; readonly forGood: boolean }
  | (Timed & { readonly kind: 'command'; readonly command: RunCommand })
  /** Another process wants to write the same archive. */
  | (Timed & { readonly kind: 'second-writer' })
  /** Told to make safe, the controller says that it did, but its pulses go on with the supply off. Its dead-man still works. */
  | (Timed & { readonly kind: 'controller-disobeys'; readonly forS: number })
  /** The cable hangs on another bench, and then on the right one again. */
  | (Timed & { readonly kind: 'other-bench'; readonly forS: number })
  /** With `upon` it begins so long after that as its beginning says. */
  | { readonly kind: 'bench'; readonly fault: BenchFault; readonly upon?: Upon };

/** `still`: a bench without noise and nothing that touches its physics, so that the masses must come out as undisturbed. */
export type Sea = 'calm' | 'still' | 'storm';

export interface Drawn {
  readonly seed: number;
  readonly sea: Sea;
  readonly plan: Plan;
  readonly scenario: Scenario;
  readonly happenings: readonly Happening[];
  /** After this everything that happened is over, s. */
  readonly overS: number;
  /** The run is given a bench that is connected already, as by a window; otherwise it connects one, as a command does. */
  readonly takesOver: boolean;
  /** How decisions of a plan with targets are made: after so long away from the thread of the bench (null: on it), and how many of them cannot be. Absent: on it. */
  readonly deciding?: { readonly afterS: number | null; readonly failing: number };
  /** Until then nobody does anything but what stands among the happenings. Absent: from the beginning somebody wants the run to come to its end. */
  readonly personFromS?: number;
}

export class Chance {
  readonly #source: RandomSource;

  constructor(seed: number, name: string) {
    this.#source = RandomSource.named(seed, name);
  }

  uniform(low = 0, high = 1): number {
    return low + (high - low) * this.#source.uniform();
  }

  /** Uniform in the logarithm. */
  scale(low: number, high: number): number {
    return low * (high / low) ** this.#source.uniform();
  }

  /** 0 to n - 1. */
  below(n: number): number {
    return Math.floor(this.#source.uniform() * n);
  }

  strikes(probability: number): boolean {
    return this.#source.uniform() < probability;
  }

  of<T>(list: readonly T[]): T {
    const one = list[this.below(list.length)];
    if (one === undefined) throw new Error('nothing to choose from');
    return one;
  }

  nextUint32(): number {
    return Math.floor(this.#source.uniform() * 2 ** 32);
  }
}

/** Tenths of milliseconds are more than enough to tell one instant from another, and can be read. */
const rounded = (seconds: number): number => Math.round(seconds * 1e4) / 1e4;

// ------------------------------------------------------------------ faults of the bench, from the scenario's own schema

/** As much of a zod schema as is needed to draw a value that it takes. */
export interface SchemaNode {
  readonly def: {
    readonly type: string;
    readonly values?: readonly unknown[];
    readonly entries?: Readonly<Record<string, string>>;
    readonly innerType?: SchemaNode;
    readonly element?: SchemaNode;
    readonly options?: readonly SchemaNode[];
    readonly shape?: Readonly<Record<string, SchemaNode>>;
  };
  readonly minValue?: number | null;
  readonly maxValue?: number | null;
  readonly format?: string | null;
}

/** Sizes that matter on this bench. A field that is not here is drawn over what its schema allows. */
const sizes: Readonly<Record<string, readonly [number, number]>> = {
  probability: [0.02, 0.6],
  sd: [1, 20_000],
  toKpa: [0, 390],
  riseC: [2, 40],
  amperes: [1, 8],
  channel: [1, 2],
  mlPerMin: [0.05, 20],
  maxV: [4, 13],
};

export function drawValue(schema: SchemaNode, field: string, chance: Chance): unknown {
  const { def } = schema;
  switch (def.type) {
    case 'literal':
      return chance.of(def.values ?? []);
    case 'enum':
      return chance.of(Object.values(def.entries ?? {}));
    case 'boolean':
      return chance.strikes(0.5);
    case 'string':
      return 'storm';
    case 'nullable':
      return def.innerType !== undefined && chance.strikes(0.5) ? drawValue(def.innerType, field, chance) : null;
    case 'optional':
      return def.innerType !== undefined && chance.strikes(0.5) ? drawValue(def.innerType, field, chance) : undefined;
    case 'default':
    case 'prefault':
      return def.innerType === undefined ? undefined : drawValue(def.innerType, field, chance);
    case 'union':
      return drawValue(chance.of(def.options ?? []), field, chance);
    case 'array':
      return def.element === undefined ? [] : [drawValue(def.element, field, chance)];
    case 'object':
      return Object.fromEntries(
        Object.entries(def.shape ?? {})
          .map(([name, inner]) => [name, drawValue(inner, name, chance)] as const)
          .filter(([, value]) => value !== undefined),
      );
    case 'number':
    case 'int': {
      const [low, high] = sizes[field] ?? boundsOf(schema);
      const value = low > 0 ? chance.scale(low, high) : chance.uniform(low, high);
      return schema.format === 'safeint' ? Math.min(Math.floor(high), Math.max(Math.ceil(low), Math.round(value))) : Number(value.toPrecision(4));
    }
    default:
      throw new Error(`a fault of the scenario has a field "${field}" of type "${def.type}", which the storm cannot draw`);
  }
}

function boundsOf({ minValue, maxValue }: SchemaNode): readonly [number, number] {
  const finite = (bound: number | null | undefined): number | null => (bound == null || Math.abs(bound) > 1e12 ? null : bound);
  const low = finite(minValue) ?? 0;
  return [low, Math.max(low, finite(maxValue) ?? Math.max(10, 10 * low))];
}

function faultSchemas(): readonly SchemaNode[] {
  const shape = (scenarioSchema as unknown as SchemaNode).def.shape ?? {};
  const fault = shape['faults']?.def.innerType?.def.element?.def.shape?.['fault'];
  const options = fault?.def.options ?? [];
  if (options.length === 0) throw new Error('the scenario schema has no kinds of faults where the storm looks for them');
  return options;
}

const kindOf = (schema: SchemaNode): string => String(schema.def.shape?.['kind']?.def.values?.[0]);

/** Every kind of fault that a scenario can have. */
export const benchFaultKinds = (): readonly string[] => faultSchemas().map(kindOf);

/** A fault of the kind, with everything else about it drawn. */
export function drawBenchFault(kind: string, chance: Chance): BenchFault['fault'] {
  const schema = faultSchemas().find((one) => kindOf(one) === kind);
  if (schema === undefined) throw new Error(`there is no fault of the kind "${kind}"`);
  return drawValue(schema, kind, chance) as BenchFault['fault'];
}

/** Faults of the line and of the controller leave the physics of the bench as they are. */
const harmlessToPhysics: ReadonlySet<string> = new Set(['lines-lost', 'lines-garbled', 'lines-repeated', 'line-silent', 'controller-reset']);

// ------------------------------------------------------------------ plan and bench

function smallPlan(change: (document: Record<string, unknown>) => Record<string, unknown>): Plan {
  const parsed = parsePlan(change(readSample('small-plan') as Record<string, unknown>));
  if (!parsed.ok) throw new Error(`the storm's plan is none: ${JSON.stringify(parsed.problems)}`);
  return parsed.plan;
}

/** Windows of so many turns of the meter that their edges matter little: masses can be compared from run to run. */
const stillPlan = (): Plan =>
  smallPlan((small) => ({
    ...small,
    axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3, 8], periodMs: [20], replicates: 1 },
    settleS: 3,
    window: { minEdges: 480, minS: 16, maxS: 60 },
  }));

/** Guards that are only written down, at limits that the bench crosses all the time. */
const notedGuards = (chance: Chance): readonly object[] => [
  { id: 'pressure-low', signal: 'pressure-kpa', low: 385, hysteresis: 5, dwellS: chance.of([0, 0.3]), level: 'note' },
  { id: 'current-high', signal: 'current-a', high: 0.2, hysteresis: 0.1, dwellS: 0.1, level: 'note' },
];

/** `replicates` of a run that nothing happens to may be many: its speed is that of a sweep, and not of opening archives. */
function drawPlan(chance: Chance, replicates: number): Plan {
  const telemetryHz = chance.of([4, 10, 20, 40]);
  return smallPlan((small) => ({
    ...small,
    // So many frames as the flow of its halves is told from.
    ...(telemetryHz < 10 ? { window: { minEdges: 96, minS: 4, maxS: 12 } } : {}),
    axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: chance.strikes(0.5) ? [3, 5.0005] : [2.5005, 4, 8], periodMs: [20], replicates: 1 + chance.below(replicates) },
    sequence: { kind: chance.of(['nested', 'alternating', 'randomised']), seed: chance.below(1000) },
    condition: { ...(small['condition'] as object), timeoutS: chance.of([5, 120]) },
    purge: { pulses: chance.of([0, 10]) },
    settleS: chance.of([0.2, 0.4, 1]),
    static: { replicates: chance.strikes(0.3) ? 1 : 0 },
    repeats: { attemptsAtOnce: 1 + chance.below(2), attemptsSecondPass: chance.below(2) },
    link: { telemetryHz, deadManMs: chance.of([400, 1000, 2500]) },
    guards: [...(small['guards'] as object[]), ...(chance.strikes(0.5) ? notedGuards(chance) : [])],
    ...(chance.strikes(0.3)
      ? { reference: { injector: 'RH4-0117', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 4 } }
      : {}),
  }));
}

/** One seed in eight, but for those that are compared with an undisturbed run: it decides by what it measured, noise and all. */
const hasTargets = (seed: number, sea: Sea): boolean => sea === 'storm' && seed % 8 === 6;

/** Nothing ends a pressure but reference points or zero points, or both; of one pressure or two. */
const fewEnds = ({ axes, static: atRest, zero, reference }: Plan, chance: Chance): object => ({
  axes: { ...axes, ...targetAxes, pressureKpa: chance.of([[400], [400, 410]]) },
  static: { ...atRest, replicates: 0 },
  ...chance.of([{ zero: { ...zero, windowS: 0 }, reference: reference ?? { injector: 'RH4-0117', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 40 } }, { reference: undefined }, {}]),
});

const targetAxes = { widthMs: [2.5, 3, 3.5, 4, 5, 6, 8, 10], replicates: 1 };

/** What else may be wanted: a map, of places that are not all measured; with it nothing may be wanted of measured cells. */
function ofTable(chance: Chance, mayHold: boolean): object {
  // A budget of hours in place of a need, and static flows: with a map and without.
  const others = { ...(chance.strikes(0.2) ? { spend: 'all-hours' } : {}), ...(mayHold && chance.strikes(0.5) ? { staticFlowPercent: rounded(chance.scale(0.2, 3)) } : {}) };
  if (!chance.strikes(0.4)) return others;
  const map = { voltageV: [10, ...chance.of([[12], [11, 13]]), 14], pressureKpa: chance.of([[400], [400, 405], [390, 410]]), deadTimeUs: rounded(chance.scale(8, 80)), ...(chance.strikes(0.3) ? { slopePercent: rounded(chance.scale(0.5, 5)) } : {}) };
  return { ...others, map, ...(chance.strikes(0.5) ? { deadTimeUs: undefined, atVoltage: [] } : {}) };
}

/** The same measured until it is known: loose targets, so that a run takes minutes, and some that are not reached. */
function withTargets(plan: Plan, chance: Chance, ends: Chance, tables: Chance): Plan {
  const { axes } = plan;
  const few = ends.strikes(0.4) ? fewEnds(plan, ends) : {};
  const table = ofTable(tables, !('static' in few));
  const parsed = parsePlan({
    ...plan,
    axes: { ...axes, ...targetAxes },
    targets: {
      deadTimeUs: rounded(chance.scale(12, 80)), atVoltage: chance.strikes(0.3) ? [{ voltageV: 10, deadTimeUs: rounded(chance.scale(3, 30)) }] : [],
      hours: rounded(chance.scale(0.08, 1)), attemptsPerCell: 8 + chance.below(8),
      ...table,
    },
    invariance: { ...plan.invariance, percent: 0 },
    pair: { ...plan.pair, windows: 0 },
    ...('staticFlowPercent' in table ? { static: { ...plan.static, replicates: 2 } } : {}),
    ...few,
  });
  if (!parsed.ok) throw new Error(`the storm's plan with targets is none: ${JSON.stringify(parsed.problems)}`);
  return parsed.plan;
}

/** A person changes what is wanted of the cells of a map. */
function aboutTheMap({ targets }: Plan, chance: Chance): readonly Happening[] {
  if (targets?.map === undefined || !chance.strikes(0.5)) return [];
  const when = { atS: rounded(chance.scale(0.0001, 20)), upon: { event: 'points-added', nth: 1 + chance.below(20) } as const };
  return [{ ...when, kind: 'command', command: { kind: 'change-target', voltageV: chance.of([null, 10, 12]), deadTimeUs: rounded(chance.scale(4, 60)), ofMap: true } }];
}

/** Deaths, links that go and commands about decisions, as the places where the search of a run is made. */
function aboutDecisions(chance: Chance): readonly Happening[] {
  const upon = (): Upon => ({ event: chance.of(['points-added', 'attempt-ended'] as const), nth: 1 + chance.below(40) });
  const what = (): Happening => {
    const when = { atS: rounded(chance.scale(0.0001, 20)), upon: upon() };
    return chance.of<() => Happening>([
      () => ({ kind: 'death', at: when, backS: rounded(chance.scale(0.01, 5)) }),
      () => ({ kind: 'death', at: when, backS: rounded(chance.scale(0.01, 5)) }),
      () => ({ kind: 'death', at: { commit: 20 + chance.below(400), where: chance.of(['before', 'within', 'after']) }, backS: rounded(chance.scale(0.01, 5)) }),
      () => ({ ...when, kind: 'cable-pulled', forS: rounded(chance.scale(0.05, 10)), told: chance.strikes(0.5) }),
      () => ({ ...when, kind: 'command', command: chance.of(commands)(chance) }),
      () => ({ ...when, kind: 'command', command: { kind: 'change-target', voltageV: chance.of([null, 10, 14]), deadTimeUs: rounded(chance.scale(4, 60)) } }),
    ])();
  };
  return Array.from({ length: chance.below(5) }, what);
}

// ------------------------------------------------------------------ happenings

const commands: readonly ((chance: Chance) => RunCommand)[] = [
  () => ({ kind: 'pause-now' }),
  () => ({ kind: 'pause-at-next-point' }),
  () => ({ kind: 'resume' }),
  () => ({ kind: 'start' }),
  () => ({ kind: 'skip-wait' }),
  (chance) => ({ kind: 'skip-point', point: chance.below(14) }),
  (chance) => ({ kind: 'measure-again', points: [chance.below(14)] }),
  () => ({ kind: 'acknowledge' }),
  (chance) => ({ kind: 'choose', point: chance.below(14), attempt: chance.of([null, 1, 2]), reason: 'storm' }),
  () => ({ kind: 'finish-early' }),
  () => ({ kind: 'abort' }),
  () => ({ kind: 'emergency-stop' }),
];
/** Those that leave no point out, choose nothing and do not end the run. */
const mildCommands = commands.slice(0, 4);

type Source = (chance: Chance, spanS: number, still: boolean) => Happening;

const instant = (chance: Chance, spanS: number): Instant => {
  switch (chance.below(4)) {
    case 0:
      return { atS: rounded(chance.uniform(0, spanS)) };
    case 1:
      return { line: 1 + chance.below(300), where: chance.of(['before', 'after']) };
    default:
      return { commit: 1 + chance.below(110), where: chance.of(['before', 'within', 'after']) };
  }
};

const sources: Readonly<Record<Happening['kind'], Source>> = {
  death: (chance, spanS) => ({ kind: 'death', at: instant(chance, spanS), backS: rounded(chance.scale(0.01, 20)) }),
  'cable-pulled': (chance, spanS) => ({
    kind: 'cable-pulled', atS: rounded(chance.uniform(0, spanS)), forS: rounded(chance.scale(0.05, 20)), told: chance.strikes(0.5),
  }),
  'lines-late': (chance, spanS) => ({
    kind: 'lines-late', atS: rounded(chance.uniform(0, spanS)), forS: rounded(chance.scale(0.5, 40)), delayMs: Math.round(chance.scale(5, 3000)),
    againS: chance.strikes(0.5) ? 0 : rounded(chance.scale(0.3, 6)),
  }),
  'telemetry-stops': (chance, spanS) => ({ kind: 'telemetry-stops', atS: rounded(chance.uniform(0, spanS)), forS: rounded(chance.scale(0.2, 10)) }),
  'host-stopped': (chance, spanS) => {
    const clockGoesOn = chance.strikes(0.5);
    // A machine is not suspended for less than a second.
    return { kind: 'host-stopped', atS: rounded(chance.uniform(0, spanS)), forS: rounded(chance.scale(clockGoesOn ? 0.1 : 1, 60)), clockGoesOn };
  },
  'clock-stepped': (chance, spanS) => ({ kind: 'clock-stepped', atS: rounded(chance.uniform(0, spanS)), byS: chance.of([-86_400, -3600, -1, 1, 3600, 86_400]) }),
  'disk-error': (chance) => ({
    kind: 'disk-error', commit: 1 + chance.below(110), code: chance.of(['SQLITE_FULL', 'SQLITE_IOERR_WRITE', 'SQLITE_IOERR_FSYNC']),
    where: chance.of(['statement', 'end']), forGood: chance.strikes(0.5),
  }),
  command: (chance, spanS, still) => ({ kind: 'command', atS: rounded(chance.uniform(0, spanS)), command: chance.of(still ? mildCommands : commands)(chance) }),
  'second-writer': (chance, spanS) => ({ kind: 'second-writer', atS: rounded(chance.uniform(0, spanS)) }),
  'controller-disobeys': (chance, spanS) => ({ kind: 'controller-disobeys', atS: rounded(chance.uniform(0, spanS)), forS: rounded(chance.scale(5, 60)) }),
  'other-bench': (chance, spanS) => ({ kind: 'other-bench', atS: rounded(chance.uniform(0, spanS)), forS: rounded(chance.scale(1, 30)) }),
  bench: (chance, spanS, still) => {
    const kinds = benchFaultKinds().filter((kind) => !still || harmlessToPhysics.has(kind));
    const fault = drawBenchFault(chance.of(kinds), chance);
    const begins = chance.strikes(0.7) ? { atS: rounded(chance.uniform(0, spanS)) } : { atBurst: 1 + chance.below(25) };
    return { kind: 'bench', fault: { begins, forS: rounded(chance.scale(0.05, 30)), fault } };
  },
};

/** How often a kind happens in a seed that has it, at most. */
const most: Readonly<Record<Happening['kind'], number>> = {
  death: 10, 'cable-pulled': 4, 'lines-late': 3, 'telemetry-stops': 2, 'host-stopped': 3, 'clock-stepped': 2, 'disk-error': 3, command: 6, 'second-writer': 1, 'controller-disobeys': 2, 'other-bench': 2, bench: 4,
};

/** When the bench faults of a list are over at the latest, or anything else of it, s. What waits for something else is over when it happens. */
function endOf(happening: Happening, spanS: number): number {
  const from = (when: Timed): number => (when.upon === undefined ? when.atS : 0);
  switch (happening.kind) {
    case 'death':
      return ('atS' in happening.at ? from(happening.at) : 'fromS' in happening.at ? happening.at.fromS : 0) + happening.backS;
    case 'cable-pulled':
    case 'lines-late':
    case 'telemetry-stops':
    case 'host-stopped':
    case 'controller-disobeys':
    case 'other-bench':
      return from(happening) + happening.forS;
    case 'clock-stepped':
    case 'command':
    case 'second-writer':
      return from(happening);
    case 'disk-error':
      return typeof happening.commit === 'number' ? 0 : happening.commit.fromS;
    case 'bench': {
      const { begins, forS } = happening.fault;
      return ('atS' in begins ? (happening.upon === undefined ? begins.atS : 0) : spanS) + (forS ?? 0);
    }
  }
}

/** Where in a run things can happen together. */
const places: readonly RunEventBody['kind'][] = [
  'bench-connected', 'proving-started', 'dead-man-proved', 'measuring-started', 'attempt-started', 'step', 'attempt-ended', 'making-safe', 'made-safe',
  'paused', 'held', 'tripped', 'acknowledged', 'resumed', 'ended', 'link-lost', 'link-restored', 'host-restarted', 'guard-noted', 'commanded',
];
const words: readonly Request['word'][] = ['hello', 'telemetry', 'arm', 'supply', 'burst', 'halt', 'safe', 'clear', 'rail'];

export const drawUpon = (chance: Chance): Upon => {
  const nth = 1 + chance.below(chance.of([1, 3, 10]));
  return chance.strikes(0.75) ? { event: chance.of(places), nth } : { word: chance.of(words), nth };
};

/** The same happening at another time. */
function moved(happening: Happening, when: Timed): Happening {
  switch (happening.kind) {
    case 'disk-error':
      return happening;
    case 'death':
      return { ...happening, at: when };
    case 'bench': {
      const { upon, atS } = when;
      return { ...happening, fault: { ...happening.fault, begins: { atS } }, ...(upon === undefined ? {} : { upon }) };
    }
    default:
      return { ...happening, ...when };
  }
}

/** Some of a list within seconds of each other, at one place of the run: what is done about the one must stand the other. */
function gathered(list: readonly Happening[], chance: Chance): readonly Happening[] {
  const upon = drawUpon(chance);
  return list.map((one) => (chance.strikes(0.5) ? moved(one, { atS: rounded(chance.scale(0.001, 5)), upon }) : one));
}

const resetAt = (when: Timed): Happening => moved({ kind: 'bench', fault: { begins: { atS: 0 }, fault: { kind: 'controller-reset' } } }, when);

/** Nobody hears the bench, and meanwhile its controller starts anew; it may have been young. */
function resetWhileAway(chance: Chance, spanS: number): readonly Happening[] {
  const at: Timed = chance.strikes(0.5) ? { atS: rounded(chance.uniform(3, spanS)) } : { atS: chance.of([0, 0, rounded(chance.scale(0.001, 3))]), upon: drawUpon(chance) };
  const forS = rounded(chance.scale(0.5, 15));
  const after = (s: number): Timed => ({ ...at, atS: rounded(at.atS + s) });
  const away = chance.of<Happening>([
    { kind: 'death', at, backS: forS },
    { ...at, kind: 'cable-pulled', forS, told: chance.strikes(0.5) },
    { ...at, kind: 'host-stopped', forS, clockGoesOn: chance.strikes(0.5) },
  ]);
  const young = at.upon === undefined && chance.strikes(0.5) ? [resetAt({ atS: rounded(Math.max(0, at.atS - chance.scale(0.3, 3))) })] : [];
  return [...young, away, resetAt(after(rounded(chance.scale(0.01, forS))))];
}

/** The controller starts anew just when a bench was connected; the host may read the answer and what comes after the start in one piece. */
function resetAtTheOpening(chance: Chance, takesOver: boolean): readonly Happening[] {
  if (chance.strikes(0.5)) return [resetAt({ atS: rounded(chance.scale(0.001, 0.3)), upon: { event: 'bench-connected', nth: 1 + chance.below(3) } })];
  // A bench that is taken over is given its settings a second time.
  const upon: Upon = { word: 'telemetry', nth: (1 + chance.below(2)) * (takesOver ? 2 : 1) };
  return [
    { kind: 'host-stopped', atS: 0, upon, forS: rounded(chance.scale(0.6, 5)), clockGoesOn: chance.strikes(0.5) },
    resetAt({ atS: rounded(chance.scale(0.005, 0.2)), upon }),
  ];
}

/** The run trips, and its host dies before anybody has acknowledged it. Warm fluid trips the run and not the controller, which would trip it again. */
function deathAfterTrip(chance: Chance, spanS: number): readonly Happening[] {
  const at = chance.uniform(3, spanS);
  const cause = chance.of<Happening>([
    { kind: 'bench', fault: { begins: { atS: rounded(at) }, forS: rounded(chance.scale(6, 9)), fault: { kind: 'over-temperature', riseC: 20 } } },
    { kind: 'bench', fault: { begins: { atS: rounded(at) }, forS: rounded(chance.scale(6, 9)), fault: { kind: 'over-temperature', riseC: 23 } } },
  ]);
  const upon: Upon = { event: 'tripped', nth: 1 + chance.below(2) };
  return [cause, { kind: 'death', at: { atS: rounded(chance.scale(0.001, 3)), upon }, backS: rounded(chance.scale(0.01, 5)) }];
}

/** A cover is lifted in a hold, and shut again before the hold is over. */
const coverInAHold = (chance: Chance, spanS: number): readonly Happening[] => [
  { kind: 'cable-pulled', atS: rounded(chance.uniform(5, spanS)), forS: rounded(chance.scale(1, 5)), told: chance.strikes(0.5) },
  {
    kind: 'bench', upon: { event: 'held', nth: 1 + chance.below(2) },
    fault: { begins: { atS: rounded(chance.scale(0.1, 8)) }, forS: rounded(chance.scale(0.3, 5)), fault: { kind: 'interlock-open', interlock: chance.of(['cover', 'ventilation']) } },
  },
];

/** Something must be waited for by hand, for longer than a bench would be given. */
const pressureIsLost = (chance: Chance, spanS: number): readonly Happening[] => [
  { kind: 'bench', fault: { begins: { atS: rounded(chance.uniform(1, spanS)) }, forS: rounded(chance.scale(5, 50)), fault: { kind: 'pressure-loss', toKpa: 200 } } },
];

/** Just as the bench is being made safe nobody hears it any more, and the host stands still. */
function silentWhileMadeSafe(chance: Chance): readonly Happening[] {
  const upon: Upon = chance.of<Upon>([{ event: 'making-safe', nth: 1 + chance.below(3) }, { word: 'safe', nth: 1 + chance.below(3) }, { word: 'rail', nth: 1 + chance.below(3) }]);
  return [
    { kind: 'lines-late', atS: 0, upon, forS: 20, delayMs: Math.round(chance.scale(50, 800)), againS: 0 },
    { kind: 'host-stopped', atS: rounded(chance.scale(0.01, 2)), upon, forS: rounded(chance.scale(3, 30)), clockGoesOn: chance.strikes(0.3) },
    { kind: 'cable-pulled', atS: rounded(chance.scale(0.2, 4)), upon, forS: rounded(chance.scale(3, 30)), told: false },
  ];
}

/** A slow line says every answer once more, when the next request of that kind may be waiting for its own. */
const answersAgain = (chance: Chance, spanS: number): readonly Happening[] => [
  { kind: 'lines-late', atS: rounded(chance.uniform(3, spanS / 2)), forS: rounded(chance.scale(20, 90)), delayMs: Math.round(chance.scale(100, 900)), againS: rounded(chance.scale(0.3, 6)) },
];

/** What hardly ever comes together by itself. */
function drawPlots(chance: Chance, spanS: number, { byHand, takesOver }: { readonly byHand: boolean; readonly takesOver: boolean }): readonly Happening[] {
  switch (chance.below(byHand ? 7 : 9)) {
    case 0:
      return resetWhileAway(chance, spanS);
    case 1:
      return deathAfterTrip(chance, spanS);
    case 2:
      return silentWhileMadeSafe(chance);
    case 3:
      return resetAtTheOpening(chance, takesOver);
    case 4:
      return coverInAHold(chance, spanS);
    case 5:
      return byHand ? pressureIsLost(chance, spanS) : answersAgain(chance, spanS);
    case 6:
      return answersAgain(chance, spanS);
    default:
      return [];
  }
}

/** Swarm: in each seed about half of the kinds can happen, each with a weight of its own, so that rare mixtures come up too. */
function drawHappenings(chance: Chance, spanS: number, still: boolean): readonly Happening[] {
  const list: Happening[] = [];
  for (const kind of Object.keys(sources) as Happening['kind'][]) {
    if (!chance.strikes(kind === 'death' ? 0.75 : 0.5)) continue;
    const times = Math.round(chance.scale(0.6, most[kind]));
    for (let i = 0; i < times; i += 1) list.push(sources[kind](chance, spanS, still));
  }
  return chance.strikes(0.4) ? gathered(list, chance) : list;
}

const seaOf = (seed: number): Sea => (seed % 5 === 0 ? 'still' : 'storm');

export function draw(seed: number, sea: Sea = seaOf(seed)): Drawn {
  const chance = new Chance(seed, 'storm');
  const still = sea === 'still';
  const drawnPlan = still ? stillPlan() : drawPlan(chance, sea === 'calm' ? 20 : 2);
  const takesOver = chance.strikes(0.5);
  const spanS = still ? 240 : chance.scale(30, 150);
  const pressureCommandable = still || chance.strikes(0.8);
  // Nobody sets a pressure by hand here, and a run would wait for that without a limit (RUN-42, PRE-62).
  const gridPlan = pressureCommandable ? drawnPlan : { ...drawnPlan, invariance: { ...drawnPlan.invariance, pressurePercent: 0 } };
  const targets = hasTargets(seed, sea) ? new Chance(seed, 'targets') : null;
  const plan = targets === null ? gridPlan : withTargets(gridPlan, targets, new Chance(seed, 'ends'), new Chance(seed, 'tables'));
  const ofTheGrid = sea === 'calm' ? [] : [...drawHappenings(chance, spanS, still), ...(still ? [] : drawPlots(chance, spanS, { byHand: !pressureCommandable, takesOver }))];
  const happenings = targets === null ? ofTheGrid : [...ofTheGrid, ...aboutDecisions(targets), ...aboutTheMap(plan, new Chance(seed, 'map changed'))];
  const deciding = targets === null ? {} : { deciding: { afterS: targets.strikes(0.3) ? null : rounded(targets.scale(0.01, targets.of([3, 90]))), failing: targets.strikes(0.3) ? 0.2 : 0 } };
  const rail = still || chance.strikes(0.5);
  return withHappenings(
    { seed, sea, plan, happenings, takesOver, ...deciding, overS: 0, scenario: scenarioSchema.parse({ scenarioVersion: 1, seed: still ? 7 : seed % 2 ** 32, noise: !still, pressureCommandable, ...(rail ? {} : { rail: { pump: false, relief: false, shutOff: false } }) }) },
    happenings,
  );
}

/** The same with another list of happenings. */
export function withHappenings(drawn: Drawn, happenings: readonly Happening[]): Drawn {
  const faults = happenings.flatMap((one) => (one.kind === 'bench' && one.upon === undefined ? [one.fault] : []));
  return {
    ...drawn,
    happenings,
    scenario: { ...drawn.scenario, faults },
    overS: happenings.reduce((latest, one) => Math.max(latest, endOf(one, 150)), 0),
  };
}
