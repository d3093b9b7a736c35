/**
 * One conversation with a controller over one open channel: requests with their answers, telemetry, the host's
 * heartbeat, and the watch that notices a dead line. A link that went down stays down; the driver opens another.
 */
import { LONGEST_TO_HOST, type BadLine } from '../../firmware-protocol/line/codec.ts';
import { decodeFromController, encodeRequest, type Reply, type Request, type Telemetry } from '../../firmware-protocol/line/messages.ts';
import type { Clock } from '../clock/clock.ts';
import type { Channel, OpenedChannel } from './channel.ts';
import { Lines } from './lines.ts';

export type LinkAnswer =
  | { readonly kind: 'reply'; readonly reply: Reply }
  | { readonly kind: 'refused'; readonly code: string; readonly text: string }
  /** Whether the request was carried out is unknown. `unanswered`: it was sent and repeated up to its deadline (LINE-70). */
  | { readonly kind: 'no-answer'; readonly unanswered: boolean; readonly text: string };

/** For how long the line may be quiet. */
export interface LinkTiming {
  /** After the first `hello` was answered, the line is never left unused by the host for longer than this. */
  readonly heartbeatMs: number;
  /** Nothing valid heard for this long after the first `hello` was answered: the link is down, whatever the operating system says. */
  readonly silenceMs: number;
}

export interface LinkOptions extends LinkTiming {
  readonly clock: Clock;
  /** A request without an answer for this long is sent again with its own sequence number. */
  readonly replyTimeoutMs: number;
  readonly onTelemetry: (telemetry: Telemetry) => void;
  /** Told once. Not told after `close`. */
  readonly onDown: (reason: string) => void;
}

export interface LinkStatistics {
  readonly linesSent: number;
  /** Lines sent again because no answer came, of all that were sent. */
  readonly linesSentAgain: number;
  readonly heartbeats: number;
  readonly replies: number;
  readonly telemetry: number;
  /** Answers to nothing that was asked: late, repeated, or to another host. Dropped. */
  readonly staleAnswers: number;
  /** Lines that were not taken, by reason. */
  readonly badLines: Readonly<Record<BadLine, number>>;
  /** The latest line whose checksum was right and whose fields were not understood (`form`); null: there was none. */
  readonly lastNotUnderstood: string | null;
}

interface RequestJob {
  readonly kind: 'request';
  readonly request: Request;
  readonly signal: AbortSignal | undefined;
  /** Given when first sent, and kept for every repeat. */
  seq: number | null;
  finish: (answer: LinkAnswer) => void;
}

interface SilenceJob {
  readonly kind: 'silence';
  readonly signal: AbortSignal | undefined;
  readonly ms: number;
  finish: (complete: boolean) => void;
}

const noAnswer = (text: string, unanswered = false): LinkAnswer => ({ kind: 'no-answer', unanswered, text });

const SEQUENCE_NUMBERS = 65_536;
const LF = 10;
/** Between the suspicion that the line is dead and the verdict. */
const LAST_LOOK_MS = 100;

