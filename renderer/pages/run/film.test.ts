import { describe, expect, test } from 'vitest';
import type { RunEvent, RunEventBody } from '../../../app/journal/events.ts';
import { foldRun } from '../../../app/journal/fold.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { unixMillis } from '../../../app/quantities/quantity.ts';
import { Film, thinned } from './film.ts';
import { accepted, ended, journalOf, planOf, started } from './journal.test-helper.ts';
import { logOf } from './log.ts';

const plan = planOf();
const points = 2 * 2 * 2 * 3 * 2;

/** More events than lie between two kept states: every point over and over, one of seven attempts rejected. */
function longJournal(): readonly RunEvent[] {
  const bodies: RunEventBody[] = [{ kind: 'measuring-started' }];
  for (let n = 0; n < 700; n += 1) {
    const [point, attempt] = [n % points, 1 + Math.floor(n / points)];
    bodies.push(...(n % 7 === 3 ? [started(point, attempt), ended(point, 'rejected', attempt)] : accepted(point, attempt)));
  }
  return journalOf(plan, bodies).events;
}

function stateAfter(events: readonly RunEvent[]): RunState {
  let state: RunState | null = null;
  for (const { body } of events) state = foldRun(state, body);
  if (state === null) throw new Error('no event');
  return state;
}

describe('a run as a film', () => {
  const events = longJournal();

  test('WIN-91 at any instant, in any order, state and log are those of the journal up to there', () => {
    const film = new Film(events);
    const order = [1800, 3, 499, 500, 501, 1200, 1000, 999, 0, 1799, 700];
    for (const seconds of order) {
      const until = events.slice(0, Math.min(seconds + 1, events.length));
      const shot = film.at(seconds * 1000 + 400);
      expect(shot.count).toBe(until.length);
      expect(shot.state).toEqual(stateAfter(until));
      expect(shot.log).toEqual(logOf(until));
    }
    expect(film.to).toBe((events.length - 1) * 1000);
    expect(film.at(700_100)).toBe(film.at(700_900));
  });

  test('WIN-91 what was shown before is not changed by going on', () => {
    const film = new Film(events);
    const early = film.at(20_000);
    const before = structuredClone({ points: [...early.state.points], attempts: early.log.attempts });
    film.at(1_500_000);
    expect({ points: [...early.state.points], attempts: early.log.attempts }).toEqual(before);
  });

  test('WIN-91 before its beginning a run is as it began, and events that share an instant come together', () => {
    const film = new Film(events.map((event) => ({ ...event, at: unixMillis(10_000 + Math.floor(event.seq / 3) * 1000) })));
    expect(film.at(0).count).toBe(1);
    expect(film.at(10_000).count).toBe(3);
    expect(film.at(10_999).count).toBe(3);
  });

  test('WIN-91 a clock that was set back does not turn the film round', () => {
    const film = new Film(events.map((event) => ({ ...event, at: unixMillis(event.seq < 100 ? 500_000 + event.seq * 1000 : event.seq * 1000) })));
    const counts = [...Array.from({ length: 30 }, (_, i) => film.at(500_000 + i * 40_000).count)];
    expect(counts).toEqual(counts.toSorted((a, b) => a - b));
  });

  test('WIN-91 it grows with a journal that goes on', () => {
    const growing = events.slice(0, 10);
    const film = new Film(growing);
    expect(film.to).toBe(9000);
    growing.push(...events.slice(10, 20));
    expect(film.to).toBe(19_000);
    expect(film.at(1e9).count).toBe(20);
  });

  test('WIN-91 there is a way to the attempt and to the incident before and after an instant', () => {
    const small = journalOf(plan, [{ kind: 'measuring-started' }, ...accepted(0), started(1), ended(1, 'rejected'), ...accepted(1, 2), { kind: 'ended', ending: 'complete', text: '' }]).events;
    const film = new Film(small);
    // Seconds: 0 opened, 1 measuring, 2 to 4 point 0, 5 and 6 point 1, 7 to 9 again, 10 the end.
    expect(film.attemptBeside(3000, 1)).toBe(5000);
    expect(film.attemptBeside(5000, 1)).toBe(7000);
    expect(film.attemptBeside(5000, -1)).toBe(2000);
    expect(film.attemptBeside(2000, -1)).toBeNull();
    expect(film.incidentBeside(0, 1)).toBe(6000);
    expect(film.incidentBeside(6000, 1)).toBe(10_000);
    expect(film.incidentBeside(10_000, 1)).toBeNull();
    expect(film.incidentBeside(10_000, -1)).toBe(6000);
    expect(film.incidents()).toEqual([6000, 10_000]);
  });

  test('WIN-91 as many marks are drawn as can be seen', () => {
    expect(thinned([0, 1, 2, 10, 11, 25], 5)).toEqual([0, 10, 25]);
  });
});
