/** Where the window is: `#/results/<id>` is the page `results` with the rest `['<id>']`. */
import { useSyncExternalStore } from 'react';

export interface Route {
  /** First part of the path, empty for the beginning. */
  readonly page: string;
  readonly rest: readonly string[];
}

export function routeOf(hash: string): Route {
  const [page = '', ...rest] = hash.replace(/^#?\/?/, '').split('/').filter((part) => part !== '').map(decoded);
  return { page, rest };
}

function decoded(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}

export function pathTo(page: string, ...rest: readonly string[]): string {
  return `#/${[page, ...rest].map((part) => encodeURIComponent(part)).join('/')}`;
}

export function goTo(page: string, ...rest: readonly string[]): void {
  window.location.hash = pathTo(page, ...rest);
}

/** Lets the address follow what is looked at, without a step in the history: the way back leads to the page before, not through every cell. */
export function putAddress(path: string): void {
  if (window.location.hash !== path) window.history.replaceState(null, '', path);
}

const onHash = (listener: () => void): (() => void) => {
  window.addEventListener('hashchange', listener);
  return () => window.removeEventListener('hashchange', listener);
};

export function useRoute(): Route {
  return routeOf(useSyncExternalStore(onHash, () => window.location.hash));
}
