/** Judges of what was seen on the line, at the pins and on the disk, held against what the run says of it. */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { Happening } from './draw.ts';
import { only, seconds, type Judge } from './judge.ts';
import type { Evidence } from './world.ts';

const resting: ReadonlySet<RunEventBody['kind']> = new Set(['paused', 'held', 'tripped', 'ended']);

/** RUN-3, RUN-32: attempts of a point are numbered from 1, one is open at a time, and none at a rest. */
function attemptsAreWhole({ events }: Evidence): string[] {
  const problems: string[] = [];
  const numbered = new Map<number, number>();
  let open: { readonly point: number; readonly attempt: number } | null = null;
  for (const body of events) {
    if (body.kind === 'attempt-started') {
      if (open !== null) problems.push(`attempt ${body.attempt} of point ${body.point} began while attempt ${open.attempt} of point ${open.point} was open`);
      const expected = (numbered.get(body.point) ?? 0) + 1;
      if (body.attempt !== expected) problems.push(`point ${body.point} was tried under the number ${body.attempt} in place of ${expected}`);
      numbered.set(body.point, body.attempt);
      open = body;
    } else if (body.kind === 'attempt-ended') {
      if (open?.point !== body.point || open.attempt !== body.attempt) problems.push(`attempt ${body.attempt} of point ${body.point} ended and was not open`);
      open = null;
    } else if (resting.has(body.kind) && open !== null) {
      problems.push(`"${body.kind}" came while attempt ${open.attempt} of point ${open.point} was open`);
    }
  }
  return problems;
}

/** LINE-11, LINE-13: a request keeps its number however often it is sent, and is done when an answer under that number was read. */
function answeredIsAnswered({ seen }: Evidence): string[] {
  return only(seen, 'carried-out').flatMap(({ at, request, reply, numbers, answered }) => [
    ...(reply !== 'no-answer' && numbers > 1 ? [`at ${seconds(at)} "${request}" had been sent under ${numbers} numbers`] : []),
    ...(reply === 'done' && !answered ? [`at ${seconds(at)} "${request}" was called done, and no answer under its number was read`] : []),
  ]);
}

function safeGoesAtOnce({ seen }: Evidence): string[] {
  return only(seen, 'safe-waits').map(({ at }) => `at ${seconds(at)} making safe had been asked for, and no such line was sent`);
}

/** RUN-25: a link that is silent is noticed; what was not said to be lost is not restored. */
function linkIsToldTruly({ seen, events }: Evidence): string[] {
  const problems = only(seen, 'unnoticed').map(({ at, forS }) => `at ${seconds(at)} nothing had been heard for ${forS.toFixed(2)} s, and the journal said that the link is up`);
  let up = false;
  for (const body of events) {
    if (body.kind === 'bench-connected') up = true;
    else if (body.kind === 'link-lost' || body.kind === 'host-restarted') up = false;
    else if (body.kind === 'link-restored') {
      if (up) problems.push(`the link was called restored (${body.bootId}) and had not been called lost`);
      up = true;
    }
  }
  return problems;
}

const troubles = (happenings: readonly Happening[]): readonly string[] => happenings.map((one) => (one.kind === 'bench' ? one.fault.fault.kind : one.kind));

/**
 * RUN-25: telemetry that is older than a second (or three intervals) makes safe. A host that is still heard after that, a
 * quarter of a second for its tick and some for its way, must have stopped the pulses.
 */
function drivenWhileSeen({ seen, drawn }: Evidence): string[] {
  const trouble = new Set(troubles(drawn.happenings));
  // With these the order to stop may not arrive, or is not followed.
  if (['lines-lost', 'lines-garbled', 'line-silent', 'controller-disobeys'].some((kind) => trouble.has(kind))) return [];
  const lateS = Math.max(0, ...drawn.happenings.map((one) => (one.kind === 'lines-late' ? one.delayMs / 1e3 : 0)));
  const limit = Math.max(1, 3 / drawn.plan.link.telemetryHz) + 0.25 + 0.1 + lateS;
  const problems: string[] = [];
  let ashoreAt = 0;
  for (const one of seen) {
    // A new host stops what the one before it had the controller drive, and has waited for nothing yet.
    if (one.kind === 'host') ashoreAt = one.at;
    if (one.kind !== 'pulse' || (one.mode !== 'measuring' && one.mode !== 'proving')) continue;
    const without = Math.min(one.fedS, one.at - one.silentS - ashoreAt);
    if (without > limit) problems.push(`at ${seconds(one.at)} channel ${one.channel} was pulsed by a host that had been without telemetry for ${without.toFixed(2)} s`);
  }
  return problems;
}

