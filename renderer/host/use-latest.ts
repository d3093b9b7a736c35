import { useSyncExternalStore } from 'react';
import type { StripSource } from '../components/strip.tsx';
import { liveBench } from './host.ts';
import type { Latest, LiveSignal, Span } from '../live/live-bench.ts';

/** ms. People cannot read digits that change faster. */
const every = 200;

export interface LatestNow {
  readonly latest: Latest | null;
  /** s since it was received; null: nothing was. Coarse: renders happen five times a second at most. */
  readonly age: number | null;
}

const nothing: LatestNow = { latest: null, age: null };
let shown = nothing;
const listeners = new Set<() => void>();
let timer: ReturnType<typeof setInterval> | null = null;

function look(): void {
  const { latest } = liveBench;
  const age = latest === null ? null : (performance.now() - latest.receivedAt) / 1e3;
  // An age that is shown the same way is the same.
  if (latest === shown.latest && (age === null || (shown.age !== null && Math.floor(age) === Math.floor(shown.age)))) return;
  shown = latest === null ? nothing : { latest, age };
  for (const listener of listeners) listener();
}

function subscribe(listener: () => void): () => void {
  listeners.add(listener);
  timer ??= setInterval(look, every);
  return () => {
    listeners.delete(listener);
    if (listeners.size > 0 || timer === null) return;
    clearInterval(timer);
    timer = null;
  };
}

/** The latest frame and its age, at most five times a second; all that use it render together. */
export function useLatest(): LatestNow {
  return useSyncExternalStore(subscribe, () => shown);
}

const sources = new Map<string, StripSource>();

/** A strip's source for a signal of the live bench; the same object every time. */
export function liveSource(signal: LiveSignal, span: Span): StripSource {
  const key = `${signal} ${span}`;
  const known = sources.get(key);
  if (known !== undefined) return known;
  const source: StripSource = {
    view: () => liveBench.trend(signal, span).view,
    now: () => liveBench.now,
    // Every frame has a pressure; a flow may begin later.
    start: () => liveBench.trend('pressure', span).view.times[0] ?? liveBench.now,
    onChange: (listener) => liveBench.onChange(listener),
  };
  sources.set(key, source);
  return source;
}
