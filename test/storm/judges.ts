/** What must hold whatever happens. Each judge looks at the evidence of one seed and says what is wrong, or nothing. */
import { expandPlan } from '../../app/plan/expand.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { Mode } from '../../app/journal/state.ts';
import { reduction } from '../builders/in-process.ts';
import { contractInTheStorm } from './contract-judge.ts';
import { draw, withHappenings } from './draw.ts';
import { only, seconds, type Judge } from './judge.ts';
import { lineJudges } from './line-judges.ts';
import { targetJudges } from './target-judges.ts';
import { World, type Evidence, type Seen } from './world.ts';

const drivingModes: ReadonlySet<Mode> = new Set(['proving', 'measuring', 'making-safe']);

/**
 * Within what the host does upon one input, nothing is committed after something was asked of the bench: else the bench
 * was told what the archive did not hold yet. Making safe is the exception that the service states.
 */
function commitBeforeTell({ seen }: Evidence): string[] {
  const problems: string[] = [];
  let asked: Extract<Seen, { kind: 'asked' }> | null = null;
  for (const one of seen) {
    if (one.kind === 'host') asked = null;
    else if (one.kind === 'asked') asked = one.request.kind === 'make-safe' ? asked : one;
    else if (one.kind === 'commit' && asked !== null && one.input === asked.input) {
      problems.push(`at ${seconds(one.at)} "${asked.request.kind}" was asked of the bench before ${one.bodies.map((body) => body.kind).join(', ')} was committed`);
    }
  }
  return problems;
}

/** What energises is asked of the bench in a mode that says so. */
function askedInItsMode({ seen }: Evidence): string[] {
  const energising = new Set(['arm', 'burst', 'set-supply']);
  return only(seen, 'asked')
    .filter(({ request, mode }) => energising.has(request.kind) && mode !== 'proving' && mode !== 'measuring')
    .map(({ at, request, mode }) => `at ${seconds(at)} "${request.kind}" was asked of the bench while the journal said ${mode ?? 'nothing'}`);
}

function announcedIsKept({ lost }: Evidence): readonly string[] {
  return lost.map((what) => `what had been told was lost: ${what}`);
}

/** No more accepted attempts of a point than there were reasons for: the plan, and each wish or choice of a person. */
function neverTwice({ events }: Evidence): string[] {
  const accepted = new Map<number, number>();
  const wishes = new Map<number, number>();
  const add = (to: Map<number, number>, point: number): unknown => to.set(point, (to.get(point) ?? 0) + 1);
  const names = new Set<string>();
  const problems: string[] = [];
  for (const body of events) {
    if (body.kind === 'attempt-ended') {
      const name = `${body.point}:${body.attempt}`;
      if (names.has(name)) problems.push(`attempt ${body.attempt} of point ${body.point} ended twice`);
      names.add(name);
      if (body.verdict === 'accepted') add(accepted, body.point);
    }
    if (body.kind !== 'commanded' || body.answer !== 'accepted') continue;
    if (body.command.kind === 'measure-again') for (const point of new Set(body.command.points)) add(wishes, point);
    if (body.command.kind === 'choose') add(wishes, body.command.point);
  }
  for (const [point, times] of accepted) {
    if (times > 1 + (wishes.get(point) ?? 0)) problems.push(`point ${point} was accepted ${times} times`);
  }
  return problems;
}

/** Injectors are pulsed only while the journal says that they are, or that the bench is being made safe, or could not be confirmed safe. */
function energisedInItsMode({ seen }: Evidence): string[] {
  const problems: string[] = [];
  let confirmed = true;
  for (const one of seen) {
    if (one.kind === 'commit') {
      for (const body of one.bodies) if (body.kind === 'made-safe') confirmed = body.confirmed;
    }
    if (one.kind === 'pulse' && confirmed && (one.mode === null || !drivingModes.has(one.mode))) {
      problems.push(`at ${seconds(one.at)} channel ${one.channel} was pulsed while the journal said ${one.mode ?? 'nothing'}`);
    }
  }
  return problems;
}

/**
 * While a point is measured, its channel is pulsed with its width at its period and nothing else is, at its supply and (where
 * the bench can set it) its pressure. A blind point is pulsed with what was sealed of it; a secret that died with its host keeps to the plan's bound.
 */
