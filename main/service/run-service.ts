/**
 * Joins engine, bench and archive for one run. It decides nothing: inputs go to the engine; what the engine says happened
 * is committed; only then does the bench hear what to do next. So whatever the bench was told is in the archive, and a
 * host that dies at any instant can be followed by another.
 *
 * The one exception to that order is making safe, which never waits for a disk.
 */
import type { BenchFrame, BenchReply } from '../../app/bench/port.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { expandPlan, expectedPoints } from '../../app/plan/expand.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { preflight } from '../../app/plan/preflight.ts';
import { createEngine, type EngineInput, type EngineOutput, type EngineRequest, type RunEngine, type RunStatus } from '../../app/run/engine.ts';
import type { RunCommand, RunEvent, RunEventBody } from '../../app/journal/events.ts';
import { foldRun, forDriving } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import { recoverRun } from '../../app/run/recover.ts';
import type { HostClocks } from '../../app/run/host-time.ts';
import { madeSafeText } from '../../app/run/safe-words.ts';
import { openArchive, type Archive } from '../archive/archive.ts';
import { meterStandingIn } from '../archive/meter-standing.ts';
import { qualificationIn } from '../archive/qualification-standing.ts';
import type { Bench, BenchLinkEvent } from '../bench/driver.ts';
import type { Clock } from '../clock/clock.ts';
import { today, undatable } from '../clock/dating.ts';
import { newId, type Entropy } from '../clock/entropy.ts';
import { blindSource } from './blind.ts';
import { isDriven } from './driven.ts';
import { Decisions, type Decide } from './decide.ts';
import { hold, type Held } from './held-bench.ts';
import { brokenByCommit, brokenByStep } from './invariants.ts';
import { framesFor, MOST_FRAMES_HELD } from './held-frames.ts';
import { loadRun, loadRunGently, openingWritten, type RunFailure } from './load-run.ts';
import type { ChannelSource } from '../link/channel.ts';

export { loadRun, loadRunGently, type RunFailure } from './load-run.ts';

interface SharedParts {
  readonly archive: Archive;
  readonly clock: Clock;
  /** The bench is a simulated one of this program: it has no instruments that a certificate could be of. */
  readonly simulated: boolean;
  /** Where names come from that no other has: of commands, and of conversations with the controller. */
  readonly entropy: Entropy;
  /** null when it cannot be told. */
  readonly freeDiskBytes: () => number | null;
  readonly decide?: Decide;
}

export type ServiceParts =
  /** The run connects the bench and lets go of it at its close. */
  | (SharedParts & { readonly channels: ChannelSource; readonly bench?: never })
  /** The bench is connected already, on the same clock, and stays so. */
  | (SharedParts & { readonly bench: Bench; readonly channels?: never });

export type WhichRun =
  | { readonly kind: 'new'; readonly plan: Plan; readonly equipment: Equipment; readonly operator: string; readonly software: string }
  | { readonly kind: 'stored'; readonly id: string };

/** Why a run goes on no further by itself. */
export type Rest =
  | { readonly kind: 'resting'; readonly mode: 'ready' | 'paused' | 'tripped' | 'ended' }
  /** The archive could not be written, or the program found itself wrong (RUN-201): the bench was made safe and this service is over. */
  | { readonly kind: 'failed'; readonly code: 'archive' | 'defect'; readonly text: string };

const TICK_MS = 250;
/** How often the log is moved into the main file while a run goes on. */
const CHECKPOINT_S = 60;
/** How often it is looked whether the archive is where it was, beside after each commit. */
const LOOK_S = 1;
const FIRST_FRAME_MS = 3000;

/** `committed` are the same events as they stand in the archive. */
export type Listener = (events: readonly RunEventBody[], committed: readonly RunEvent[]) => void;

