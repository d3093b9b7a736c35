/**
 * The first look and the giving-up, on the whole simulated bench. Two proofs: faults on every channel, with what was noticed and
 * the bench time that each cost; and many good injectors with production spread, of which none is to be set aside.
 */
import type { Plan } from '../../app/plan/plan.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { drawInjector } from '../../firmware-protocol/simulator/plant/injector-type.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import type { Fault } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { runInProcess, samplePlan, scenario } from '../builders/in-process.ts';

type FaultKind = Fault['fault'];

/** What the register holds: an ohmmeter with this relative standard deviation, read to a hundredth. */
const OHMMETER = 0.003;
/** From the register's values a swap is told by a difference of 1 %; its own errors may take that much of it. */
const SWAP_SEEN = 0.01 + 4 * OHMMETER;
const MOST_LOST_S = 180;
/** The first burst after the looks of eight injectors and the proof, about in the middle of the sweep. */
const MID_RUN = 60;

/** A sweep of 8 injectors that is long enough for a fault to begin in it. `registered`: with coil resistances in the list. */
function sweep(seed: number, registered: boolean): Plan {
  const ohmmeter = RandomSource.named(seed, 'ohmmeter');
  return samplePlan('plan', (plan) => ({
    ...plan,
    reference: undefined,
    injectors: plan.injectors.map((injector) => {
      const ohm = drawInjector(seed, injector.channel).parts.resistance * (1 + OHMMETER * ohmmeter.normal());
      return registered ? { ...injector, coilResistanceOhm: Math.round(ohm * 100) / 100 } : injector;
    }),
    axes: { ...plan.axes, voltageV: [12, 14], widthMs: [3, 5, 8], replicates: 1 },
    zero: { ...plan.zero, windowS: 0 },
    pair: { windows: 0 },
    // It acts in zero points alone, and would be refused without them.
    guards: plan.guards.filter(({ signal }) => signal !== 'idle-flow-ml-min'),
  }));
}

interface Noticed {
  /** Injectors (from 0) that went out, each with how and why. */
  readonly out: readonly { readonly injector: number; readonly how: string; readonly cause: string }[];
  readonly tripped: string | null;
  /** Bench time of attempts that gave no result, and of looks at injectors that went out, s. */
  readonly lostS: number;
  readonly accepted: number;
  readonly points: number;
  readonly lookS: number;
}

async function bench(plan: Plan, seed: number, faults: Fault[]): Promise<Noticed> {
  const spans: { readonly injector: number; readonly lost: boolean; readonly look: boolean; readonly s: number }[] = [];
  let since = 0;
  const looks = 3 * plan.injectors.length;
  const { state, events } = await runInProcess({
    plan,
    scenario: scenario({ seed, faults }),
    onEvents: (all, { clock }) => {
      for (const event of all) {
        if (event.kind === 'attempt-started') since = clock.unixNow();
        if (event.kind === 'attempt-ended') {
          spans.push({ injector: event.injector ?? -1, lost: event.verdict !== 'accepted', look: event.point < looks, s: (clock.unixNow() - since) / 1e3 });
        }
      }
    },
  });
  const of = <K extends RunEventBody['kind']>(kind: K) => events.filter((event): event is Extract<RunEventBody, { kind: K }> => event.kind === kind);
  const out = of('injector-out').map(({ injector, how, cause }) => ({ injector, how, cause }));
  const gone = new Set(out.map(({ injector }) => injector));
  const sum = (list: readonly { readonly s: number }[]) => list.reduce((total, { s }) => total + s, 0);
  return {
    out,
    tripped: of('tripped')[0]?.guard ?? null,
    lostS: sum(spans.filter(({ lost, look, injector }) => lost || (look && gone.has(injector)))),
    accepted: state.counts.accepted,
    points: state.points.length,
    lookS: sum(spans.filter(({ look, lost }) => look && !lost)) / plan.injectors.length,
  };
}

