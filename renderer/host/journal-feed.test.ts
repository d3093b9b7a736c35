import { describe, expect, test } from 'vitest';
import type { RunEvent, RunEventBody } from '../../app/journal/events.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { planOf } from '../pages/run/journal.test-helper.ts';
import { JournalFeed } from './journal-feed.ts';
import type { ReadPage } from './journal-feed.ts';

const plan = planOf();
const bodies: RunEventBody[] = [
  { kind: 'opened', plan, equipment: {} as never, operator: 'o', software: 's', points: expandPlan(plan).length },
  { kind: 'proving-started' },
  { kind: 'measuring-started' },
  { kind: 'making-safe', then: { kind: 'paused' }, why: '' },
  { kind: 'made-safe', confirmed: true, text: '' },
  { kind: 'paused' },
  { kind: 'resumed', automatic: false },
  { kind: 'measuring-started' },
];
const journal: RunEvent[] = bodies.map((body, seq) => ({ seq, at: unixMillis(seq), body }));

/** A host that has the first `known` events and gives two per page. */
function feedOf(known: { upTo: number }): { readonly feed: JournalFeed; readonly reads: number[]; readonly shown: number[] } {
  const reads: number[] = [];
  const shown: number[] = [];
  const read: ReadPage = (fromSeq, limit) => {
    reads.push(fromSeq);
    const to = fromSeq + Math.min(2, limit);
    return Promise.resolve({ ok: true, value: { events: journal.slice(fromSeq, Math.min(to, known.upTo)), more: to < known.upTo } });
  };
  const feed = new JournalFeed(read, () => shown.push(feed.view.revision));
  return { feed, reads, shown };
}

describe('a journal in the window', () => {
  test('is read page by page and folded whole', async () => {
    const { feed, reads } = feedOf({ upTo: 6 });
    expect(feed.view.phase).toBe('loading');
    await feed.fill();
    expect(reads.slice(0, 2)).toEqual([0, 2]);
    expect(feed.view).toMatchObject({ phase: 'ready', revision: 6, state: { mode: 'paused', revision: 6 } });
  });

  test('WIN-90 several pages are under way at once, none is read before those before it, and short ones are filled up', async () => {
    const long = Array.from({ length: 400 }, (_, i): RunEvent => journal[i] ?? { seq: i, at: unixMillis(i), body: { kind: 'guard-noted', guard: 'leak', text: `${i}` } });
    const open: { from: number; answer: () => void }[] = [];
    let most = 0;
    const feed = new JournalFeed(
      (fromSeq, limit) =>
        new Promise((resolve) => {
          // Some pages are shorter than what was asked for.
          const to = fromSeq + Math.min(limit, fromSeq > 0 && fromSeq % 3 === 0 ? 7 : 20);
          const one = { from: fromSeq, answer: () => resolve({ ok: true, value: { events: long.slice(fromSeq, to), more: to < long.length } }) };
          open.push(one);
          most = Math.max(most, open.length);
        }),
      () => undefined,
    );
    const filled = feed.fill();
    while (feed.view.phase === 'loading') {
      // The last that was asked for is answered first.
      open.pop()?.answer();
      await new Promise((resolve) => {
        setImmediate(resolve);
      });
    }
    await filled;
    // Eight ahead, and what is missing between them.
    expect(most).toBe(9);
    expect(feed.view).toMatchObject({ phase: 'ready', revision: 400 });
    expect(feed.view.events.map(({ seq }) => seq)).toEqual(long.map(({ seq }) => seq));
  });

  test('WIN-174 is shown at each doubling while it is read, and not with each page', async () => {
    const long = Array.from({ length: 64_000 }, (_, i): RunEvent => journal[i] ?? { seq: i, at: unixMillis(i), body: { kind: 'guard-noted', guard: 'leak', text: `${i}` } });
    const shown: number[] = [];
    const feed = new JournalFeed(
      (fromSeq, limit) => Promise.resolve({ ok: true, value: { events: long.slice(fromSeq, fromSeq + Math.min(limit, 500)), more: fromSeq + Math.min(limit, 500) < long.length } }),
      () => shown.push(feed.view.revision),
    );
    await feed.fill();
    expect(feed.view).toMatchObject({ phase: 'ready', revision: 64_000 });
    // From 2000 on five doublings, and the whole.
    expect(shown).toHaveLength(6);
    expect(shown.every((revision, i) => i === 0 || i === shown.length - 1 || revision >= 2 * (shown[i - 1] ?? 0))).toBe(true);
  });

  test('goes on with what is announced; what comes twice is dropped', async () => {
    const { feed } = feedOf({ upTo: 6 });
    await feed.fill();
    feed.hear(journal.slice(4, 8));
    feed.hear(journal.slice(7, 8));
    expect(feed.view).toMatchObject({ revision: 8, state: { mode: 'measuring', revision: 8 } });
  });

  test('reads again from where a gap begins', async () => {
    const known = { upTo: 3 };
    const { feed, reads } = feedOf(known);
    await feed.fill();
    known.upTo = 8;
    const before = reads.length;
    feed.hear(journal.slice(6, 8));
    await expect.poll(() => feed.view.revision).toBe(8);
    expect(reads[before]).toBe(3);
    expect(feed.view.state?.mode).toBe('measuring');
  });

  test('HOST-170 is read condensed as well: places that are left out are no gap, and what is announced follows behind the last of them', async () => {
    const stands = [0, 1, 3, 4].map((seq) => journal[seq]).filter((event) => event !== undefined);
    const reads: (readonly [from: number, limit: number])[] = [];
    const feed = new JournalFeed(
      (from, limit) => {
        reads.push([from, limit]);
        const next = Math.min(from + Math.min(3, limit), 6);
        return Promise.resolve({ ok: true, value: { events: stands.filter(({ seq }) => seq >= from && seq < next), next, more: next < 6 } });
      },
      () => undefined,
    );
    await feed.fill();
    expect(feed.view).toMatchObject({ phase: 'ready', revision: 6, state: { revision: 6, mode: 'making-safe' } });
    expect(feed.view.events.map(({ seq }) => seq)).toEqual([0, 1, 3, 4]);
    const before = reads.length;
    feed.hear(journal.slice(5, 8));
    expect(feed.view).toMatchObject({ revision: 8, state: { revision: 8, mode: 'measuring' } });
    expect(feed.view.events.map(({ seq }) => seq)).toEqual([0, 1, 3, 4, 6, 7]);
    expect(reads).toHaveLength(before);
  });

  test('is not called ready before all of it has been read, even when events are announced meanwhile', async () => {
    const { feed } = feedOf({ upTo: 6 });
    const filled = feed.fill();
    feed.hear(journal.slice(0, 1));
    expect(feed.view.phase).toBe('loading');
    await filled;
    expect(feed.view).toMatchObject({ phase: 'ready', revision: 6 });
  });

  test('that cannot be read says why, and keeps what it had when that was something', async () => {
    let well = true;
    const feed = new JournalFeed(
      () => Promise.resolve(well ? { ok: true, value: { events: journal.slice(0, 2), more: false } } : { ok: false, failure: { code: 'gone', text: 'No host.' } }),
      () => undefined,
    );
    await feed.fill();
    well = false;
    await feed.fill();
    expect(feed.view).toMatchObject({ phase: 'ready', problem: 'No host.', revision: 2 });
    const other = new JournalFeed(() => Promise.resolve({ ok: false, failure: { code: 'no-run', text: 'No such run.' } }), () => undefined);
    await other.fill();
    expect(other.view).toMatchObject({ phase: 'failed', problem: 'No such run.', state: null });
  });
});
