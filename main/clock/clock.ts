/** Time as the host sees it: one interface over the wall clock and a virtual clock that runs as fast as it can. */
import { uptime } from 'node:os';
import type { UnixMillis } from '../../app/quantities/quantity.ts';

export interface Clock {
  /** Monotonic milliseconds from an arbitrary origin. */
  now(): number;
  /** Milliseconds since 1970, for the journal. */
  unixNow(): UnixMillis;
  /** Milliseconds for which the machine was suspended, from an arbitrary origin; nobody can set them. null: it cannot tell. */
  suspended(): number | null;
  /** Calls `action` once after `ms`; the returned function cancels it and may be called at any time. */
  after(ms: number, action: () => void): () => void;
}

/** Resolves after `ms` of the clock's time; rejects with the signal's reason as soon as it is aborted. */
export function wait(clock: Clock, ms: number, signal?: AbortSignal): Promise<void> {
  return new Promise((resolve, reject) => {
    if (signal?.aborted) {
      reject(signal.reason as Error);
      return;
    }
    const onAbort = () => {
      cancel();
      reject(signal?.reason as Error);
    };
    const cancel = clock.after(ms, () => {
      signal?.removeEventListener('abort', onAbort);
      resolve();
    });
    signal?.addEventListener('abort', onAbort, { once: true });
  });
}

/** Where the system's time since its start goes on while it is suspended and is set by nobody, in milliseconds or so: /proc/uptime, GetTickCount64. */
const countsSuspended = process.platform === 'linux' || process.platform === 'win32';

/** The machine's own clock; `speed` above 1 makes every wait that much shorter (both ends of a line must agree). */
export class WallClock implements Clock {
  readonly #speed: number;
  readonly #unixOrigin: number;
  readonly #origin: number;

  constructor(speed = 1) {
    this.#speed = speed;
    this.#origin = performance.now();
    this.#unixOrigin = Date.now();
  }

