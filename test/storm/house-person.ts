/** People before the windows: somebody who wants the run to come to its end, and somebody who works by hand. They know what their window shows. */
import type { RequestName } from '../../app/contract/contract.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { RunCommand } from '../../app/journal/events.ts';
import type { HostReply } from '../../renderer/host/connection.ts';
import type { Chance } from './draw.ts';
import { awayS, benchPort, lentS, placeholders, type HandWork } from './house-draw.ts';
import type { StormWindow } from './house-window.ts';

interface Surroundings {
  readonly ask: <N extends RequestName>(window: StormWindow, name: N, params: unknown) => Promise<HostReply<N>>;
  readonly windows: () => readonly StormWindow[];
  readonly now: () => number;
  /** For so long, s. */
  readonly goes: (window: StormWindow, forS: number) => void;
  readonly fallsSilent: (window: StormWindow, forS: number) => void;
  readonly plan: () => Plan;
  readonly chance: () => Chance;
  readonly wait: (seconds: number) => Promise<unknown>;
  /** Ends the program and begins it again. */
  readonly restart: () => void;
  /** False: it connects the bench and opens the run, and leaves the rest to what happens. */
  readonly mayDrive: () => boolean;
  /** Nothing happens any more. */
  readonly isQuiet: () => boolean;
}

/** Somebody who was refused this often after everything is over gives up. */
const MOST_REFUSALS = 150;
const MOST_MEASURED_AGAIN = 2;

export class Person {
  readonly #around: Surroundings;
  /** The run that is wanted. */
  run: string | null = null;
  stuck: string | null = null;
  #refusals = 0;
  #failures = 0;
  #measuredAgain = 0;
  #lastRefused = false;
  /** Somebody works on the bench by hand. */
  #lentUntil = 0;

  constructor(around: Surroundings) {
    this.#around = around;
  }

  async wantsARun(stuckNow: Promise<'stuck'>): Promise<void> {
    let over = false;
    void stuckNow.then(() => {
      over = true;
    });
    for (;;) {
      const waited = this.#around.chance().scale(0.2, 6);
      await this.#around.wait(this.#around.mayDrive() ? waited : 0.5);
      if (isTrue(over)) return;
      if (this.#around.now() < this.#lentUntil) continue;
      const window = this.#window();
      if (window === null) continue;
      if (await this.#step(window)) return;
      if (this.#around.isQuiet() && this.#refusals > MOST_REFUSALS) {
        this.stuck = `${this.#refusals} requests were refused`;
        return;
      }
    }
  }

  /** The window that holds control, or any that is there. */
  #window(): StormWindow | null {
    const up = this.#around.windows().filter((window) => window.isUp && !window.isSilent && !window.clock.isStopped);
    return up.find((window) => window.control.mine) ?? (up.length === 0 ? null : this.#around.chance().of(up));
  }

  async #do(window: StormWindow, name: RequestName, params: unknown): Promise<boolean> {
    return this.#isTaken(await this.#around.ask(window, name, params));
  }

  #isTaken(reply: HostReply<RequestName>): boolean {
    const refused = !reply.ok || (reply.value as { accepted?: boolean }).accepted === false;
    this.#lastRefused = refused;
    this.#refusals = refused ? this.#refusals + 1 : 0;
    const failed = !reply.ok && reply.failure.code === 'archive';
    this.#failures = failed ? this.#failures + 1 : refused ? this.#failures : 0;
    // Somebody makes room on the disk.
    if (this.#failures >= 3) {
      this.#failures = 0;
      this.#around.restart();
    }
    return !refused;
  }

