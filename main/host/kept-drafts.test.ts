import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { keepDraft, listDrafts, takeDraft } from './kept-drafts.ts';

let folder = '';
const archive = (): string => join(folder, 'archive.sqlite');
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-drafts-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const day = 24 * 3600e3;
const keep = (window: string, writer: string, content: unknown, { name = 'plans/plan.1', work = true, at = 1000 } = {}) => keepDraft(archive(), { window, writer, name, title: 'Plan A', by: 'A. Tester', work, content }, at);
const take = (of: string, window: string, writer: string, name = 'plans/plan.1') => takeDraft(archive(), { of, window, writer, name });
const listed = (here: readonly string[] = [], now = 2000) => {
  const list = listDrafts(archive(), here, now);
  if (typeof list === 'string') throw new Error(list);
  return list.drafts;
};

describe('drafts beside the archive', () => {
  it('HOST-98: are kept under window and name, come back as they were, and are gone when they were saved', () => {
    expect(listed()).toEqual([]);
    const content = { form: { texts: { name: '"é\n' } }, none: null };
    expect(keep('w1', 'p1', content)).toEqual({ kept: true });
    expect(keep('w1', 'p1', { ...content, more: 1 }, { at: 1500 })).toEqual({ kept: true });
    expect(keep('w1', 'p1', ['SN-1'], { name: 'injectors/rows.1', at: 1200 })).toEqual({ kept: true });
    expect(listed(['w1'])).toEqual([
      { window: 'w1', name: 'plans/plan.1', title: 'Plan A', by: 'A. Tester', at: 1500, work: true, here: true },
      { window: 'w1', name: 'injectors/rows.1', title: 'Plan A', by: 'A. Tester', at: 1200, work: true, here: true },
    ]);
    expect(take('w1', 'w1', 'p2')).toEqual({ content: { ...content, more: 1 } });
    for (const name of readdirSync(join(folder, 'drafts'))) expect(name).toMatch(/^w1\.[0-9a-f]{16}\.json$/u);
    expect(keep('w1', 'p2', null)).toEqual({ kept: true });
    expect(listed().map(({ name }) => name)).toEqual(['injectors/rows.1']);
    expect(keep('w9', 'p9', undefined)).toEqual({ kept: true });
  });

  it('HOST-99: are written by one loading of a page at a time; another is told, and nothing is written over', () => {
    keep('w1', 'p1', 'mine');
    expect(keep('w1', 'p2', 'yours')).toEqual({ kept: false });
    expect(keep('w1', 'p2', null)).toEqual({ kept: false });
    expect(take('w1', 'w1', 'p2')).toEqual({ content: 'mine' });
    expect(keep('w1', 'p1', 'late')).toEqual({ kept: false });
    expect(keep('w1', 'p2', 'mine and more')).toEqual({ kept: true });
    expect(take('w1', 'w1', 'p3')).toEqual({ content: 'mine and more' });
  });

  it('HOST-101: of a window that has gone pass to another one, whole and once, and never over what that has', () => {
    keep('w1', 'p1', 'left');
    keep('w2', 'p2', 'own');
    expect(take('w1', 'w2', 'p2')).toEqual({ content: null });
    expect(listed(['w2']).map(({ window, here }) => [window, here])).toEqual(expect.arrayContaining([['w1', false], ['w2', true]]));
    expect(take('w1', 'w3', 'p3')).toEqual({ content: 'left' });
    expect(take('w1', 'w4', 'p4')).toEqual({ content: null });
    expect(listed().map(({ window }) => window).sort()).toEqual(['w2', 'w3']);
  });

  it('HOST-100: work stays until somebody saves it or throws it away; fields of a window that has gone are forgotten after 30 days', () => {
    keep('w1', 'p1', '14', { name: 'bench/supply', work: false });
    keep('w2', 'p2', '13', { name: 'bench/supply', work: false });
    keep('w1', 'p1', {});
    expect(listed(['w2'], 1000 + 30 * day).length).toBe(3);
    expect(listed(['w2'], 1001 + 30 * day).map(({ window, name }) => `${window} ${name}`).sort()).toEqual(['w1 plans/plan.1', 'w2 bench/supply']);
  });

  it('HOST-98: what cannot be kept is said, and what is no draft is passed over', () => {
    keep('w1', 'p1', {});
    writeFileSync(join(folder, 'drafts', 'w2.0000000000000000.json'), '{');
    writeFileSync(join(folder, 'drafts', 'w3.0000000000000000.json'), '{"draftVersion":2}');
    expect(listed().map(({ window }) => window)).toEqual(['w1']);
    expect(keep('w1', 'p1', 'x'.repeat(200_001))).toMatch(/too large/u);
    expect(take('w1', 'w1', 'p1')).toEqual({ content: {} });
    for (let i = 0; i < 500; i += 1) writeFileSync(join(folder, 'drafts', `more-${i}.json`), '{}');
    expect(keep('w1', 'p1', 'new', { name: 'plans/other' })).toMatch(/no other is kept/u);
    expect(keep('w1', 'p1', 'same')).toEqual({ kept: true });
    rmSync(join(folder, 'drafts'), { recursive: true });
    writeFileSync(join(folder, 'drafts'), 'a file');
    expect(keep('w1', 'p1', 'x')).toMatch(/cannot be written/u);
    expect(readFileSync(join(folder, 'drafts'), 'utf8')).toBe('a file');
  });
});