function pulsedAsThePointSays({ seen, drawn, state, events }: Evidence): string[] {
  // A controller that drives otherwise than it says is not to be caught by a host (LINE-90).
  const drivesOtherwise = new Set(['channel-mixed', 'width-not-kept']);
  if (drawn.happenings.some((one) => one.kind === 'bench' && one.fault.fault.kind === 'controller-misbehaves' && drivesOtherwise.has(one.fault.fault.how.what))) return [];
  const points = state?.setPoints ?? expandPlan(drawn.plan);
  const tickUs = 0.5;
  // Pins are seen in true time, and a controller times by its own quartz.
  const clockError = 1e-4;
  // Such a controller switches its supply off under pulses that go on.
  const disobeys = drawn.happenings.some((one) => one.kind === 'controller-disobeys');
  // Nor does one that drives another channel or width, until it is asked what it drives.
  const another = drawn.scenario.faults.some(({ fault }) => fault.kind === 'controller-misbehaves' && (fault.how.what === 'channel-mixed' || fault.how.what === 'width-not-kept'));
  const shifts = events.flatMap((body) => (body.kind === 'blind-unsealed' ? body.shifts : []));
  const sealed = events.filter((body) => body.kind === 'blind-sealed');
  const mostUs = (state?.plan ?? drawn.plan).blind.mostUs;
  const problems: string[] = [];
  let before: Extract<Seen, { kind: 'pulse' }> | null = null;
  for (const one of only(seen, 'pulse')) {
    const previous = before;
    before = one;
    if (one.mode !== 'measuring' || one.step !== 'measure' || one.point === null) continue;
    const point = points[one.point];
    if (point === undefined) continue;
    const asked = { widthUs: point.width * 1e6, periodUs: point.period * 1e6, supplyMv: point.voltage * 1e3, pressurePa: point.pressure };
    const expect = (fits: boolean, what: () => string): void => {
      if (!fits) problems.push(`at ${seconds(one.at)} point ${point.index}, channel ${point.channel}: ${what()}`);
    };
    expect(another || one.channel === point.channel, () => `channel ${one.channel} was pulsed`);
    const timed = tickUs / 2 + 1e-6 + clockError * asked.widthUs;
    const told = shifts.filter((s) => s.point === point.index);
    const ofPoint = sealed.filter((s) => s.point === point.index);
    const off = one.widthUs - asked.widthUs;
    const asSealed = ofPoint.length > 0 && (told.some(({ shift }) => Math.abs(off - shift * 1e6) <= timed) || (told.length < ofPoint.length && Math.abs(off) <= mostUs + timed));
    expect(another || (ofPoint.length === 0 ? Math.abs(off) <= timed : asSealed), () => `pulsed for ${one.widthUs} us in place of ${asked.widthUs.toFixed(1)} us`);
    expect(disobeys || Math.abs(one.supplyMv - asked.supplyMv) <= 0.5, () => `the supply is set to ${one.supplyMv} mV in place of ${asked.supplyMv.toFixed(0)} mV`);
    expect(!drawn.scenario.pressureCommandable || Math.abs(one.pressurePa - asked.pressurePa) <= 0.5, () => `the pressure is set to ${one.pressurePa} Pa in place of ${asked.pressurePa.toFixed(0)} Pa`);
    if (previous?.step !== 'measure' || previous.point !== one.point) continue;
    const gapUs = one.startUs - previous.startUs;
    expect(gapUs > 10 * asked.periodUs || Math.abs(gapUs - asked.periodUs) <= 1 + clockError * asked.periodUs, () => `a period of ${gapUs.toFixed(1)} us in place of ${asked.periodUs.toFixed(1)} us`);
  }
  return problems;
}

/** From the last byte of a host to the last pulse and to a supply at its safe value: the dead-man's time, and 0.1 s for the controller. */
function safeAfterSilence({ seen, drawn }: Evidence): string[] {
  const limit = Math.max(1, drawn.plan.link.deadManMs / 1e3) + 0.1;
  return [
    ...only(seen, 'pulse').filter((one) => one.silentS > limit).map((one) => `at ${seconds(one.at)} channel ${one.channel} was pulsed, ${one.silentS.toFixed(2)} s after the host was last heard`),
    ...only(seen, 'silence').filter((one) => one.mv > 0).map((one) => `at ${seconds(one.at)}, after ${one.forS.toFixed(2)} s of silence, the supply was still set to ${one.mv} mV`),
  ];
}

/** Three requests of 12 s, a silence of the dead-man's time and a margin, and what a standstill of the host takes of it. */
function safeInTime({ seen, drawn }: Evidence): string[] {
  const stops = drawn.happenings.reduce((sum, one) => sum + (one.kind === 'host-stopped' ? one.forS : 0), 0);
  const limit = 3 * 13 + 2 * Math.max(1, drawn.plan.link.deadManMs / 1e3) + 5 + stops;
  const problems: string[] = [];
  let since: number | null = null;
  for (const one of seen) {
    if (one.kind === 'died' || one.kind === 'host') since = null;
    if (one.kind !== 'commit') continue;
    if (since !== null && one.at - since > limit) problems.push(`making safe from ${seconds(since)} took ${(one.at - since).toFixed(1)} s`);
    since = one.mode === 'making-safe' ? (since ?? one.at) : null;
  }
  return problems;
}

