/**
 * What is typed in this window and not saved yet, kept by the host under names (HOST-98) and, until the host has said that it has it, by the
 * browser for this window. So nothing typed is lost by a reload, a host that dies, or a start at another address. WIN-28
 */
import type { AnswerTo, Params, RequestName } from '../../app/contract/contract.ts';
import type { HostReply } from '../host/connection.ts';

export interface Typed {
  /** What JSON can hold. */
  readonly content: unknown;
  /** What it is, for a list of what is not saved. */
  readonly title: string;
  /** Losing it would lose work: it is marked, and asked about before the window is left. Else: what only stands in fields. */
  readonly work: boolean;
}

export type LeftDraft = AnswerTo<'drafts.list'>['drafts'][number];

export interface KeeperView {
  /** Whether what the host had kept of this window has come, or was waited for long enough. */
  readonly ready: boolean;
  readonly typed: ReadonlyMap<string, Typed>;
  /** Work of windows that have gone. */
  readonly left: readonly LeftDraft[];
  /** Why the host does not keep what is typed; empty: it does, or is being waited for. */
  readonly problem: string;
}

interface KeeperParts {
  readonly ask: <N extends RequestName>(name: N, params: Params<N>) => Promise<HostReply<N>>;
  /** Of this tab: a reload finds it again, another tab does not. */
  readonly storage: Pick<Storage, 'getItem' | 'setItem'>;
  readonly after: (ms: number, action: () => void) => () => void;
  readonly newId: () => string;
  /** Who works here. */
  readonly by: () => string;
  readonly onChange: () => void;
}

const windowKey = 'railhouse.window';
const unsentKey = 'railhouse.typed';
/** From the last key until the host is told, ms. */
const settleMs = 300;
const retryMs = 3000;
/** A page is shown without what the host had kept rather than not at all, ms. */
const patienceMs = 2500;

export class Keeper {
  readonly #parts: KeeperParts;
  /** Of this loading of the page: the host lets one write (HOST-99). */
  readonly #writer: string;
  #window: string;
  readonly #typed = new Map<string, Typed>();
  /** Names of which the host has not said yet that it has them, or that it has let them go. */
  readonly #unsent = new Set<string>();
  #left: readonly LeftDraft[] = [];
  #problem = '';
  #ready = false;
  #up = false;
  #sending = false;
  #cancel: () => void = () => undefined;
  #view: KeeperView;

