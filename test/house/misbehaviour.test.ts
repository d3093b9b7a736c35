/**
 * Everything that a controller, or the line to it, was seen to do wrong, and what the run does: the table of app/run/README.md,
 * "A controller that misbehaves". The real service, driver, link, codec and archive against the simulated controller.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { doingText } from '../../app/run/status.ts';
import { scenarioSchema, type Fault } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { runInProcess, samplePlan, scenario, withoutLeakChecks, type InProcessResult } from '../builders/in-process.ts';
import { TroubledLine, type Trouble } from '../builders/troubled-line.ts';

type How = Extract<Fault['fault'], { kind: 'controller-misbehaves' }>['how'];

const plan = samplePlan('small-plan', (small) => ({
  ...withoutLeakChecks(small),
  look: { ...small.look, windowS: 0 },
  byItself: { ...small.byItself, holdS: 60 },
  repeats: { attemptsAtOnce: 2, attemptsSecondPass: 0 },
}));
const POINTS = 12;
/** The 8th burst is the purge of the fourth point. */
const BEFORE = 3;

interface Comes {
  /** What the run comes to: its ending, or the guard that a person has to see to. */
  readonly to: 'complete' | `paused:${string}` | `tripped:${string}`;
  /** Causes of rejected attempts, each as often as it came. */
  readonly rejected: readonly string[];
  /** Of the last words. */
  readonly words: RegExp;
  readonly safe?: false;
}

const how = (misbehaviour: How, forS?: number): readonly Fault[] => [{ begins: { atBurst: 8 }, ...(forS === undefined ? {} : { forS }), fault: { kind: 'controller-misbehaves', how: misbehaviour } }];
const fault = (kind: Fault['fault'], forS?: number): readonly Fault[] => [{ begins: { atBurst: 8 }, ...(forS === undefined ? {} : { forS }), fault: kind }];

const complete = (...rejected: string[]): Comes => ({ to: 'complete', rejected, words: /All 12 points/ });
const sameCause = (cause: string, words: RegExp): Comes => ({ to: 'paused:same-cause', rejected: [cause, cause, cause], words });
const notHeard = (words: RegExp): Comes => ({ to: 'paused:link', rejected: [], words, safe: false });