export class Link {
  readonly #channel: Channel;
  #options: LinkOptions;
  readonly #lines: Lines;
  readonly #queue: (RequestJob | SilenceJob)[] = [];
  #current: RequestJob | SilenceJob | null = null;
  #cancelRepeat: () => void = () => undefined;
  #cancelLastLook: () => void = () => undefined;
  /** The functions that end the watches. */
  #watchers: readonly (() => void)[] = [];
  #nextSeq = 0;
  #greeted = false;
  #ended = false;
  #downReason: string | null = null;
  #lastSent: number;
  #lastHeard: number;
  #linesSent = 0;
  #linesSentAgain = 0;
  #heartbeats = 0;
  #replies = 0;
  #telemetry = 0;
  #staleAnswers = 0;
  readonly #badLines: Record<BadLine, number> = {
    'too-long': 0, 'not-printable': 0, 'no-checksum': 0, 'wrong-checksum': 0, form: 0,
  };

  #lastNotUnderstood: string | null = null;

  private constructor(channel: Channel, options: LinkOptions) {
    this.#channel = channel;
    this.#options = options;
    this.#lastSent = this.#lastHeard = options.clock.now();
    this.#lines = new Lines(LONGEST_TO_HOST, (text) => {
      this.#hear(text);
    });
  }

  /** Opens `channel` for one conversation. */
  static async open(channel: Channel, options: LinkOptions): Promise<{ readonly ok: true; readonly link: Link } | Exclude<OpenedChannel, { ok: true }>> {
    const link = new Link(channel, options);
    const result = await channel.open({
      onBytes: (bytes) => {
        link.#lines.push(bytes);
      },
      onClosed: (reason) => {
        link.#fall(reason);
      },
    });
    if (!result.ok) return result;
    link.#lastSent = link.#lastHeard = options.clock.now();
    // Ends whatever half a line may lie in the controller (LINE-2).
    channel.write(Uint8Array.of(LF));
    link.#startWatches();
    return { ok: true, link };
  }

  /** Takes effect at once. */
  setTiming(timing: LinkTiming): void {
    this.#options = { ...this.#options, ...timing };
    if (this.#ended) return;
    for (const cancel of this.#watchers) cancel();
    this.#startWatches();
  }

  #startWatches(): void {
    const { heartbeatMs, silenceMs } = this.#options;
    this.#watchers = [
      this.#watch(() => this.#lastSent, heartbeatMs, () => {
        this.#beat();
      }),
      this.#watch(() => this.#lastHeard, silenceMs, () => {
        this.#noticeSilence();
      }),
    ];
  }

  /** null: up. */
  get downReason(): string | null {
    return this.#downReason;
  }

  /** When the latest well-formed line came; of a link that has heard nothing yet, when it was opened. Milliseconds of its clock. */
  get lastHeardAt(): number {
    return this.#lastHeard;
  }

  get statistics(): LinkStatistics {
    return {
      linesSent: this.#linesSent,
      linesSentAgain: this.#linesSentAgain,
      heartbeats: this.#heartbeats,
      replies: this.#replies,
      telemetry: this.#telemetry,
      staleAnswers: this.#staleAnswers,
      badLines: { ...this.#badLines, 'too-long': this.#badLines['too-long'] + this.#lines.overlong },
      lastNotUnderstood: this.#lastNotUnderstood,
    };
  }

  /**
   * Sends `request` when it is its turn and resolves with the answer, or with `no-answer` when the deadline passes, the
   * signal is aborted or the link goes down; it never rejects. Throws RangeError for a value that the line cannot carry. One request is under way at a time, because the
   * controller remembers one sequence number (LINE-21); a repeat carries the same number, so it is done once.
   *
   * `safe` does not wait its turn: everything before it, sent or not, gets `no-answer`, so that nothing that was asked
   * for earlier can reach the controller after it.
   */
  request(request: Request, how: { readonly deadlineMs: number; readonly signal?: AbortSignal | undefined }): Promise<LinkAnswer> {
    const { clock } = this.#options;
    const { signal } = how;
    // A value that the line cannot carry must throw here, and not when its turn comes.
    encodeRequest(0, request);
    if (this.#ended) return Promise.resolve(noAnswer(this.#downReason ?? 'The link to the bench was closed.'));
    if (signal?.aborted === true) return Promise.resolve(noAnswer('The request was withdrawn before it was sent.'));
    return new Promise((resolve) => {
      const job: RequestJob = {
        kind: 'request',
        request,
        signal,
        seq: null,
        finish: (answer) => {
          job.finish = () => undefined;
          cancelDeadline();
          signal?.removeEventListener('abort', onAbort);
          this.#remove(job);
          resolve(answer);
          this.#next();
        },
      };
      const cancelDeadline = clock.after(how.deadlineMs, () => {
        const waited = `${Number((how.deadlineMs / 1000).toPrecision(2))} s`;
        job.finish(
          job.seq === null
            ? noAnswer(`"${request.word}" could not be sent within ${waited}, because an earlier request was still under way.`)
            : noAnswer(`The controller did not answer "${request.word}" within ${waited}. Whether it was done is not known.`, true),
        );
      });
      const onAbort = () => {
        job.finish(noAnswer(`"${request.word}" was withdrawn before an answer came.`));
      };
      signal?.addEventListener('abort', onAbort);
      if (request.word === 'safe') this.#clearTheWay();
      this.#queue.push(job);
      this.#next();
    });
  }

  /**
   * Sends nothing at all for `ms`, heartbeat included, so that the controller's dead-man has to act. Resolves with true
   * when the silence was kept to its end; false when `safe`, the signal or the end of the link cut it short.
   */
  keepSilent(ms: number, signal?: AbortSignal): Promise<boolean> {
    if (this.#ended || signal?.aborted === true) return Promise.resolve(false);
    return new Promise((resolve) => {
      const job: SilenceJob = {
        kind: 'silence',
        signal,
        ms,
        finish: (complete) => {
          job.finish = () => undefined;
          signal?.removeEventListener('abort', onAbort);
          this.#remove(job);
          resolve(complete);
          this.#next();
        },
      };
      const onAbort = () => {
        job.finish(false);
      };
      signal?.addEventListener('abort', onAbort);
      this.#queue.push(job);
      this.#next();
    });
  }

  /** Answers everything that is under way or waiting with `no-answer`; the link stays up. */
  interrupt(reason: string): void {
    const jobs = this.#current === null ? this.#queue.splice(0) : [this.#current, ...this.#queue.splice(0)];
    for (const job of jobs) {
      if (job.kind === 'request') job.finish(noAnswer(reason));
      else job.finish(false);
    }
  }

  /** Ends the conversation and closes the channel. */
  close(): Promise<void> {
    this.#end('The link to the bench was closed.');
    return this.#channel.close();
  }

  #clearTheWay(): void {
    const waiting = this.#queue.filter((job) => job.kind !== 'request' || job.request.word !== 'safe');
    const current = this.#current;
    if (current !== null && (current.kind !== 'request' || current.request.word !== 'safe')) waiting.push(current);
    for (const job of waiting) this.#remove(job);
    for (const job of waiting) {
      if (job.kind === 'request') job.finish(noAnswer(`"${job.request.word}" gave way, because the bench is being made safe. Whether it was done is not known.`));
      else job.finish(false);
    }
  }

  #remove(job: RequestJob | SilenceJob): void {
    const at = this.#queue.indexOf(job);
    if (at >= 0) this.#queue.splice(at, 1);
    if (this.#current === job) {
      this.#current = null;
      this.#cancelRepeat();
    }
  }

  #next(): void {
    // Of a link that has ended nothing waits any more.
    if (this.#current !== null) return;
    // A signal tells its listeners one after the other: the next in the queue may be withdrawn and not know it yet.
    let job = this.#queue.shift();
    while (job?.signal?.aborted === true) job = this.#queue.shift();
    if (job === undefined) return;
    this.#current = job;
    if (job.kind === 'silence') {
      this.#cancelRepeat = this.#options.clock.after(job.ms, () => {
        job.finish(true);
      });
      return;
    }
    job.seq = this.#nextSeq;
    this.#nextSeq = (this.#nextSeq + 1) % SEQUENCE_NUMBERS;
    this.#send(job);
  }

  #send(job: RequestJob): void {
    if (job.seq === null) throw new Error('a request without a sequence number');
    this.#transmit(job.seq, job.request);
    if (this.#current !== job) return;
    this.#cancelRepeat = this.#options.clock.after(this.#options.replyTimeoutMs, () => {
      this.#linesSentAgain += 1;
      this.#send(job);
    });
  }

  #transmit(seq: number, request: Request): void {
    this.#linesSent += 1;
    this.#lastSent = this.#options.clock.now();
    this.#channel.write(Buffer.from(encodeRequest(seq, request), 'latin1'));
  }

  #hear(text: string): void {
    if (this.#ended) return;
    const heard = decodeFromController(text);
    if (heard.kind === 'bad') {
      this.#badLines[heard.why] += 1;
      if (heard.why === 'form') this.#lastNotUnderstood = text;
      return;
    }
    this.#lastHeard = this.#options.clock.now();
    switch (heard.kind) {
      case 'telemetry':
        this.#telemetry += 1;
        this.#options.onTelemetry(heard.telemetry);
        return;
      case 'refusal':
        this.#settle(heard.seq, heard.refusal.word, () => true, { kind: 'refused', code: heard.refusal.code, text: heard.refusal.text });
        return;
      case 'reply':
        this.#settle(heard.seq, heard.reply.word, (request) => answers(heard.reply, request), { kind: 'reply', reply: heard.reply });
        return;
    }
  }

  #settle(seq: number, word: Request['word'] | 'unknown', fits: (request: Request) => boolean, answer: LinkAnswer): void {
    const job = this.#current;
    if (job?.kind === 'request' && job.seq === seq && (word === job.request.word || word === 'unknown') && fits(job.request)) {
      this.#replies += 1;
      if (job.request.word === 'hello') this.#greeted = true;
      job.finish(answer);
    } else {
      this.#staleAnswers += 1;
    }
  }

  /**
   * A request under way is itself sent again in place of a heartbeat: the controller remembers one sequence number, and
   * a heartbeat in between would make it forget that the request is done.
   */
  #beat(): void {
    const job = this.#current;
    if (job?.kind === 'silence' || !this.#greeted) return;
    this.#heartbeats += 1;
    if (job !== null) {
      this.#cancelRepeat();
      this.#linesSentAgain += 1;
      this.#send(job);
      return;
    }
    void this.request({ word: 'alive' }, { deadlineMs: this.#options.heartbeatMs });
  }

  /**
   * Calls `act` when `quietMs` have passed since `last()`, and again for as long as that stays so. Looks only when the
   * time could be up: nothing is set or cancelled for a line.
   */
  #watch(last: () => number, quietMs: number, act: () => void): () => void {
    const { clock } = this.#options;
    const look = (): void => {
      const due = last() + quietMs;
      if (due > clock.now()) {
        cancel = clock.after(due - clock.now(), look);
      } else {
        cancel = clock.after(quietMs, look);
        act();
      }
    };
    // What is due already is done in the next turn, not in this one.
    let cancel = clock.after(Math.max(0, last() + quietMs - clock.now()), look);
    return () => {
      cancel();
    };
  }

  #noticeSilence(): void {
    // A board that starts anew when its port is opened is silent for seconds; the deadline of `hello` covers that.
    if (!this.#greeted) return;
    // It may be this program that stood still, and what was said meanwhile waits to be read: timers come before reading.
    const heard = this.#lastHeard;
    this.#cancelLastLook = this.#options.clock.after(LAST_LOOK_MS, () => {
      if (this.#lastHeard !== heard) return;
      this.#fall(
        `Nothing was heard from the controller for ${this.#options.silenceMs / 1000} s. Check the cable and the bench's power; the program looks for the bench by itself.`,
      );
    });
  }

  #fall(reason: string): void {
    if (this.#ended) return;
    this.#end(reason);
    void this.#channel.close();
    this.#options.onDown(reason);
  }

  #end(reason: string): void {
    if (this.#ended) return;
    this.#ended = true;
    this.#downReason = reason;
    for (const cancel of this.#watchers) cancel();
    this.#cancelLastLook();
    this.interrupt(reason);
  }
}

/** The reply says what was asked, and not only under its number: an old answer is not taken for a new one. */
function answers(reply: Reply, request: Request): boolean {
  if (reply.word === 'hello') return request.word === 'hello' && reply.token === request.token;
  if (reply.word === 'describe') return request.word === 'describe' && reply.topic === request.topic;
  return true;
}