  now(): number {
    return (performance.now() - this.#origin) * this.#speed;
  }

  unixNow(): UnixMillis {
    return (this.#speed === 1 ? Date.now() : Math.round(this.#unixOrigin + this.now())) as UnixMillis;
  }

  suspended(): number | null {
    return countsSuspended && this.#speed === 1 ? uptime() * 1e3 - performance.now() : null;
  }

  after(ms: number, action: () => void): () => void {
    const handle = setTimeout(action, Math.max(0, ms / this.#speed));
    return () => {
      clearTimeout(handle);
    };
  }
}

interface Timer {
  readonly due: number;
  readonly order: number;
  action: (() => void) | null;
}

/** A paced clock that is late by more than this lets the time go that it lost, in place of hurrying after it. */
const MOST_LATE_MS = 250;

/**
 * A clock that jumps to the next timer as soon as the process has nothing else to do. Everything that was set off by
 * one timer (promises included) has run before the next fires, so a run on it is as deterministic as its inputs.
 * It must be stopped, or the process stays alive while timers are pending.
 *
 * With a `speed` it waits for each timer until so many times the machine's own time have passed. Unlike the wall clock
 * it stands still while the process is busy: a simulated bench and its host stay in step however fast they go.
 */
export class VirtualClock implements Clock {
  #now = 0;
  #order = 0;
  #heap: Timer[] = [];
  #running = false;
  #stopped = false;
  #held = 0;
  /** A turn that came while it was held; it is taken afterwards. */
  #turnWaits = false;
  readonly #unixOrigin: number;
  #speed: number | null;
  /** The machine's time at which this clock's time 0 lies, as long as it is not late. */
  #origin = performance.now();
  #sleep: { readonly until: number; readonly handle: NodeJS.Timeout } | null = null;

  /** `speed` null: as fast as it can. */
  constructor(unixOrigin: number, speed: number | null = null) {
    this.#unixOrigin = unixOrigin;
    this.#speed = speed;
  }

  now(): number {
    return this.#now;
  }

  unixNow(): UnixMillis {
    return Math.round(this.#unixOrigin + this.#now) as UnixMillis;
  }

  suspended(): null {
    return null;
  }

  after(ms: number, action: () => void): () => void {
    const timer: Timer = { due: this.#now + Math.max(0, ms), order: this.#order++, action };
    this.#push(timer);
    if (!this.#running && !this.#stopped) {
      this.#running = true;
      setImmediate(this.#turn);
    } else if (this.#sleep !== null && timer.due < this.#sleep.until) {
      clearTimeout(this.#sleep.handle);
      this.#sleep = null;
      setImmediate(this.#turn);
    }
    return () => {
      timer.action = null;
    };
  }

  /** From now on its time passes so many times as fast as the machine's. Its times and the order of its timers are the same at every speed. */
  setSpeed(speed: number): void {
    this.#speed = speed;
    this.#origin = performance.now() - this.#now / speed;
    if (this.#sleep === null) return;
    clearTimeout(this.#sleep.handle);
    this.#sleep = null;
    setImmediate(this.#turn);
  }

  stop(): void {
    this.#stopped = true;
    this.#heap = [];
    if (this.#sleep !== null) clearTimeout(this.#sleep.handle);
  }

  /** Time stands still until `work` is over: what a thread or the disk does takes no time that is the same every time. */
  holdFor(work: Promise<unknown>): void {
    this.#held += 1;
    const letGo = (): void => {
      this.#held -= 1;
      if (this.#held > 0 || !this.#turnWaits) return;
      this.#turnWaits = false;
      setImmediate(this.#turn);
    };
    work.then(letGo, letGo);
  }

  readonly #turn = (): void => {
    this.#sleep = null;
    if (this.#stopped) return;
    if (this.#held > 0) {
      this.#turnWaits = true;
      return;
    }
    for (;;) {
      if (this.#speed !== null && this.#isEarly(this.#speed)) return;
      const timer = this.#pop();
      if (timer === undefined) {
        this.#running = false;
        return;
      }
      if (timer.action === null) continue;
      this.#now = timer.due;
      timer.action();
      break;
    }
    setImmediate(this.#turn);
  };

  /** Goes to sleep until the next timer is due by the machine's time; false when it is due. */
  #isEarly(speed: number): boolean {
    while (this.#heap[0]?.action === null) this.#pop();
    const next = this.#heap[0];
    if (next === undefined) return false;
    const early = this.#origin + next.due / speed - performance.now();
    if (early < -MOST_LATE_MS) this.#origin -= early;
    // Timeouts are whole milliseconds: half of one early is nearer to it than half of one late.
    if (early < 0.5) return false;
    this.#sleep = { until: next.due, handle: setTimeout(this.#turn, early) };
    return true;
  }

  static #before(a: Timer, b: Timer): boolean {
    return a.due < b.due || (a.due === b.due && a.order < b.order);
  }

  #push(timer: Timer): void {
    const heap = this.#heap;
    let i = heap.length;
    heap.push(timer);
    while (i > 0) {
      const parent = (i - 1) >> 1;
      const other = heap[parent];
      if (other === undefined || !VirtualClock.#before(timer, other)) break;
      heap[i] = other;
      i = parent;
    }
    heap[i] = timer;
  }

  #pop(): Timer | undefined {
    const heap = this.#heap;
    const top = heap[0];
    const last = heap.pop();
    if (top === undefined || last === undefined || top === last) return top;
    let i = 0;
    for (;;) {
      let child = 2 * i + 1;
      const left = heap[child];
      if (left === undefined) break;
      const right = heap[child + 1];
      if (right !== undefined && VirtualClock.#before(right, left)) child += 1;
      const smallest = heap[child];
      if (smallest === undefined || !VirtualClock.#before(smallest, last)) break;
      heap[i] = smallest;
      i = child;
    }
    heap[i] = last;
    return top;
  }
}
