/**
 * The window's line to its host: requests with typed replies, and events. It is carried by a WebSocket or a bridge of the
 * desktop shell (carriers.ts) and parses everything that it receives.
 *
 * While the host is gone, questions wait (a bounded number of them, for a bounded time); what would do something on the
 * bench is refused at once, because nobody wants it done a minute later. Only a stop is kept and sent first of all.
 */
import { events, requests, toWindow } from '../../app/contract/contract.ts';
import { deadManText } from '../../app/run/safe-words.ts';
import type { EventData, EventName, Failure, Params, RequestName, AnswerTo, ToHost } from '../../app/contract/contract.ts';

export interface Ears {
  onOpen(): void;
  onMessage(message: unknown): void;
  /** `refused`: the host, or what answers in its place, does not want this window; `why` is the whole of it. */
  onClose(why: string, refused?: boolean): void;
}

export interface Carrier {
  send(message: ToHost): void;
  close(): void;
}

/** Starts to open a way to the host; throws nothing, tells the ears. */
export type OpenCarrier = (ears: Ears) => Carrier;

/** What of the machine the connection needs; tests give their own. */
export interface Timers {
  after(ms: number, action: () => void): () => void;
}

export type LineState =
  | { readonly state: 'connecting'; readonly text: string }
  | { readonly state: 'up'; readonly text: string }
  /** `refused`: as in Ears. */
  | { readonly state: 'gone'; readonly text: string; readonly refused: boolean };

/** Why there is no result: the host's own reason, or `gone` (never sent, or unknown whether it was carried out). */
export type HostFailure = Failure | { readonly code: 'gone'; readonly text: string };
export type HostReply<N extends RequestName> =
  | { readonly ok: true; readonly value: AnswerTo<N> }
  | { readonly ok: false; readonly failure: HostFailure };

type AnyReply = { readonly ok: true; readonly value: unknown } | { readonly ok: false; readonly failure: HostFailure };

interface Asked {
  readonly id: number;
  readonly name: RequestName;
  readonly params: unknown;
  readonly settle: (reply: AnyReply) => void;
  cancelDeadline: () => void;
}

const mostWaiting = 64;
const mostUnanswered = 256;
const deadline = 30_000;
/** Whole-archive work takes its time. */
const slow: ReadonlySet<RequestName> = new Set<RequestName>(['archive.verify', 'archive.backup', 'run.export', 'run.report', 'report.issue', 'report.prove', 'run.open', 'bench.connect']);
const slowDeadline = 600_000;
const helloDeadline = 10_000;
const firstPause = 250;
const longestPause = 5_000;

const goneText = 'The host of this window cannot be reached.';

export class Connection {
  readonly #open: OpenCarrier;
  readonly #timers: Timers;
  readonly #name: () => string;
  readonly #listeners = new Map<EventName, Set<(data: never) => void>>();
  readonly #lineListeners = new Set<() => void>();
  readonly #welcomes = new Set<(hello: AnswerTo<'hello'>) => void>();
  readonly #sent = new Map<number, Asked>();
  #waiting: Asked[] = [];
  #carrier: Carrier | null = null;
  #line: LineState = { state: 'connecting', text: 'Looking for the host of this window.' };
  #nextId = 0;
  #pause = firstPause;
  #closed = false;
  #cancelRetry: () => void = () => undefined;
  /** Messages that were not as the contract says, since the start. */
  #misread = 0;

  /** `name` is asked for at each hello: what the other windows call this one. */
  constructor(options: { readonly open: OpenCarrier; readonly timers: Timers; readonly name: () => string }) {
    this.#open = options.open;
    this.#timers = options.timers;
    this.#name = options.name;
  }

  get line(): LineState {
    return this.#line;
  }

  get misread(): number {
    return this.#misread;
  }

  /** Opens the line, and opens it again whenever it closes, until `close`. Listeners are added before. */
  start(): void {
    this.#dial();
  }

  close(): void {
    this.#closed = true;
    this.#cancelRetry();
    this.#carrier?.close();
  }

  onLine(listener: () => void): () => void {
    this.#lineListeners.add(listener);
    return () => this.#lineListeners.delete(listener);
  }

  /** Called at every beginning of a conversation, before any reply to what had been waiting. */
  onHello(listener: (hello: AnswerTo<'hello'>) => void): () => void {
    this.#welcomes.add(listener);
    return () => this.#welcomes.delete(listener);
  }

  on<N extends EventName>(name: N, listener: (data: EventData<N>) => void): () => void {
    const all = this.#listeners.get(name) ?? new Set();
    this.#listeners.set(name, all);
    all.add(listener);
    return () => all.delete(listener);
  }

