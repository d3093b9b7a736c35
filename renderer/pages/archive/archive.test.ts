import { describe, expect, it } from 'vitest';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { boundsOf, everyRun, localMidnight, pageRequest } from './query.ts';
import { RunPages, runsPerPage } from './run-pages.ts';
import type { ReadRuns } from './run-pages.ts';
import { countText, sizeText } from './words.ts';

const day = 86_400_000;
const utcMidnight = (text: string, offset: number): number => Date.parse(`${text}T00:00:00Z`) + offset * day;
const open = { notBefore: null, before: null, problem: '', at: 'to' } as const;

/** Runs a minute apart, newest first; `id`s rise with time. */
const archive: readonly RunRow[] = Array.from({ length: 1000 }, (_, i): RunRow => {
  const n = 999 - i;
  return { id: `run-${String(n).padStart(4, '0')}`, createdAt: n * 60_000, planName: 'P', order: '', operator: '', software: '', points: 1, counting: 1, attempts: 1, ending: 'complete', lastAt: null, simulated: true };
});
/** As the host pages: rows strictly behind `after` in the order of time and id. */
const read: ReadRuns = ({ after, limit }) => {
  const behind = archive.filter((run) => after === undefined || run.createdAt < after.createdAt || (run.createdAt === after.createdAt && run.id < after.id));
  return Promise.resolve({ ok: true, value: behind.slice(0, limit) });
};

describe('what is looked for', () => {
  it('days are whole: the last one is included', () => {
    const bounds = boundsOf({ text: '', from: '2026-11-24', to: '2026-11-25' }, utcMidnight);
    expect(bounds).toEqual({ notBefore: Date.parse('2026-11-24T00:00Z'), before: Date.parse('2026-11-26T00:00Z'), problem: '', at: 'to' });
  });
  it('WIN-220 days that cannot be are named, each at its own field', () => {
    expect(boundsOf({ text: '', from: '2026-11-25', to: '2026-11-24' }, utcMidnight).problem).toMatch(/first day is after the last/);
    expect(boundsOf({ text: '', from: '2026-02-30', to: '' }, localMidnight)).toMatchObject({ at: 'from', problem: expect.stringMatching(/not a day/) as string });
    expect(boundsOf({ text: '', from: '2026-02-03', to: '03/04/2026' }, localMidnight)).toMatchObject({ at: 'to', problem: expect.stringMatching(/not a day/) as string });
    expect(Number.isNaN(localMidnight('next week', 0))).toBe(true);
  });
  it('a day begins at midnight here, also behind the end of a month', () => {
    expect(new Date(localMidnight('2026-11-30', 1)).getDate()).toBe(1);
    expect(new Date(localMidnight('2026-11-30', 0)).getHours()).toBe(0);
  });
  it('pages go on behind the last run; the first page begins behind the last day', () => {
    expect(pageRequest(everyRun, open, null, 5)).toEqual({ limit: 5 });
    expect(pageRequest({ ...everyRun, text: ' x ' }, open, { createdAt: 7, id: 'r' }, 5)).toEqual({ limit: 5, text: 'x', after: { createdAt: 7, id: 'r' } });
    expect(pageRequest(everyRun, { ...open, before: 9 }, null, 5).after?.createdAt).toBe(9);
  });
});

describe('the list of runs', () => {
  it('comes page by page until it ends, each run once', async () => {
    const pages = new RunPages(read, () => undefined);
    await pages.search(everyRun, open);
    expect(pages.view).toMatchObject({ more: true, reading: false });
    expect(pages.view.rows).toHaveLength(runsPerPage);
    for (let i = 0; i < 10; i += 1) await pages.next();
    expect(pages.view.rows.map((r) => r.id)).toEqual(archive.map((r) => r.id));
    expect(pages.view.more).toBe(false);
  });
  it('holds what lies between two times and nothing else', async () => {
    const pages = new RunPages(read, () => undefined);
    await pages.search(everyRun, { notBefore: 300 * 60_000, before: 700 * 60_000, problem: '', at: 'to' });
    for (let i = 0; i < 10; i += 1) await pages.next();
    expect([pages.view.rows[0]?.id, pages.view.rows.at(-1)?.id, pages.view.rows.length]).toEqual(['run-0699', 'run-0300', 400]);
  });
  it('asks once while it reads, and leaves the answer to an older search', async () => {
    const waiting: ((rows: readonly RunRow[]) => void)[] = [];
    const pages = new RunPages(() => new Promise((resolve) => waiting.push((value) => resolve({ ok: true, value }))), () => undefined);
    const old = pages.search({ ...everyRun, text: 'old' }, open);
    const young = pages.search({ ...everyRun, text: 'young' }, open);
    await pages.next();
    expect(waiting).toHaveLength(2);
    waiting[1]?.(archive.slice(0, 1));
    await young;
    waiting[0]?.(archive.slice(5, 9));
    await old;
    expect(pages.view.rows.map((r) => r.id)).toEqual(['run-0999']);
  });
  it('keeps what it has and says why it does not go on; reading on is possible', async () => {
    let broken = false;
    const pages = new RunPages((params) => (broken ? Promise.resolve({ ok: false, failure: { text: 'The host has gone.' } }) : read(params)), () => undefined);
    await pages.search(everyRun, open);
    broken = true;
    await pages.next();
    expect(pages.view).toMatchObject({ problem: 'The host has gone.', more: true });
    expect(pages.view.rows).toHaveLength(runsPerPage);
    broken = false;
    await pages.next();
    expect(pages.view.rows).toHaveLength(2 * runsPerPage);
    expect(pages.view.problem).toBe('');
  });
  it('does not ask for days that cannot be', async () => {
    const pages = new RunPages(() => Promise.reject(new Error('asked')), () => undefined);
    await pages.search(everyRun, { ...open, problem: 'No.' });
    expect(pages.view).toEqual({ rows: [], more: false, reading: false, problem: 'No.' });
  });
});

describe('words', () => {
  it('sizes and counts are as people read them', () => {
    expect([999, 1500, 18_000_000, 3.2e9].map(sizeText)).toEqual(['999 bytes', '1.5 kB', '18 MB', '3.2 GB']);
    expect([countText(0, false), countText(1, false), countText(200, true)]).toEqual(['No run found', '1 run, newest first', '200 or more runs, newest first']);
  });
});
