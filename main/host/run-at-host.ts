/** The run that is open on the bench of a host: opened, commanded, told, closed; and decisions about stored ones. */
import { createEngine, type RunStatus } from '../../app/run/engine.ts';
import { callOf, type Call } from '../../app/run/status.ts';
import { commandRow, type RunCommand } from '../../app/journal/commands.ts';
import type { Failure } from '../../app/contract/contract.ts';
import type { Archive } from '../archive/archive.ts';
import type { Clock } from '../clock/clock.ts';
import type { Entropy } from '../clock/entropy.ts';
import type { ManualAnswer } from '../service/manual-bench.ts';
import { loadRunGently, RunService, type RunFailure, type WhichRun } from '../service/run-service.ts';
import type { Decide } from '../service/decide.ts';
import type { Desk } from './desk.ts';
import type { BenchAtHost } from './bench-at-host.ts';
import type { Changes } from './changes.ts';
import { Failed, noBench, notOpen } from './outcome.ts';
import type { Tell } from './sessions.ts';

interface RunParts {
  readonly archive: Archive;
  readonly clock: Clock;
  readonly entropy: Entropy;
  readonly freeDiskBytes: () => number | null;
  readonly bench: BenchAtHost;
  /** What is measured next is worked out there, beside the thread that drives the bench (RUN-231). */
  readonly desk: Desk;
  readonly changes: Changes;
  readonly tell: Tell;
  /** What is lost of what was to be kept, so that nothing may be begun; null: nothing. */
  readonly lost: () => string | null;
  /** Counts stops and requests to make safe, so that what was begun before one is not finished after it. */
  readonly stops: () => number;
  /** Told when a run begins or ends to be going on. */
  readonly onActivity: (active: boolean) => void;
  /** Told of each thing that a run calls a person for, once. */
  readonly onCall: (call: Call, run: RunService) => void;
}

const failureCodes = { bench: 'bench', archive: 'archive', 'no-such-run': 'no-run', 'bad-record': 'archive', clock: 'refused' } as const satisfies Record<RunFailure['code'], Failure['code']>;

/** A run that was given up has stopped, whatever its last state says. */
export function statusOf(run: RunService): RunStatus {
  const status = run.status();
  if (run.failure === null) return status;
  return { ...status, doing: stoppedText(run), advice: run.failure, waitingFor: null, remaining: null, call: callIn(run) };
}

const stoppedText = (run: RunService): string => `The run has stopped, because ${run.failureCode === 'archive' ? 'its archive could not be written' : 'the program found a fault of its own'}.`;

/** What a run calls a person for: asked after every commit, so that no status is made for it. */
const callIn = (run: RunService): Call | null => (run.failure === null ? callOf(run.state) : { kind: 'trip', text: `${stoppedText(run)} ${run.failure}` });

const inOneWord = (call: Call | null): string => (call === null ? '' : `${call.kind} ${call.text}`);

export class RunAtHost {
  readonly #parts: RunParts;
  #run: RunService | null = null;
  #active = false;
  #lastStatus = '';
  /** What was called for last; empty: nothing stands. */
  #called = '';

  constructor(parts: RunParts) {
    this.#parts = parts;
  }

  get run(): RunService | null {
    return this.#run;
  }

  get isActive(): boolean {
    return this.#run?.isActive ?? false;
  }

