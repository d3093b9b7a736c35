/** What is typed and not saved, for pages: a field that is kept, a store that is kept, and what of the window is not saved. One way for all forms (WIN-28). */
import { useCallback, useSyncExternalStore } from 'react';
import type { StoreApi } from 'zustand';
import { numberIn } from '../settings/read-number.ts';
import { ask, useHostState } from '../host/host.ts';
import { settings } from '../settings/settings.ts';
import { Keeper } from './keeper.ts';
import type { KeeperView, LeftDraft, Typed } from './keeper.ts';

const listeners = new Set<() => void>();
let keeper: Keeper | null = null;

/** A window that is no browser's (tests of components) keeps nothing. */
const nothingKept: KeeperView = { ready: true, typed: new Map(), left: [], problem: '' };

/** Called once, when the window starts. */
export function startTyped(page: Window): void {
  keeper = new Keeper({
    ask,
    storage: page.sessionStorage,
    after: (ms, action) => {
      const handle = setTimeout(action, ms);
      return () => clearTimeout(handle);
    },
    newId: () => crypto.randomUUID(),
    by: () => settings().operator,
    onChange: () => {
      for (const listener of listeners) listener();
    },
  });
  let up = false;
  const look = (): void => {
    const now = useHostState.getState().line.state === 'up';
    if (now && !up) void keeper?.hello();
    else if (!now && up) keeper?.gone();
    up = now;
  };
  useHostState.subscribe(look);
  look();
  page.addEventListener('pagehide', () => keeper?.flush());
  page.addEventListener('beforeunload', (event) => {
    keeper?.flush();
    // The browser asks in its own words; the desktop in ours.
    if (unsavedIn(keeper?.view ?? nothingKept).length > 0) event.preventDefault();
  });
}

const listen = (listener: () => void): (() => void) => {
  listeners.add(listener);
  return () => listeners.delete(listener);
};
const viewNow = (): KeeperView => keeper?.view ?? nothingKept;

export function useTypedView(): KeeperView {
  return useSyncExternalStore(listen, viewNow);
}

/** Whether what the host had kept of this window has come, or was waited for long enough. */
export const useTypedReady = (): boolean => useSyncExternalStore(listen, () => viewNow().ready);

/** Takes over what windows that have gone have left; empty: all of it. */
export const takeOverTyped = (drafts: readonly LeftDraft[]): Promise<string> => keeper?.takeOver(drafts) ?? Promise.resolve('');
export const throwAway = (drafts: readonly LeftDraft[]): Promise<void> => keeper?.throwAway(drafts) ?? Promise.resolve();

export interface UnsavedWork {
  /** The page on which it is. */
  readonly page: string;
  readonly title: string;
}

export const pageOf = (name: string): string => name.split('/')[0] ?? '';

function unsavedIn(view: KeeperView): readonly UnsavedWork[] {
  return [...view.typed].flatMap(([name, { title, work }]) => (work ? [{ page: pageOf(name), title }] : []));
}

let shownUnsaved: readonly UnsavedWork[] = [];

/** The same list until another work begins or ends, not with every key. */
function unsavedNow(): readonly UnsavedWork[] {
  const now = unsavedIn(viewNow());
  if (JSON.stringify(now) !== JSON.stringify(shownUnsaved)) shownUnsaved = now;
  return shownUnsaved;
}

/** What of this window is not saved. */
export const useUnsaved = (): readonly UnsavedWork[] => useSyncExternalStore(listen, unsavedNow);

interface About {
  /** What it is, for a list of what is not saved. */
  readonly title: string;
  /** Absent: it only stands in fields, and nobody is asked about it. */
  readonly work?: boolean;
}

/**
 * As `useState`, kept under `name` (the page first: `results/exclude/3`) until it is the initial value again. What the host had kept takes its
 * place as soon as it comes; what is of another kind than `initial` is passed over. A form whose shape changes takes another name.
 */
export function useTyped<T>(name: string, initial: T, { title, work = false }: About): readonly [T, (next: T) => void] {
  const kept = useSyncExternalStore(listen, () => viewNow().typed.get(name)?.content);
  const value = kept !== undefined && sameKind(kept, initial) ? (kept as T) : initial;
  const set = useCallback(
    (next: T): void => keeper?.set(name, JSON.stringify(next) === JSON.stringify(initial) ? null : { content: next, title, work }),
    // `initial` is a value of the form, made anew with each drawing of it.
    [name, title, work, JSON.stringify(initial)],
  );
  return [value, set];
}

/** A number of a field, kept as the text that was typed. For `NumberInput`. */
export function useTypedNumber(name: string, initial: string, title: string): { readonly value: number; readonly typed: string; readonly onTyped: (text: string) => void; readonly onChange: () => void } {
  const [typed, onTyped] = useTyped(name, initial, { title });
  return { value: numberIn(typed), typed, onTyped, onChange: nothing };
}

const nothing = (): void => undefined;

const kindOf = (one: unknown): string => (one === null ? 'null' : Array.isArray(one) ? 'list' : typeof one);
const sameKind = (a: unknown, b: unknown): boolean => b === null || kindOf(a) === kindOf(b);

/** Keeps what a store holds under `name`. `read`: what the host had kept, into the store. Ends with what it returns. */
export function keepStore<S>(name: string, store: StoreApi<S>, held: (state: S) => Typed | null, read: (content: unknown) => void): () => void {
  let shown: unknown = keeper?.view.typed.get(name)?.content;
  if (shown !== undefined) read(shown);
  const tell = (): void => {
    const typed = held(store.getState());
    shown = typed?.content;
    keeper?.set(name, typed);
  };
  const hear = (): void => {
    const content = viewNow().typed.get(name)?.content;
    if (content === undefined || JSON.stringify(content) === JSON.stringify(shown)) return;
    shown = content;
    read(content);
  };
  listeners.add(hear);
  const ended = store.subscribe(tell);
  return () => {
    listeners.delete(hear);
    ended();
  };
}
