import type { ControllerPort } from '../../firmware-protocol/conformance/suite.ts';
import { LONGEST_TO_HOST } from '../../firmware-protocol/line/codec.ts';
import type { Clock } from '../clock/clock.ts';
import type { Channel, OpenedChannel } from '../link/channel.ts';
import { Lines } from '../link/lines.ts';

/** Lines kept for a suite that is not reading; the oldest go first. */
const MAX_HELD_LINES = 4096;

/**
 * Points the conformance suite at whatever hangs on `channel`. `closed()` says why the channel ended, null while it is
 * open: a suite whose controller went away sees only silence. When `signal` is aborted, what waits at that moment waits no
 * longer.
 */
export async function openControllerPort(
  channel: Channel,
  clock: Clock,
  signal?: AbortSignal,
): Promise<{ readonly ok: true; readonly port: ControllerPort; readonly closed: () => string | null } | Exclude<OpenedChannel, { ok: true }>> {
  const lines: string[] = [];
  let waiting: ((line: string) => void) | null = null;
  let closed: string | null = null;
  const heard = new Lines(LONGEST_TO_HOST, (line) => {
    if (waiting !== null) {
      waiting(line);
      return;
    }
    lines.push(line);
    if (lines.length > MAX_HELD_LINES) lines.shift();
  });
  const opened = await channel.open({
    onBytes: (bytes) => {
      heard.push(bytes);
    },
    onClosed: (reason) => {
      closed = reason;
    },
  });
  if (!opened.ok) return opened;
  /** What ends the present wait. */
  const waits = new Set<() => void>();
  signal?.addEventListener('abort', () => {
    for (const end of [...waits]) end();
  }, { once: true });
  const port: ControllerPort = {
    send: (text) => {
      channel.write(Buffer.from(text, 'latin1'));
    },
    nextLine: (timeoutMs) => {
      const line = lines.shift();
      if (line !== undefined) return Promise.resolve(line);
      return new Promise((resolve) => {
        const finish = (result: string | null) => {
          waiting = null;
          cancel();
          waits.delete(giveUp);
          resolve(result);
        };
        const giveUp = () => {
          finish(null);
        };
        const cancel = clock.after(timeoutMs, giveUp);
        waits.add(giveUp);
        waiting = finish;
      });
    },
    wait: (ms) =>
      new Promise((resolve) => {
        const finish = () => {
          cancel();
          waits.delete(finish);
          resolve();
        };
        const cancel = clock.after(ms, finish);
        waits.add(finish);
      }),
  };
  return { ok: true, port, closed: () => closed };
}