/** When the journal says that the bench was confirmed safe, the bench was heard just now, and the supply is set to its safe value and reads so. */
function confirmedIsTrue({ seen }: Evidence): string[] {
  const problems: string[] = [];
  for (const { at, mv, set, heardS } of only(seen, 'confirmed')) {
    if (set > 0 || (mv !== null && mv > 600)) problems.push(`at ${seconds(at)} the bench was called safe with the supply set to ${set} mV and at ${mv?.toFixed(0) ?? 'unknown'} mV`);
    if (heardS > 2) problems.push(`at ${seconds(at)} the bench was called safe, ${heardS.toFixed(1)} s after it was last heard`);
  }
  for (const { at, text, set } of only(seen, 'failed')) {
    if (set > 0 && text.includes('was made safe')) problems.push(`at ${seconds(at)} the run was given up with the words "${text}" and the supply set to ${set} mV`);
  }
  return problems;
}

/** RUN-201, HOST-75, ARC-65: the program never finds itself wrong. */
function foundItselfRight({ seen, events }: Evidence): string[] {
  const wrong = (text: string): boolean => text.includes('fault of its own');
  return [
    ...only(seen, 'failed').filter(({ text }) => wrong(text)).map(({ at, text }) => `at ${seconds(at)} the run was given up: ${text}`),
    ...only(seen, 'not-opened').filter(({ text }) => wrong(text)).map(({ at, text }) => `at ${seconds(at)} the run could not be opened: ${text}`),
    ...events.flatMap((body) => (body.kind === 'link-lost' && wrong(body.text) ? [`the bench was let go of: ${body.text}`] : [])),
  ];
}

/** RUN-12, RUN-14: the dead-man of this very start of the controller was proved before anything is measured. */
function provedBeforeMeasured({ events }: Evidence): string[] {
  let boot = '';
  let proved: string | null = null;
  const problems: string[] = [];
  for (const body of events) {
    if (body.kind === 'bench-connected' || body.kind === 'link-restored') boot = body.bootId;
    if (body.kind === 'dead-man-proved') proved = boot;
    if (body.kind === 'measuring-started' && proved !== boot) problems.push(`measuring started under boot id ${boot}, and the dead-man was proved under ${proved ?? 'none'}`);
  }
  return problems;
}

/**
 * RUN-80, RUN-82: a trip stays until it is acknowledged or the run ends, an end until points are measured again, and after
 * a new host has taken over nothing is driven until a person says so.
 */
function latchesHold({ events }: Evidence): string[] {
  const driving = new Set<RunEventBody['kind']>(['held', 'resumed', 'proving-started', 'measuring-started']);
  const latches = { tripped: ['acknowledge'], ended: ['measure-again', 'measure-remaining'], 'host-restarted': ['start', 'resume'] } as const;
  const problems: string[] = [];
  const latched = new Set<keyof typeof latches>();
  for (const body of events) {
    if (body.kind === 'commanded') {
      if (body.answer !== 'accepted') continue;
      for (const latch of latched) if ((latches[latch] as readonly string[]).includes(body.command.kind)) latched.delete(latch);
    } else if (body.kind === 'tripped' || body.kind === 'ended' || body.kind === 'host-restarted') {
      latched.add(body.kind);
      // From an end a run is opened again by nothing but a person.
      if (body.kind === 'ended') for (const latch of ['tripped', 'host-restarted'] as const) latched.delete(latch);
    } else {
      for (const latch of latched) {
        if (driving.has(body.kind) || (body.kind === 'paused' && latch !== 'host-restarted')) problems.push(`"${body.kind}" came after "${latch}" without a person`);
      }
    }
  }
  return problems;
}

/** RUN-7: what a person was told of a command stands in the journal. */
function answersAreKept({ seen, events }: Evidence): string[] {
  const written = new Map(events.flatMap((body) => (body.kind === 'commanded' ? [[body.id, body.answer === 'accepted'] as const] : [])));
  return only(seen, 'answered')
    .filter(({ id, accepted }) => accepted && written.get(id) !== true)
    .map(({ at, command }) => `at ${seconds(at)} "${command.kind}" was called accepted, and the journal does not say so`);
}

function archiveIsWhole({ verification }: Evidence): string[] {
  return verification.checks.filter((check) => !check.passed).map((check) => `${check.name}: ${check.text}`);
}

/** Committed means on the disk: SQLite's own promise holds only with this setting (2: FULL). */
function commitsAreDurable({ seen }: Evidence): string[] {
  return only(seen, 'host').filter((one) => one.synchronous !== 2).map((one) => `host ${one.host} wrote with synchronous = ${one.synchronous}`);
}

function oneWriter({ seen }: Evidence): string[] {
  return only(seen, 'second-writer').filter((one) => one.code !== 'busy').map((one) => `at ${seconds(one.at)} a second writer was answered "${one.code}"`);
}

