/** The list of runs as it is read, page by page, while somebody scrolls. A new search leaves answers to the old one unread. */
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import type { Params } from '../../../app/contract/contract.ts';
import { everyRun, pageRequest } from './query.ts';
import type { Bounds, Query } from './query.ts';

export interface RunPagesView {
  readonly rows: readonly RunRow[];
  /** There may be more behind them. */
  readonly more: boolean;
  readonly reading: boolean;
  /** Why the list ends here; empty: nothing is wrong. */
  readonly problem: string;
}

export type ReadRuns = (params: Params<'runs.list'>) => Promise<{ readonly ok: true; readonly value: readonly RunRow[] } | { readonly ok: false; readonly failure: { readonly text: string } }>;

export const runsPerPage = 200;

export class RunPages {
  readonly #read: ReadRuns;
  readonly #changed: () => void;
  #search = 0;
  #query: Query = everyRun;
  #bounds: Bounds = { notBefore: null, before: null, problem: '', at: 'to' };
  #view: RunPagesView = { rows: [], more: false, reading: false, problem: '' };

  constructor(read: ReadRuns, changed: () => void) {
    this.#read = read;
    this.#changed = changed;
  }

  get view(): RunPagesView {
    return this.#view;
  }

  /** Begins anew. The rows of before stay until the first page is there, so that the list does not blink. */
  async search(query: Query, bounds: Bounds): Promise<void> {
    this.#search += 1;
    this.#query = query;
    this.#bounds = bounds;
    if (bounds.problem !== '') {
      this.#show({ rows: [], more: false, reading: false, problem: bounds.problem });
      return;
    }
    await this.#page([], null);
  }

  /** Reads the next page, unless one is being read or there is none. */
  async next(): Promise<void> {
    const { rows, more, reading } = this.#view;
    const last = rows.at(-1);
    if (!more || reading || last === undefined) return;
    await this.#page(rows, last);
  }

  async #page(rows: readonly RunRow[], last: RunRow | null): Promise<void> {
    const search = this.#search;
    this.#show({ ...this.#view, reading: true });
    const reply = await this.#read(pageRequest(this.#query, this.#bounds, last, runsPerPage));
    if (search !== this.#search) return;
    if (!reply.ok) {
      this.#show({ rows, more: last !== null, reading: false, problem: reply.failure.text });
      return;
    }
    const { notBefore } = this.#bounds;
    const wanted = notBefore === null ? reply.value : reply.value.filter((run) => run.createdAt >= notBefore);
    this.#show({ rows: [...rows, ...wanted], more: reply.value.length === runsPerPage && wanted.length === reply.value.length, reading: false, problem: '' });
  }

  #show(view: RunPagesView): void {
    this.#view = view;
    this.#changed();
  }
}
