import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { keepDraft, listDrafts, takeDraft } from '../../main/host/kept-drafts.ts';
import { Keeper } from '../../renderer/typed/keeper.ts';
import type { Typed } from '../../renderer/typed/keeper.ts';

let folder = '';
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-typed-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** A host that keeps drafts in the folder, as the real one does at its desk. `up`: whether it answers. */
class FolderHost {
  up = true;
  readonly here = new Set<string>();
  /** The answer is lost, though the work was done. */
  loses = false;

  readonly ask = (async (name: string, params: never) => {
    await Promise.resolve();
    const gone = { ok: false, failure: { code: 'gone', text: 'It has gone.' } };
    if (!this.up) return gone;
    const archive = join(folder, 'archive.sqlite');
    if (name === 'drafts.list') this.here.add((params as { window: string }).window);
    const value = name === 'drafts.list' ? listDrafts(archive, [...this.here], 1000) : name === 'drafts.keep' ? keepDraft(archive, params, 1000) : takeDraft(archive, params);
    if (this.loses) return gone;
    return typeof value === 'string' ? { ok: false, failure: { code: 'refused', text: value } } : { ok: true, value };
  }) as never;
}

let ids = 0;
/** A page of a tab; `tab`: what the browser keeps of it over a reload. */
function pageIn(host: FolderHost, tab: Map<string, string>) {
  const waiting = new Set<() => void>();
  const keeper = new Keeper({
    ask: host.ask,
    storage: { getItem: (key) => tab.get(key) ?? null, setItem: (key, text) => void tab.set(key, text) },
    after: (_ms, action) => {
      waiting.add(action);
      return () => waiting.delete(action);
    },
    newId: () => `id-${(ids += 1)}`,
    by: () => 'A. Tester',
    onChange: () => undefined,
  });
  /** Lets everything that waits for a time happen, again and again. */
  const settle = async (): Promise<void> => {
    for (let i = 0; i < 12; i += 1) {
      const now = [...waiting];
      waiting.clear();
      for (const action of now) action();
      for (let k = 0; k < 40; k += 1) await Promise.resolve();
    }
  };
  return { keeper, settle, content: (name: string): unknown => keeper.view.typed.get(name)?.content };
}

const plan = (text: string): Typed => ({ content: { text }, title: `Plan ${text}`, work: true });
const field = (text: string): Typed => ({ content: text, title: 'Supply', work: false });

describe('WIN-28 what is typed', () => {
  it('comes back after a reload at any moment: before the host was told, while it is told, after', async () => {
    for (const moment of ['before', 'while', 'after', 'host-gone', 'answer-lost'] as const) {
      const host = new FolderHost();
      const tab = new Map<string, string>();
      const first = pageIn(host, tab);
      await first.keeper.hello();
      first.keeper.set('plans/plan', plan(`old ${moment}`));
      await first.settle();
      host.up = moment !== 'host-gone';
      host.loses = moment === 'answer-lost';
      first.keeper.set('plans/plan', plan(moment));
      if (moment === 'while') first.keeper.flush();
      else if (moment !== 'before') await first.settle();
      host.up = true;
      host.loses = false;
      const next = pageIn(host, tab);
      await next.keeper.hello();
      await next.settle();
      expect(next.content('plans/plan'), moment).toEqual({ text: moment });
      next.keeper.set('plans/plan', null);
      await next.settle();
      const last = pageIn(host, tab);
      await last.keeper.hello();
      await last.settle();
      expect(last.content('plans/plan'), moment).toBeUndefined();
    }
  });

  it('reaches a host that was away, or has lost its folder, as soon as it is there', async () => {
    const host = new FolderHost();
    const tab = new Map<string, string>();
    const page = pageIn(host, tab);
    host.up = false;
    page.keeper.set('plans/plan', plan('typed without a host'));
    await page.settle();
    expect(page.keeper.view.ready).toBe(true);
    host.up = true;
    await page.keeper.hello();
    await page.settle();
    rmSync(join(folder, 'drafts'), { recursive: true });
    page.keeper.gone();
    await page.keeper.hello();
    await page.settle();
    const other = pageIn(host, new Map());
    host.here.clear();
    await other.keeper.hello();
    expect(other.keeper.view.left.map(({ title }) => title)).toEqual(['Plan typed without a host']);
  });
});

describe('WIN-29 two windows', () => {
  it('have each its own; a tab that was duplicated goes its own way with its first key, and neither writes over the other', async () => {
    const host = new FolderHost();
    const tab = new Map<string, string>();
    const one = pageIn(host, tab);
    await one.keeper.hello();
    one.keeper.set('plans/plan', plan('of both'));
    await one.settle();
    const copy = new Map(tab);
    const two = pageIn(host, copy);
    await two.keeper.hello();
    await two.settle();
    expect(two.content('plans/plan')).toEqual({ text: 'of both' });
    one.keeper.set('plans/plan', plan('of one'));
    two.keeper.set('plans/plan', plan('of two'));
    await one.settle();
    await two.settle();
    for (const [kept, text] of [[tab, 'of one'], [copy, 'of two']] as const) {
      const again = pageIn(host, kept);
      await again.keeper.hello();
      await again.settle();
      expect(again.content('plans/plan')).toEqual({ text });
    }
  });

  it('leave to others what they had not saved: work is offered, taken over whole or thrown away; fields come by themselves', async () => {
    const host = new FolderHost();
    const one = pageIn(host, new Map());
    await one.keeper.hello();
    one.keeper.set('plans/plan', plan('left'));
    one.keeper.set('injectors/rows', plan('rows'));
    one.keeper.set('bench/supply', field('13.2'));
    await one.settle();
    const here = pageIn(host, new Map());
    await here.keeper.hello();
    expect(here.keeper.view.left, 'that window is still there').toEqual([]);
    expect(here.content('bench/supply')).toBeUndefined();
    host.here.clear();
    const next = pageIn(host, new Map());
    await next.keeper.hello();
    await next.settle();
    expect(next.content('bench/supply')).toBe('13.2');
    expect(next.keeper.view.left.map(({ title }) => title).sort()).toEqual(['Plan left', 'Plan rows']);
    next.keeper.set('plans/plan', plan('its own'));
    await next.settle();
    expect(await next.keeper.takeOver(next.keeper.view.left)).toContain('Plan left');
    expect(next.content('plans/plan')).toEqual({ text: 'its own' });
    expect(next.content('injectors/rows')).toEqual({ text: 'rows' });
    expect(next.keeper.view.left.map(({ title }) => title)).toEqual(['Plan left']);
    await next.keeper.throwAway(next.keeper.view.left);
    expect(next.keeper.view.left).toEqual([]);
  });
});

it('WIN-30: a host that cannot keep what is typed is told in words, and again kept when it can', async () => {
  const host = new FolderHost();
  const page = pageIn(host, new Map());
  await page.keeper.hello();
  page.keeper.set('plans/plan', plan('x'.repeat(200_100)));
  await page.settle();
  expect(page.keeper.view.problem).toMatch(/too large/u);
  page.keeper.set('plans/plan', plan('shorter'));
  await page.settle();
  expect(page.keeper.view.problem).toBe('');
});
