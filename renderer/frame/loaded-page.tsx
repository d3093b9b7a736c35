/**
 * A page as soon as its program is here. Not by React's `lazy`: it holds what was suspended back for 300 ms after it has come, at each first visit of a
 * page (WIN-90). What was loaded once is shown at once.
 */
import { useEffect, useState } from 'react';
import type { ComponentType } from 'react';
import type { PageEntry } from '../pages/index.ts';

const loaded = new Map<string, ComponentType>();

/** Never rejects; empty: it is here. */
async function load({ path, load: loadPage }: PageEntry): Promise<string> {
  try {
    const { default: page } = await loadPage();
    loaded.set(path, page);
    return '';
  } catch (error) {
    return error instanceof Error ? error.message : String(error);
  }
}

/** Ahead of the time when somebody goes there. Where it does not come, it is tried again then. */
export function loadAhead(entries: readonly PageEntry[]): void {
  for (const entry of entries) if (!loaded.has(entry.path)) void load(entry);
}

/** `ready`: what a page needs beside its program is here. Throws what a page could not be loaded for, so that the frame says it. */
export function LoadedPage({ entry, ready }: { readonly entry: PageEntry; readonly ready: boolean }) {
  const [came, setCame] = useState({ path: '', problem: '' });
  const Current = loaded.get(entry.path);
  const isHere = Current !== undefined;
  useEffect(() => {
    if (isHere) return undefined;
    let wanted = true;
    void load(entry).then((problem) => {
      if (wanted) setCame({ path: entry.path, problem });
    });
    return () => {
      wanted = false;
    };
  }, [entry, isHere]);
  if (Current === undefined && came.path === entry.path && came.problem !== '') throw new Error(came.problem);
  return Current !== undefined && ready ? <Current /> : <p className="page">The page is being loaded.</p>;
}
