/**
 * One run's journal as this window has it: read in pages, continued by what the host announces, folded as it comes. A
 * gap is read again from where it begins, what comes twice is dropped, so the state is the fold over the whole journal.
 */
import type { RunEvent } from '../../app/journal/events.ts';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { HostFailure } from './connection.ts';

export interface JournalView {
  readonly phase: 'loading' | 'ready' | 'failed';
  /** Why it could not be read; empty otherwise. */
  readonly problem: string;
  /** From the first, without a gap. Grows in place. */
  readonly events: readonly RunEvent[];
  /** Another with each event. null before the first event. */
  readonly state: RunState | null;
  /** Number of events folded. */
  readonly revision: number;
}

export type ReadPage = (fromSeq: number) => Promise<
  | { readonly ok: true; readonly value: { readonly events: readonly RunEvent[]; readonly more: boolean } }
  | { readonly ok: false; readonly failure: HostFailure }
>;

export class JournalFeed {
  readonly #read: ReadPage;
  readonly #changed: () => void;
  readonly #events: RunEvent[] = [];
  #state: RunState | null = null;
  #view: JournalView = { phase: 'loading', problem: '', events: [], state: null, revision: 0 };
  /** Why the events from some on cannot follow those before them; empty: they do. */
  #broken = '';
  #reading = false;
  #again = false;

  constructor(read: ReadPage, changed: () => void) {
    this.#read = read;
    this.#changed = changed;
  }

  get view(): JournalView {
    return this.#view;
  }

  /** Reads what is missing. Asked for while it reads already: reads on once more afterwards. */
  async fill(): Promise<void> {
    this.#again = true;
    if (this.#reading) return;
    this.#reading = true;
    try {
      while (this.#wanted()) {
        const page = await this.#read(this.#events.length);
        if (!page.ok) {
          this.#show(this.#events.length === 0 ? 'failed' : 'ready', page.failure.text);
          return;
        }
        this.#append(page.value.events);
        if (this.#broken !== '') {
          this.#show('failed', this.#broken);
          return;
        }
        if (page.value.more) this.#again = true;
        this.#show(page.value.more ? this.#view.phase : 'ready', '');
      }
    } finally {
      this.#reading = false;
    }
  }

  /** What the host announced. */
  hear(events: readonly RunEvent[]): void {
    const first = events[0];
    if (first === undefined) return;
    if (first.seq > this.#events.length) {
      void this.fill();
      return;
    }
    const before = this.#events.length;
    this.#append(events);
    if (this.#events.length > before && this.#view.phase !== 'loading') this.#show('ready', '');
  }

  #wanted(): boolean {
    const wanted = this.#again;
    this.#again = false;
    return wanted;
  }

  #append(events: readonly RunEvent[]): void {
    for (const event of events) {
      if (event.seq !== this.#events.length || this.#broken !== '') continue;
      try {
        this.#state = foldRun(this.#state, event.body);
        this.#events.push(event);
      } catch (error) {
        this.#broken = `Event ${event.seq} of this run cannot follow the events before it: ${(error as Error).message} Check the archive on the page Archive.`;
      }
    }
  }

  #show(phase: JournalView['phase'], problem: string): void {
    this.#view = { phase, problem, events: this.#events, state: this.#state, revision: this.#events.length };
    this.#changed();
  }
}
