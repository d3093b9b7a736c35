/** What passes between the shell and the host's process; windows speak to the host over ports of their own. */
import { z } from 'zod';

/** What the host's process is started with, as JSON in its one argument: absolute paths. */
export const hostArguments = z.strictObject({ archivePath: z.string().min(1), heads: z.string().optional(), headsKey: z.string().optional() });
export type HostArguments = z.infer<typeof hostArguments>;

/** Switch of a second start that ends the program which is open: Windows has no signal that asks (CLI-32). */
export const endSwitch = '--end';

export const toHostProcess = z.discriminatedUnion('kind', [
  /** A port comes with it, at whose other end a window is. */
  z.strictObject({ kind: z.literal('window') }),
  /** The machine is about to sleep. */
  z.strictObject({ kind: z.literal('rest'), why: z.string() }),
  /** STOP, as from a page. The answer carries the same number. */
  z.strictObject({ kind: z.literal('stop'), id: z.int(), origin: z.enum(['menu', 'shortcut']) }),
  /** A port comes with it, at whose other end the desk is that was wanted under this number. */
  z.strictObject({ kind: z.literal('desk'), desk: z.int() }),
  /** The process of that desk has ended. `pid`: the one that it had; 0: it never began. */
  z.strictObject({ kind: z.literal('desk-ended'), desk: z.int(), code: z.int(), pid: z.int() }),
  /** Make safe, commit and end. */
  z.strictObject({ kind: z.literal('end') }),
]);
export type ToHostProcess = z.infer<typeof toHostProcess>;

export const toShell = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('activity'), active: z.boolean() }),
  z.strictObject({ kind: z.literal('bench'), connected: z.boolean() }),
  z.strictObject({ kind: z.literal('stopped'), id: z.int(), accepted: z.boolean(), text: z.string() }),
  /** A desk is to be started (main/host/desk-worker.ts, with these arguments); only the shell can start a process. */
  z.strictObject({ kind: z.literal('desk-wanted'), desk: z.int(), args: z.array(z.string()) }),
  /** It has not come to its end in time. */
  z.strictObject({ kind: z.literal('desk-torn-down'), desk: z.int() }),
  /** There will be no host: the sentence is for the user. */
  z.strictObject({ kind: z.literal('failed'), text: z.string() }),
  z.strictObject({ kind: z.literal('defect'), text: z.string() }),
  z.strictObject({ kind: z.literal('ended'), safe: z.boolean(), text: z.string() }),
]);
export type ToShell = z.infer<typeof toShell>;

/** Between preload and shell: the page's preload asks for a port, and the port comes. */
export const portWanted = 'host-port-wanted';
export const portComes = 'host-port';
