/** What must hold of the whole house whatever happens. Each judge looks at the evidence of one seed and says what is wrong, or nothing. */
import type { ParsedParams } from '../../app/contract/contract.ts';
import { withHappenings } from './draw.ts';
import type { HouseEvidence, HouseSeen, RunEvidence } from './house-world.ts';
import { stuckBytes } from './house-window.ts';
import { judges as judgesOfARun } from './judges.ts';
import type { Judge } from './judge.ts';
import type { Evidence, Seen } from './world.ts';

interface HouseJudge {
  readonly rule: string;
  readonly name: string;
  readonly violations: (evidence: HouseEvidence) => readonly string[] | Promise<readonly string[]>;
}

const only = <K extends HouseSeen['kind']>(seen: readonly HouseSeen[], kind: K): Extract<HouseSeen, { kind: K }>[] =>
  seen.filter((one): one is Extract<HouseSeen, { kind: K }> => one.kind === kind);

const seconds = (at: number): string => `${at.toFixed(2)} s`;

type Requested = Extract<HouseSeen, { kind: 'requested' }>;
type Answered = Extract<HouseSeen, { kind: 'answered' }>;
interface Conversation {
  readonly asked: Requested;
  answer: Answered | null;
}

/** Requests with their answers, each answer with the oldest request of its number, and the answers that belong to none. */
function conversations({ windows }: HouseEvidence): { readonly all: readonly Conversation[]; readonly stray: readonly Answered[] } {
  const all: Conversation[] = [];
  const open = new Map<string, Conversation[]>();
  const stray: Answered[] = [];
  for (const one of windows) {
    if (one.kind === 'requested') {
      const conversation = { asked: one, answer: null };
      all.push(conversation);
      const key = `${one.socket} ${one.id}`;
      open.set(key, [...(open.get(key) ?? []), conversation]);
    } else if (one.kind === 'answered') {
      const conversation = open.get(`${one.socket} ${one.id}`)?.shift();
      if (conversation === undefined) stray.push(one);
      else conversation.answer = one;
    }
  }
  return { all, stray };
}

/** May take as long as a bench takes that does not answer, or an archive that is large. */
const slowRequests: ReadonlySet<string> = new Set(['qualification.read', 'bench.connect', 'bench.disconnect', 'run.open', 'run.continue', 'run.close', 'run.command', 'manual.supply', 'manual.pressure', 'manual.burst', 'manual.safe', 'manual.clear-faults']);
const deskRequests: ReadonlySet<string> = new Set(['run.journal', 'run.condensed', 'run.telemetry', 'runs.list', 'run.export', 'run.report', 'run.compare', 'types.spread', 'types.known', 'equipment.read-certificate', 'layouts.list', 'layouts.save', 'layouts.remove', 'drafts.list', 'drafts.keep', 'drafts.take', 'reports.list', 'report.issue', 'report.read', 'report.stamp', 'report.prove', 'export.piece', 'archive.head', 'archive.verify', 'archive.backup', 'plan.check', 'equipment.history', 'meter-checks.list', 'meter-check.try', 'meter-check.add', 'run.signals', 'run.stability', 'reference.history', 'sets.match', 'injector.life', 'visits.photo', 'run.recognise', 'search']);

/** STORM-60: an answer, once, to the request that it belongs to, and in time. */
function answeredOnce(evidence: HouseEvidence): string[] {
  const { all, stray } = conversations(evidence);
  const closed = new Map(only(evidence.windows, 'closed').map((one) => [one.socket, one.at]));
  const problems = stray.map(({ at, socket, id }) => `at ${seconds(at)} window line ${socket} was answered number ${id}, which it had not asked or which was answered already`);
  const { fair, happenings } = evidence.drawn;
  const stops = happenings.reduce((sum, one) => sum + (one.kind === 'host-stopped' ? one.forS : 0), 0);
  const slowDesk = evidence.drawn.windows.some((one) => one.kind === 'desk-slow' || one.kind === 'flooded');
  // A program that is ending takes nothing on any more, and closes its lines when the bench is safe.
  const endings = new Set(only(evidence.windows, 'ended').map((one) => one.at));
  for (const { asked, answer } of all) {
    const ending = answer === null && endings.has(closed.get(asked.socket) ?? Number.NaN);
    const limit = !fair ? 120 + stops : slowRequests.has(asked.name) || ending ? 30 : deskRequests.has(asked.name) ? (slowDesk ? 900 : 5) : 0.1;
    const until = answer?.at ?? Math.min(closed.get(asked.socket) ?? evidence.benchS, evidence.benchS);
    if (until - asked.at > limit) problems.push(`at ${seconds(asked.at)} "${asked.name}" was asked and ${answer === null ? 'not answered' : `answered after ${(until - asked.at).toFixed(2)} s`}`);
  }
  return problems;
}

