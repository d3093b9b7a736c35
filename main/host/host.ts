/**
 * The host of the windows: owns the archive, the connection to the bench, and what is done on it. Windows attach to it over
 * any carrier and speak the contract; one of them holds control, the others watch, and a stop is taken from each.
 */
import { problemsOf } from '../../app/boundary/problems.ts';
import type { BenchFrame } from '../../app/bench/port.ts';
import { requests, toHost, type BenchView, type EventData, type EventName, type Failure, type ParsedParams, type RequestName, type Result, type ToWindow } from '../../app/contract/contract.ts';
import type { Archive } from '../archive/archive.ts';
import { connectBench, type Bench } from '../bench/driver.ts';
import { benchPlace, type BenchPlace } from './bench-place.ts';

export interface HostParts {
  readonly archive: Archive;
  readonly software: string;
  readonly onDefect: (error: unknown) => void;
}

/** One window at its host. */
export interface HostClient {
  receive(message: unknown): void;
  close(): void;
}

interface Window {
  readonly send: (message: ToWindow) => void;
  /** null until it has said hello. */
  name: string | null;
  unanswered: number;
}

type BenchState =
  | { readonly state: 'absent'; readonly why: string }
  | { readonly state: 'connecting'; readonly place: BenchPlace; readonly abort: AbortController }
  | { readonly state: 'connected'; readonly place: BenchPlace; readonly bench: Bench };

/** A request that was not carried out, as a value. */
class Failed {
  readonly failure: Failure;

  constructor(code: Failure['code'], text: string) {
    this.failure = { code, text };
  }
}

type Handler<N extends RequestName> = (params: ParsedParams<N>, window: Window) => Result<N> | Failed | Promise<Result<N> | Failed>;
type Handlers = { readonly [N in RequestName]?: Handler<N> };

const FRAMES_EVERY_MS = 100;
/** More than this many between two such events is a defect of the clock, not something to show. */
const MOST_FRAMES_AT_ONCE = 2000;
const MOST_UNANSWERED = 300;
/** Until a run brings its own. */
const LINK_WITHOUT_RUN = { deadManMs: 1000, telemetryHz: 20 };

export class Host {
  readonly #parts: HostParts;
  readonly #windows = new Set<Window>();
  #holder: Window | null = null;
  #bench: BenchState = { state: 'absent', why: 'No bench has been connected yet.' };
  #frames: BenchFrame[] = [];
  readonly #ticker: NodeJS.Timeout;

  constructor(parts: HostParts) {
    this.#parts = parts;
    this.#ticker = setInterval(() => this.#flushFrames(), FRAMES_EVERY_MS);
    this.#ticker.unref();
  }

  /** A window is there. `send` must not throw and may drop what a slow window cannot take of frames and status. */
  attach(send: (message: ToWindow) => void): HostClient {
    const window: Window = { send, name: null, unanswered: 0 };
    this.#windows.add(window);
    return {
      receive: (message) => void this.#receive(window, message),
      close: () => this.#leave(window),
    };
  }

  /** Makes safe what this program drives and lets go of everything. */
  async close(): Promise<void> {
    clearInterval(this.#ticker);
    await this.#disconnect('The host has ended.');
    this.#windows.clear();
  }

  // ---------------------------------------------------------------- messages

  async #receive(window: Window, message: unknown): Promise<void> {
    const parsed = toHost.safeParse(message);
    if (!parsed.success) return;
    const { id, name, params } = parsed.data;
    if (window.unanswered >= MOST_UNANSWERED && name !== 'stop') {
      window.send({ id, failure: { code: 'busy', text: 'This window has asked more than can be answered at once. Wait for the answers.' } });
      return;
    }
    window.unanswered += 1;
    let outcome: unknown;
    try {
      outcome = await this.#carryOut(window, name, params);
    } catch (error) {
      this.#parts.onDefect(error);
      outcome = new Failed('defect', `This is a defect of the program (${(error as Error).message}). What was committed before is safe. Look at the bench before you go on.`);
    }
    window.unanswered -= 1;
    if (!this.#windows.has(window)) return;
    window.send(outcome instanceof Failed ? { id, failure: outcome.failure } : { id, result: outcome });
  }

  #carryOut(window: Window, name: string, params: unknown): unknown {
    if (!Object.hasOwn(requests, name)) return new Failed('bad-request', `There is no request "${name}".`);
    const known = name as RequestName;
    const parsed = requests[known].params.safeParse(params);
    if (!parsed.success) {
      const texts = problemsOf(parsed.error, params).map((p) => (p.path === '' ? p.text : `${p.path}: ${p.text}`));
      return new Failed('bad-request', `"${name}" cannot be understood. ${texts.join(' ')}`);
    }
    if (requests[known].control && this.#holder !== window) {
      const who = this.#holder === null ? 'No window holds control at the moment' : `Control is held by ${this.#holder.name ?? 'another window'}`;
      return new Failed('not-in-control', `${who}. Nothing was done. Take control first.`);
    }
    const handler = this.#handlers[known] as Handler<RequestName> | undefined;
    if (handler === undefined) return new Failed('defect', `"${name}" is not there yet.`);
    return handler(parsed.data, window);
  }