/** One row of the matrix: a fault, when it begins, and what must be noticed of it on a channel. */
interface Row {
  readonly name: string;
  readonly begins: Fault['begins'];
  readonly fault: (channel: number) => FaultKind;
  /** The injectors (from 0) that go out, with how; and the guard that trips, if one has to. */
  readonly expected: (channel: number, plan: Plan) => { readonly out: readonly number[]; readonly how: string; readonly tripped?: RegExp };
}

const start = { atS: 0 } as const;
const self = (how: string) => (channel: number) => ({ out: [channel - 1], how });
const partner = (channel: number) => (channel % 8) + 1;

const rows: readonly Row[] = [
  { name: 'stuck shut', begins: start, fault: (channel) => ({ kind: 'injector-stuck-shut', channel }), expected: self('set-aside') },
  { name: 'stuck shut in mid run', begins: { atBurst: MID_RUN }, fault: (channel) => ({ kind: 'injector-stuck-shut', channel }), expected: self('given-up') },
  { name: 'open coil', begins: start, fault: (channel) => ({ kind: 'coil-resistance', channel, ohm: 1e6 }), expected: self('set-aside') },
  { name: 'open coil in mid run', begins: { atBurst: MID_RUN }, fault: (channel) => ({ kind: 'coil-resistance', channel, ohm: 1e6 }), expected: self('given-up') },
  { name: 'coil of 14 ohm', begins: start, fault: (channel) => ({ kind: 'coil-resistance', channel, ohm: 14 }), expected: self('set-aside') },
  { name: 'coil of 5 ohm', begins: start, fault: (channel) => ({ kind: 'coil-resistance', channel, ohm: 5 }), expected: self('set-aside') },
  { name: 'passes 60 %', begins: start, fault: (channel) => ({ kind: 'injector-clogged', channel, flowPercent: 60 }), expected: self('set-aside') },
  { name: 'erratic, 40 %', begins: start, fault: (channel) => ({ kind: 'injector-erratic', channel, percent: 40 }), expected: self('set-aside') },
  {
    name: 'swapped with the next',
    begins: start,
    fault: (channel) => ({ kind: 'channels-swapped', channel, with: partner(channel) }),
    expected: (channel, plan) => {
      const ohm = (of: number) => plan.injectors[of - 1]?.coilResistanceOhm ?? Number.NaN;
      const told = Math.abs(Math.log(ohm(channel) / ohm(partner(channel)))) > SWAP_SEEN;
      return { out: told ? [channel, partner(channel)].map((c) => c - 1).toSorted((a, b) => a - b) : [], how: 'set-aside' };
    },
  },
  // The controller sees flow without a burst (LINE-94) before the look has come to its end.
  { name: 'stuck open', begins: start, fault: (channel) => ({ kind: 'injector-stuck-open', channel }), expected: () => ({ out: [], how: '', tripped: /^controller-fault$/ }) },
  // On the rail, whichever injector it goes through: zero points and period pairs tell it, and nobody is set aside for it.
  { name: 'leaking 8 mL/min', begins: start, fault: (channel) => ({ kind: 'injector-leaking', channel, mlPerMin: 8 }), expected: () => ({ out: [], how: '' }) },
  { name: 'shorted driver', begins: start, fault: (channel) => ({ kind: 'driver-shorted', channel }), expected: () => ({ out: [], how: '', tripped: /^(idle-current|controller-fault)$/ }) },
];

interface Cell {
  readonly row: string;
  readonly channel: number;
  readonly held: boolean;
  /** Nothing has to be noticed here: a swap of coils that are alike, or a leak, which zero points tell. */
  readonly untold: boolean;
  readonly noticed: Noticed;
}