/** STORM-61: who does not hold control drives nothing, and who holds it is not turned away for that. */
function controlIsAsked(evidence: HouseEvidence): string[] {
  const problems: string[] = [];
  for (const { asked, answer } of conversations(evidence).all) {
    if (!asked.valid || answer === null) continue;
    const code = 'failure' in answer.message ? answer.message.failure.code : null;
    const wants = needsControl(asked);
    if (wants && !asked.held && code !== 'not-in-control' && code !== 'busy') problems.push(`at ${seconds(asked.at)} "${asked.name}" of a window without control was not turned away`);
    if (code === 'not-in-control' && (asked.held || !wants)) problems.push(`at ${seconds(asked.at)} "${asked.name}" was turned away from the window that holds control`);
  }
  const asked = new Map<string, boolean>();
  for (const one of only(evidence.windows, 'requested')) {
    if (one.name === 'run.command' && one.valid) {
      const { commandId } = one.params as ParsedParams<'run.command'>;
      asked.set(commandId, asked.get(commandId) === true || one.held);
    }
  }
  for (const { events } of evidence.runs) {
    for (const body of events) {
      if (body.kind !== 'commanded' || body.answer !== 'accepted' || ofAnyone.has(body.command.kind)) continue;
      const held = asked.get(body.id);
      if (held === false) problems.push(`"${body.command.kind}" of ${body.by} was carried out for a window without control`);
      // The program's own pause when it is ended has a name that no window gave.
      if (held === undefined && body.command.kind !== 'pause-now') problems.push(`"${body.command.kind}" of ${body.by} was asked by no window`);
    }
  }
  return problems;
}

const uncontrolled: ReadonlySet<string> = new Set([
  'parts.withdrawn',
  'run.compare', 'types.spread', 'types.known', 'equipment.read-certificate', 'layouts.list', 'drafts.list', 'drafts.keep', 'drafts.take', 'hello', 'stop', 'control.take', 'bench.ports', 'parts.list', 'types.list', 'types.versions', 'qualification.read', 'qualifications.list', 'equipment.read', 'plans.list', 'plans.versions', 'plans.read',
  'plan.check', 'run.journal', 'run.condensed', 'run.telemetry', 'runs.list', 'run.export', 'run.report', 'details.list', 'details.save', 'reports.list', 'report.issue', 'report.read', 'report.stamp', 'report.prove', 'file.give', 'export.piece', 'archive.head', 'archive.verify', 'run.signals', 'run.stability', 'reference.history', 'sets.match', 'injector.life', 'visits.add', 'visits.photo', 'run.recognise', 'equipment.history', 'meter-checks.list', 'meter-check.try', 'on-call.read', 'search', 'bench.scenarios',
]);
/** Stated here once more, so that a request which loses its guard in the contract is noticed. */
/** HOST-70, WIN-55: the stop of a run and a note are taken from each window. */
const ofAnyone: ReadonlySet<string> = new Set(['emergency-stop', 'note']);

const needsControl = ({ name, params }: { readonly name: string; readonly params: unknown }): boolean =>
  !uncontrolled.has(name) && !(name === 'run.command' && ofAnyone.has((params as ParsedParams<'run.command'>).command.kind));

/** STORM-62: control is told as it is: at most one window holds it, none that has gone. */
function controlIsTold(evidence: HouseEvidence): string[] {
  const problems = only(evidence.windows, 'told-control')
    .filter(({ mine, holds }) => mine !== holds)
    .map(({ at, socket, mine }) => `at ${seconds(at)} window line ${socket} was told that it ${mine ? 'holds' : 'does not hold'} control`);
  for (const { at, window, mine } of only(evidence.windows, 'shows-control')) problems.push(`at ${seconds(at)} ${window} shows that it ${mine ? 'holds' : 'does not hold'} control`);
  for (const { at, socket, forS } of only(evidence.windows, 'silent')) problems.push(`at ${seconds(at)} window line ${socket} was silent for ${forS.toFixed(0)} s and counted as there`);
  for (const { asked, answer } of conversations(evidence).all) {
    if (!asked.valid || answer === null || !('result' in answer.message) || (asked.name !== 'hello' && asked.name !== 'control.take')) continue;
    const result = answer.message.result as { readonly mine?: boolean; readonly control?: { readonly mine: boolean } };
    const mine = result.control?.mine ?? result.mine;
    if (mine !== asked.held) problems.push(`at ${seconds(answer.at)} "${asked.name}" told window line ${asked.socket} that it ${mine === true ? 'holds' : 'does not hold'} control`);
  }
  return problems;
}

