/**
 * How a process of this program ends, in one place for every command, window and host (rules HOST-1 to HOST-6 in
 * main/host/README.md). Whoever has a bench in hand says so here; then nothing that can be caught ends the process before
 * the bench was told to be safe and has confirmed it, or the text says that it has not.
 */
import { Socket } from 'node:net';
import { constants } from 'node:os';
import type { WriteStream } from 'node:tty';
import type { BenchReply } from '../../app/bench/port.ts';
import { deadManText, madeSafeText } from '../../app/run/safe-words.ts';
import type { Clock } from '../clock/clock.ts';

interface Asked {
  /** Who or what asks, as a sentence for the journal and for people. */
  readonly why: string;
  /** How often Ctrl-C was pressed until now; 0: it was something else. */
  readonly interrupts: number;
}

/** What somebody who has a bench in hand can do about the end of the process. */
interface InHand {
  /** Begin to end in order (make safe, commit, let go), and return at once. Told again with each further request. */
  readonly onAsked: (asked: Asked) => void;
  /** The program is broken or does not come to an end: nothing but this is done any more. null: no bench is connected after all. Never rejects. */
  readonly makeSafe: () => Promise<BenchReply | null>;
}

/** Ends a process that does not come to an end by itself; in real time. The bench confirms within 5 s of its own. */
const END_DEADLINE_MS = 40_000;
const SAFE_DEADLINE_MS = 10_000;
const LAST_ACTS_MS = 1000;
const LAST_WORDS_MS = 1000;

/** Signals by which a person or the system asks for the end; those that a system does not know never come there. */
const signals = {
  SIGTERM: 'The system asked the program to end (SIGTERM).',
  SIGHUP: 'The terminal of the program was closed (SIGHUP).',
  SIGQUIT: 'The program was asked to quit (SIGQUIT).',
  SIGBREAK: 'The program was asked to end (Ctrl-Break).',
} as const satisfies Partial<Record<NodeJS.Signals, string>>;

/** As shells count a program that ended by a signal. */
const codeOf = (signal: NodeJS.Signals): number => 128 + constants.signals[signal];

/** How the process ends. */
interface EndCodes {
  /** After a defect of the program. */
  readonly defect: number;
  /** A bench has not confirmed that it is safe. */
  readonly bench: number;
  /** Output could not be written. */
  readonly output: number;
}

class Ending {
  readonly #inHand = new Set<InHand>();
  readonly #last = new Set<() => void | Promise<void>>();
  #interrupts = 0;
  /** As the launcher counts them: a terminal sends Ctrl-C to both, so the higher of the two counts is the true one. */
  #launcherInterrupts = 0;
  #asked: Asked | null = null;
  #broken = false;
  #leaving = false;
  #outputLost = false;
  #after: Clock['after'] = () => () => undefined;
  #codes: EndCodes = { defect: 1, bench: 1, output: 1 };

