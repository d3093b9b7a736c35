import type { ControllerPort } from '../../firmware-protocol/conformance/suite.ts';
import { LONGEST_TO_HOST } from '../../firmware-protocol/line/codec.ts';
import { wait, type Clock } from '../clock/clock.ts';
import type { Channel, OpenResult } from '../link/channel.ts';
import { Lines } from '../link/lines.ts';

/** Lines kept for a suite that is not reading; the oldest go first. */
const MAX_HELD_LINES = 4096;

/**
 * Points the conformance suite at whatever hangs on `channel`. `closed()` says why the channel ended, null while it is
 * open: a suite whose controller went away sees only silence.
 */
export async function openControllerPort(
  channel: Channel,
  clock: Clock,
): Promise<{ readonly ok: true; readonly port: ControllerPort; readonly closed: () => string | null } | Exclude<OpenResult, { ok: true }>> {
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
          resolve(result);
        };
        const cancel = clock.after(timeoutMs, () => {
          finish(null);
        });
        waiting = finish;
      });
    },
    wait: (ms) => wait(clock, ms),
  };
  return { ok: true, port, closed: () => closed };
}