  async open(which: WhichRun): Promise<{ id: string } | Failed> {
    if (this.#parts.bench.connected === null) return noBench();
    const inTheWay = await this.closeEnded();
    if (inTheWay !== null) return inTheWay;
    const lost = this.#parts.lost();
    if (lost !== null) return new Failed('archive', lost);
    const { bench, place, manual } = this.#parts.bench.connected;
    const safe = await manual.leave('A run is being opened.');
    if (!safe.accepted) return new Failed('bench', safe.reason);
    const { archive, entropy, freeDiskBytes, tell, desk } = this.#parts;
    const decide: Decide = async (run) => {
      const answer = await desk.do({ kind: 'decide', run });
      return answer.ok ? { ok: true, decision: answer.value } : { ok: false, text: answer.text };
    };
    const opened = await RunService.open({ archive, clock: place.clock, bench, simulated: place.simulated, entropy, freeDiskBytes, decide }, which);
    if (!opened.ok) return new Failed(failureCodes[opened.code], opened.text);
    const { service, committed } = opened;
    this.#run = service;
    service.listen((_events, committed) => {
      if (committed.length > 0) tell('run.events', { id: service.id, events: [...committed] });
      this.#lookAtActivity();
      this.#lookAtCall();
    });
    // What stands when a run is opened was called for before.
    this.#called = inOneWord(callIn(service));
    // A window that has read this run before knows nothing of its being opened again.
    tell('run.events', { id: service.id, events: [...committed] });
    tell('run.opened', { id: service.id });
    this.#lookAtActivity();
    return { id: service.id };
  }

  async command(id: string, command: RunCommand, by: string, commandId: string): Promise<ManualAnswer | Failed> {
    const run = this.#run;
    const { bench, changes, stops } = this.#parts;
    if (run?.id !== id) return commandRow(command).stored ? changes.make('A decision is being stored', () => this.#chooseStored(id, command, by, commandId)) : notOpen();
    if (commandRow(command).drives && bench.connected?.manual.isEngaged === true) {
      const { manual } = bench.connected;
      return changes.make('The run takes the bench over', async () => {
        const before = stops();
        const safe = await manual.leave('The run goes on.');
        if (!safe.accepted) return { accepted: false, reason: safe.reason };
        this.handOver();
        await bench.nextFrame();
        return stops() === before ? this.#command(run, command, by, commandId) : { accepted: false, reason: 'STOP was pressed or the bench was told to be safe meanwhile, so the run does not go on by itself.' };
      });
    }
    return this.#command(run, command, by, commandId);
  }

  /** A paused run watches the bench again as soon as nobody works on it by hand. */
  handOver(): void {
    if (this.#parts.bench.connected?.manual.isEngaged === false) this.#run?.takeBack();
  }

  /** Closes a run that has ended; an open one that has not is in the way of what is about to be done. */
  async closeEnded(): Promise<Failed | null> {
    if (this.#run === null) return null;
    if (this.#run.state.mode !== 'ended' && this.#run.failure === null) {
      return new Failed('busy', 'A run is open on the bench. Nothing was done. Close it first; what is unfinished can be continued later.');
    }
    await this.close();
    return null;
  }

  async close(): Promise<void> {
    const run = this.#run;
    if (run === null) return;
    this.#run = null;
    await run.close();
    this.#parts.tell('run.opened', { id: null });
    this.#lookAtActivity();
    await this.#parts.bench.settleWithoutRun();
  }

  /** What it is doing now, where that has changed. */
  tellStatus(): void {
    if (this.#run === null) return;
    const data = { id: this.#run.id, status: statusOf(this.#run) };
    const text = JSON.stringify(data);
    if (text === this.#lastStatus) return;
    this.#lastStatus = text;
    this.#parts.tell('run.status', data);
  }

  #command(run: RunService, command: RunCommand, by: string, commandId: string): ManualAnswer {
    const answer = run.command(command, by, commandId);
    this.tellStatus();
    return answer;
  }

  /** A decision on a run that is not on the bench: the engine answers from the stored state, and asks nothing of a bench. */
  async #chooseStored(id: string, command: RunCommand, by: string, commandId: string): Promise<ManualAnswer | Failed> {
    const { archive, clock, tell } = this.#parts;
    const loaded = await loadRunGently(archive, id, clock);
    if (!loaded.ok) return new Failed(failureCodes[loaded.code], loaded.text);
    const { state } = loaded;
    const wasLeft = state.mode === 'proving' || state.mode === 'measuring' || state.mode === 'held' || state.mode === 'making-safe';
    // Of a run that was never begun there is nothing to decide; a note can be made of it.
    if (wasLeft || (state.bench === null && command.kind !== 'note')) {
      return new Failed('refused', 'The host of this run ended while it was going on. Nothing was changed. Continue it on the bench, or abort it there, before deciding about its attempts or noting anything.');
    }
    const output = createEngine(state).step({ kind: 'command', now: 0, id: commandId, by, command });
    const written = archive.append(id, output.events, []);
    if (!written.ok) return new Failed('archive', written.text);
    if (written.events.length > 0) tell('run.events', { id, events: [...written.events] });
    if (output.answer === null) throw new Error('a command without an answer');
    return output.answer;
  }

  #lookAtCall(): void {
    if (this.#run === null) return;
    const call = callIn(this.#run);
    const called = inOneWord(call);
    if (called === this.#called) return;
    this.#called = called;
    if (call !== null) this.#parts.onCall(call, this.#run);
  }

  #lookAtActivity(): void {
    if (this.isActive === this.#active) return;
    this.#active = this.isActive;
    this.#parts.onActivity(this.#active);
  }
}