/** STORM-63: a stop of any window is taken, and the bench is safe in time; so it is when work by hand has lost its window. */
function stopIsTaken(evidence: HouseEvidence): string[] {
  const problems: string[] = [];
  for (const { asked, answer } of conversations(evidence).all) {
    if (asked.name !== 'stop' || !asked.valid || answer === null) continue;
    if (!('result' in answer.message) || !(answer.message.result as { accepted: boolean }).accepted) problems.push(`at ${seconds(asked.at)} a stop was not taken`);
  }
  for (const { at, after, sinceS, mv, lastPulseS } of only(evidence.windows, 'should-be-safe')) {
    if (mv > 0) problems.push(`at ${seconds(at)}, ${sinceS.toFixed(1)} s after ${after}, the supply is set to ${mv} mV`);
    if (lastPulseS < 0.5) problems.push(`at ${seconds(at)}, ${sinceS.toFixed(1)} s after ${after}, an injector was pulsed`);
  }
  return problems;
}

/** STORM-64: a window shows what the archive holds: the same events, none missing, none twice, none that is not there. */
function windowsShowTheArchive({ windows }: HouseEvidence): string[] {
  return [
    ...only(windows, 'shows-other').map(({ window, text }) => `${window} shows ${text}`),
    ...only(windows, 'lags').slice(0, 3).map(({ at, window, has, committed }) => `at ${seconds(at)} ${window} shows ${has} events of ${committed} that were committed long ago`),
    ...only(windows, 'misread').map(({ window, times }) => `${window} could not read ${times} messages of its host`),
  ];
}

/** STORM-65: what a window is told was committed before. */
function toldAfterCommit({ windows }: HouseEvidence): string[] {
  return only(windows, 'told-early').map(({ at, socket, events }) => `at ${seconds(at)} window line ${socket} was told ${events.join(', ')} before the archive held it`);
}

/** STORM-66: the bench is driven by hand only while somebody who holds control asks for it. */
function handWorkIsAskedFor({ windows }: HouseEvidence): string[] {
  return only(windows, 'by-hand').filter(({ asked }) => !asked).map(({ at, request }) => `at ${seconds(at)} "${request}" was asked of the bench, and neither a run nor a person drives it`);
}

/** STORM-77: nobody works by hand beside a run that drives the bench or may do so by itself, that waits for somebody to look, or that can note nothing any more. */
function byHandAtRest(evidence: HouseEvidence): string[] {
  return conversations(evidence).all
    .filter(({ asked, answer }) => byHand.has(asked.name) && asked.against !== null && answer !== null && 'result' in answer.message && (answer.message.result as { accepted: boolean }).accepted)
    .map(({ asked }) => `at ${seconds(asked.at)} "${asked.name}" was taken beside the open run, and ${asked.against ?? ''}`);
}

const byHand: ReadonlySet<string> = new Set(['manual.supply', 'manual.pressure', 'manual.burst']);

/** STORM-67: "safe" is said of a safe bench: by work by hand, by a disconnection and by the end of the program. */
function saidSafeIsSafe({ windows, drawn }: HouseEvidence): string[] {
  if (drawn.happenings.some((one) => one.kind === 'controller-disobeys')) return [];
  return [
    ...only(windows, 'said-safe').filter(({ mv }) => mv > 0).map(({ at, what, mv }) => `at ${seconds(at)} the bench was called ${what} with its supply set to ${mv} mV`),
    // A program without a bench says nothing of one, and a host that died just before may have left it driven.
    ...only(windows, 'ended').filter(({ accepted, reason, mv }) => accepted && mv > 0 && reason !== 'No bench is connected.').map(({ at, reason, mv }) => `at ${seconds(at)} the program ended with the words "${reason}" and the supply set to ${mv} mV`),
  ];
}

