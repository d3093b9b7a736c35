/**
 * Everything that a controller, or the line to it, was seen to do wrong, and what the run does: the table of app/run/README.md,
 * "A controller that misbehaves". The real service, driver, link, codec and archive against the simulated controller.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { doingText } from '../../app/run/status.ts';
import { scenarioSchema, type Fault } from '../../firmware-protocol/simulator/scenario.ts';
import { runInProcess, samplePlan, scenario, withoutLeakChecks } from '../builders/in-process.ts';

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
  ['frames-flood', how({ what: 'frames-flood', hz: 2000 }), sameCause('RUN-162', /20 a second were asked for/)],
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
  ['emergency-stop', fault({ kind: 'emergency-stop' }), { to: 'tripped:controller-fault', rejected: [], words: /emergency stop/i }],
];

describe('a controller that misbehaves', () => {
  it.each(table)('%s', async (_, faults, comes) => {
    const result = await runInProcess({ plan, scenario: scenario({ seed: 7, faults: [...faults] }) });
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
    // Nothing goes on for ever: neither events nor searches.
    expect(events.filter(({ kind }) => kind.startsWith('link')).length).toBeLessThanOrEqual(4);
  });

  it('LINE-112 knows each misbehaviour of the scenario, and the README has a row for each', () => {
    const readme = readFileSync(join(import.meta.dirname, '..', '..', 'app', 'run', 'README.md'), 'utf8');
    const faults = (scenarioSchema.shape.faults.def.innerType.element.shape.fault.options as unknown as { shape: Record<string, { options?: { shape: { what: { value: string } } }[] }> }[]);
    const kinds = faults.flatMap((option) => option.shape['how']?.options ?? []).map(({ shape }) => shape.what.value);
    expect(kinds.length).toBeGreaterThan(20);
    const rows = table.map(([name]) => name);
    expect(kinds.filter((kind) => !rows.some((row) => row.startsWith(kind)))).toEqual([]);
    expect(rows.filter((row) => !readme.includes(`| \`${row}\` |`))).toEqual([]);
  });
});
