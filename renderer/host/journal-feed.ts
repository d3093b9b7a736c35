/**
 * One run's journal as this window has it: read in pages, continued by what the host announces, folded as it comes. A
 * gap is read again from where it begins, what comes twice is dropped, so the state is the fold over the whole journal. It may be read condensed
 * (`app/journal/condensed.ts`): then events between are left out, and the state is the same.
 *
 * The pages of a host are small, so that none holds it up (HOST-10): several are asked for at a time (WIN-90).
 */
import type { RunEvent } from '../../app/journal/events.ts';
import { foldCondensed, upToPlace } from '../../app/journal/condensed.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { HostFailure } from './connection.ts';

export interface JournalView {
  readonly phase: 'loading' | 'ready' | 'failed';
  /** Why it could not be read; empty otherwise. */
  readonly problem: string;
  /** From the first on; grows in place. Without a gap, but for what a condensed journal leaves out. */
  readonly events: readonly RunEvent[];
  /** Another with each event. null before the first event. */
  readonly state: RunState | null;
  /** Number of events of the journal that the state is of. */
  readonly revision: number;
}

type PageReply =
  | { readonly ok: true; readonly value: { readonly events: readonly RunEvent[]; readonly next?: number; readonly more: boolean } }
  | { readonly ok: false; readonly failure: HostFailure };

/** At most `limit` events from `fromSeq` on; condensed: what stands of them, and `next`, the place behind them. Never rejects. */
export type ReadPage = (fromSeq: number, limit: number) => Promise<PageReply>;

const mostEvents = 5000;
/** Pages that are under way at a time: enough that the host reads on while the window is busy with beginning, some 200 ms. */
const ahead = 8;
/** Of the events that the first page had, so many are asked for in the next ones: what is a little longer still comes whole. */
const shareOfFirst = 0.8;
/**
 * Of a journal that is still being read there is a look whenever it has grown so many times, and not for fewer events than these: whoever shows it works it
 * out anew for each, so that what all looks cost stays a part of what the last one does (WIN-174).
 */
const growthPerLook = 2;
const leastPerLook = 2000;

export class JournalFeed {
  readonly #read: ReadPage;
  readonly #changed: () => void;
  readonly #events: RunEvent[] = [];
  /** Place of the next event that is not here. */
  #next = 0;
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
      while (this.#wanted()) if (!(await this.#readOn())) return;
    } finally {
      this.#reading = false;
    }
  }

  /** From the last event that is here to the end. false: it did not come to that. */
  async #readOn(): Promise<boolean> {
    const from = this.#next;
    const first = await this.#read(from, mostEvents);
    if (!this.#take(first)) return false;
    if (!first.ok || !first.value.more) return true;
    const stride = Math.max(1, Math.floor(shareOfFirst * (this.#next - from)));
    let next = this.#next;
    const asked: { readonly from: number; readonly page: Promise<PageReply> }[] = [];
    for (;;) {
      for (; asked.length < ahead; next += stride) asked.push({ from: next, page: this.#read(next, stride) });
      const [one] = asked.splice(0, 1);
      if (one === undefined) return true;
      // Events before it were too long for their page, or came meanwhile.
      while (this.#next < one.from) {
        const missing = await this.#read(this.#next, one.from - this.#next);
        if (!this.#take(missing)) return false;
        if (missing.ok && !missing.value.more) return true;
      }
      const page = await one.page;
      if (!this.#take(page)) return false;
      if (page.ok && !page.value.more) return true;
    }
  }

  /** false: it is no page, or does not go on from what is here. */
  #take(page: PageReply): boolean {
    if (!page.ok) {
      this.#show(this.#events.length === 0 ? 'failed' : 'ready', page.failure.text);
      return false;
    }
    this.#append(page.value.events, page.value.next);
    if (this.#broken !== '') {
      this.#show('failed', this.#broken);
      return false;
    }
    if (!page.value.more) this.#show('ready', '');
    else if (this.#next >= Math.max(growthPerLook * this.#view.revision, leastPerLook)) this.#show(this.#view.phase, '');
    return true;
  }

  /** What the host announced. */
  hear(events: readonly RunEvent[]): void {
    const first = events[0];
    if (first === undefined) return;
    if (first.seq > this.#next) {
      void this.fill();
      return;
    }
    const before = this.#next;
    this.#append(events);
    if (this.#next > before && this.#view.phase !== 'loading') this.#show('ready', '');
  }

  #wanted(): boolean {
    const wanted = this.#again;
    this.#again = false;
    return wanted;
  }

  /** `next`: the events stand for all before that place. Absent: they are all there are, one after the other. */
  #append(events: readonly RunEvent[], next?: number): void {
    for (const event of events) {
      if (next === undefined ? event.seq !== this.#next : event.seq < this.#next) continue;
      if (this.#broken !== '') return;
      try {
        this.#state = foldCondensed(this.#state, event);
        this.#events.push(event);
        this.#next = event.seq + 1;
      } catch (error) {
        this.#broken = `Event ${event.seq} of this run cannot follow the events before it: ${(error as Error).message} Check the archive on the page Archive.`;
      }
    }
    if (next === undefined || next <= this.#next || this.#state === null || this.#broken !== '') return;
    this.#next = next;
    this.#state = upToPlace(this.#state, next);
  }

  #show(phase: JournalView['phase'], problem: string): void {
    this.#view = { phase, problem, events: this.#events, state: this.#state, revision: this.#next };
    this.#changed();
  }
}
