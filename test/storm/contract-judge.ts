/**
 * What of the fault contract holds in the free storm too, where several things happen at once and anything may be the cause of
 * anything: the table knows the pair, what is always refused is refused, and what the controller does by itself it does at once.
 */
import { cellOf, modes } from './contract.ts';
import { contract } from './contract-windows.ts';
import type { Happening } from './draw.ts';
import type { Evidence, Seen } from './world.ts';

/**
 * The controller acts within 50 ms of a change that stays (LINE-59); a reset takes 0.3 s (LINE-52). Of the supply it is seen
 * when the world goes on with it: every 0.1 s of its own clock, which runs a little off the world's, and with each frame where these come less often.
 */
const atOnceS = 0.101;
const leastS = 0.3;

type Happened = Extract<Seen, { kind: 'happened' }>;

const rowsOf = new Map<string, typeof contract>();
for (const row of contract) rowsOf.set(row.seenAs, [...(rowsOf.get(row.seenAs) ?? []), row]);

export const pairsOfTheContract = rowsOf.size * modes.length;

export const isPairOfTheContract = (what: string): boolean => rowsOf.has(what);

/** The fault of the bench that was seen, with its length; those of one kind are told apart by when they began. */
function lengthOf(evidence: Evidence, { what, at }: Happened): number {
  const lengths = evidence.drawn.happenings.flatMap((one: Happening) =>
    one.kind === 'bench' && one.fault.fault.kind === what && (one.upon !== undefined || !('atS' in one.fault.begins) || Math.abs(one.fault.begins.atS - at) < 0.05) ? [one.fault.forS ?? Number.POSITIVE_INFINITY] : [],
  );
  return Math.min(...lengths, Number.POSITIVE_INFINITY);
}

function atOnce(evidence: Evidence, happened: Happened, index: number): readonly string[] {
  const forS = happened.what === 'controller-reset' ? leastS : happened.what === 'emergency-stop' ? lengthOf(evidence, happened) : 0;
  if (forS < leastS) return [];
  const from = happened.at + atOnceS;
  const seenFrom = happened.at + Math.max(atOnceS, 1.01 / evidence.drawn.plan.link.telemetryHz);
  const to = happened.at + Math.min(forS, leastS);
  let mv = 0;
  for (const one of evidence.seen.slice(0, index)) if (one.kind === 'supply') mv = one.mv;
  for (const one of evidence.seen.slice(index)) {
    if (one.at > to) break;
    if ((one.at > seenFrom && mv > 0) || (one.at > from && one.kind === 'pulse')) return [`at ${one.at.toFixed(2)} s the bench was driven, ${(one.at - happened.at).toFixed(2)} s after "${happened.what}"`];
    if (one.kind === 'supply') mv = one.mv;
  }
  return [];
}

export function contractInTheStorm(evidence: Evidence): string[] {
  const problems: string[] = [];
  evidence.seen.forEach((one, index) => {
    if (one.kind !== 'happened' || one.mode === 'no host') return;
    const { mode, what, at } = one;
    const rows = rowsOf.get(what);
    if (rows === undefined) {
      problems.push(`the fault contract does not know "${what}"`);
      return;
    }
    const cells = rows.map((row) => cellOf(row, mode)).filter((cell) => typeof cell !== 'string');
    if (cells.length > 0 && cells.every((cell) => 'impossible' in cell)) problems.push(`at ${at.toFixed(2)} s "${what}" happened in ${mode}, which cannot be`);
    if (cells.some((cell) => 'refused' in cell && cell.refused)) {
      const answer = evidence.seen.slice(index).find((later) => later.kind === 'answered');
      if (answer?.kind === 'answered' && answer.at === at && answer.accepted) problems.push(`at ${at.toFixed(2)} s "${what}" was accepted in ${mode}`);
    }
    problems.push(...atOnce(evidence, one, index));
  });
  return problems;
}
