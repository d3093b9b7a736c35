/**
 * Calls whoever is on call when a run needs a person: a webhook, a command, or both, as the file `on-call.json` beside the archive says
 * (HOST-80 to HOST-83). Without that file nothing leaves this machine.
 */
import { readFileSync, renameSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { z } from 'zod';
import { problemsOf } from '../../app/boundary/problems.ts';
import { webAddress, type OnCallView } from '../../app/contract/on-call.ts';
import type { Call } from '../../app/run/status.ts';
import type { Clock } from '../clock/clock.ts';
import { isoTime } from '../clock/dating.ts';

const setting = z.strictObject({
  webhook: webAddress.nullable().default(null),
  /** The program, then its arguments: started as they are, by no shell. */
  command: z.array(z.string().min(1).max(2000)).min(1).max(50).nullable().default(null),
});
type Setting = z.infer<typeof setting>;

/** Resolves with null when it arrived, else with why it did not; never rejects. `signal`: given up. */
type Way<Target> = (target: Target, message: string, signal: AbortSignal) => Promise<string | null>;

export interface OnCallWays {
  readonly post: Way<string>;
  readonly run: Way<readonly string[]>;
}

interface OnCallParts {
  readonly archivePath: string;
  readonly clock: Clock;
  readonly software: string;
  /** null: this host reaches nobody. */
  readonly ways: OnCallWays | null;
}

interface CalledRun {
  readonly id: string;
  readonly plan: string;
  readonly order: string;
  readonly operator: string;
  readonly accepted: number;
  readonly points: number;
}

/** ms from one try to the next: in all a quarter of an hour. */
const RETRY_AFTER_MS = [2000, 10_000, 30_000, 120_000, 300_000, 480_000];
const MOST_BYTES = 65_536;
/** A run that trips again and again is one thing to come for. */
const MOST_AT_ONCE = 20;

const titles: Readonly<Record<Call['kind'] | 'test', string>> = { trip: 'Tripped', hold: 'On hold', question: 'Waits for a person', end: 'The run has ended', test: 'A test call' };

interface Outgoing {
  readonly name: string;
  readonly send: (signal: AbortSignal) => Promise<string | null>;
}

export class OnCall {
  readonly #parts: OnCallParts;
  readonly #file: string;
  /** Aborted when the host ends. */
  readonly #over = new AbortController();
  readonly #waiting = new Set<() => void>();
  #under = 0;
  #last: readonly { text: string }[] = [];

  constructor(parts: OnCallParts) {
    this.#parts = parts;
    this.#file = join(dirname(parts.archivePath), 'on-call.json');
  }

  view(): OnCallView {
    const read = this.#read();
    const known = typeof read === 'string' ? { webhook: null, command: null } : read;
    return { file: this.#file, ...known, problem: typeof read === 'string' ? read : '', last: this.#last.map(({ text }) => text) };
  }

  /** Keeps the address; the command of the file stays. Why it is not kept; null: it is. */
  save(webhook: string | null): string | null {
    const read = this.#read();
    if (typeof read === 'string') return `${read} Nothing was changed.`;
    try {
      writeFileSync(`${this.#file}.part`, `${JSON.stringify({ ...read, webhook }, null, 2)}\n`, { mode: 0o600 });
      renameSync(`${this.#file}.part`, this.#file);
      return null;
    } catch (error) {
      return `The address is not kept: ${this.#file} cannot be written (${(error as Error).message}).`;
    }
  }

  /** Calls, and tries again until it has arrived or a quarter of an hour is over. Throws nothing and waits for nothing. */
  call(call: Call, run: CalledRun): void {
    const ways = this.#ways(this.#message(call.kind, call.text, run));
    const said = ways.map(({ name }) => ({ text: `${name}: being called.` }));
    if (ways.length > 0) this.#last = said;
    for (const [index, way] of ways.entries()) {
      const told = said[index];
      if (told === undefined || this.#under >= MOST_AT_ONCE) continue;
      this.#under += 1;
      void this.#insist(way, told).finally(() => (this.#under -= 1));
    }
  }

  /** Once, by all ways; a sentence for each. */
  async tryOut(): Promise<readonly string[]> {
    const read = this.#read();
    if (typeof read === 'string') return [read];
    const ways = this.#ways(this.#message('test', 'Somebody tries out whether this call arrives. Nothing is wrong.', null));
    if (ways.length === 0) return ['Nobody is set to be called, so nothing was sent.'];
    return Promise.all(ways.map(async ({ name, send }) => {
      const problem = await send(this.#over.signal);
      return problem === null ? `${name}: it has arrived.` : `${name}: ${problem}`;
    }));
  }

  close(): void {
    this.#over.abort(new Error('the host has ended'));
    for (const go of this.#waiting) go();
  }

  async #insist({ name, send }: Outgoing, told: { text: string }): Promise<void> {
    const { clock } = this.#parts;
    for (let tries = 1; ; tries += 1) {
      const problem = await send(this.#over.signal);
      const at = isoTime(clock.unixNow());
      if (problem === null) {
        told.text = `${name}: it has arrived (${at}${tries > 1 ? `, at try ${tries}` : ''}).`;
        return;
      }
      const after = RETRY_AFTER_MS[tries - 1];
      told.text = `${name}: ${problem} ${after === undefined ? `Given up after ${tries} tries (${at}).` : `Tried ${tries} ${tries === 1 ? 'time' : 'times'}; it is tried again.`}`;
      if (after === undefined || this.#isOver()) return;
      await this.#wait(after);
      if (this.#isOver()) return;
    }
  }

  #isOver(): boolean {
    return this.#over.signal.aborted;
  }

  #wait(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const go = (): void => {
        cancel();
        this.#waiting.delete(go);
        resolve();
      };
      const cancel = this.#parts.clock.after(ms, go);
      this.#waiting.add(go);
    });
  }

  #ways(message: string): Outgoing[] {
    const read = this.#read();
    if (typeof read === 'string') {
      this.#last = [{ text: read }];
      return [];
    }
    const { ways } = this.#parts;
    if (ways === null) return [];
    const { post, run } = ways;
    const { webhook, command } = read;
    return [
      ...(webhook === null ? [] : [{ name: `The webhook at ${new URL(webhook).host}`, send: (signal: AbortSignal) => post(webhook, message, signal) }]),
      ...(command === null ? [] : [{ name: `The command ${command[0] ?? ''}`, send: (signal: AbortSignal) => run(command, message, signal) }]),
    ];
  }

  #message(kind: Call['kind'] | 'test', text: string, run: CalledRun | null): string {
    const { clock, software } = this.#parts;
    return JSON.stringify({ kind, title: titles[kind], text, at: isoTime(clock.unixNow()), run, software });
  }

  /** Nothing is set where there is no file. A text: why it cannot be used. */
  #read(): Setting | string {
    let document: unknown;
    try {
      if (statSync(this.#file).size > MOST_BYTES) return `${this.#file} is too large to be one that says who is on call.`;
      document = JSON.parse(readFileSync(this.#file, 'utf8').replace(/^\uFEFF/u, ''));
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === 'ENOENT') return { webhook: null, command: null };
      return `${this.#file} cannot be read, so nobody is called (${(error as Error).message}).`;
    }
    const parsed = setting.safeParse(document);
    if (parsed.success) return parsed.data;
    const [first] = problemsOf(parsed.error, document);
    return `${this.#file} cannot be used, so nobody is called. ${first?.path ?? ''}: ${first?.text ?? ''}`;
  }
}