/** RUN-21: a guard is noted when its signal is outside, and cleared when it is inside by the hysteresis. Signals that are a reading. */
function guardsKeepTheirLimits({ seen, drawn }: Evidence): string[] {
  const guards = new Map(drawn.plan.guards.map((guard) => [guard.id, guard]));
  const problems: string[] = [];
  for (const { at, bodies, shown } of only(seen, 'commit')) {
    for (const body of bodies) {
      if ((body.kind !== 'guard-noted' && body.kind !== 'guard-cleared') || shown === null) continue;
      const guard = guards.get(body.guard);
      if (guard?.signal !== 'pressure-kpa' && guard?.signal !== 'current-a') continue;
      const value = guard.signal === 'pressure-kpa' ? shown.pressurePa / 1e3 : shown.currentMa / 1e3;
      const { low = Number.NEGATIVE_INFINITY, high = Number.POSITIVE_INFINITY, hysteresis } = guard;
      const fits = body.kind === 'guard-noted' ? value < low || value > high : value >= low + hysteresis && value <= high - hysteresis;
      if (!fits) problems.push(`at ${seconds(at)} "${body.kind}" was written of ${guard.id} at a reading of ${value}`);
    }
  }
  return problems;
}

/** RUN-24: a hold in which an interlock was read open does not go on by itself. */
function openCoverEndsAHold({ seen }: Evidence): string[] {
  const problems: string[] = [];
  let since: number | null = null;
  for (const one of seen) {
    if (one.kind === 'shown-open') since ??= one.at;
    else if (one.kind === 'died' || one.kind === 'host') since = null;
    else if (one.kind === 'commit' && since !== null) {
      for (const body of one.bodies) {
        if (body.kind === 'making-safe' || body.kind === 'tripped' || (body.kind === 'resumed' && !body.automatic)) since = null;
        else if (body.kind === 'resumed' && since !== null) problems.push(`at ${seconds(one.at)} the run went on by itself; an interlock had been read open in its hold at ${seconds(since)}`);
      }
    }
  }
  return problems;
}

/** RUN-42: pressure that is set by hand is waited for without a limit: the time for the rest counts from when it was last outside. */
function waitsForAHand({ seen, drawn }: Evidence): string[] {
  if (drawn.scenario.pressureCommandable) return [];
  // A second for frames that were lost, and another for their way.
  const least = drawn.plan.condition.timeoutS - 2;
  return only(seen, 'gave-up-waiting')
    .filter(({ outS }) => outS < least)
    .map(({ at, outS }) => `at ${seconds(at)} an attempt was given up ${outS.toFixed(1)} s after the pressure had been outside, and nobody can command it`);
}

/** What a frame of the archive says, in the units and the order of the line. */
const asTheLine = (f: BenchFrame): string =>
  [
    ['at-us', f.at * 1e6], ['frame', f.number], ['boot', f.bootId], ['supply-mv', f.supply * 1e3], ['current-ma', f.current * 1e3], ['pressure-pa', f.pressure],
    ['rail-mdegc', (f.railTemperature - 273.15) * 1e3], ['meter-mdegc', (f.meterTemperature - 273.15) * 1e3], ['edges', f.edges], ['edge-us', f.lastEdgeAt * 1e6],
    ['burst', f.burst.number], ['active', f.burst.active ? 1 : 0], ['commanded', f.burst.commanded], ['done', f.burst.done], ['armed', f.armed ? 1 : 0],
    ['fault', f.fault?.code ?? 'none'], ['interlocks', f.interlocks],
  ].map(([name, value]) => `${String(name)}=${typeof value === 'number' ? Math.round(value) : String(value)}`).join(' ');

/** Frames in the archive are what the line said, field by field, under a controller life that the journal names. */
function framesAreTheLine({ seen, frames }: Evidence): string[] {
  const problems = only(seen, 'segment')
    .filter(({ boot, named }) => !named.includes(boot))
    .map(({ at, boot }) => `at ${seconds(at)} frames of the controller life ${boot} were stored, which the journal did not name`);
  for (const { line, stored } of frames) {
    const said = line.replace(/^\. \d+ /, '').split(' ').slice(0, -1).join(' ');
    const there = asTheLine(stored);
    if (there !== said) problems.push(`stored: ${there}; said: ${said}`);
  }
  return problems;
}

export const lineJudges: readonly Judge[] = [
  { rule: 'STORM-30', name: 'attempts are whole', violations: attemptsAreWhole },
  { rule: 'STORM-31', name: 'answered is answered', violations: answeredIsAnswered },
  { rule: 'STORM-32', name: 'safe goes at once', violations: safeGoesAtOnce },
  { rule: 'STORM-33', name: 'link is told truly', violations: linkIsToldTruly },
  { rule: 'STORM-34', name: 'driven while seen', violations: drivenWhileSeen },
  { rule: 'STORM-35', name: 'guards keep their limits', violations: guardsKeepTheirLimits },
  { rule: 'STORM-36', name: 'open cover ends a hold', violations: openCoverEndsAHold },
  { rule: 'STORM-37', name: 'waits for a hand', violations: waitsForAHand },
  { rule: 'STORM-38', name: 'frames are the line', violations: framesAreTheLine },
];
