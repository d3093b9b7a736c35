/**
 * The controller's clock against the host's, from when frames come in. A frame is never early: it arrives after the least time of
 * line and computer and then some, so the lower envelope of arrival over the controller's own time is a straight line whose
 * slope is the ratio of the two clocks. RUN-114 to RUN-117.
 */

import type { ClockComparison } from '../journal/measured.ts';

interface Least {
  readonly from: number;
  /** Controller time, and arrival less controller time, of the frame that was under way for the shortest. */
  readonly at: number;
  readonly lag: number;
}

/** Frames are gathered in blocks of this, s; when there are too many blocks, two become one of twice the length. */
const shortestBlock = 2;
const mostBlocks = 64;
const fewestBlocks = 6;
/** How much the least time under way may change between the beginning and the end at least, s: buffers of a port, of the system. */
const leastDoubt = 1e-3;
/** A host's clock that stood for longer than this, s, did stand; nothing runs faster than this, relative, or is measured as that. */
const standstill = 0.25;
const fastestClock = 0.1;

export class TimeBase {
  #block = shortestBlock;
  #blocks: Least[] = [];
  #open: Least | null = null;
  #known: ClockComparison | null = null;
  /** Of the latest frame, to tell one that was held up from a clock that stood. */
  #latest = Number.NEGATIVE_INFINITY;
  /** A lag that is not below this is far below none of those that it is held against: the usual case costs one comparison. */
  #suspicious = Number.NEGATIVE_INFINITY;

  /**
   * A frame of controller time `at` has come in at the host's `now`; times of one controller life, rising. True: the comparison
   * begins anew with it, because the host's clock stood still (RUN-117).
   */
  add(now: number, at: number): boolean {
    if (!(at > this.#latest)) return false;
    const lag = now - at;
    const anew = lag < this.#suspicious && this.#stoodStill(at, lag);
    if (anew) this.forget();
    this.#latest = at;
    const open = this.#open;
    if (open === null || at - open.from >= this.#block) {
      if (open !== null) this.#close(open);
      this.#begin({ from: at, at, lag });
    } else if (lag < open.lag) {
      this.#begin({ from: open.from, at, lag });
    }
    return anew;
  }

  #begin(open: Least): void {
    this.#open = open;
    const before = this.#blocks[this.#blocks.length - 1];
    this.#suspicious = (before === undefined ? open.lag : Math.max(open.lag, before.lag)) - standstill;
  }

  /** A frame so much earlier than any before that no clock can be that much faster: the computer was suspended. */
  #stoodStill(at: number, lag: number): boolean {
    return isFarBelow(this.#open, at, lag) || isFarBelow(this.#blocks[this.#blocks.length - 1] ?? null, at, lag);
  }

  /** Another controller life, whose clock begins anew. */
  forget(): void {
    this.#block = shortestBlock;
    this.#blocks = [];
    this.#open = null;
    this.#known = null;
    this.#latest = Number.NEGATIVE_INFINITY;
    this.#suspicious = Number.NEGATIVE_INFINITY;
  }

  /** null until there is enough to tell. */
  get comparison(): ClockComparison | null {
    return this.#known;
  }

  #close(block: Least): void {
    this.#blocks.push(block);
    if (this.#blocks.length > mostBlocks) {
      const merged: Least[] = [];
      for (let i = 0; i + 1 < this.#blocks.length; i += 2) {
        const [a, b] = [this.#blocks[i], this.#blocks[i + 1]];
        if (a === undefined || b === undefined) continue;
        merged.push(a.lag <= b.lag ? a : { ...b, from: a.from });
      }
      const last = this.#blocks.at(-1);
      if (this.#blocks.length % 2 === 1 && last !== undefined) merged.push(last);
      this.#blocks = merged;
      this.#block *= 2;
    }
    this.#known = this.#blocks.length < fewestBlocks ? null : compare(this.#blocks);
  }
}

function isFarBelow(least: Least | null, at: number, lag: number): boolean {
  return least !== null && lag < least.lag - standstill - fastestClock * (at - least.at);
}

/**
 * Straight line through the least lags. What they scatter by is not only chance (a busy computer is busy for a while), so it also
 * counts as a change of the least lag between the two ends, rectangular, and that is never taken for less than a millisecond.
 * A clock that is off is so in both halves; lines that come later from some instant on are so in one of them: by how much the
 * halves differ from the whole is doubt as well, half of it as a standard uncertainty, so that one half without any difference
 * makes the whole not beyond doubt.
 */
function compare(blocks: readonly Least[]): ClockComparison {
  const whole = throughLeast(blocks);
  const half = Math.ceil(blocks.length / 2);
  const apart = Math.max(...[blocks.slice(0, half), blocks.slice(-half)].map((part) => Math.abs(throughLeast(part).difference - whole.difference)));
  return { ...whole, u: Math.max(whole.u, apart / 2) };
}

function throughLeast(blocks: readonly Least[]): ClockComparison {
  const n = blocks.length;
  const meanAt = blocks.reduce((sum, b) => sum + b.at, 0) / n;
  const meanLag = blocks.reduce((sum, b) => sum + b.lag, 0) / n;
  let sxx = 0;
  let sxy = 0;
  for (const { at, lag } of blocks) {
    sxx += (at - meanAt) ** 2;
    sxy += (at - meanAt) * (lag - meanLag);
  }
  const difference = sxy / sxx;
  let squares = 0;
  for (const { at, lag } of blocks) squares += (lag - meanLag - difference * (at - meanAt)) ** 2;
  const scatter = Math.sqrt(squares / (n - 2));
  const duration = (blocks.at(-1)?.at ?? 0) - (blocks[0]?.at ?? 0);
  const drift = (2 * Math.max(leastDoubt, scatter)) / Math.sqrt(3) / duration;
  return { difference, u: Math.hypot(scatter / Math.sqrt(sxx), drift), duration };
}

/** Above this a person is told, relative. */
export const worthTelling = 100e-6;

/** Whether the difference is beyond `limit` beyond doubt (two standard uncertainties). */
export function isBeyond({ difference, u }: ClockComparison, limit: number): boolean {
  return Math.abs(difference) - 2 * u > limit;
}

/** The comparison in words, with what is to be done where it is worth telling (RUN-115). */
export function clocksText(comparison: ClockComparison): string {
  const advice = ' That is more than a good crystal is off: look at the oscillator of the controller and at the clock of this computer.';
  return `${comparisonText(comparison)}${isBeyond(comparison, worthTelling) ? advice : ''}`;
}

/** The comparison in words. */
export function comparisonText({ difference, u, duration }: ClockComparison): string {
  const ppm = (value: number): string => {
    const millionths = Math.abs(value) * 1e6;
    return millionths >= 10 ? millionths.toFixed(0) : millionths.toPrecision(2);
  };
  const minutes = duration < 90 ? `${duration.toFixed(0)} s` : `${(duration / 60).toFixed(0)} min`;
  return `A second of the controller's clock is ${ppm(difference)} ± ${ppm(2 * u)} millionths ${difference < 0 ? 'shorter' : 'longer'} than one of this computer's (k = 2, over ${minutes}).`;
}
