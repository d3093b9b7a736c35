/** Sets of alike injectors out of runs of the archive, for windows: the choice of the command `match`. HOST-110 */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { candidatesOf, criterionOf, type MatchPoint, type ReducedRun } from '../../app/matching/candidates.ts';
import { matchSets, type Match } from '../../app/matching/match.ts';
import { pointText, usualPoints } from '../../app/matching/points.ts';
import { pascals, seconds, volts } from '../../app/quantities/quantity.ts';
import type { Result } from '../../app/uncertainty/budget.ts';
import type { Archive } from '../archive/archive.ts';
import { reduceState } from '../export/export-run.ts';
import { loadRun } from '../service/run-service.ts';

type Asked = ParsedParams<'sets.match'>;
type Told = AnswerTo<'sets.match'>;
type Answer = { readonly ok: true; readonly value: Told } | { readonly ok: false; readonly code: 'no-run' | 'archive'; readonly text: string };

/** In steps, so that whoever ends the desk is heard between the runs. */
export async function matchedSets(archive: Archive, { runs: ids, points: asked, without, ...wanted }: Asked, { turn, ending }: { readonly turn?: () => Promise<void>; readonly ending?: AbortSignal }): Promise<Answer> {
  const runs: ReducedRun[] = [];
  const untraceable: Told['untraceable'] = [];
  let plan: Parameters<typeof usualPoints>[0] | null = null;
  for (const id of new Set(ids)) {
    const stored = archive.run(id);
    const loaded = loadRun(archive, id);
    if (!loaded.ok || stored === null) return { ok: false, code: stored === null ? 'no-run' : 'archive', text: loaded.ok ? `There is no run ${id}.` : loaded.text };
    const { state } = loaded;
    plan ??= state.plan;
    if (state.notTraceable.length > 0) untraceable.push({ run: id, reasons: [...state.notTraceable] });
    runs.push({ id, at: stored.createdAt, equipment: state.equipment, reduction: reduceState(state), settings: state.plan.reduction });
    await turn?.();
    ending?.throwIfAborted();
  }
  if (plan === null) throw new Error('one run at least was asked for');
  const points = asked === undefined ? usualPoints(plan, runs) : asked.map(branded);
  const nothing = { ...emptyAnswer, points: points.map(toldPoint), places: placesOf(runs), untraceable };
  const joined = candidatesOf(runs, points);
  if ('kind' in joined) return { ok: true, value: { ...nothing, text: joined.text } };
  const { candidates, leftOut, cautions } = joined;
  const told = { ...nothing, cautions: [...cautions], leftOut: leftOut.map((one) => ({ ...one })), candidates: candidates.map(({ serialNumber, run, at }) => ({ serialNumber, run, at })) };
  const taken = candidates.filter(({ serialNumber }) => !without.includes(serialNumber));
  const match = matchSets(taken, points, wanted);
  return { ok: true, value: match.kind === 'no-choice' ? { ...told, text: match.text } : { ...told, ...toldMatch(match, points) } };
}

const emptyAnswer = { cautions: [], leftOut: [], candidates: [], sets: [], inNoSet: [], greatest: null, total: null, proof: 'none', text: '' } satisfies Partial<Told>;

/** MA-1: percent, or microseconds for dead times. */
const toldPoint = (point: MatchPoint): Told['points'][number] => ({ text: pointText(point), unit: criterionOf(point).scale === 'percent' ? '%' : 'µs', weight: point.weight, asked: { ...point } });

function toldMatch({ sets, left, greatest, total, proof, text }: Match, points: readonly MatchPoint[]): Pick<Told, 'sets' | 'inNoSet' | 'greatest' | 'total' | 'proof' | 'text'> {
  const figure = (of: Result | undefined): { value: number; expanded: number } => ({ value: of?.value ?? Number.NaN, expanded: of?.expanded ?? Number.NaN });
  return {
    sets: sets.map(({ members, cost, points: at }) => ({
      cost,
      members: members.map(({ serialNumber, run, at: day }, m) => ({ serialNumber, run, at: day, deviations: points.map((_, p) => figure(at[p]?.deviations[m])) })),
      means: points.map((_, p) => figure(at[p]?.mean)),
      spread: points.map((_, p) => figure(at[p]?.spread)),
    })),
    inNoSet: left.map(({ serialNumber }) => serialNumber),
    greatest, total, text,
    proof: proof.kind === 'best' ? 'best' : proof.objectiveProved ? 'objective' : 'bound',
  };
}

/** Where the first line of any of the runs was measured: what a place can be chosen from. */
function placesOf(runs: readonly ReducedRun[]): Told['places'] {
  const cells = runs.flatMap(({ reduction }) => reduction.cells);
  const rising = (values: readonly number[]): number[] => [...new Set(values)].sort((a, b) => a - b);
  return {
    voltages: rising(cells.map((c) => c.voltage)), pressures: rising(cells.map((c) => c.pressure)), periods: rising(cells.map((c) => c.period)),
    widths: rising(cells.flatMap((c) => (c.kind === 'line' ? c.widths.map((w) => w.width) : []))),
    staticPressures: rising(runs.flatMap(({ reduction }) => reduction.staticFlows.filter((f) => f.kind === 'static-flow').map((f) => f.pressure))),
  };
}

function branded(point: NonNullable<Asked['points']>[number]): MatchPoint {
  const { weight } = point;
  if (point.quantity === 'static-flow') return { quantity: 'static-flow', pressure: pascals(point.pressure), weight };
  const place = { voltage: volts(point.voltage), pressure: pascals(point.pressure), period: seconds(point.period), weight };
  return point.quantity === 'mass' ? { ...place, quantity: 'mass', width: seconds(point.width) } : { ...place, quantity: point.quantity };
}
