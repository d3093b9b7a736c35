/**
 * What the bench read around the instant of a film, from what the archive holds (HOST-93): stretches of five minutes are asked for as they come near, and kept.
 * A strip draws from it as from the live bench, up to the instant and no further (WIN-91).
 */
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { StripSource } from '../../components/strip.tsx';
import type { TrendView } from '../../live/trend.ts';

export type FilmSignal = 'pressure' | 'supply' | 'flow' | 'temperature';
export type SignalPart = AnswerTo<'run.signals'>['parts'][number];
/** The parts of a stretch; null: they could not be read. */
export type ReadParts = (stretch: { readonly from: number; readonly to: number; readonly parts: number }) => Promise<readonly SignalPart[] | null>;

/** ms: what the strips show before an instant, and what is asked for at once. */
export const filmStretchMs = 300_000;
/** The archive tells them by the second. */
const partMs = 1000;
/** Stretches that are kept. */
const mostKept = 24;
/** A strip that was drawn a moment ago leaves a change out; the last one must not be. */
const drawAgainMs = 250;
/** A stretch that does not reach to its end may have grown since, when the run goes on; looked at, it is asked for again so often at most. */
const askAgainMs = 2000;
/** A reading holds for so long. */
const staleMs = 3000;

export class FilmReadings {
  readonly #read: ReadParts;
  readonly #kept = new Map<number, readonly SignalPart[]>();
  readonly #underWay = new Set<number>();
  /** When a stretch that does not reach to its end was read. */
  readonly #unfinished = new Map<number, number>();
  readonly #listeners = new Set<() => void>();
  readonly #sources = new Map<FilmSignal, StripSource>();
  #instant: number;
  #again: ReturnType<typeof setTimeout> | undefined;

  constructor(read: ReadParts, instant: number) {
    this.#read = read;
    this.#instant = instant;
  }

  /** Shows another instant; what is not here yet comes by itself. */
  lookAt(instant: number): void {
    this.#instant = instant;
    const last = Math.floor(instant / filmStretchMs);
    for (const stretch of [last, last - 1, last + 1]) void this.#fetch(stretch);
    this.#changed();
  }

  /** Whether something of what is shown is still being read. */
  get reading(): boolean {
    const last = Math.floor(this.#instant / filmStretchMs);
    return this.#underWay.has(last) || this.#underWay.has(last - 1);
  }

  /** The latest at or before the instant, while it holds: least and most; null: there is none. */
  valueOf(signal: FilmSignal): readonly [number, number] | null {
    const part = this.#parts().findLast(({ at }) => at <= this.#instant);
    return part === undefined || this.#instant - part.at > staleMs ? null : part[signal];
  }

  /** Always the same of a signal. */
  source(signal: FilmSignal): StripSource {
    const known = this.#sources.get(signal);
    if (known !== undefined) return known;
    const source: StripSource = {
      view: () => this.#view(signal),
      now: () => this.#instant / 1000,
      start: () => (this.#instant - filmStretchMs) / 1000,
      onChange: (listener) => {
        this.#listeners.add(listener);
        return () => this.#listeners.delete(listener);
      },
    };
    this.#sources.set(signal, source);
    return source;
  }

  onChange(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  close(): void {
    clearTimeout(this.#again);
    this.#listeners.clear();
  }

  #parts(): readonly SignalPart[] {
    const last = Math.floor(this.#instant / filmStretchMs);
    return [...(this.#kept.get(last - 1) ?? []), ...(this.#kept.get(last) ?? [])];
  }

  #view(signal: FilmSignal): TrendView {
    const shown = this.#parts().flatMap((part) => {
      const extent = part[signal];
      return extent === null || part.at > this.#instant ? [] : [{ at: part.at / 1000, low: extent[0], high: extent[1] }];
    });
    return { times: Float64Array.from(shown, ({ at }) => at), low: Float64Array.from(shown, ({ low }) => low), high: Float64Array.from(shown, ({ high }) => high), slot: partMs / 1000 };
  }

  async #fetch(stretch: number): Promise<void> {
    if (this.#underWay.has(stretch) || (this.#kept.has(stretch) && !this.#isDueAgain(stretch))) return;
    this.#underWay.add(stretch);
    const parts = await this.#read({ from: stretch * filmStretchMs, to: (stretch + 1) * filmStretchMs, parts: filmStretchMs / partMs });
    this.#underWay.delete(stretch);
    // What could not be read is asked for again when it is looked at again.
    if (parts === null) return;
    this.#kept.set(stretch, parts);
    if ((parts.at(-1)?.at ?? 0) < (stretch + 1) * filmStretchMs - staleMs) this.#unfinished.set(stretch, performance.now());
    else this.#unfinished.delete(stretch);
    for (const oldest of this.#kept.keys()) {
      if (this.#kept.size <= mostKept) break;
      this.#kept.delete(oldest);
    }
    this.#changed();
  }

  #isDueAgain(stretch: number): boolean {
    const read = this.#unfinished.get(stretch);
    return read !== undefined && performance.now() - read >= askAgainMs;
  }

  #changed(): void {
    const tell = (): void => {
      for (const listener of this.#listeners) listener();
    };
    tell();
    clearTimeout(this.#again);
    this.#again = setTimeout(tell, drawAgainMs);
  }
}