  constructor(parts: KeeperParts) {
    this.#parts = parts;
    this.#writer = parts.newId();
    this.#window = parts.storage.getItem(windowKey) ?? parts.newId();
    this.#keepHere(windowKey, this.#window);
    for (const [name, typed] of unsentIn(parts.storage.getItem(unsentKey))) {
      if (typed !== null) this.#typed.set(name, typed);
      this.#unsent.add(name);
    }
    this.#view = this.#made();
    parts.after(patienceMs, () => this.#nowReady());
  }

  get view(): KeeperView {
    return this.#view;
  }

  /** null: it is saved, or was thrown away. */
  set(name: string, typed: Typed | null): void {
    const before = this.#typed.get(name);
    if (typed === null ? before === undefined : before !== undefined && JSON.stringify(before) === JSON.stringify(typed)) return;
    if (typed === null) this.#typed.delete(name);
    else this.#typed.set(name, typed);
    this.#unsent.add(name);
    this.#noteUnsent();
    this.#changed();
    this.#later(settleMs);
  }

  /** Tells the host at once what it has not been told. */
  flush(): void {
    this.#cancel();
    void this.#send();
  }

  /** The host is there, for the first time or again: what it had kept of this window comes, and what it does not know goes to it. */
  async hello(): Promise<void> {
    this.#up = true;
    const reply = await this.#parts.ask('drafts.list', { window: this.#window });
    if (!reply.ok) {
      this.#problem = reply.failure.text;
      this.#nowReady();
      return;
    }
    const { drafts } = reply.value;
    const mine = drafts.filter(({ window }) => window === this.#window);
    for (const { name, title, work } of mine) if (!this.#typed.has(name) || this.#unsent.has(name)) await this.#take(this.#window, { name, title, work });
    // What only stood in fields is no work that could be mixed up: the latest comes without a question.
    for (const { window, name, title, work, here } of drafts) if (!work && !here && window !== this.#window && !this.#typed.has(name)) await this.#take(window, { name, title, work });
    this.#left = drafts.filter(({ window, here, work }) => work && !here && window !== this.#window);
    this.#problem = '';
    for (const name of this.#typed.keys()) this.#unsent.add(name);
    this.#nowReady();
    this.flush();
  }

  gone(): void {
    this.#up = false;
  }

  /** Goes on with what other windows have left. Empty: all of it is here now. */
  async takeOver(drafts: readonly LeftDraft[]): Promise<string> {
    const not: string[] = [];
    for (const { window, name, title, work } of drafts) {
      if (this.#typed.has(name)) not.push(title);
      else await this.#take(window, { name, title, work });
    }
    await this.hello();
    return not.length === 0 ? '' : `Not taken over, because there is one here already: ${not.join(', ')}. Save it or undo it first.`;
  }

  /** For good. */
  async throwAway(drafts: readonly LeftDraft[]): Promise<void> {
    const writer = this.#writer;
    for (const { window, name, title, work } of drafts) {
      const taken = await this.#parts.ask('drafts.take', { of: window, window, writer, name });
      if (taken.ok) await this.#parts.ask('drafts.keep', { window, writer, name, title, by: '', work, content: null });
    }
    await this.hello();
  }

  async #take(of: string, { name, title, work }: { readonly name: string; readonly title: string; readonly work: boolean }): Promise<void> {
    const reply = await this.#parts.ask('drafts.take', { of, window: this.#window, writer: this.#writer, name });
    // What was typed meanwhile, or could not be told before a reload, is newer.
    if (!reply.ok || reply.value.content === null || reply.value.content === undefined || this.#typed.has(name) || this.#unsent.has(name)) return;
    this.#typed.set(name, { content: reply.value.content, title, work });
    this.#changed();
  }

  #later(ms: number): void {
    this.#cancel();
    this.#cancel = this.#parts.after(ms, () => void this.#send());
  }

  async #send(): Promise<void> {
    if (!this.#up || this.#sending || this.#unsent.size === 0 || !this.#ready) return;
    this.#sending = true;
    let again = 0;
    for (const name of [...this.#unsent]) {
      const typed = this.#typed.get(name) ?? null;
      const { title, work, content } = typed ?? { title: '', work: false, content: null };
      const reply = await this.#parts.ask('drafts.keep', { window: this.#window, writer: this.#writer, name, title: title.slice(0, 200), by: this.#parts.by(), work, content });
      if (!reply.ok) {
        this.#told(reply.failure.code === 'gone' ? '' : reply.failure.text);
        again = retryMs;
        break;
      }
      if (!reply.value.kept && typed !== null) {
        // Another page goes on with what this window had: both stay, each under its own name.
        this.#window = this.#parts.newId();
        this.#keepHere(windowKey, this.#window);
        for (const one of this.#typed.keys()) this.#unsent.add(one);
        again = 1;
        break;
      }
      if ((this.#typed.get(name) ?? null) === typed) this.#unsent.delete(name);
      this.#told('');
    }
    this.#sending = false;
    this.#noteUnsent();
    if (again === 1) {
      await this.#parts.ask('drafts.list', { window: this.#window });
      this.flush();
    } else if (this.#unsent.size > 0) this.#later(again === 0 ? settleMs : again);
  }

  #told(problem: string): void {
    if (problem === this.#problem) return;
    this.#problem = problem;
    this.#changed();
  }

  #nowReady(): void {
    this.#ready = true;
    this.#changed();
  }

  #noteUnsent(): void {
    this.#keepHere(unsentKey, JSON.stringify([...this.#unsent].map((name) => [name, this.#typed.get(name) ?? null])));
  }

  #keepHere(key: string, text: string): void {
    try {
      this.#parts.storage.setItem(key, text);
    } catch {
      // A browser that keeps nothing: the host does.
    }
  }

  #made(): KeeperView {
    return { ready: this.#ready, typed: new Map(this.#typed), left: this.#left, problem: this.#problem };
  }

  #changed(): void {
    this.#view = this.#made();
    this.#parts.onChange();
  }
}

function unsentIn(stored: string | null): readonly (readonly [string, Typed | null])[] {
  try {
    const read = JSON.parse(stored ?? '[]') as unknown;
    return Array.isArray(read) ? (read as [string, Typed | null][]).filter((one) => Array.isArray(one) && typeof one[0] === 'string') : [];
  } catch {
    return [];
  }
}