/** STORM-68: what waits for a window that does not read is bounded, and no other window waits for it (STORM-60). */
function nothingPilesUp({ mostUnsent }: HouseEvidence): string[] {
  // One message more than the limit, and one may be a large answer.
  return mostUnsent > stuckBytes + 4e6 ? [`${(mostUnsent / 1e6).toFixed(1)} MB waited for a window that does not read`] : [];
}

/** STORM-69: one command under one id has one effect and one answer. */
function oneIdOneEffect(evidence: HouseEvidence): string[] {
  const problems: string[] = [];
  for (const { events } of evidence.runs) {
    const ids = new Map<string, number>();
    for (const body of events) if (body.kind === 'commanded') ids.set(body.id, (ids.get(body.id) ?? 0) + 1);
    for (const [id, times] of ids) if (times > 1) problems.push(`command ${id} stands in the journal ${times} times`);
  }
  const answers = new Map<string, string>();
  for (const { asked, answer } of conversations(evidence).all) {
    if (asked.name !== 'run.command' || !asked.valid || answer === null || !('result' in answer.message)) continue;
    const { id, commandId } = asked.params as ParsedParams<'run.command'>;
    const { accepted } = answer.message.result as { readonly accepted: boolean };
    const key = `${id} ${commandId}`;
    const before = answers.get(key);
    // What was refused because the archive could not be written may be asked again.
    if (before === 'true' && !accepted) problems.push(`at ${seconds(answer.at)} command ${commandId} was refused, and accepted before`);
    answers.set(key, String(accepted));
  }
  return problems;
}

const threwNothing = ({ windows }: HouseEvidence): string[] => only(windows, 'defect').map(({ at, text }) => `at ${seconds(at)} ${text}`);

/** Judges of a run that hold in the whole house too: for each run, with what was seen while it was on the bench. */
const ofEachRun: ReadonlySet<string> = new Set(['STORM-12', 'STORM-13', 'STORM-14', 'STORM-15', 'STORM-17', 'STORM-18', 'STORM-26', 'STORM-27', 'STORM-29', 'STORM-79', 'STORM-80', 'STORM-82']);
/** And for the house as a whole. */
const ofTheHouse: ReadonlySet<string> = new Set(['STORM-10', 'STORM-11', 'STORM-16', 'STORM-19', 'STORM-20', 'STORM-21', 'STORM-24']);

/** What was seen of one run as that of a storm without windows; null: of the whole house. */
export function asOfARun(evidence: HouseEvidence, run: RunEvidence | null): Evidence {
  const { drawn, verification, lost, stuck, deaths, benchS } = evidence;
  const seen: readonly Seen[] = run?.seen ?? evidence.seen;
  return {
    drawn: withHappenings(drawn, drawn.happenings), seen, events: run?.events ?? [], hash: run?.hash ?? '', state: run?.state ?? null,
    verification, lost, stuck, deaths, benchS, frames: [],
  };
}

const fromARun = (judge: Judge): HouseJudge => ({
  rule: judge.rule,
  name: judge.name,
  violations: async (evidence) => {
    const problems: string[] = [];
    for (const run of ofEachRun.has(judge.rule) ? evidence.runs : [null]) problems.push(...(await judge.violations(asOfARun(evidence, run))));
    return problems;
  },
});

export const houseJudges: readonly HouseJudge[] = [
  { rule: 'STORM-25', name: 'nothing throws', violations: threwNothing },
  ...judgesOfARun.filter(({ rule }) => ofEachRun.has(rule) || ofTheHouse.has(rule)).map(fromARun),
  { rule: 'STORM-60', name: 'answered once', violations: answeredOnce },
  { rule: 'STORM-61', name: 'control is asked for', violations: controlIsAsked },
  { rule: 'STORM-62', name: 'control is told as it is', violations: controlIsTold },
  { rule: 'STORM-63', name: 'stop is taken', violations: stopIsTaken },
  { rule: 'STORM-64', name: 'windows show the archive', violations: windowsShowTheArchive },
  { rule: 'STORM-65', name: 'told after commit', violations: toldAfterCommit },
  { rule: 'STORM-66', name: 'by hand when asked', violations: handWorkIsAskedFor },
  { rule: 'STORM-77', name: 'by hand at rest', violations: byHandAtRest },
  { rule: 'STORM-67', name: 'said safe is safe', violations: saidSafeIsSafe },
  { rule: 'STORM-68', name: 'nothing piles up', violations: nothingPilesUp },
  { rule: 'STORM-69', name: 'one id, one effect', violations: oneIdOneEffect },
];