const table: readonly (readonly [string, readonly Fault[], Comes])[] = [
  ['clock-back', how({ what: 'clock-back', s: 5 }), complete('telemetry-clock-back')],
  ['clock-ahead', how({ what: 'clock-ahead', s: 5 }), complete('telemetry-clock-ahead')],
  ['clock-stands', how({ what: 'clock-stands' }), sameCause('telemetry-clock-back', /its clock says/)],
  ['edges-back', how({ what: 'edges-back', edges: 10 }), complete('telemetry-edges-back')],
  ['edges-doubled', how({ what: 'edges-doubled' }), complete()],
  ['edge-time-back', how({ what: 'edge-time-back', s: 1 }), complete('telemetry-edge-time-back')],
  ['edge-time-ahead', how({ what: 'edge-time-ahead', s: 5 }), sameCause('telemetry-edge-time-ahead', /is said to be of/)],
  ['values-stand, pressure', how({ what: 'values-stand', sensor: 'pressure' }), sameCause('RUN-163', /rail pressure stands at/)],
  ['values-stand, rail-temperature', how({ what: 'values-stand', sensor: 'rail-temperature' }), sameCause('RUN-163', /temperature in the rail stands at/)],
  ['values-stand, meter-temperature', how({ what: 'values-stand', sensor: 'meter-temperature' }), sameCause('RUN-163', /temperature at the meter stands at/)],
  ['supply-offset', how({ what: 'supply-offset', mv: 1500 }), { to: 'paused:same-cause', rejected: ['RUN-64', 'supply-not-reached', 'supply-not-reached', 'supply-not-reached'], words: /the read-back is 11\.50/, safe: false }],
  ['frames-doubled', how({ what: 'frames-doubled' }), complete()],
  ['frames-swapped', how({ what: 'frames-swapped' }), sameCause('RUN-68', /of the telemetry frames missing/)],
  ['frames-absent', how({ what: 'frames-absent' }), notHeard(/it sends no telemetry/)],
  ['frames-unreadable', how({ what: 'frames-unreadable' }), notHeard(/lines were not understood \(form\); the last/)],
  ['frames-flood', how({ what: 'frames-flood', hz: 2000 }), sameCause('RUN-162', /telemetry frames in the window, at most \d+ allowed/)],
  ['boot-id-other', how({ what: 'boot-id-other' }), notHeard(/carries the boot id 0badb007/)],
  ['pulses-overcounted', how({ what: 'pulses-overcounted' }), { to: 'tripped:pulse-count', rejected: [], words: /counted 11 pulses where 10 were commanded/ }],
  ['pulses-undercounted', how({ what: 'pulses-undercounted', percent: 10 }), sameCause('purge-cut', /9 of 10 pulses/)],
  ['width-not-kept', how({ what: 'width-not-kept', percent: 10 }), sameCause('refused-width-not-kept', /4\.4 ms in place of 4 ms/)],
  ['channel-mixed, echoed', how({ what: 'channel-mixed', with: 3, echoed: true }), sameCause('refused-burst-not-kept', /on channel 3 in place of/)],
  ['channel-mixed', how({ what: 'channel-mixed', with: 3, echoed: false }), complete()],
  ['replies-unreadable', how({ what: 'replies-unreadable' }), notHeard(/lines were not understood \(form\); the last: "= /)],
  ['replies-late, 1 s', how({ what: 'replies-late', s: 1 }), complete()],
  ['replies-late, 10 s', how({ what: 'replies-late', s: 10 }), notHeard(/did not answer/)],
  ['serial-other', [...how({ what: 'serial-other' }), ...fault({ kind: 'controller-reset' })], notHeard(/is the bench simulated-bench SIM-ANOTHER, and not simulated-bench SIM-0007/)],
  ['lines-lost', fault({ kind: 'lines-lost', direction: 'both', probability: 0.3 }, 6), complete()],
  ['lines-repeated', fault({ kind: 'lines-repeated', direction: 'both', probability: 1 }), complete()],
  ['line-silent, 8 s', fault({ kind: 'line-silent', direction: 'both' }, 8), complete()],
  ['line-silent', fault({ kind: 'line-silent', direction: 'both' }), notHeard(/The link to the bench was lost/)],
  ['line-silent with controller-reset', [...fault({ kind: 'line-silent', direction: 'both' }, 5), ...fault({ kind: 'controller-reset' })], complete()],
  ['interlock-open', fault({ kind: 'interlock-open', interlock: 'cover' }), { to: 'tripped:controller-fault', rejected: [], words: /cover/i }],
  // The rail fills up in the first window, whose halves lie at the limit of 5 % with or without the misbehaviour.
  ['clock-ahead, 231 days from the start', [{ begins: { atS: 0 }, fault: { kind: 'controller-misbehaves', how: { what: 'clock-ahead', s: 231 * 86_400 } } }], complete('RUN-67')],
  ['emergency-stop', fault({ kind: 'emergency-stop' }), { to: 'tripped:controller-fault', rejected: [], words: /emergency stop/i }],
];

/** What the cable, its adapter and other programs do, and not the controller (LINE-113). */
const lines: readonly (readonly [string, Trouble, Comes])[] = [
  ['garbage without LF, 5 MB', { what: 'garbage', bytes: 5 << 20 }, complete()],
  ['bytes stolen, 4 s', { what: 'thief', forS: 4 }, complete('RUN-68')],
  ['second talker', { what: 'talker', times: 1, everyS: 1 }, complete()],
  ['second talker, again and again', { what: 'talker', times: 1000, everyS: 3 }, { to: 'tripped:link', rejected: [], words: /another conversation.*went on by itself 10 times/, safe: false }],
  ['port taken by another host', { what: 'taken' }, notHeard(/in use by another program/)],
  ['replies misnumbered, 6 s', { what: 'misnumbered', forS: 6 }, complete()],
  ['edge times of the frame', { what: 'lazy-edges' }, complete()],
];

const breaksTheConversation: ReadonlySet<Trouble['what']> = new Set(['talker', 'taken', 'misnumbered']);

function holds(result: InProcessResult, comes: Comes): void {
  const { state, events } = result;
  const then = state.safe?.then;
  const came = state.mode === 'ended' ? state.ending : `${state.mode}:${then?.kind === 'paused' || then?.kind === 'tripped' ? (then.guard ?? '') : ''}`;
  const rejected = events.flatMap((e) => (e.kind === 'attempt-ended' && e.verdict === 'rejected' ? [e.cause ?? ''] : []));
  const words = doingText(state, null);
  expect({ came, rejected, safe: state.safe?.confirmed }).toEqual({ came: comes.to, rejected: comes.rejected, safe: comes.safe ?? true });
  expect(state.counts.accepted).toBe(comes.to === 'complete' ? POINTS : BEFORE);
  expect(words).toMatch(comes.words);
  if (comes.safe === false) expect(words).toContain('NOT confirmed');
  // Whatever a controller says, the archive of it is whole.
  expect(result.verified).toBe(true);
}

const linkEvents = ({ events }: InProcessResult): number => events.filter(({ kind }) => kind.startsWith('link')).length;

describe('a controller that misbehaves', () => {
  it.each(table)('%s', async (_, faults, comes) => {
    const result = await runInProcess({ plan, scenario: scenario({ seed: 7, faults: [...faults] }) });
    holds(result, comes);
    // Nothing goes on for ever: neither events nor searches.
    expect(linkEvents(result)).toBeLessThanOrEqual(4);
  });

  it.each(lines)('LINE-113 %s', async (_, trouble, comes) => {
    const wires: TroubledLine[] = [];
    const result = await runInProcess({
      plan,
      scenario: scenario({ seed: 7 }),
      channel: (bench, clock) => {
        const wire = new TroubledLine(bench, clock, trouble, 8);
        wires.push(wire);
        return wire;
      },
    });
    holds(result, comes);
    expect(wires.map(({ struck }) => struck > 0)).toEqual([true]);
    expect(result.events.some(({ kind }) => kind === 'held')).toBe(breaksTheConversation.has(trouble.what));
    expect(linkEvents(result)).toBeLessThanOrEqual(trouble.what === 'talker' ? 40 : 4);
  });

  it('LINE-112 knows each misbehaviour of the scenario, and the README has a row for each', () => {
    const readme = readFileSync(join(import.meta.dirname, '..', '..', 'app', 'run', 'README.md'), 'utf8');
    const faults = (scenarioSchema.shape.faults.def.innerType.element.shape.fault.options as unknown as { shape: Record<string, { options?: { shape: { what: { value: string } } }[] }> }[]);
    const kinds = faults.flatMap((option) => option.shape['how']?.options ?? []).map(({ shape }) => shape.what.value);
    expect(kinds.length).toBeGreaterThan(20);
    const rows = [...table, ...lines].map(([name]) => name);
    expect(kinds.filter((kind) => !rows.some((row) => row.startsWith(kind)))).toEqual([]);
    expect(rows.filter((row) => !readme.includes(`| \`${row}\` |`))).toEqual([]);
  });
});
