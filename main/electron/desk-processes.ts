/**
 * The desks of the host on the desktop: processes like those of deskProcess, which only the shell can start. It is asked to, and passes
 * on a port to each; what the host and the desk say to each other does not pass through it.
 */
import type { MessagePortMain } from 'electron';
import { DESK_PATIENCE_MS, deskArguments, hearDesk, type DeskPriority, type FromDesk } from '../host/desk-process.ts';
import type { StartDesk, ToDesk } from '../host/desk.ts';
import { removeUnfinishedExports } from '../host/export-folder.ts';
import type { ToShell } from './messages.ts';

interface Wanted {
  readonly ears: Parameters<StartDesk>[0];
  /** null: the process is being started. */
  port: MessagePortMain | null;
  /** Said before it was there. */
  readonly unsaid: ToDesk[];
}

export class DeskProcesses {
  readonly #tell: (message: ToShell) => void;
  readonly #desks = new Map<number, Wanted>();
  #wanted = 0;

  constructor(tell: (message: ToShell) => void) {
    this.#tell = tell;
  }

  start(archivePath: string, priority: DeskPriority): StartDesk {
    return (ears) => {
      const desk = (this.#wanted += 1);
      const wanted: Wanted = { ears, port: null, unsaid: [] };
      this.#desks.set(desk, wanted);
      this.#tell({ kind: 'desk-wanted', desk, args: deskArguments(archivePath, process.pid, priority) });
      return {
        patienceMs: DESK_PATIENCE_MS,
        post: (message) => {
          if (wanted.port === null) wanted.unsaid.push(message);
          else wanted.port.postMessage(message);
        },
        // This process lives by the shell.
        keepsAlive: () => undefined,
        tearDown: () => {
          this.#tell({ kind: 'desk-torn-down', desk });
        },
      };
    };
  }

  /** The shell has started one. */
  came(desk: number, port: MessagePortMain): void {
    const wanted = this.#desks.get(desk);
    if (wanted === undefined) return;
    wanted.port = port;
    port.on('message', ({ data }) => hearDesk(wanted.ears, data as FromDesk));
    port.start();
    for (const message of wanted.unsaid.splice(0)) port.postMessage(message);
  }

  ended(desk: number, code: number, pid: number): void {
    const wanted = this.#desks.get(desk);
    if (wanted === undefined) return;
    this.#desks.delete(desk);
    if (code !== 0) removeUnfinishedExports(pid);
    wanted.ears.onEnd(code === 0 ? null : `it ended with code ${code}`);
  }
}
