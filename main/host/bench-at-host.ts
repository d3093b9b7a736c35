/** The bench that a host has: absent, being connected, or connected with what works on it by hand. */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { BenchView } from '../../app/contract/bench-requests.ts';
import type { ParsedParams } from '../../app/contract/contract.ts';
import type { Bench } from '../bench/driver.ts';
import { wait } from '../clock/clock.ts';
import type { PortInfo } from '../link/serial-ports.ts';
import { ManualBench } from '../service/manual-bench.ts';
import type { BenchPlace, BenchPlaces } from './bench-place.ts';
import { Failed } from './outcome.ts';
import type { Tell } from './sessions.ts';

interface Connected {
  readonly state: 'connected';
  readonly place: BenchPlace;
  readonly bench: Bench;
  readonly manual: ManualBench;
}

type BenchState =
  | { readonly state: 'absent'; readonly why: string }
  | { readonly state: 'connecting'; readonly place: BenchPlace; readonly abort: AbortController }
  | Connected;

interface BenchParts {
  /** The ports that a window may open, and no other (HOST-9). */
  readonly serialPorts: () => Promise<readonly PortInfo[]>;
  readonly places: BenchPlaces;
  readonly tell: Tell;
  /** Told when a bench begins or ends to be connected. */
  readonly onBench: (connected: boolean) => void;
  /** Told after every change of the state. */
  readonly onChange: () => void;
}

/** Until a run brings its own. */
const LINK_WITHOUT_RUN = { deadManMs: 1000, telemetryHz: 20 };
/** Bench time in which a frame must have come. */
const FRAME_DEADLINE_MS = 2000;

const asRecord = (value: object | null): Record<string, unknown> | null => (value === null ? null : { ...value });

export class BenchAtHost {
  readonly #parts: BenchParts;
  #at: BenchState = { state: 'absent', why: 'No bench has been connected yet.' };
  #frames: BenchFrame[] = [];

  constructor(parts: BenchParts) {
    this.#parts = parts;
  }

  get at(): BenchState {
    return this.#at;
  }

  get connected(): Connected | null {
    return this.#at.state === 'connected' ? this.#at : null;
  }

  /** The frames since this was asked last. */
  takeFrames(): readonly BenchFrame[] {
    const frames = this.#frames;
    if (frames.length > 0) this.#frames = [];
    return frames;
  }

  view(): BenchView {
    const at = this.#at;
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
          speed: place.speed ?? 1,
          scenario: place.scenario ?? '',
          link: bench.link,
          up: bench.downReason === null,
          why: bench.downReason ?? '',
          identity: bench.identity,
          capabilities: bench.capabilities,
          bootId: bench.bootId,
          statistics: asRecord(bench.statistics()),
        };
      }
    }
  }

  /** The place that was asked for; why there is none otherwise. */
  async placeOf(choice: ParsedParams<'bench.connect'>['bench']): Promise<BenchPlace | Failed> {
    if (choice.kind === 'port' && !(await this.#parts.serialPorts()).some(({ path }) => path === choice.path)) {
      return new Failed('bad-request', `This machine does not list ${choice.path} as a port, so it was not opened. Check the cable, and choose a port of the list; one that is never listed has to be named with --port when the program is started.`);
    }
    const place = this.#parts.places(choice);
    return 'problem' in place ? new Failed('bad-request', place.problem) : place;
  }

  /** In place of the bench there was. */
  async connect(place: BenchPlace): Promise<BenchView | Failed> {
    await this.disconnect('Another bench is being connected.');
    const abort = new AbortController();
    this.#set({ state: 'connecting', place, abort });
    const connected = await place.connect({ ...LINK_WITHOUT_RUN, signal: abort.signal });
    if (!connected.ok) {
      place.close();
      this.#set({ state: 'absent', why: connected.text });
      return new Failed('bench', connected.text);
    }
    const { bench } = connected;
    bench.listen({
      onFrame: (frame) => this.#frames.push(frame),
      onLink: () => this.tellView(),
    });
    const manual = new ManualBench(bench, place.clock);
    this.#set({ state: 'connected', place, bench, manual });
    // Its dead-man hears this program from now on: what another left driven would stay so (HOST-50).
    await this.nextFrame();
    if (manual.isFoundDriven) await manual.makeSafe('The bench was still driven when it was connected.');
    return this.view();
  }

  /** A bench that is being connected is waited for no longer. True: one was. */
  stopConnecting(why: string): boolean {
    if (this.#at.state !== 'connecting') return false;
    this.#at.abort.abort(new Error(why));
    return true;
  }

  async disconnect(why: string): Promise<void> {
    this.stopConnecting(why);
    const at = this.connected;
    if (at === null) return;
    const safe = await at.manual.leave(why);
    at.manual.close();
    await at.bench.close();
    at.place.close();
    this.#set({ state: 'absent', why: safe.accepted ? why : `${why} ${safe.reason}` });
  }

  /** The settings of a bench without a run: it keeps those of the run that was if it does not take these. */
  async settleWithoutRun(): Promise<void> {
    await this.connected?.bench.configure(LINK_WITHOUT_RUN);
  }

  /** Of the time of a simulated bench against that of the wall, also while it is at work (WIN-50). */
  setSpeed(speed: number): BenchView | Failed {
    const setSpeed = this.connected?.place.setSpeed;
    if (setSpeed === undefined) return new Failed('refused', 'No simulated bench is connected. The time of a real one passes as it does.');
    setSpeed(speed);
    this.tellView();
    return this.view();
  }

  /** Resolves when the bench has been seen again, or could not. */
  async nextFrame(): Promise<void> {
    if (this.#at.state !== 'connected') return;
    const { bench, place } = this.#at;
    const come = new AbortController();
    const unlisten = bench.listen({ onFrame: () => come.abort(new Error('a frame came')), onLink: () => undefined });
    await wait(place.clock, FRAME_DEADLINE_MS, come.signal).catch(() => undefined);
    unlisten();
  }

  tellView(): void {
    this.#parts.tell('bench', this.view());
  }

  #set(state: BenchState): void {
    const before = this.#at.state === 'connected';
    this.#at = state;
    if (before !== (state.state === 'connected')) this.#parts.onBench(!before);
    this.tellView();
    this.#parts.onChange();
  }
}