  /** Once, before anything else is done in this process. `clock`: real time. */
  watch(clock: Clock, codes: EndCodes): void {
    this.#after = (ms, action) => clock.after(ms, action);
    this.#codes = codes;
    process.on('SIGINT', () => {
      this.#interrupts += 1;
      this.#interrupted();
    });
    for (const [signal, why] of Object.entries(signals) as [NodeJS.Signals, string][]) process.on(signal, () => this.#ask(why, codeOf(signal)));
    process.on('SIGTSTP', () => this.#suspended());
    process.on('uncaughtException', (error) => void this.#break(error));
    for (const stream of [process.stdout, process.stderr]) {
      stream.on('error', (error: NodeJS.ErrnoException) => this.#outputGone(stream, error));
      if (stream.isTTY) waitForNoTerminal(stream);
    }
    // What the launch script sets: the number of an open pipe that ends with it, and over which it passes on what it is told.
    const pipe = process.env['RAILHOUSE_LAUNCHER'];
    // Whatever this process starts has this process above it, and not the launcher.
    delete process.env['RAILHOUSE_LAUNCHER'];
    if (pipe !== undefined) this.#hearLauncher(Number(pipe));
  }

  /** From now on a bench is in hand, until the returned function is called. Who comes late is told at once. */
  hold(inHand: InHand): () => void {
    this.#inHand.add(inHand);
    if (this.#asked !== null) inHand.onAsked(this.#asked);
    return () => this.#inHand.delete(inHand);
  }

  /**
   * From now on the end of standard input asks for the end too: how a program that started this one ends it where there are no signals
   * (Windows), by closing the pipe that it writes to. What comes over it is not read.
   */
  endWithInput(): void {
    const { stdin } = process;
    const over = (): void => this.#ask('Standard input has ended, which was to end the program (--end-with-input).', codeOf('SIGTERM'));
    for (const event of ['end', 'close', 'error']) stdin.once(event, over);
    stdin.resume();
    // It keeps no process alive that has done its work; a file, which has no such thing, ends at once.
    if (stdin instanceof Socket) stdin.unref();
  }

  /** `action` is done before the process ends early; the returned function takes it back. It has a second. */
  last(action: () => void | Promise<void>): () => void {
    this.#last.add(action);
    return () => this.#last.delete(action);
  }

  /** Ends the process with its exit code, whatever else is still open, as soon as its last words are out. */
  async over(): Promise<never> {
    await this.said();
    // A defect, and whoever asked for the end, end it by themselves.
    if (this.#broken || this.#leaving) return new Promise<never>(() => undefined);
    const code = process.exitCode ?? 0;
    return process.exit(code === 0 && this.#outputLost ? this.#codes.output : code);
  }

  /** Resolves when everything written to standard output and error was taken, or cannot be any more. */
  async said(): Promise<void> {
    const streams = [process.stdout, process.stderr];
    const taken = (): Promise<unknown> => Promise.all(streams.map((stream) => new Promise<void>((resolve) => stream.write('', () => resolve()))));
    await taken();
    // A stream tells an error after it has called back.
    await taken();
  }

  // ---------------------------------------------------------------- what comes from outside

  #interrupted(): void {
    this.#ask('Ctrl-C was pressed.', codeOf('SIGINT'), Math.max(this.#interrupts, this.#launcherInterrupts));
  }

  /** `code`: of the process, where nothing is in hand. */
  #ask(why: string, code: number, interrupts = 0): void {
    // What the launcher passes on may have come from the terminal too.
    if (this.#broken || (this.#asked?.why === why && this.#asked.interrupts === interrupts)) return;
    if (this.#inHand.size === 0) {
      void this.#leave(process.exitCode ?? code);
      return;
    }
    if (this.#asked === null) this.#after(END_DEADLINE_MS, () => void this.#tooLate());
    const asked = { why, interrupts };
    this.#asked = asked;
    for (const one of this.#inHand) one.onAsked(asked);
  }

  /** A program that stands still leaves the bench to its dead-man. */
  #suspended(): void {
    if (this.#inHand.size > 0) say('Ctrl-Z is not obeyed while a bench is in hand: it would fall silent towards it. Ctrl-C makes the bench safe.');
    else process.kill(process.pid, 'SIGSTOP');
  }

  /** Of the launcher come lines with the name of what it was told, and its end. */
  #hearLauncher(file: number): void {
    const pipe = new Socket({ fd: file, readable: true, writable: false });
    let held = '';
    pipe.on('data', (bytes: Buffer) => {
      const lines = (held + bytes.toString('latin1')).split('\n');
      held = lines.pop() ?? '';
      for (const line of lines) {
        if (line === 'SIGINT') {
          this.#launcherInterrupts += 1;
          this.#interrupted();
        } else if (Object.hasOwn(signals, line)) {
          this.#ask(signals[line as keyof typeof signals], codeOf(line as NodeJS.Signals));
        }
      }
    });
    pipe.on('error', () => pipe.destroy());
    pipe.on('close', () => this.#ask('The program that started this one was killed.', codeOf('SIGHUP')));
    // It keeps no process alive.
    pipe.unref();
  }

  /** Nobody can see any more what the bench does. Where there is none in hand, a reader that has had enough is no error. */
  #outputGone(stream: NodeJS.WriteStream, error: NodeJS.ErrnoException): void {
    const name = stream === process.stdout ? 'Standard output' : 'Standard error';
    const why = `${name} can no longer be written (${error.message}), so nobody sees what the bench does.`;
    if (this.#inHand.size > 0) {
      if (this.#asked === null) this.#ask(why, this.#codes.output);
      return;
    }
    if (stream === process.stderr) {
      // Who takes a bench in hand after this is told.
      this.#asked ??= { why, interrupts: 0 };
      return;
    }
    if (error.code === 'EPIPE' || this.#outputLost) return;
    this.#outputLost = true;
    say(`Standard output could not be written (${error.message}). What was printed is not complete. Make room or print it elsewhere, then try again.`);
  }

  // ---------------------------------------------------------------- ends that are not in order

  async #break(error: unknown): Promise<void> {
    // What follows from the first is not worth more words than that.
    if (this.#broken) return;
    this.#broken = true;
    const safe = this.#makeSafe();
    say(`This is a defect of the program; the archive holds everything that was committed.\n${(error as Error | null)?.stack ?? String(error)}`);
    for (const sentence of await safe) say(sentence);
    await this.#leave(this.#codes.defect);
  }

  async #tooLate(): Promise<void> {
    if (this.#broken) return;
    this.#broken = true;
    say(`The program did not come to its end within ${END_DEADLINE_MS / 1000} s. It makes the bench safe and ends now.`);
    for (const sentence of await this.#makeSafe()) say(sentence);
    await this.#leave(this.#codes.bench);
  }

  /** What is to be said of each bench in hand. */
  async #makeSafe(): Promise<readonly string[]> {
    const unconfirmed = madeSafeText({ kind: 'no-answer', text: deadManText() }, null);
    const late = new Promise<string>((resolve) => this.#after(SAFE_DEADLINE_MS, () => resolve(unconfirmed)));
    const said = await Promise.all([...this.#inHand].map(({ makeSafe }) => Promise.race([makeSafe().then((reply) => (reply === null ? '' : madeSafeText(reply, null))).catch(() => unconfirmed), late])));
    return said.filter((sentence) => sentence !== '');
  }

  async #within(ms: number, work: Promise<unknown>): Promise<void> {
    await Promise.race([work, new Promise<void>((resolve) => this.#after(ms, resolve))]);
  }

  async #leave(code: number | string): Promise<void> {
    this.#leaving = true;
    const done: Promise<void>[] = [];
    for (const action of this.#last) {
      // Whatever becomes of one, the others are done all the same.
      done.push(Promise.resolve().then(action).catch(() => undefined));
    }
    await this.#within(LAST_ACTS_MS, Promise.all(done));
    // A terminal that stands still does not keep the process.
    await this.#within(LAST_WORDS_MS, this.said());
    process.exit(code);
  }
}

export const ending = new Ending();

function say(text: string): void {
  process.stderr.write(`${text}\n`);
}

/**
 * A terminal that stands still (Ctrl-S, a hung connection) would hold up the whole process, heartbeats too: Node writes to
 * terminals and waits. What is not taken is kept, as it is for a pipe. Node has no public name for this.
 */
function waitForNoTerminal(stream: WriteStream): void {
  (stream as unknown as { readonly _handle?: { readonly setBlocking?: (blocking: boolean) => void } })._handle?.setBlocking?.(false);
}
