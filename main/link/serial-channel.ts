import { statSync } from 'node:fs';
import { SerialPort } from 'serialport';
import { deadManText } from '../../app/run/safe-words.ts';
import { wait, type Clock } from '../clock/clock.ts';
import type { Channel, ChannelEvents, OpenedChannel } from './channel.ts';

/** The line's speed (8 data bits, no parity, 1 stop bit); a USB port ignores it. */
const BAUD_RATE = 115_200;

/** Opening and closing a port is done in well under a second; a driver that hangs must not hang the program. */
const OPEN_DEADLINE_MS = 5000;
const CLOSE_DEADLINE_MS = 2000;

/** A line of the longest kind leaves in 10 ms. Later than this it would be taken for a fresh one: it must not be said any more (HOST-30). */
const LEAVES_WITHIN_MS = 500;
/** It may be this program that stood still: that a line has left is told after the timers. Also how long a last line has at the close. */
const LAST_LOOK_MS = 100;
/** What may wait behind the line that is on its way. The link sends one short line and waits. */
const MAX_WAITING_BYTES = 4096;

/** Bytes of one reading: some 40 frames. */
const READ_BYTES = 4096;
/** What is read in a slice of time: 400 kB/s, ten times what a controller says at its most. The system holds back the rest (HOST-31). */
const SLICE_MS = 20;
const MOST_IN_A_SLICE = 8192;

/**
 * Turns what the operating system says when a port cannot be opened into a sentence with a remedy. The texts looked for
 * are those of the serialport bindings: strerror() on Linux and macOS, its own on Windows.
 */
export function explainOpenFailure(path: string, message: string): Exclude<OpenedChannel, { ok: true }> {
  const failure = (code: Exclude<OpenedChannel, { ok: true }>['code'], text: string) => ({ ok: false, code, text }) as const;
  if (/cannot lock port|resource busy|access denied/i.test(message)) {
    return failure('busy', `The port ${path} is in use by another program. Close that program, then try again.`);
  }
  if (/no such file|no such device|file not found/i.test(message)) {
    return failure('absent', `There is no port ${path}. Check that the bench is switched on and its cable plugged in, and that the name is right.`);
  }
  if (/permission denied|operation not permitted/i.test(message)) {
    return failure(
      'permission',
      `This user may not open the port ${path}. On Linux add the user to the group that owns the port (often "dialout"), log in again, then try again.`,
    );
  }
  if (/inappropriate ioctl|not a typewriter|is a directory/i.test(message)) {
    return failure('not-a-port', `${path} is not a serial port. Give the name of a port.`);
  }
  return failure('failed', `The port ${path} could not be opened (${message}). Unplug the bench's cable, plug it in again, then try again.`);
}

const notAPort = (path: string): Exclude<OpenedChannel, { ok: true }> => ({ ok: false, code: 'not-a-port', text: `${path} is not a serial port, so it was not opened. Give the name of a port.` });

/**
 * What is wrong with `path` as a port, without opening it; null: nothing that can be seen. Opening and closing any other
 * file may do harm: on POSIX systems it drops every lock of this process on it, that of the archive too.
 */
function wrongWith(path: string): Exclude<OpenedChannel, { ok: true }> | null {
  if (process.platform === 'win32') return /^(\\\\\.\\)?COM\d{1,3}$/i.test(path) ? null : notAPort(path);
  try {
    // Links are followed: the names under /dev/serial are links to devices.
    return statSync(path).isCharacterDevice() ? null : notAPort(path);
  } catch (error) {
    return explainOpenFailure(path, error instanceof Error ? error.message : String(error));
  }
}

/** An open port: what waits to be said over it, and how much was heard lately. */
interface Open {
  readonly port: SerialPort;
  readonly events: ChannelEvents;
  /** Waits for the line that is on its way. */
  waiting: Uint8Array[];
  /** `writing`: the system has not taken all of it; `leaving`: it has, and not all of it has left. */
  state: 'idle' | 'writing' | 'leaving';
  cancelWatch: () => void;
  heardInSlice: number;
  cancelSlice: () => void;
}

/** A serial port, or a pseudo-terminal, which looks the same from here. */
export class SerialChannel implements Channel {
  readonly description: string;
  readonly path: string;
  readonly #clock: Clock;
  #open: Open | null = null;

  constructor(path: string, clock: Clock) {
    this.path = path;
    this.description = `serial port ${path}`;
    this.#clock = clock;
  }