  #tell<N extends EventName>(event: N, data: EventData<N>): void {
    for (const window of this.#windows) if (window.name !== null) window.send({ event, data });
  }

  // ---------------------------------------------------------------- requests

  readonly #handlers: Handlers = {
    hello: ({ name }, window) => {
      window.name = name;
      this.#holder ??= window;
      this.#tellControl();
      return {
        software: this.#parts.software,
        archivePath: this.#parts.archive.path,
        bench: this.#benchView(),
        control: this.#controlView(window),
        openRun: null,
        manual: null,
        now: Date.now(),
      };
    },

    'control.take': (_params, window) => {
      if (window.name === null) return new Failed('bad-request', 'A window says hello before it takes control.');
      this.#holder = window;
      this.#tellControl();
      return this.#controlView(window);
    },

    stop: () => {
      if (this.#bench.state !== 'connected') return { accepted: true, reason: 'No bench is connected, so nothing is driven by this program.' };
      void this.#bench.bench.perform({ kind: 'make-safe' });
      return { accepted: true, reason: 'The bench is being made safe: pulsing off, supply to its safe value, disarmed.' };
    },

    'bench.connect': ({ bench: choice }) => this.#connect(choice),

    'bench.disconnect': async () => {
      await this.#disconnect('The bench was disconnected.');
      return this.#benchView();
    },
  };

  // ---------------------------------------------------------------- control

  #controlView(window: Window): EventData<'control'> {
    return { mine: this.#holder === window, holder: this.#holder?.name ?? null, windows: [...this.#windows].filter((w) => w.name !== null).length };
  }

  #tellControl(): void {
    for (const window of this.#windows) if (window.name !== null) window.send({ event: 'control', data: this.#controlView(window) });
  }

  #leave(window: Window): void {
    this.#windows.delete(window);
    if (this.#holder === window) this.#holder = null;
    this.#tellControl();
  }

  // ---------------------------------------------------------------- bench

  #benchView(): BenchView {
    const at = this.#bench;
    switch (at.state) {
      case 'absent':
        return { state: 'absent', why: at.why };
      case 'connecting':
        return { state: 'connecting', to: at.place.description };
      case 'connected': {
        const { bench, place } = at;
        return {
          state: 'connected',
          simulated: place.simulated,
          link: bench.link,
          up: bench.downReason === null,
          why: bench.downReason ?? '',
          identity: bench.identity,
          capabilities: bench.capabilities,
          bootId: bench.bootId,
          statistics: bench.statistics() as Record<string, unknown> | null,
        };
      }
    }
  }

  #setBench(state: BenchState): void {
    this.#bench = state;
    this.#tell('bench', this.#benchView());
  }

  async #connect(choice: ParsedParams<'bench.connect'>['bench']): Promise<BenchView | Failed> {
    if (this.#bench.state === 'connecting') return new Failed('busy', 'A bench is being connected already. Wait for that, or disconnect.');
    const place = benchPlace(choice);
    if ('problem' in place) return new Failed('bad-request', place.problem);
    await this.#disconnect('Another bench is being connected.');
    const abort = new AbortController();
    this.#setBench({ state: 'connecting', place, abort });
    const connected = await connectBench({
      channels: place.channels, clock: place.clock, ...LINK_WITHOUT_RUN, signal: abort.signal,
    });
    if (!connected.ok) {
      place.close();
      this.#setBench({ state: 'absent', why: connected.text });
      return new Failed('bench', connected.text);
    }
    const { bench } = connected;
    bench.listen({
      onFrame: (frame) => this.#frames.push(frame),
      onLink: () => this.#tell('bench', this.#benchView()),
    });
    this.#setBench({ state: 'connected', place, bench });
    return this.#benchView();
  }

  async #disconnect(why: string): Promise<void> {
    const at = this.#bench;
    switch (at.state) {
      case 'absent':
        return;
      case 'connecting':
        at.abort.abort();
        return;
      case 'connected':
        await at.bench.perform({ kind: 'make-safe' });
        await at.bench.close();
        at.place.close();
        this.#setBench({ state: 'absent', why });
    }
  }

  #flushFrames(): void {
    if (this.#frames.length === 0) return;
    const frames = this.#frames.slice(-MOST_FRAMES_AT_ONCE);
    this.#frames = [];
    this.#tell('frames', { frames });
  }
}
