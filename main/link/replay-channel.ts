import { LONGEST_TO_CONTROLLER, LONGEST_TO_HOST } from '../../firmware-protocol/line/codec.ts';
import {
  decodeFromController, decodeFromHost, encodeRefusal, encodeReply, type FromController, type Request,
} from '../../firmware-protocol/line/messages.ts';
import type { Clock } from '../clock/clock.ts';
import type { Channel, ChannelEvents, OpenedChannel } from './channel.ts';
import { Lines } from './lines.ts';
import type { Transcript, TranscriptEntry } from './transcript.ts';

/** A place where the host does not do what the recorded host did. */
export interface Departure {
  /** Time of the recording, ms from its beginning. */
  readonly ms: number;
  readonly kind: 'not-sent' | 'not-recorded' | 'early' | 'unreadable';
  readonly text: string;
}

type Answer = Extract<FromController, { kind: 'reply' | 'refusal' }>;

interface RequestStep {
  readonly kind: 'request';
  readonly ms: number;
  readonly request: Request;
  readonly content: string;
  /** null: the recorded host got none. */
  answer: { readonly afterMs: number; readonly said: Answer } | null;
  met: boolean;
}

type Step =
  | RequestStep
  /** A line that the controller said unasked, or that the wire spoiled: played as it is. */
  | { readonly kind: 'line'; readonly ms: number; readonly text: string }
  | { readonly kind: 'opened'; readonly ms: number }
  | { readonly kind: 'closed'; readonly ms: number; readonly reason: string };

/** How long the play waits for a request that the recorded host sent here, before it goes on without. */
const PATIENCE_MS = 3000;
/** A host that is ahead of the recording by more than this does something else than the recorded one. */
const EARLY_MS = 1000;
/** Requests to look ahead for one that does not come next. */
const LOOK_AHEAD = 20;
const MAX_DEPARTURES = 1000;

/**
 * Plays a recorded conversation to a host. What the controller said of its own accord comes on the recording's time
 * axis; an answer comes when its request does, as late after it as it was recorded. The axis stands still while the play
 * waits for a request. Sequence numbers and tokens are the present host's, and the heartbeat is its own affair: it is
 * answered and not compared. Everything else that differs from the recording is a departure.
 */
export class ReplayChannel implements Channel {
  readonly description: string;
  readonly #clock: Clock;
  readonly #steps: readonly Step[];
  readonly #requests: readonly RequestStep[];
  readonly #departures: Departure[] = [];
  #lines = new Lines(LONGEST_TO_CONTROLLER, () => undefined);
  #events: ChannelEvents | null = null;
  #at = 0;
  #nextRequest = 0;
  /** Clock time less recording time. */
  #offset = 0;
  #cancelStep: () => void = () => undefined;
  /** The latest request heard and its answer; null while that is still to come, or never does. */
  #latest: { readonly seq: number; line: string | null } | null = null;

  constructor(transcript: Transcript, clock: Clock) {
    this.description = `replay of ${transcript.header.channel}`;
    this.#clock = clock;
    this.#steps = stepsOf(transcript.entries);
    this.#requests = this.#steps.filter((step) => step.kind === 'request');
  }

  get departures(): readonly Departure[] {
    return this.#departures;
  }

