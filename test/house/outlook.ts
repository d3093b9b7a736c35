/**
 * Does a run end when it was said that it would? `npm run show -- outlook [N] [SEED]`: eight injectors at five voltages with the sample's targets on N benches of another hand (`imperfect-bench.ts`). Before the
 * start the forecast is held against hours and U95 that were found; at a quarter, half and three quarters of the time the expected rest against the rest that it took.
 */
import { parsePlan } from '../../app/plan/parse.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { estimateRun } from '../../app/plan/estimate.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import type { CountingAttempt, LineCell } from '../../app/reduce/reduction.ts';
import { forecastOf } from '../../app/schedule/forecast.ts';
import { outlooks } from '../../app/schedule/outlook.ts';
import { decideNext } from '../../app/schedule/schedule.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { oddBench } from './imperfect-bench.ts';

/** The sample of targets, without what asks other questions than how long the search takes. */
function planOf(): Plan {
  const parsed = parsePlan({ ...(readSample('targets') as object), zero: { windowS: 0 }, pair: { windows: 0 }, look: { windowS: 0 }, invariance: { percent: 0 }, blind: { percent: 0 } });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.plan;
}

interface BenchOutlook {
  readonly seed: number;
  /** Forecast over found: hours as they are estimated of the points, and U95 of each voltage. */
  readonly hours: number;
  readonly u95: readonly number[];
  /** Of what was left at a quarter, half and three quarters: expected over taken, and whether it was within the range. */
  readonly rest: readonly { readonly ratio: number; readonly inside: boolean }[];
}

function outlooksOf(seed: number): BenchOutlook[] {
  const plan = planOf();
  let points: readonly Point[] = expandPlan(plan);
  const bench = oddBench(seed, {}, plan, { length: 900 } as unknown as readonly Point[]);
  const { equipment } = bench;
  const attempts: CountingAttempt[] = [];
  const rounds: number[] = [];
  for (;;) {
    for (const point of points.slice(attempts.length)) attempts.push({ point: point.index, attempt: 1, window: bench.windowOf(point), order: attempts.length });
    rounds.push(points.length);
    const { additions } = decideNext({ plan, equipment, points, attempts, out: new Set() });
    if (additions.length === 0) break;
    const first = points.length;
    points = [...points, ...additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: first + i }))];
  }
  const outlookOf = outlooks();
  const forecast = forecastOf(plan, equipment);
  const lines = reduceRun({ plan, equipment, points, attempts }).cells.filter((c): c is LineCell => c.kind === 'line');
  const found = (voltage: number): number => Math.max(...lines.filter((c) => c.voltage === voltage).map((c) => c.deadTime.expanded));
  const end = attempts.at(-1)?.window.to ?? 0;
  const rest = [0.25, 0.5, 0.75].map((part) => {
    const done = attempts.filter(({ window }) => window.to <= part * end);
    // What was decided so far, as far as it was measured then.
    const known = points.slice(0, rounds.find((n) => n > done.length) ?? points.length);
    const { remaining } = outlookOf({ plan, equipment, points: known, attempts: done, out: new Set(), open: known.slice(done.length).map((p) => p.index) });
    const taken = end - (done.at(-1)?.window.to ?? 0);
    return { ratio: remaining.likely / taken, inside: taken >= remaining.low && taken <= remaining.high };
  });
  return [{ seed, hours: forecast.hours / (estimateRun(plan, points, equipment).durationS / 3600), u95: forecast.cells.map((c) => (c.expanded ?? Number.NaN) / found(c.voltage)), rest }];
}

const spanText = (list: readonly number[]): string => {
  const sorted = list.toSorted((a, b) => a - b);
  const at = (q: number): string => (sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))] ?? Number.NaN).toFixed(3);
  return `median ${at(0.5)}, ${at(0)} to ${at(1)}`;
};

export async function showOutlook(args: readonly string[]): Promise<boolean> {
  const [count = '6', first = '1'] = args;
  const all = await onAllCores<BenchOutlook>(import.meta.filename, Array.from({ length: Number(count) }, (_, i) => Number(first) + i), args);
  process.stdout.write(`${count} benches from seed ${first}; expected over found\nhours: ${spanText(all.map((o) => o.hours))}\n`);
  planOf().axes.voltageV.forEach((voltage, i) => process.stdout.write(`U95 at ${voltage} V: ${spanText(all.map((o) => o.u95[i] ?? Number.NaN))}\n`));
  ['a quarter', 'half', 'three quarters'].forEach((name, i) => {
    const rests = all.flatMap((o) => o.rest[i] ?? []);
    process.stdout.write(`rest at ${name}: ${spanText(rests.map((r) => r.ratio))}, ${rests.filter((r) => r.inside).length} of ${rests.length} within the range\n`);
  });
  const rests = all.flatMap((o) => o.rest);
  return rests.filter((r) => r.inside).length >= 0.8 * rests.length;
}

answerPieces(import.meta.filename, outlooksOf);