/** Every named fault (all, where none is named) on the channels, with registered coil resistances. */
export async function faultMatrix(seed: number, channels: readonly number[], names?: readonly string[]): Promise<readonly Cell[]> {
  const plan = sweep(seed, true);
  const cells: Cell[] = [];
  for (const { name, begins, fault, expected } of rows) {
    if (names !== undefined && !names.includes(name)) continue;
    for (const channel of channels) {
      const noticed = await bench(plan, seed, [{ begins, fault: fault(channel) }]);
      const wanted = expected(channel, plan);
      const untold = wanted.out.length === 0 && wanted.tripped === undefined;
      const out = noticed.out.map(({ injector }) => injector).toSorted((a, b) => a - b);
      // A swap of coils that are nearly alike may be told or not; nobody else may go out for it.
      const right = untold ? out.every((injector) => [channel - 1, partner(channel) - 1].includes(injector)) : out.join() === wanted.out.join() && noticed.out.every(({ how }) => how === wanted.how);
      const tripped = wanted.tripped === undefined ? noticed.tripped === null : wanted.tripped.test(noticed.tripped ?? '');
      const rest = wanted.tripped !== undefined || noticed.accepted >= noticed.points - out.length * Math.ceil(noticed.points / plan.injectors.length);
      cells.push({ row: name, channel, untold, noticed, held: right && tripped && rest && noticed.lostS < MOST_LOST_S });
    }
  }
  return cells;
}

interface GoodFindings {
  readonly injectors: number;
  readonly outs: readonly string[];
  /** Longest look at an injector, s. */
  readonly longestLookS: number;
}

/** Good injectors of `benches` benches with 8 each; every second bench has coil resistances in its list. */
export async function goodInjectors(benches: number, firstSeed: number): Promise<GoodFindings> {
  const outs: string[] = [];
  let longest = 0;
  for (let i = 0; i < benches; i += 1) {
    const seed = firstSeed + i;
    const plan = sweep(seed, i % 2 === 0);
    const { out, lookS, tripped } = await bench({ ...plan, axes: { ...plan.axes, voltageV: [14], widthMs: [5] } }, seed, []);
    longest = Math.max(longest, lookS);
    outs.push(...out.map(({ injector, how, cause }) => `seed ${seed}, injector ${injector + 1}: ${how}, ${cause}`), ...(tripped === null ? [] : [`seed ${seed}: tripped, ${tripped}`]));
  }
  return { injectors: benches * 8, outs, longestLookS: longest };
}

/** `npm run show -- look [benches of good injectors] [seed]`. */
export async function showLook(args: readonly string[]): Promise<boolean> {
  const benches = Number(args[0] ?? 130);
  const seed = Number(args[1] ?? 1001);
  const say = (text: string) => process.stdout.write(`${text}\n`);
  const channels = Array.from({ length: 8 }, (_, i) => i + 1);
  const cells = await faultMatrix(seed, channels);
  say(`Faults on channels 1 to 8, bench seed ${seed}: bench time lost, s (! not as it must be, ~ need not be told here: coils alike, or a leak, which zero points tell)`);
  for (const { name } of rows) {
    const own = cells.filter(({ row }) => row === name);
    const what = [...new Set(own.flatMap(({ noticed }) => [...noticed.out.map(({ how, cause }) => `${how} ${cause}`), ...(noticed.tripped === null ? [] : [`trip ${noticed.tripped}`])]))];
    say(`${name.padEnd(24)}${own.map(({ noticed, held, untold }) => `${noticed.lostS.toFixed(0)}${held ? '' : '!'}${untold ? '~' : ''}`.padStart(7)).join('')}   ${what.join(', ')}`);
  }
  const good = await goodInjectors(benches, seed + 1);
  say(`${good.injectors} good injectors with production spread, half of them with a register from an ohmmeter of ${(100 * OHMMETER).toFixed(1)} %: ${good.outs.length} set aside; longest look at one ${good.longestLookS.toFixed(1)} s`);
  for (const out of good.outs) say(`  ${out}`);
  return cells.every(({ held }) => held) && good.outs.length <= 1 && good.longestLookS < 60;
}