  open(events: ChannelEvents): Promise<OpenedChannel> {
    const wrong = wrongWith(this.path);
    if (wrong !== null) return Promise.resolve(wrong);
    return new Promise((resolve) => {
      const port = new SerialPort({ path: this.path, baudRate: BAUD_RATE, autoOpen: false, highWaterMark: READ_BYTES });
      const open: Open = { port, events, waiting: [], state: 'idle', cancelWatch: () => undefined, heardInSlice: 0, cancelSlice: () => undefined };
      let late = false;
      const cancel = this.#clock.after(OPEN_DEADLINE_MS, () => {
        late = true;
        resolve(explainOpenFailure(this.path, `the operating system did not answer within ${OPEN_DEADLINE_MS / 1000} s`));
      });
      port.on('error', (error) => {
        this.#wentAway(open, error.message);
      });
      port.open((error) => {
        cancel();
        if (late) {
          if (!error) port.close(() => undefined);
          return;
        }
        if (error) {
          resolve(explainOpenFailure(this.path, error.message));
          return;
        }
        this.#open = open;
        port.on('data', (bytes: Uint8Array) => {
          this.#hear(open, bytes);
        });
        port.on('close', (why: Error | null) => {
          this.#wentAway(open, why?.message ?? 'closed by the operating system');
        });
        resolve({ ok: true });
      });
    });
  }

  /** One line is on its way at a time, so that what has not left can be taken back. */
  write(bytes: Uint8Array): void {
    const open = this.#open;
    if (open === null) return;
    if (open.state === 'idle') this.#send(open, bytes);
    else if (open.waiting.reduce((sum, line) => sum + line.length, bytes.length) <= MAX_WAITING_BYTES) open.waiting.push(bytes);
  }

  async close(): Promise<void> {
    const open = this.#letGo();
    if (open === null) return;
    for (let left = LAST_LOOK_MS; isUnsaid(open) && left > 0; left -= 10) await wait(this.#clock, 10);
    await this.#closePort(open);
  }

  #send(open: Open, bytes: Uint8Array): void {
    open.state = 'writing';
    open.cancelWatch = this.#clock.after(LEAVES_WITHIN_MS, () => {
      open.cancelWatch = this.#clock.after(LAST_LOOK_MS, () => {
        this.#stuck(open);
      });
    });
    open.port.write(bytes, (failed) => {
      if (failed || !open.port.isOpen) return;
      open.state = 'leaving';
      // Waits in a thread of its own until the last byte has left.
      open.port.drain(() => {
        // A port that cannot tell is taken at its word; one that went away tells that itself.
        if (!open.port.isOpen) return;
        open.cancelWatch();
        open.state = 'idle';
        const next = open.waiting.shift();
        if (next !== undefined) this.#send(open, next);
      });
    });
  }

  #hear(open: Open, bytes: Uint8Array): void {
    if (this.#open !== open) return;
    if (open.heardInSlice === 0) {
      open.cancelSlice = this.#clock.after(SLICE_MS, () => {
        open.heardInSlice = 0;
        open.port.resume();
      });
    }
    open.heardInSlice += bytes.length;
    if (open.heardInSlice >= MOST_IN_A_SLICE) open.port.pause();
    open.events.onBytes(bytes);
  }

  #stuck(open: Open): void {
    this.#lost(
      open,
      `The port ${this.path} did not take what was said to the bench within ${(LEAVES_WITHIN_MS + LAST_LOOK_MS) / 1000} s. It was thrown away and is not said later; the controller hears nothing now. ${deadManText()} Check the cable and the bench's power; the program looks for the bench by itself.`,
    );
    void this.#closePort(open);
  }

  #wentAway(open: Open, why: string): void {
    this.#lost(open, `The port ${this.path} went away (${why}). Check the cable and the bench's power; the program looks for the bench by itself.`);
  }

  #lost(open: Open, text: string): void {
    if (this.#open !== open) return;
    this.#letGo();
    open.events.onClosed(text);
  }

  /** Nothing is heard of the port from here on. */
  #letGo(): Open | null {
    const open = this.#open;
    this.#open = null;
    open?.cancelSlice();
    return open;
  }

  /** Takes back what has not left, which the system would say before it closes, or much later. */
  #closePort(open: Open): Promise<void> {
    open.cancelWatch();
    open.waiting = [];
    const { port } = open;
    if (!port.isOpen) return Promise.resolve();
    return new Promise((resolve) => {
      const cancel = this.#clock.after(CLOSE_DEADLINE_MS, resolve);
      const close = (): void => {
        port.close(() => {
          cancel();
          resolve();
        });
      };
      // Of a line that the system has not taken, closing is what takes it back: room made for it would let it out.
      if (open.state === 'leaving') port.flush(close);
      else close();
    });
  }
}

const isUnsaid = ({ port, state }: Open): boolean => port.isOpen && state !== 'idle';
