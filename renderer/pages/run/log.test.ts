import { describe, expect, it } from 'vitest';
import type { RunEventBody } from '../../../app/journal/events.ts';
import { alarmsInOrder } from '../../../app/results/alarms.ts';
import { accepted, ended, journalOf, planOf, started } from './journal.test-helper.ts';
import { attemptKey } from '../../components/attempts.ts';
import { elapsedOf, logOf } from './log.ts';

const plan = planOf();
const begun: readonly RunEventBody[] = [{ kind: 'proving-started' }, { kind: 'measuring-started' }];
const held: RunEventBody = { kind: 'held', guard: 'rail', text: 'Rail pressure off its set point by -40.0 kPa.' };
const tripped: RunEventBody = { kind: 'tripped', guard: 'interlock', text: 'Interlock open: cover.' };

const logFor = (bodies: readonly RunEventBody[]) => logOf(journalOf(plan, bodies).events);

describe('log of a journal', () => {
  it('keeps the limits and the times of every attempt', () => {
    const log = logFor([...begun, ...accepted(0), started(1), ended(1, 'rejected'), started(1, 2)]);
    expect(log.attempts.get(attemptKey(0, 1))).toEqual({ from: 3000, to: 4000, criteria: [{ rule: 'RUN-62', passed: true, text: 'a limit' }] });
    expect(log.attempts.get(attemptKey(1, 1))?.criteria[0]?.passed).toBe(false);
    expect(log.attempts.get(attemptKey(1, 2))?.to).toBeNull();
    expect(log.latestPoint).toBe(1);
  });

  it('is the same whether the journal came at once or bit by bit', () => {
    const { events } = journalOf(plan, [...begun, ...accepted(0), held, { kind: 'resumed', automatic: true }, ...begun, tripped]);
    const growing: (typeof events)[number][] = [];
    for (const event of events) {
      growing.push(event);
      logOf(growing);
    }
    expect(logOf(growing)).toEqual(logOf(events));
  });

  it('counts time since the start, and of it the time at rest', () => {
    expect(elapsedOf(logFor([]), false, 60_000)).toBeNull();
    expect(elapsedOf(logFor(begun), false, 61_000)).toEqual({ totalMs: 60_000, restedMs: 0 });
    const paused = logFor([...begun, { kind: 'paused' }]);
    expect(elapsedOf(paused, false, 63_000)).toEqual({ totalMs: 62_000, restedMs: 60_000 });
    const resumed = logFor([...begun, { kind: 'paused' }, { kind: 'resumed', automatic: false }, { kind: 'measuring-started' }]);
    expect(elapsedOf(resumed, false, 61_000)).toEqual({ totalMs: 60_000, restedMs: 2000 });
    const over = logFor([...begun, { kind: 'ended', ending: 'complete', text: '' }]);
    expect(elapsedOf(over, true, 1e9)).toEqual({ totalMs: 2000, restedMs: 0 });
  });
});

describe('alarms', () => {
  const standing = (bodies: readonly RunEventBody[]) => logFor(bodies).alarms.filter((alarm) => alarm.endedAt === null).map((alarm) => alarm.kind);

  it('RUN-133 an injector that is out is an alarm until it comes back', () => {
    const out: RunEventBody = { kind: 'injector-out', how: 'given-up', injector: 1, points: [3, 4], cause: 'no-current', text: 'A-2 on channel 2 was given up.' };
    const [alarm] = logFor([...begun, out]).alarms;
    expect(alarm).toMatchObject({ kind: 'injector', endedAt: null, text: 'A-2 on channel 2 was given up.' });
    expect(alarm?.meaning).toContain('plug is off');
    expect(standing([...begun, out, { kind: 'injector-back', injector: 0, text: '' }])).toEqual(['injector']);
    expect(standing([...begun, out, { kind: 'injector-back', injector: 1, text: 'Asked for.' }])).toEqual([]);
  });

  it('a hold stands until the run goes on', () => {
    expect(standing([...begun, held])).toEqual(['hold']);
    const after = logFor([...begun, held, { kind: 'resumed', automatic: true }]).alarms;
    expect(after[0]?.endedAt).toBe(4000);
    expect(after[0]?.ended).toContain('by itself');
  });

  it('a trip stands until somebody acknowledges, also through a restart of the program, and stays in the list', () => {
    const restarted: RunEventBody = { kind: 'host-restarted', text: 'Started again.' };
    expect(standing([...begun, tripped, restarted])).toContain('trip');
    const after = logFor([...begun, tripped, { kind: 'acknowledged' }]).alarms;
    expect(after).toHaveLength(1);
    expect(after[0]?.ended).toBe('Acknowledged.');
  });

  it('a note stands until its own guard is clear', () => {
    const noted = (guard: string): RunEventBody => ({ kind: 'guard-noted', guard, text: 'outside' });
    expect(logFor([noted('rail'), noted('other'), { kind: 'guard-cleared', guard: 'rail', text: 'inside' }]).alarms.map((alarm) => alarm.endedAt)).toEqual([3000, null]);
  });

  it('a bench that did not confirm that it is safe stands until it does', () => {
    const unsafe: RunEventBody = { kind: 'made-safe', confirmed: false, text: 'Not confirmed.' };
    expect(standing([...begun, unsafe])).toEqual(['unsafe']);
    expect(standing([...begun, unsafe, { kind: 'made-safe', confirmed: true, text: '' }])).toEqual([]);
  });

  it('a lost link stands until the link is back', () => {
    expect(standing([...begun, { kind: 'link-lost', text: 'lost' }])).toEqual(['link']);
    expect(standing([...begun, { kind: 'link-lost', text: 'lost' }, { kind: 'link-restored', bootId: 'b', text: '' }])).toEqual([]);
  });

  it('each says what it means and what to do, the plan in its words', () => {
    const [hold] = logFor([...begun, held]).alarms;
    expect(hold?.meaning).toContain('rail pressure');
    expect(hold?.action).toContain('regulator');
    const [trip] = logFor([...begun, tripped]).alarms;
    expect(trip?.action).toContain('Close the interlock');
  });

  it('standing ones come first, the most urgent of them first; ended ones follow, newest first', () => {
    const { alarms } = logFor([
      held, { kind: 'resumed', automatic: true }, held, { kind: 'resumed', automatic: true },
      { kind: 'guard-noted', guard: 'rail', text: 'outside' }, tripped,
    ]);
    expect(alarmsInOrder(alarms).map((alarm) => `${alarm.kind} ${alarm.seq}`)).toEqual(['trip 6', 'note 5', 'hold 3', 'hold 1']);
  });
});