function comesToItsEnd({ stuck }: Evidence): string[] {
  return stuck === null ? [] : [stuck];
}

/** What is told is what was committed, in that order; RUN-1: the state of a host is the fold over it. */
function toldAfterCommit({ seen }: Evidence): string[] {
  const problems: string[] = [];
  let last: readonly RunEventBody[] = [];
  for (const one of seen) {
    if (one.kind === 'state-differs') problems.push(`at ${seconds(one.at)} the state of the host was ${one.host}, and that of the journal ${one.committed}`);
    if (one.kind === 'commit') last = one.bodies;
    if (one.kind === 'told' && JSON.stringify(one.bodies) !== JSON.stringify(last)) {
      problems.push(`at ${seconds(one.at)} ${one.bodies.map((body) => body.kind).join(', ')} was told, and ${last.map((body) => body.kind).join(', ')} was committed last`);
    }
  }
  return problems;
}

/**
 * What may remain between two measurements of one point without noise: the coil's temperature and the window's edges. A
 * point of another period than those around it begins with a coil as warm as they left it.
 */
const sameMass = 2e-4;
const sameMassOfPair = 1e-3;

let calm: Promise<ReadonlyMap<number, number>> | null = null;

function masses({ state }: Evidence): ReadonlyMap<number, number> {
  if (state === null) return new Map();
  return new Map(reduction(state).windows.flatMap((one) => (one.outcome.kind === 'mass' ? [[one.point, one.outcome.mass] as const] : [])));
}

/** Where nothing touches the physics, every accepted mass is that of a run which nobody disturbed, and every point has one. */
async function massesAsUndisturbed(evidence: Evidence): Promise<string[]> {
  if (evidence.drawn.sea !== 'still' || evidence.stuck !== null) return [];
  calm ??= new World(withHappenings(draw(evidence.drawn.seed, 'still'), [])).run().then((undisturbed) => {
    const all = masses(undisturbed);
    return undisturbed.state?.ending === 'complete' ? all : new Map([[-1, 0], ...all]);
  });
  const expected = await calm;
  if (expected.has(-1)) return ['the run that nobody disturbs does not end complete'];
  const points = expandPlan(evidence.drawn.plan);
  const found = masses(evidence);
  const problems: string[] = [];
  for (const [point, mass] of expected) {
    const there = found.get(point);
    // Another host draws other secrets.
    if (points[point]?.role === 'blind') continue;
    if (there === undefined) {
      if (evidence.state?.ending === 'complete') problems.push(`point ${point} has no mass in a complete run`);
    } else if (Math.abs(there / mass - 1) > (points[point]?.role === 'pair' ? sameMassOfPair : sameMass)) {
      problems.push(`point ${point} has ${(there * 1e6).toFixed(5)} mg in place of ${(mass * 1e6).toFixed(5)} mg`);
    }
  }
  return problems;
}

export const judges: readonly Judge[] = [
  { rule: 'STORM-10', name: 'commit before tell', violations: commitBeforeTell },
  { rule: 'STORM-11', name: 'announced is kept', violations: announcedIsKept },
  { rule: 'STORM-12', name: 'never twice', violations: neverTwice },
  { rule: 'STORM-13', name: 'asked in its mode', violations: askedInItsMode },
  { rule: 'STORM-14', name: 'energised in its mode', violations: energisedInItsMode },
  { rule: 'STORM-15', name: 'pulsed as the point says', violations: pulsedAsThePointSays },
  { rule: 'STORM-16', name: 'safe after silence', violations: safeAfterSilence },
  { rule: 'STORM-17', name: 'safe in time', violations: safeInTime },
  { rule: 'STORM-18', name: 'confirmed is true', violations: confirmedIsTrue },
  { rule: 'STORM-19', name: 'archive is whole', violations: archiveIsWhole },
  { rule: 'STORM-20', name: 'commits are durable', violations: commitsAreDurable },
  { rule: 'STORM-21', name: 'one writer', violations: oneWriter },
  { rule: 'STORM-22', name: 'told after commit', violations: toldAfterCommit },
  { rule: 'STORM-23', name: 'masses as undisturbed', violations: massesAsUndisturbed },
  { rule: 'STORM-25', name: 'finds itself right', violations: foundItselfRight },
  { rule: 'STORM-26', name: 'proved before measured', violations: provedBeforeMeasured },
  { rule: 'STORM-27', name: 'latches hold', violations: latchesHold },
  { rule: 'STORM-29', name: 'answers are kept', violations: answersAreKept },
  ...lineJudges,
  ...targetJudges,
  { rule: 'STORM-56', name: 'contract in the storm', violations: contractInTheStorm },
  { rule: 'STORM-24', name: 'comes to its end', violations: comesToItsEnd },
];
