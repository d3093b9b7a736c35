/** What must hold of a run that is measured until it is known (PLAN-90), whatever happens to it. */
import type { RunEventBody } from '../../app/journal/events.ts';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import { countingAttempts } from '../../app/reduce/counting.ts';
import { decideNext } from '../../app/schedule/schedule.ts';
import { seconds, type Judge } from './judge.ts';
import type { Evidence } from './world.ts';

type Added = Extract<RunEventBody, { kind: 'points-added' }> & { readonly by: { readonly rule: string } };

const isOfTheSchedule = (body: RunEventBody): body is Added => body.kind === 'points-added' && 'rule' in body.by && body.by.rule.startsWith('SCH-');

/** What the schedule wrote at once, with the journal as it was before. */
interface Written {
  readonly state: RunState;
  readonly before: readonly RunEventBody[];
  readonly added: readonly Added[];
}

function decisionsOf({ events }: Evidence): readonly Written[] {
  const found: Written[] = [];
  let state: RunState | null = null;
  events.forEach((body, i) => {
    const isNext = isOfTheSchedule(body) && !events.slice(i - 1, i).some(isOfTheSchedule);
    if (isNext && state?.plan.targets !== undefined) {
      const end = events.findIndex((other, k) => k > i && !isOfTheSchedule(other));
      found.push({ state, before: events.slice(0, i), added: events.slice(i, end < 0 ? events.length : end).filter(isOfTheSchedule) });
    }
    state = foldRun(state, body);
  });
  return found;
}

/** The plan's schedule as this judge asks it: of everything that counts. */
const decided = (state: RunState) =>
  decideNext({ plan: state.plan, equipment: state.equipment, points: state.setPoints, attempts: countingAttempts(state), out: new Set(state.out.keys()) });

/** Whole, and of the journal as it stood: nothing of it is left out, and nothing goes by what was not committed. */
function decidedByTheJournal(evidence: Evidence): string[] {
  return decisionsOf(evidence).flatMap(({ before, state, added }) => {
    const due = decided(state).additions;
    const written = added.map(({ by, why, points }) => ({ points, rule: by.rule, why }));
    return sameAdditions(written, due) ? [] : [`after event ${before.length} ${written.length} additions were written (${written[0]?.why ?? ''}), and the journal decides ${due.length} (${due[0]?.why ?? ''})`];
  });
}

/** Whatever order the fields of a point stand in. */
const sameAdditions = (a: readonly { readonly points: readonly object[]; readonly rule: string; readonly why: string }[], b: typeof a): boolean => {
  const flat = (list: typeof a): string => JSON.stringify(list.map(({ points, rule, why }) => [rule, why, points.map((p) => Object.entries(p).toSorted(([x], [y]) => x.localeCompare(y)))]));
  return flat(a) === flat(b);
};

/** Nothing is decided while something that was decided before has not been tried: a decision is made once, whoever dies. */
function decidedOnce(evidence: Evidence): string[] {
  return decisionsOf(evidence).flatMap(({ state, before }) => {
    const settled = new Set<number>();
    const tries = new Map<number, number>();
    for (const body of before) {
      if (body.kind === 'attempt-ended' && body.verdict === 'accepted') settled.add(body.point);
      if (body.kind === 'attempt-ended' && body.verdict === 'rejected') tries.set(body.point, (tries.get(body.point) ?? 0) + 1);
      if (body.kind === 'commanded' && body.answer === 'accepted' && body.command.kind === 'skip-point') settled.add(body.command.point);
      // A person has decided of it, tried or not.
      if (body.kind === 'chosen' && !('rule' in body.by)) settled.add(body.point);
    }
    for (const [point, n] of tries) if (n >= state.plan.repeats.attemptsAtOnce) settled.add(point);
    const open = state.setPoints.filter(({ index, injector, role }) => !settled.has(index) && !(role !== 'zero' && state.out.has(injector)));
    return open.length === 0 ? [] : [`after event ${before.length} more was decided while ${open.length} points had not been tried, the first of them ${open[0]?.index ?? ''}`];
  });
}

/** A person is told in words, at once, of a decision that cannot be made; the storm's own machines fail, the program does not. */
function toldWhyUndecided({ seen }: Evidence): string[] {
  return seen.flatMap((one, i) => {
    if (one.kind !== 'undecided') return [];
    if (one.text.includes('fault of its own')) return [`at ${seconds(one.at)}: ${one.text}`];
    const soon = seen.slice(i + 1).filter(({ at }) => at <= one.at + 1);
    const said = soon.some((next) => next.kind === 'commit' && next.bodies.some((body) => body.kind === 'making-safe' && body.why.includes(one.text)));
    // Something else ends the wait first: nobody waits any more, or nobody is there to be told.
    const mode = seen.slice(0, i).findLast((before) => before.kind === 'commit')?.mode;
    const isOver = seen.slice(0, i).some((before) => before.kind === 'commit' && before.at > one.askedAt && before.bodies.some((body) => body.kind === 'making-safe'));
    const otherwise = mode !== 'measuring' || isOver || soon.some((next) => next.kind === 'died' || next.kind === 'failed' || next.kind === 'happened' || (next.kind === 'commit' && next.bodies.some((body) => body.kind === 'making-safe')));
    return said || otherwise ? [] : [`at ${seconds(one.at)} nothing could be decided, and nobody was told why`];
  });
}

/** A run that ends complete by itself has nothing left that its schedule would measure. */
function endsWhenKnown({ events }: Evidence): string[] {
  let state: RunState | null = null;
  for (const body of events) {
    if (body.kind === 'opened' && body.plan.targets === undefined) return [];
    if (body.kind === 'second-pass-started' || (body.kind === 'commanded' && body.command.kind === 'finish-early' && body.answer === 'accepted')) return [];
    if (body.kind === 'making-safe' && body.then.kind === 'ended' && state !== null) {
      if (body.then.ending !== 'complete') return [];
      const due = decided(state).additions;
      return due.length === 0 ? [] : [`the run ended complete with ${due.length} additions left, the first: ${due[0]?.why ?? ''}`];
    }
    state = foldRun(state, body);
  }
  return [];
}

/** What ends a pressure is added once after what is measured there, and not with every decision about another pressure. */
function endsAPressureOnce({ events }: Evidence): string[] {
  const ended = new Set<string>();
  return events.flatMap((body, i) => {
    if (!isOfTheSchedule(body)) return [];
    const places = [...new Set(body.points.map(({ pressure }) => pressure))];
    if (body.by.rule !== 'SCH-10') {
      for (const { role, pressure } of body.points) if (role === 'measure' || role === 'static') for (const name of ended) if (name.startsWith(`${pressure} `)) ended.delete(name);
      return [];
    }
    const name = `${places.at(-1) ?? ''} ${body.why}`;
    if (ended.has(name)) return [`at event ${i} it is added once more: ${body.why}`];
    ended.add(name);
    return [];
  });
}

export const targetJudges: readonly Judge[] = [
  { rule: 'STORM-79', name: 'decided by the journal', violations: decidedByTheJournal },
  { rule: 'STORM-80', name: 'decided once', violations: decidedOnce },
  { rule: 'STORM-81', name: 'told why undecided', violations: toldWhyUndecided },
  { rule: 'STORM-82', name: 'ends when known', violations: endsWhenKnown },
  { rule: 'STORM-85', name: 'ends a pressure once', violations: endsAPressureOnce },
];
