/** The point and the attempt that an address of the page Run names, and an address that follows what is looked at (WIN-56). */
import { useEffect, useRef } from 'react';
import { pathOfPoint } from './places.ts';
import { pathTo, putAddress, useRoute } from './route.ts';

/** From 1 on, as it is shown; anything else is none. */
const numberOf = (text: string | undefined): number | null => (text !== undefined && /^[1-9]\d{0,6}$/u.test(text) ? Number(text) : null);

/** Index of the point and number of the attempt behind `#/run/<run>/`; null: none is named. */
function placeOfRoute(rest: readonly string[]): { readonly point: number | null; readonly attempt: number | null } {
  const point = numberOf(rest[1]);
  return { point: point === null ? null : point - 1, attempt: point === null ? null : numberOf(rest[2]) };
}

/** `opened`: what a person looks at; the address follows it. `open` is called with what an address names, once for each address. */
export function usePlaceInRun(run: string, opened: number | null, open: (point: number) => void): { readonly attempt: number | null } {
  const { rest } = useRoute();
  const { point, attempt } = placeOfRoute(rest[0] === run ? rest : []);
  /** The address that was followed or put last. */
  const seen = useRef<string | null>(null);
  const address = keyOf(point, attempt);
  useEffect(() => {
    if (point !== null && seen.current !== address && opened !== point) open(point);
    seen.current = address;
  }, [address, point, opened, open]);
  const before = useRef<number | null>(null);
  useEffect(() => {
    if (opened === before.current) return;
    before.current = opened;
    if (opened === point) return;
    putAddress(opened === null ? pathTo('run', run) : pathOfPoint(run, opened));
    // It leads to what is shown already: nothing is to be opened for it, also where another point is opened before it is read.
    seen.current = keyOf(opened, null);
  }, [run, opened, point]);
  return { attempt: opened !== null && opened === point ? attempt : null };
}

const keyOf = (point: number | null, attempt: number | null): string => `${point ?? ''} ${attempt ?? ''}`;
