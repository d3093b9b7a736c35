/**
 * One window's line at its host, whatever carries it: text both ways, a bound on what waits for a window that does not read,
 * and a watch over a window that has gone without a word.
 */
import type { ToWindow } from '../../app/contract/contract.ts';
import type { Clock } from '../clock/clock.ts';
import type { Host } from './host.ts';

/** What a WebSocket is to its host. */
export interface TextCarrier {
  isOpen(): boolean;
  unsentBytes(): number;
  send(text: string): void;
  /** The far side answers by itself, without its page. */
  ping(): void;
  /** At once, without a word. `onClosed` follows. */
  cut(): void;
}

export interface WindowLine {
  /** false: it is no JSON, and nothing was done. */
  onText(text: string): boolean;
  onPong(): void;
  onClosed(): void;
}

export interface LineLimits {
  /** Over this much unsent, a window gets no frames and no status; they are old by the time it has read what it has. */
  readonly slowBytes?: number | undefined;
  /** Over this much, the line is cut: the window comes back and reads the journal from where it was. */
  readonly stuckBytes?: number | undefined;
  /** How often a window is asked whether it is still there; after three unanswered times it is not. */
  readonly pingMs?: number | undefined;
}

const PINGS_MISSED = 3;

export function windowLine(host: Host, clock: Clock, carrier: TextCarrier, { slowBytes = 2 ** 20, stuckBytes = 64 * 2 ** 20, pingMs = 2000 }: LineLimits = {}): WindowLine {
  const client = host.attach((message) => {
    if (!carrier.isOpen()) return;
    const unsent = carrier.unsentBytes();
    if (unsent > stuckBytes) {
      carrier.cut();
      return;
    }
    if (unsent > slowBytes && isPassing(message)) return;
    carrier.send(JSON.stringify(message));
  });
  let missed = 0;
  let cancelPing = (): void => undefined;
  const pingLater = (): void => {
    cancelPing = clock.after(pingMs, () => {
      if (missed >= PINGS_MISSED) {
        carrier.cut();
        return;
      }
      missed += 1;
      carrier.ping();
      pingLater();
    });
  };
  pingLater();
  return {
    onPong: () => {
      missed = 0;
    },
    onText: (text) => {
      missed = 0;
      let message: unknown;
      try {
        message = JSON.parse(text);
      } catch {
        return false;
      }
      client.receive(message);
      return true;
    },
    onClosed: () => {
      cancelPing();
      client.close();
    },
  };
}

/** Messages that say how it is now: a newer one makes them worthless. */
function isPassing(message: ToWindow): boolean {
  return 'event' in message && (message.event === 'frames' || message.event === 'run.status');
}
