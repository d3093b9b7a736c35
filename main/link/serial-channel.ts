import { statSync } from 'node:fs';
import { SerialPort } from 'serialport';
import type { Clock } from '../clock/clock.ts';
import type { Channel, ChannelEvents, OpenResult } from './channel.ts';

/** The line's speed (8 data bits, no parity, 1 stop bit); a USB port ignores it. */
const BAUD_RATE = 115_200;

/** Opening and closing a port is done in well under a second; a driver that hangs must not hang the program. */
const OPEN_DEADLINE_MS = 5000;
const CLOSE_DEADLINE_MS = 2000;

/** Far more than is ever under way: the link sends one short line and waits. More means that the port takes nothing. */
const MAX_UNSENT_BYTES = 16_384;

/**
 * Turns what the operating system says when a port cannot be opened into a sentence with a remedy. The texts looked for
 * are those of the serialport bindings: strerror() on Linux and macOS, its own on Windows.
 */
export function explainOpenFailure(path: string, message: string): Exclude<OpenResult, { ok: true }> {
  const failure = (code: Exclude<OpenResult, { ok: true }>['code'], text: string) => ({ ok: false, code, text }) as const;
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

const notAPort = (path: string): Exclude<OpenResult, { ok: true }> => ({ ok: false, code: 'not-a-port', text: `${path} is not a serial port, so it was not opened. Give the name of a port.` });

/**
 * What is wrong with `path` as a port, without opening it; null: nothing that can be seen. Opening and closing any other
 * file may do harm: on POSIX systems it drops every lock of this process on it, that of the archive too.
 */
function wrongWith(path: string): Exclude<OpenResult, { ok: true }> | null {
  if (process.platform === 'win32') return /^(\\\\\.\\)?COM\d{1,3}$/i.test(path) ? null : notAPort(path);
  try {
    // Links are followed: the names under /dev/serial are links to devices.
    return statSync(path).isCharacterDevice() ? null : notAPort(path);
  } catch (error) {
    return explainOpenFailure(path, error instanceof Error ? error.message : String(error));
  }
}

/** A serial port, or a pseudo-terminal, which looks the same from here. */
export class SerialChannel implements Channel {
  readonly description: string;
  readonly path: string;
  readonly #clock: Clock;
  #port: SerialPort | null = null;
  #events: ChannelEvents | null = null;

  constructor(path: string, clock: Clock) {
    this.path = path;
    this.description = `serial port ${path}`;
    this.#clock = clock;
  }

  open(events: ChannelEvents): Promise<OpenResult> {
    const wrong = wrongWith(this.path);
    if (wrong !== null) return Promise.resolve(wrong);
    return new Promise((resolve) => {
      const port = new SerialPort({ path: this.path, baudRate: BAUD_RATE, autoOpen: false });
      let late = false;
      const cancel = this.#clock.after(OPEN_DEADLINE_MS, () => {
        late = true;
        resolve(explainOpenFailure(this.path, `the operating system did not answer within ${OPEN_DEADLINE_MS / 1000} s`));
      });
      port.on('error', (error) => {
        this.#lost(port, error.message);
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
        this.#port = port;
        this.#events = events;
        port.on('data', (bytes: Uint8Array) => {
          if (this.#port === port) events.onBytes(bytes);
        });
        port.on('close', (why: Error | null) => {
          this.#lost(port, why?.message ?? 'closed by the operating system');
        });
        resolve({ ok: true });
      });
    });
  }

  write(bytes: Uint8Array): void {
    const port = this.#port;
    if (port === null) return;
    if (port.writableLength + bytes.length > MAX_UNSENT_BYTES) {
      this.#lost(port, 'it takes no more data');
      port.close(() => undefined);
      return;
    }
    port.write(bytes);
  }

  close(): Promise<void> {
    const port = this.#port;
    this.#port = null;
    this.#events = null;
    if (port?.isOpen !== true) return Promise.resolve();
    return new Promise((resolve) => {
      const cancel = this.#clock.after(CLOSE_DEADLINE_MS, resolve);
      port.close(() => {
        cancel();
        resolve();
      });
    });
  }

  #lost(port: SerialPort, why: string): void {
    if (this.#port !== port) return;
    const events = this.#events;
    this.#port = null;
    this.#events = null;
    events?.onClosed(
      `The port ${this.path} went away (${why}). Check the cable and the bench's power; the program looks for the bench by itself.`,
    );
  }
}
