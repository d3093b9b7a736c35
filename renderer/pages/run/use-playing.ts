/** The instant of a film: from the address and into it, and how it goes on by itself (WIN-91). */
import { useCallback, useEffect, useRef, useState } from 'react';
import { filmOfRoute, pathOfInstant } from '../../address/places.ts';
import { putAddress, useRoute } from '../../address/route.ts';
import type { Film } from './film.ts';

/** How often a film that plays is drawn, ms. */
const drawEvery = 200;
/** An instant that stands for so long is put into the address, ms. */
const addressAfter = 400;
export const speeds = [1, 10, 60, 300, 1000] as const;
type FilmSpeed = (typeof speeds)[number];

export interface Playing {
  /** ms since 1970 */
  readonly instant: number;
  readonly goTo: (instant: number) => void;
  readonly plays: boolean;
  readonly play: (plays: boolean) => void;
  readonly speed: FilmSpeed;
  readonly setSpeed: (speed: FilmSpeed) => void;
}

export function usePlaying(id: string, film: Film): Playing {
  const route = useRoute();
  const linked = filmOfRoute(route)?.at ?? null;
  const within = useCallback((at: number): number => Math.round(Math.min(film.to, Math.max(film.from, at))), [film]);
  // Before its beginning a run has nothing to show: without an instant it stands at its end, and plays from its beginning (WIN-133).
  const [instant, setInstant] = useState(() => within(linked ?? film.to));
  const [plays, play] = useState(false);
  const [speed, setSpeed] = useState<FilmSpeed>(60);
  /** The instant of the address that was followed or put last. */
  const seen = useRef(linked);
  useEffect(() => {
    if (linked === null || linked === seen.current) return;
    seen.current = linked;
    play(false);
    setInstant(within(linked));
  }, [linked, within]);
  useEffect(() => {
    if (plays) return undefined;
    const timer = setTimeout(() => {
      seen.current = instant;
      putAddress(pathOfInstant(id, instant));
    }, addressAfter);
    return () => clearTimeout(timer);
  }, [id, instant, plays]);
  useEffect(() => {
    if (!plays) return undefined;
    let last = performance.now();
    const timer = setInterval(() => {
      const now = performance.now();
      const by = (now - last) * speed;
      last = now;
      setInstant((before) => within(before + by));
    }, drawEvery);
    return () => clearInterval(timer);
  }, [plays, speed, within]);
  // A film that has come to its end stands.
  if (plays && instant >= film.to) play(false);
  const goTo = useCallback((at: number) => setInstant(within(at)), [within]);
  return {
    instant, goTo, plays, speed, setSpeed,
    // From its end it begins anew.
    play: (wanted) => {
      if (wanted && instant >= film.to) setInstant(within(film.from));
      play(wanted);
    },
  };
}