  /** Resolves with the reply or the reason why there is none, within a bounded time; never rejects. */
  request<N extends RequestName>(name: N, params: Params<N>): Promise<HostReply<N>> {
    return new Promise((resolve) => {
      const asked = this.#ask(name, params, (reply) => resolve(reply as HostReply<N>));
      if (this.#line.state === 'up') this.#send(asked);
      else this.#keep(asked);
    });
  }

  #ask(name: RequestName, params: unknown, settle: (reply: AnyReply) => void): Asked {
    const asked: Asked = { id: this.#nextId++, name, params, settle, cancelDeadline: () => undefined };
    asked.cancelDeadline = this.#timers.after(name === 'hello' ? helloDeadline : slow.has(name) ? slowDeadline : deadline, () => {
      this.#sent.delete(asked.id);
      this.#waiting = this.#waiting.filter((one) => one !== asked);
      settle(gone('The host did not answer in time. Look at the bench before you ask again.'));
    });
    return asked;
  }

  #keep(asked: Asked): void {
    if (asked.name === 'stop') {
      this.#waiting.unshift(asked);
      this.#drop(this.#waiting.length > mostWaiting ? this.#waiting.pop() : undefined);
    } else if (requests[asked.name].control) {
      this.#finish(asked, gone(`${goneText} Nothing was sent. ${deadManText()}`));
    } else {
      this.#waiting.push(asked);
      if (this.#waiting.length > mostWaiting) this.#drop(asked);
    }
  }

  #drop(asked: Asked | undefined): void {
    if (asked === undefined) return;
    this.#waiting = this.#waiting.filter((one) => one !== asked);
    this.#finish(asked, gone(`${goneText} Too many questions are waiting for it already.`));
  }

  #send(asked: Asked): void {
    if (this.#sent.size >= mostUnanswered && asked.name !== 'stop') {
      this.#finish(asked, gone('The host is not keeping up with what it was asked. Wait a moment and try again.'));
      return;
    }
    this.#sent.set(asked.id, asked);
    this.#carrier?.send({ id: asked.id, name: asked.name, params: asked.params });
  }

  #finish(asked: Asked, reply: AnyReply): void {
    asked.cancelDeadline();
    asked.settle(reply);
  }

  #dial(): void {
    if (this.#closed) return;
    let over = false;
    this.#carrier = this.#open({
      onOpen: () => {
        if (!over) this.#greet();
      },
      onMessage: (message) => {
        if (!over) this.#receive(message);
      },
      onClose: (why, refused = false) => {
        if (over) return;
        over = true;
        this.#lost(why, refused);
      },
    });
  }

  #greet(): void {
    this.#send(
      this.#ask('hello', { name: this.#name() }, (reply) => {
        if (!reply.ok) {
          // Whatever it is that answers there, or does not: the line is of no use, and a new one is tried.
          this.#carrier?.close();
          return;
        }
        this.#pause = firstPause;
        this.#setLine({ state: 'up', text: 'Connected to the host.' });
        for (const welcome of this.#welcomes) welcome(reply.value as AnswerTo<'hello'>);
        const waiting = this.#waiting;
        this.#waiting = [];
        for (const asked of waiting) this.#send(asked);
      }),
    );
  }

  #lost(why: string, refused: boolean): void {
    this.#carrier = null;
    this.#setLine({ state: 'gone', text: refused ? why : `${goneText} ${why}`, refused });
    const unanswered = [...this.#sent.values()];
    this.#sent.clear();
    for (const asked of unanswered) {
      // A question may be asked again; of anything else nobody knows whether it was carried out.
      if (asked.name === 'stop' || (!requests[asked.name].control && asked.name !== 'hello' && asked.name !== 'control.take')) this.#keep(asked);
      else this.#finish(asked, gone('The host went away before it answered. Whether it was carried out is not known: look at the bench.'));
    }
    if (this.#closed) return;
    this.#cancelRetry = this.#timers.after(this.#pause, () => this.#dial());
    this.#pause = Math.min(longestPause, this.#pause * 2);
  }

  #setLine(line: LineState): void {
    this.#line = line;
    for (const listener of this.#lineListeners) listener();
  }

  #receive(message: unknown): void {
    const parsed = toWindow.safeParse(message);
    if (!parsed.success) {
      this.#misread += 1;
      return;
    }
    const { data } = parsed;
    if ('event' in data) this.#announce(data.event, data.data);
    else this.#answer(data);
  }

  #announce(name: string, data: unknown): void {
    // An event that this version does not know is a newer host's affair.
    if (!Object.hasOwn(events, name)) return;
    const known = name as EventName;
    const parsed = events[known].safeParse(data);
    if (!parsed.success) {
      this.#misread += 1;
      return;
    }
    for (const listener of this.#listeners.get(known) ?? []) (listener as (data: unknown) => void)(parsed.data);
  }

  #answer(message: { readonly id: number; readonly result: unknown } | { readonly id: number; readonly failure: Failure }): void {
    const asked = this.#sent.get(message.id);
    if (asked === undefined) return;
    this.#sent.delete(message.id);
    if ('failure' in message) {
      this.#finish(asked, { ok: false, failure: message.failure });
      return;
    }
    const parsed = requests[asked.name].result.safeParse(message.result);
    if (parsed.success) {
      this.#finish(asked, { ok: true, value: parsed.data });
      return;
    }
    this.#misread += 1;
    this.#finish(asked, {
      ok: false,
      failure: { code: 'defect', text: `The host answered "${asked.name}" in a way that this window does not understand. Window and host may be of different versions.` },
    });
  }
}

function gone(text: string): AnyReply {
  return { ok: false, failure: { code: 'gone', text } };
}
