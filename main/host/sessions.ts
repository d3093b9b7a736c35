/** The windows at a host: what they ask is taken and answered, one of them holds control, all of them are told what happens. */
import { toHost, type EventData, type EventName } from '../../app/contract/contract.ts';
import { ArchiveUnreadable } from '../archive/read.ts';
import type { Clock } from '../clock/clock.ts';
import { Failed, Prepared, type HostMessage } from './outcome.ts';

/** One window at its host. */
export interface HostClient {
  receive(message: unknown): void;
  close(): void;
}

export interface Window {
  readonly send: (message: HostMessage) => void;
  /** null until it has said hello. */
  name: string | null;
  /** Under which it keeps what is typed in it (HOST-98); null: it has not said. */
  draftsOf: string | null;
  unanswered: number;
}

export type Tell = <N extends EventName>(event: N, data: EventData<N>) => void;

interface SessionParts {
  readonly clock: Clock;
  readonly onDefect: (error: unknown) => void;
  readonly carryOut: (window: Window, name: string, params: unknown) => unknown;
  /** A window has had the answer to its hello: it is told what that does not say. */
  readonly welcome: (window: Window) => void;
  /** The window that held control has gone and has not come back. */
  readonly holderGone: () => void;
}

const MOST_UNANSWERED = 300;
/** A page that is loaded again is back sooner. */
const HOLDER_GONE_MS = 5000;

export class Sessions {
  readonly #parts: SessionParts;
  readonly #windows = new Set<Window>();
  #holder: Window | null = null;
  #cancelHolderGone: () => void = () => undefined;

  constructor(parts: SessionParts) {
    this.#parts = parts;
  }

  get holder(): Window | null {
    return this.#holder;
  }

  get isEmpty(): boolean {
    return this.#windows.size === 0;
  }

  attach(send: (message: HostMessage) => void): HostClient {
    const window: Window = { send, name: null, draftsOf: null, unanswered: 0 };
    this.#windows.add(window);
    return {
      receive: (message) => void this.#receive(window, message),
      close: () => this.#leave(window),
    };
  }

  nameDrafts(window: Window, id: string): void {
    window.draftsOf = id;
  }

  /** The windows that are there, as they name what is typed in them. */
  get draftWindows(): readonly string[] {
    return [...this.#windows].flatMap(({ draftsOf }) => (draftsOf === null ? [] : [draftsOf]));
  }

  /** Nobody is waited for any more. */
  stopWaiting(): void {
    this.#cancelHolderGone();
  }

  close(): void {
    this.#windows.clear();
  }

  /** One window alone, if it is still there. */
  tellOne<N extends EventName>(window: Window, event: N, data: EventData<N>): void {
    if (this.#windows.has(window)) window.send({ event, data });
  }

  readonly tell: Tell = (event, data) => {
    for (const window of this.#windows) if (window.name !== null) window.send({ event, data });
  };

  /** The first window to say hello holds control. */
  greet(window: Window, name: string): void {
    window.name = name;
    if (this.#holder === null) this.giveControl(window);
    else this.#tellControl();
  }

  controlView(window: Window): EventData<'control'> {
    return { mine: this.#holder === window, holder: this.#holder?.name ?? null, windows: [...this.#windows].filter((w) => w.name !== null).length };
  }

  giveControl(window: Window): void {
    this.#cancelHolderGone();
    this.#holder = window;
    this.#tellControl();
  }

  #tellControl(): void {
    for (const window of this.#windows) if (window.name !== null) window.send({ event: 'control', data: this.controlView(window) });
  }

  #leave(window: Window): void {
    this.#windows.delete(window);
    if (this.#holder === window) {
      this.#holder = null;
      this.#cancelHolderGone = this.#parts.clock.after(HOLDER_GONE_MS, () => this.#parts.holderGone());
    }
    this.#tellControl();
  }

  async #receive(window: Window, message: unknown): Promise<void> {
    const parsed = toHost.safeParse(message);
    if (!parsed.success) {
      // Without a number there is nobody to answer.
      const number = toHost.pick({ id: true }).safeParse(message);
      if (number.success) window.send({ id: number.data.id, failure: { code: 'bad-request', text: 'This message is none of the contract. Window and host may be of different versions.' } });
      return;
    }
    const { id, name, params } = parsed.data;
    if (window.unanswered >= MOST_UNANSWERED && name !== 'stop') {
      window.send({ id, failure: { code: 'busy', text: 'This window has asked more than can be answered at once. Wait for the answers.' } });
      return;
    }
    window.unanswered += 1;
    const outcome = await this.#outcome(window, name, params);
    window.unanswered -= 1;
    if (!this.#windows.has(window)) return;
    if (outcome instanceof Failed) window.send({ id, failure: outcome.failure });
    else window.send(outcome instanceof Prepared ? { id, json: outcome.json } : { id, result: outcome });
    if (name === 'hello') this.#parts.welcome(window);
  }

  async #outcome(window: Window, name: string, params: unknown): Promise<unknown> {
    try {
      return await this.#parts.carryOut(window, name, params);
    } catch (error) {
      if (error instanceof ArchiveUnreadable) return new Failed('archive', error.message);
      this.#parts.onDefect(error);
      return new Failed('defect', `This is a defect of the program (${(error as Error).message}). What was committed before is kept. Look at the bench before you go on.`);
    }
  }
}
