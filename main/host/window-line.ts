/**
 * One window's line at its host, whatever carries it: text both ways, a bound on what waits for a window that does not read,
 * and a watch over a window that has gone without a word.
 */
import type { Clock } from '../clock/clock.ts';
import type { Host } from './host.ts';
import { messageText, type HostMessage } from './outcome.ts';

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
  /** false: it is no JSON, or nested deeper than any message, and nothing was done. */
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
/** A plan nests six deep. What takes a document apart calls itself for each level (HOST-13). */
const DEEPEST = 64;

export function windowLine(host: Host, clock: Clock, carrier: TextCarrier, { slowBytes = 2 ** 20, stuckBytes = 64 * 2 ** 20, pingMs = 2000 }: LineLimits = {}): WindowLine {
  const client = host.attach((message) => {
    if (!carrier.isOpen()) return;
    const unsent = carrier.unsentBytes();
    if (unsent > stuckBytes) {
      carrier.cut();
      return;
    }
    if (unsent > slowBytes && isPassing(message)) return;
    carrier.send(messageText(message));
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
      if (nestsDeeper(text, DEEPEST)) return false;
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
function isPassing(message: HostMessage): boolean {
  return 'event' in message && (message.event === 'frames' || message.event === 'run.status');
}

/** Whether brackets outside of texts are open more than `most` deep at once. */
function nestsDeeper(json: string, most: number): boolean {
  let depth = 0;
  let inText = false;
  for (let i = 0; i < json.length; i += 1) {
    const c = json.charCodeAt(i);
    if (inText) {
      if (c === 0x5c) i += 1;
      else if (c === 0x22) inText = false;
    } else if (c === 0x22) inText = true;
    else if (c === 0x5b || c === 0x7b) {
      depth += 1;
      if (depth > most) return true;
    } else if (c === 0x5d || c === 0x7d) depth -= 1;
  }
  return false;
}