  open(events: ChannelEvents): Promise<OpenedChannel> {
    const opening = this.#steps.findIndex((step, i) => i >= this.#at && step.kind === 'opened');
    const step = this.#steps[opening];
    if (step === undefined) {
      return Promise.resolve({ ok: false, code: 'absent', text: 'The recording has no further connection here; the replay is at its end.' });
    }
    this.#at = opening + 1;
    this.#offset = this.#clock.now() - step.ms;
    this.#events = events;
    this.#latest = null;
    this.#lines = new Lines(LONGEST_TO_CONTROLLER, (text) => {
      this.#hear(text);
    });
    this.#play();
    return Promise.resolve({ ok: true });
  }

  write(bytes: Uint8Array): void {
    if (this.#events !== null) this.#lines.push(bytes);
  }

  close(): Promise<void> {
    this.#events = null;
    this.#cancelStep();
    return Promise.resolve();
  }

  /** Sets a timer for the step that comes next, unless it is one that waits for the host. */
  #play(): void {
    this.#cancelStep();
    const step = this.#steps[this.#at];
    if (this.#events === null) return;
    if (step?.kind === 'request') {
      if (step.met) {
        this.#at += 1;
        this.#play();
        return;
      }
      this.#cancelStep = this.#clock.after(step.ms + this.#offset + PATIENCE_MS - this.#clock.now(), () => {
        this.#skip(step);
        this.#offset += PATIENCE_MS;
        this.#play();
      });
      return;
    }
    const due = (step?.ms ?? 0) + this.#offset - this.#clock.now();
    this.#cancelStep = this.#clock.after(step === undefined ? PATIENCE_MS : due, () => {
      this.#at += 1;
      if (step?.kind === 'line') {
        this.#say(step.text + '\n');
        this.#play();
      } else {
        this.#end(step?.kind === 'closed' ? step.reason : 'The recording ends here.');
      }
    });
  }

  #say(text: string): void {
    this.#events?.onBytes(Buffer.from(text, 'latin1'));
  }

  #end(reason: string): void {
    const events = this.#events;
    void this.close();
    events?.onClosed(reason);
  }

  #skip(step: RequestStep): void {
    step.met = true;
    this.#nextRequest = Math.max(this.#nextRequest, this.#requests.indexOf(step) + 1);
    this.#depart('not-sent', step.ms, `The recorded host sent "${step.content}" here, and this one did not.`);
  }

  #depart(kind: Departure['kind'], ms: number, text: string): void {
    if (this.#departures.length < MAX_DEPARTURES) this.#departures.push({ kind, ms, text });
  }

  #hear(text: string): void {
    const now = this.#clock.now() - this.#offset;
    const heard = decodeFromHost(text);
    if (heard.kind !== 'request') {
      this.#depart('unreadable', now, `The host sent a line that is no request: ${JSON.stringify(text)}.`);
      return;
    }
    const { seq, request } = heard;
    if (request.word === 'alive') {
      this.#say(encodeReply(seq, { word: 'alive' }));
      return;
    }
    if (this.#latest?.seq === seq) {
      if (this.#latest.line !== null) this.#say(this.#latest.line);
      return;
    }
    const content = contentOf(request);
    const ahead = this.#requests.slice(this.#nextRequest, this.#nextRequest + LOOK_AHEAD).findIndex((step) => step.content === content);
    if (ahead < 0) {
      this.#depart('not-recorded', now, `The host sent "${content}", and the recorded one did not.`);
      const line = encodeRefusal(seq, { word: request.word, code: 'replay', text: 'The recording has no such request here.' });
      this.#latest = { seq, line };
      this.#say(line);
      return;
    }
    for (const skipped of this.#requests.slice(this.#nextRequest, this.#nextRequest + ahead)) this.#skip(skipped);
    const step = this.#requests[this.#nextRequest];
    if (step === undefined) throw new Error('a request was found and is gone');
    this.#meet(step, seq, request);
  }

  #meet(step: RequestStep, seq: number, request: Request): void {
    const lead = step.ms + this.#offset - this.#clock.now();
    if (lead > EARLY_MS) {
      this.#depart('early', step.ms, `The host sent "${step.content}" ${Math.round(lead)} ms earlier than the recorded one.`);
    }
    step.met = true;
    this.#nextRequest += 1;
    // A late host moves all that follows; an early one moves nothing, its answer just comes early too.
    if (lead < 0) this.#offset -= lead;
    const latest: { readonly seq: number; line: string | null } = { seq, line: null };
    this.#latest = latest;
    if (step.answer !== null) {
      const line = encodeAnswer(seq, step.answer.said, request);
      this.#clock.after(step.answer.afterMs, () => {
        latest.line = line;
        this.#say(line);
      });
    }
    this.#play();
  }
}

function contentOf(request: Request): string {
  return Object.entries(request)
    .filter(([key]) => key !== 'token')
    .map(([key, value]) => (key === 'word' ? String(value) : `${key}=${String(value)}`))
    .join(' ');
}

function encodeAnswer(seq: number, said: Answer, request: Request): string {
  if (said.kind === 'refusal') return encodeRefusal(seq, said.refusal);
  const { reply } = said;
  return encodeReply(seq, reply.word === 'hello' && request.word === 'hello' ? { ...reply, token: request.token } : reply);
}

/** Puts the pieces of both directions together to lines again and finds which answer belongs to which request. */
function stepsOf(entries: readonly TranscriptEntry[]): Step[] {
  const steps: Step[] = [];
  let ms = 0;
  let latest: { readonly seq: number; readonly step: RequestStep | null } | null = null;
  const fromHost = new Lines(LONGEST_TO_CONTROLLER, (text) => {
    const heard = decodeFromHost(text);
    if (heard.kind !== 'request' || heard.seq === latest?.seq) return;
    const { request, seq } = heard;
    if (request.word === 'alive') {
      latest = { seq, step: null };
      return;
    }
    const step: RequestStep = { kind: 'request', ms, request, content: contentOf(request), answer: null, met: false };
    latest = { seq, step };
    steps.push(step);
  });
  const fromController = new Lines(LONGEST_TO_HOST, (text) => {
    const heard = decodeFromController(text);
    if (heard.kind === 'telemetry' || heard.kind === 'bad') steps.push({ kind: 'line', ms, text });
    else if (latest?.seq === heard.seq && latest.step !== null) latest.step.answer ??= { afterMs: ms - latest.step.ms, said: heard };
  });
  for (const entry of entries) {
    ms = entry.ms;
    switch (entry.from) {
      case 'host':
        fromHost.push(Buffer.from(entry.text, 'latin1'));
        break;
      case 'controller':
        fromController.push(Buffer.from(entry.text, 'latin1'));
        break;
      case 'channel':
        fromHost.restart();
        fromController.restart();
        latest = null;
        steps.push(entry.event === 'opened' ? { kind: 'opened', ms } : { kind: 'closed', ms, reason: entry.text });
        break;
    }
  }
  return steps;
}