  /** One thing that somebody does who looks at this window; true: there is nothing left to do. */
  async #step(window: StormWindow): Promise<boolean> {
    const chance = this.#around.chance();
    if (!window.control.mine) {
      if (this.#around.mayDrive()) await this.#do(window, 'control.take', {});
      return false;
    }
    const { bench, openRun } = window;
    if (bench.state === 'connecting') return false;
    if (openRun !== null && openRun !== this.run && this.run !== null) {
      await this.#leave(window, openRun);
      return false;
    }
    if (bench.state !== 'connected' || bench.simulated) {
      if (openRun !== null) await this.#leave(window, openRun);
      else await this.#do(window, 'bench.connect', { bench: { kind: 'port', path: benchPort } });
      return false;
    }
    // It may be another bench that hung on the cable for a while.
    if (openRun === null && !bench.up && this.#refusals > 3) {
      this.#refusals = 0;
      await this.#do(window, 'bench.connect', { bench: { kind: 'port', path: benchPort } });
      return false;
    }
    if (openRun === null) {
      if (this.run === null) await this.#openNew(window);
      else await this.#do(window, 'run.continue', { id: this.run });
      return false;
    }
    this.run ??= openRun;
    if (!this.#around.mayDrive()) return false;
    if (window.status.startsWith('The run has stopped')) {
      window.status = '';
      await this.#do(window, 'run.close', { id: openRun });
      return false;
    }
    const state = window.feeds.get(openRun)?.view.state ?? null;
    switch (state?.mode) {
      case 'ready':
        await this.#command(window, openRun, this.#lastRefused && chance.strikes(0.5) ? { kind: 'acknowledge' } : { kind: 'start' });
        return false;
      case 'paused':
        await this.#command(window, openRun, { kind: 'resume' });
        return false;
      case 'tripped':
        await this.#command(window, openRun, { kind: 'acknowledge' });
        return false;
      case 'ended':
        if (!this.#around.isQuiet()) {
          if (state.ending !== 'complete' && this.#measuredAgain < MOST_MEASURED_AGAIN && chance.strikes(0.3)) {
            this.#measuredAgain += 1;
            await this.#command(window, openRun, { kind: 'measure-remaining' });
          }
          return false;
        }
        return true;
      default:
        return false;
    }
  }

  async #openNew(window: StormWindow): Promise<void> {
    const equipment = await this.#around.ask(window, 'equipment.read', {});
    if (equipment.ok && equipment.value === null) await this.#do(window, 'equipment.save', { document: placeholders.equipment });
    const reply = await this.#around.ask(window, 'run.open', { document: this.#around.plan(), operator: 'a person' });
    if (this.#isTaken(reply) && reply.ok) this.run = reply.value.id;
    else {
      // The answer may have been lost on its way: then the archive has a run.
      const runs = await this.#around.ask(window, 'runs.list', { limit: 5 });
      if (runs.ok && runs.value[0] !== undefined) this.run = runs.value[0].id;
    }
  }

  async #leave(window: StormWindow, run: string): Promise<void> {
    const mode = window.feeds.get(run)?.view.state?.mode;
    if (mode === 'proving' || mode === 'measuring' || mode === 'held') await this.#command(window, run, { kind: 'pause-now' });
    else await this.#do(window, 'run.close', { id: run });
  }

  #commands = 0;

  async #command(window: StormWindow, id: string, command: RunCommand): Promise<void> {
    await this.#do(window, 'run.command', { id, command, by: 'a person', commandId: `person-${(this.#commands += 1)}` });
  }

  async worksByHand(window: StormWindow, work: HandWork, then: StormWindow): Promise<void> {
    const { ask, wait, now } = this.#around;
    this.#lentUntil = Math.max(this.#lentUntil, now() + lentS(work));
    if (!window.control.mine) await ask(window, 'control.take', {});
    if (work.first !== 'nothing') await this.#makesRoom(window, work.first);
    await ask(window, 'manual.supply', { volts: work.volts });
    await wait(1);
    await ask(window, 'manual.burst', { channel: work.channel, widthMs: work.widthMs, periodMs: 20, count: work.count });
    await wait(work.forS);
    switch (work.ends) {
      case 'left':
        break;
      case 'made-safe':
        await ask(window, 'manual.safe', {});
        break;
      case 'stopped':
        await ask(then, 'stop', {});
        break;
      case 'disconnected':
        await ask(window, 'bench.disconnect', {});
        break;
      case 'replaced':
        await ask(window, 'bench.connect', { bench: work.count > 100 ? { kind: 'simulated' } : { kind: 'port', path: benchPort } });
        break;
      case 'window-gone':
        this.#around.goes(window, awayS);
        break;
      case 'window-silent':
        this.#around.fallsSilent(window, awayS);
        break;
      case 'program-ended':
        this.#around.restart();
        break;
    }
  }

  async #makesRoom(window: StormWindow, how: 'pauses' | 'closes'): Promise<void> {
    const { ask, wait } = this.#around;
    const { openRun } = window;
    const mode = openRun === null ? undefined : window.feeds.get(openRun)?.view.state?.mode;
    if (openRun !== null && (mode === 'measuring' || mode === 'proving' || mode === 'held')) {
      await this.#command(window, openRun, { kind: 'pause-now' });
      await wait(2);
    }
    if (how === 'pauses') return;
    if (openRun !== null) await ask(window, 'run.close', { id: openRun });
    if (window.bench.state === 'absent') await ask(window, 'bench.connect', { bench: { kind: 'port', path: benchPort } });
  }
}

const isTrue = (value: boolean): boolean => value;
