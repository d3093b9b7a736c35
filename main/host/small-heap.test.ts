import { execFile } from 'node:child_process';
import { promisify } from 'node:util';
import { describe, expect, it } from 'vitest';
import type { RunEvent } from '../../app/journal/events.ts';
import { answerAtDesk, type DeskJob } from './desk-work.ts';

/** Bytes of room for young objects after work; after more of it, one with room having failed; with room, once and often; and then with room for work that is much longer. */
const measured = `
const { getHeapSpaceStatistics } = await import('node:v8');
const { keepDeskSmall, withRoom } = await import(${JSON.stringify(new URL('small-heap.ts', import.meta.url).href)});
keepDeskSmall();
const room = () => getHeapSpaceStatistics().find((s) => s.space_name === 'new_space').space_size;
// Much is made and half of it kept to the end, as a reduction does.
const work = (n) => { const kept = []; for (let i = 0; i < n; i += 1) { const one = { i, next: { of: [i, i + 0.5] } }; if (i % 2 === 0) kept.push(one); } return kept.length; };
const results = [work(60_000)];
const rooms = [room()];
try { withRoom(() => { throw new Error('it failed'); }); } catch (error) { results.push(error.message); }
results.push(work(600_000));
rooms.push(room());
results.push(withRoom(() => work(60_000)));
rooms.push(room());
for (let i = 0; i < 24; i += 1) results.push(withRoom(() => work(60_000)));
rooms.push(room());
results.push(withRoom(() => work(600_000)));
rooms.push(room());
console.log(JSON.stringify({ rooms, results }));
`;

describe('memory of a desk', () => {
  it('HOST-171: young objects have the little room that they begin with; work that makes much has more, and not without end', async () => {
    const { stdout } = await promisify(execFile)(process.execPath, ['--input-type=module', '--eval', measured]);
    const { rooms, results } = JSON.parse(stdout) as { readonly rooms: readonly [number, number, number, number, number]; readonly results: readonly unknown[] };
    const [first, held, grown, enough, longer] = rooms;
    // It is counted in pages.
    expect(held).toBeLessThan(1.5 * first);
    expect(grown).toBeGreaterThan(2 * first);
    expect(enough).toBeGreaterThanOrEqual(2 ** 25);
    expect(longer).toBeLessThan(1.5 * enough);
    expect(results).toEqual([30_000, 'it failed', 300_000, ...Array<number>(25).fill(30_000), 300_000]);
  });

  it('HOST-171: a decision of the schedule has it, and no page that is read', async () => {
    const asked: DeskJob['kind'][] = [];
    const answered = async (job: DeskJob): Promise<void> => {
      const archive = { run: () => null, path: 'a', *storedEvents(): Generator<RunEvent> {} };
      await answerAtDesk({ ok: true, archive: archive as never }, job, {
        owner: 1,
        withRoom: (work) => {
          asked.push(job.kind);
          return work();
        },
      });
    };
    await answered({ kind: 'journal', params: { id: 'r' } as never });
    expect(asked).toEqual([]);
    await answered({ kind: 'decide', run: 'r' });
    expect(asked).toEqual(['decide']);
  });
});