export class RunService {
  readonly id: string;
  readonly plan: Plan;
  readonly #parts: ServiceParts;
  readonly #bench: Bench;
  readonly #engine: RunEngine;
  readonly #listeners = new Set<Listener>();
  #frames: BenchFrame[] = [];
  #latestFrame: BenchFrame | null = null;
  /** The bench is being told something, and what it said within that. */
  #telling = false;
  readonly #meanwhile: EngineInput[] = [];
  #failure: Extract<Rest, { kind: 'failed' }> | null = null;
  #failing = false;
  #closed = false;
  #cancelTick: () => void = () => undefined;
  #abandon: () => void = () => undefined;
  #onFirstFrame: (() => void) | null = null;
  readonly #letGo: () => Promise<void>;
  readonly #decisions: Decisions;
  #unlisten: () => void = () => undefined;
  /** Somebody works on the bench by hand, and the run does not look. */
  #aside = false;

  private constructor(id: string, engine: RunEngine, { bench, letGo }: Held, parts: ServiceParts) {
    this.id = id;
    this.#letGo = letGo;
    this.#decisions = new Decisions(parts.archive, id, parts.decide);
    this.plan = engine.state.plan;
    this.#engine = engine;
    this.#bench = bench;
    this.#parts = parts;
  }

  /**
   * Connects the bench and opens a new run, or a stored one where it was left. Nothing is energised by it.
   * Failures are typed and leave no half-opened run behind; a new run that fails before the bench answered is not recorded.
   * `committed`: what was written meanwhile, which no listener was told. `foundDriven`: that the bench was still driven when it was
   * connected here, and what came of making it safe (HOST-50), in sentences; null: it was at rest.
   */
  // eslint-disable-next-line complexity -- the opening of a run in its order, each step left at once when it fails
  static async open(parts: ServiceParts, which: WhichRun, signal?: AbortSignal): Promise<{ ok: true; service: RunService; committed: readonly RunEvent[]; foundDriven: string | null } | RunFailure> {
    const wall = parts.clock.unixNow();
    const clockFault = undatable(wall);
    if (clockFault !== null) return { ok: false, code: 'clock', text: `${clockFault}: no run can be dated by it. Nothing was switched. Set the clock, then open the run again.` };
    const stored = which.kind === 'stored' ? await loadRunGently(parts.archive, which.id, parts.clock) : null;
    if (stored !== null && !stored.ok) return stored;
    const plan = stored?.state.plan ?? (which as Extract<WhichRun, { kind: 'new' }>).plan;
    const equipment = stored?.state.equipment ?? (which as Extract<WhichRun, { kind: 'new' }>).equipment;

    const held = await hold(parts, plan.link, stored?.state.bench?.identity, signal);
    if (!held.ok) return held;
    const { bench } = held;

    const points = stored?.state.setPoints ?? expandPlan(plan);
    const qualification = qualificationIn(parts.archive, bench.identity, wall);
    const sheet = preflight(plan, plan.targets === undefined ? points : expectedPoints(plan), {
      capabilities: bench.capabilities, equipment,
      controller: { ...bench.identity, simulated: parts.simulated },
      freeDiskBytes: parts.freeDiskBytes(),
      meterChecks: meterStandingIn(parts.archive, equipment, today(parts.clock)),
      qualification,
      today: today(parts.clock),
    });
    const opening: RunEventBody[] = [];
    if (which.kind === 'new') {
      opening.push({ kind: 'opened', plan, equipment, operator: which.operator, software: which.software, points: points.length });
    } else if (stored !== null) {
      opening.push(...recoverRun(stored.state));
    }
    opening.push({
      kind: 'bench-connected', identity: bench.identity, capabilities: bench.capabilities, bootId: bench.bootId, link: bench.link,
    });
    opening.push({ kind: 'preflight', lines: sheet.lines, ...(qualification.sheet === null ? {} : { qualification: qualification.sheet }) });

    const made = which.kind === 'new' ? parts.archive.createRun({ ...which, simulated: parts.simulated }) : ({ ok: true, id: which.id } as const);
    if (!made.ok) return lettingGo(held, made.text);
    const written = openingWritten(() => parts.archive.append(made.id, opening, []));
    if (!written.ok) return lettingGo(held, written.text);
    const state = opening.reduce<RunState | null>(foldRun, stored?.state ?? null);
    if (state === null) throw new Error('a run without an event');
    const service = new RunService(made.id, createEngine(forDriving(state), blindSource(parts.entropy)), held, parts);
    const committed = [...written.events];
    const unlisten = service.listen((_events, more) => void committed.push(...more));
    service.#unlisten = bench.listen({
      onFrame: (frame) => {
        service.#onFrame(frame);
      },
      onLink: (event) => {
        service.#onLink(event);
      },
    });
    if (bench.downReason !== null) service.#onLink({ state: 'down', reason: bench.downReason });
    service.#tick();
    await service.#firstFrame();
    const foundDriven = parts.bench === undefined ? await service.#restFoundDriven() : null;
    unlisten();
    return { ok: true, service, committed, foundDriven };
  }

  /** A run that was driving when its host died is on its way to safe by itself. */
  async #restFoundDriven(): Promise<string | null> {
    const { capabilities } = this.#bench;
    if (this.#latestFrame === null || !isDriven(this.#latestFrame, capabilities) || this.isActive) return null;
    const reply = await this.#bench.perform({ kind: 'make-safe' });
    return `The bench was still driven when it was connected. ${madeSafeText(reply, capabilities.rail !== undefined)}`;
  }

  #onFrame(frame: BenchFrame): void {
    if (this.#aside) return;
    this.#latestFrame = frame;
    this.#frames.push(frame);
    this.#feed({ kind: 'frame', ...this.#time(), frame });
    this.#onFirstFrame?.();
    this.#onFirstFrame = null;
  }

  #onLink(event: BenchLinkEvent): void {
    if (this.#aside) return;
    this.#feed({ kind: 'link', ...this.#time(), state: event.state, reason: event.reason, bootId: event.state === 'up' ? event.bootId : '' });
  }

  /**
   * Lets a person work on the bench by hand while the run is paused: to the run the bench is away until `takeBack`, so that
   * it does not take what is done meanwhile for a fault. The journal says from when to when.
   */
  setAside(): void {
    if (this.#aside) return;
    if (this.#engine.state.mode !== 'paused') throw new Error('only a paused run can be set aside');
    if (this.#bench.downReason === null) this.#onLink({ state: 'down', reason: 'The bench is worked on by hand; this run does not watch it meanwhile.' });
    this.#aside = true;
  }

  /** Call it when the bench has been made safe. */
  takeBack(): void {
    if (!this.#aside) return;
    this.#aside = false;
    if (this.#bench.downReason === null) this.#onLink({ state: 'up', reason: 'The work by hand is over.', bootId: this.#bench.bootId });
  }

  /** Returns with the first frame that the engine has seen, or after a time in which one must have come. */
  #firstFrame(): Promise<void> {
    return new Promise((resolve) => {
      const cancel = this.#parts.clock.after(FIRST_FRAME_MS, resolve);
      this.#onFirstFrame = () => {
        cancel();
        resolve();
      };
    });
  }

  get state(): RunState {
    return this.#engine.state;
  }

  /** Whether the run drives the bench or may do so by itself. */
  get isActive(): boolean {
    return this.#restNow() === null;
  }

  /** The run is being given up. `failure` follows as soon as it is known whether the bench was made safe. */
  get isFailing(): boolean {
    return this.#failing;
  }

  /** Why this service is over before its run is; null: it is not. */
  get failure(): string | null {
    return this.#failure?.text ?? null;
  }

  /** What the service failed of; null: it has not. */
  get failureCode(): 'archive' | 'defect' | null {
    return this.#failure?.code ?? null;
  }

  status(): RunStatus {
    return this.#engine.status(this.#now());
  }

  /** Accepted or refused, with the reason, once it is in the archive. The same `id` again gives the same answer. */
  command(command: RunCommand, by: string, id: string = newId(this.#parts.entropy)): { readonly accepted: boolean; readonly reason: string } {
    if (this.#failure !== null) return { accepted: false, reason: this.#failure.text };
    const output = this.#feed({ kind: 'command', ...this.#time(), id, by, command });
    return output?.answer ?? { accepted: false, reason: 'The run is being given up: its archive could not be written, or the program found a fault of its own. The bench is being made safe.' };
  }

  /** Told after each commit, with what was committed. */
  listen(listener: Listener): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Resolves as soon as the run needs a person, has ended, or failed. A hold is not a rest: it may resume by itself. */
  rest(): Promise<Rest> {
    return new Promise((resolve) => {
      const look = (): boolean => {
        const rest = this.#restNow();
        if (rest === null) return false;
        unlisten();
        resolve(rest);
        return true;
      };
      const unlisten = this.listen(look);
      look();
    });
  }

  /**
   * Reads the run back from the file under the archive's name, through a door of its own: null when everything that was accepted stands
   * there; otherwise what is wrong, in a sentence.
   */
  readBack(): string | null {
    const { archive } = this.#parts;
    const opened = openArchive(archive.path, { readOnly: true });
    if (!opened.ok) return opened.text;
    try {
      const stored = loadRun(opened.archive, this.id);
      if (!stored.ok) return stored.text;
      const missing = this.state.points.filter(({ chosen }, index) => chosen !== null && stored.state.points.at(index)?.chosen !== chosen).length;
      return missing === 0 ? null : `${missing} of the points that were accepted are not in ${archive.path}.`;
    } finally {
      opened.archive.close();
    }
  }

  /**
   * For a program that is broken: asks nothing of engine and archive any more and only makes the bench safe. This service is
   * over with it; the journal ends where it was, as after the death of a host, and the run can be continued.
   */
  makeSafeNow(): Promise<BenchReply> {
    this.#closed = true;
    this.#cancelTick();
    this.#abandon();
    return this.#bench.perform({ kind: 'make-safe' });
  }

  /** Lets go of the bench. Call it at rest; otherwise the controller's dead-man has to make the bench safe. */
  async close(): Promise<void> {
    this.#closed = true;
    this.#cancelTick();
    this.#unlisten();
    await this.#letGo();
  }

  #restNow(): Rest | null {
    if (this.#failure !== null) return this.#failure;
    const { mode } = this.#engine.state;
    return mode === 'ready' || mode === 'paused' || mode === 'tripped' || mode === 'ended' ? { kind: 'resting', mode } : null;
  }

  #now(): number {
    return this.#parts.clock.now() / 1000;
  }

  /** What each input to the engine says of the host's clocks. */
  #time(): HostClocks {
    const { clock } = this.#parts;
    const [now, wall, asleep] = [clock.now() / 1000, clock.unixNow() / 1000, clock.suspended()];
    return asleep === null ? { now, wall } : { now, wall, asleep: asleep / 1000 };
  }

  readonly #tick = (): void => {
    if (this.#closed) return;
    this.#feed({ kind: 'tick', ...this.#time() });
    this.#seeToTheArchive();
    this.#cancelTick = this.#parts.clock.after(TICK_MS, this.#tick);
  };

  #lookedAt = Number.NEGATIVE_INFINITY;
  #checkpointAt = 0;
  #atRest = false;

  /** It must be where it was, and what is in its log goes into the main file when the run comes to rest and every minute. */
  #seeToTheArchive(): void {
    if (this.#failure !== null || this.#closed) return;
    const { archive } = this.#parts;
    const now = this.#now();
    if (now - this.#lookedAt >= LOOK_S) {
      this.#lookedAt = now;
      const strayed = archive.strayed();
      if (strayed !== null) {
        this.#storageFailed(strayed);
        return;
      }
    }
    const atRest = this.#restNow() !== null;
    if ((atRest && !this.#atRest) || now - this.#checkpointAt >= CHECKPOINT_S) {
      this.#checkpointAt = now;
      archive.checkpoint();
    }
    this.#atRest = atRest;
  }

  #feed(input: EngineInput): EngineOutput | null {
    if (this.#closed || this.#failure !== null) return null;
    // What the bench says while it is being told something is taken after that was committed, asked and told.
    if (this.#telling && input.kind !== 'command') {
      this.#meanwhile.push(input);
      return null;
    }
    const output = this.#take(input);
    while (!this.#telling) {
      const next = this.#meanwhile.shift();
      if (next === undefined) break;
      this.#feed(next);
    }
    if (!this.#telling) this.#decisions.give(this.#engine.awaitsDecision, (number, decided) => this.#feed({ kind: 'decision', ...this.#time(), number, decided }));
    return output;
  }

  #take(input: EngineInput): EngineOutput | null {
    const output = this.#stepped(input);
    if (output === null) return null;
    const before = this.#telling;
    this.#telling = true;
    for (const request of output.requests) if (request.request.kind === 'make-safe') this.#perform(request);
    let committed: readonly RunEvent[] = [];
    if (output.events.length > 0 || this.#frames.length >= MOST_FRAMES_HELD) {
      const frames = framesFor(output.events, this.#frames);
      const written = this.#written(output.events, frames);
      if (written === null) {
        this.#telling = before;
        return null;
      }
      if (frames.length > 0) this.#frames = [];
      committed = written;
    }
    for (const request of output.requests) if (request.request.kind !== 'make-safe') this.#perform(request);
    this.#telling = before;
    if (output.events.length > 0) this.#tell(output.events, committed);
    return output;
  }

  /** Commits the events with these frames; null: the run is being given up, because that did not come out as it must. */
  #written(events: readonly RunEventBody[], frames: readonly BenchFrame[]): readonly RunEvent[] | null {
    try {
      const written = this.#parts.archive.append(this.id, events, frames);
      if (!written.ok) {
        this.#storageFailed(written.text);
        return null;
      }
      const broken = brokenByCommit(written.events, this.#engine.state);
      if (broken === null) return written.events;
      this.#broken(broken);
    } catch (error) {
      this.#broken(`Its archive took what happened for impossible (${(error as Error).message}).`);
    }
    return null;
  }

  /** null: the engine is wrong about itself, and nothing of this step is committed, told or asked. */
  #stepped(input: EngineInput): EngineOutput | null {
    const { revision } = this.#engine.state;
    try {
      const output = this.#engine.step(input);
      const broken = brokenByStep(output, this.#engine.state, revision);
      if (broken === null) return output;
      this.#broken(broken);
    } catch (error) {
      this.#broken(`Its engine failed upon "${input.kind}" (${(error as Error).message}).`);
    }
    return null;
  }

  #tell(events: readonly RunEventBody[], committed: readonly RunEvent[]): void {
    for (const listener of [...this.#listeners]) listener(events, committed);
  }

  /** A new request takes the place of one that is still unanswered; the engine has given that up. */
  #perform({ id, request, deadline }: EngineRequest): void {
    this.#abandon();
    const abort = new AbortController();
    const cancelDeadline = this.#parts.clock.after((deadline - this.#now()) * 1000, () => {
      abort.abort(new Error('The bench did not answer in time.'));
    });
    const abandon = (): void => {
      cancelDeadline();
      abort.abort(new Error('Another request took the place of this one.'));
    };
    this.#abandon = abandon;
    void this.#bench.perform(request, abort.signal).then((reply: BenchReply) => {
      cancelDeadline();
      if (this.#abandon === abandon) this.#abandon = () => undefined;
      this.#feed({ kind: 'reply', ...this.#time(), id, reply });
    });
  }

  /** Without an archive nothing may go on: what cannot be written down is not done. */
  #storageFailed(text: string): void {
    this.#giveUp('archive', text, () => {
      const { archive } = this.#parts;
      return archive.strayed() === null ? 'What was committed before is kept; make room and continue the run.' : archive.rescue();
    });
  }

  /** A program that is wrong about itself drives nothing any more (RUN-201). */
  #broken(text: string): void {
    const kept = 'What was committed before is kept, and the run can be continued. Note this text for whoever looks after the program.';
    this.#giveUp('defect', `The program found a fault of its own, so the run was given up. ${text}`, () => kept);
  }

  #giveUp(code: 'archive' | 'defect', text: string, kept: () => string): void {
    this.#failing = true;
    this.#closed = true;
    this.#cancelTick();
    this.#abandon();
    void this.#bench.perform({ kind: 'make-safe' }).then((reply) => {
      const how = madeSafeText(reply, this.#bench.capabilities.rail !== undefined);
      this.#failure = { kind: 'failed', code, text: `${text} ${how} ${kept()}` };
      this.#tell([], []);
    });
  }
}

async function lettingGo(held: Held, text: string): Promise<RunFailure> {
  await held.letGo();
  return { ok: false, code: 'archive', text };
}
