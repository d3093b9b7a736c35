import { spawnSync } from 'node:child_process';
import { closeSync, constants, openSync, writeSync } from 'node:fs';
import type { ReadStream } from 'node:tty';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import type { Clock } from '../clock/clock.ts';
import { RunningBench } from './running-bench.ts';

/** What may wait for a host to read it. A serial line keeps nothing for a host that is not there; neither does this. */
const MAX_UNREAD_BYTES = 16_384;
/** Before the next attempt when the terminal is full. */
const FULL_PAUSE_MS = 5;

/**
 * The part of the package that opens a terminal without a program in it, which its own types leave out. Only the two
 * streams may be destroyed: the terminal's own `destroy` means to hang up its program, and without one it signals -1,
 * which is every process of the user.
 */
interface TerminalPackage {
  readonly open: (options: { cols: number; rows: number; encoding: null }) => {
    readonly ptsName: string;
    /** The bench's side, which never blocks. */
    readonly fd: number;
    readonly master: ReadStream;
    readonly slave: ReadStream;
  };
}

/** Hears what passes over the line, at the bench's end of it. */
export type Tap = (from: 'host' | 'controller', bytes: Uint8Array) => void;

export interface PtyBench {
  /** What a host opens in place of a serial port. */
  readonly path: string;
  /** Switches the bench off, once; for a host that has the port open it is as if the port had been unplugged. */
  close(): void;
}

/**
 * A simulated bench behind a pseudo-terminal, which a host opens like a serial port. Hosts may come and go, one at a
 * time; the bench lives on in between, so that its dead-man acts when a host dies. Linux and macOS.
 *
 * Throws where there are no pseudo-terminals.
 */
export async function servePtyBench(scenario: Scenario, clock: Clock, tap: Tap = () => undefined): Promise<PtyBench> {
  // Loaded only here: the package has no binary for every system that the rest of the program runs on.
  const { open } = (await import('@lydell/node-pty')) as unknown as TerminalPackage;
  const terminal = open({ cols: 80, rows: 25, encoding: null });
  const path = terminal.ptsName;
  // As long as this program holds the other side open too, the near side survives the hosts.
  terminal.slave.pause();
  const keptOpen = openSync(path, constants.O_RDWR | constants.O_NOCTTY);
  terminal.slave.destroy();
  // A new terminal echoes: until the first host sets it up, the bench would hear its own lines.
  const raw = spawnSync('stty', [process.platform === 'linux' ? '-F' : '-f', path, 'raw', '-echo']);
  if (raw.status !== 0) {
    terminal.master.destroy();
    closeSync(keptOpen);
    throw new Error(`The pseudo-terminal ${path} could not be set up: ${raw.error?.message ?? raw.stderr.toString()}`);
  }

  const bench = new RunningBench(scenario, clock);
  terminal.master.on('data', (bytes: Uint8Array) => {
    tap('host', bytes);
    bench.receive(bytes);
  });
  const unread = new UnreadBytes(terminal.fd, clock);
  bench.attach((bytes) => {
    tap('controller', bytes);
    unread.write(bytes);
  });
  let on = true;
  return {
    path,
    close() {
      if (!on) return;
      on = false;
      bench.switchOff();
      unread.stop();
      terminal.master.destroy();
      closeSync(keptOpen);
    },
  };
}

/** Writes without ever waiting: the stream's own writing would stop the whole program until a host reads. */
class UnreadBytes {
  readonly #file: number;
  readonly #clock: Clock;
  #waiting: Uint8Array[] = [];
  #length = 0;
  #cancel: (() => void) | null = null;

  constructor(file: number, clock: Clock) {
    this.#file = file;
    this.#clock = clock;
  }

  /** Drops what nobody reads for too long, as a serial line does. */
  write(bytes: Uint8Array): void {
    if (this.#length + bytes.length > MAX_UNREAD_BYTES) return;
    this.#waiting.push(bytes);
    this.#length += bytes.length;
    if (this.#cancel === null) this.#flush();
  }

  stop(): void {
    this.#cancel?.();
    this.#waiting = [];
  }

  #flush(): void {
    this.#cancel = null;
    for (;;) {
      const bytes = this.#waiting[0];
      if (bytes === undefined) return;
      const written = this.#tryWrite(bytes);
      this.#length -= written;
      if (written === bytes.length) {
        this.#waiting.shift();
        continue;
      }
      this.#waiting[0] = bytes.subarray(written);
      this.#cancel = this.#clock.after(FULL_PAUSE_MS, () => {
        this.#flush();
      });
      return;
    }
  }

  #tryWrite(bytes: Uint8Array): number {
    try {
      return writeSync(this.#file, bytes);
    } catch (error) {
      if (error instanceof Error && 'code' in error && error.code === 'EAGAIN') return 0;
      throw error;
    }
  }
}
