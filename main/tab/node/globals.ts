/** What Node's own code finds without asking for it. Comes before everything else. */
import { Buffer } from 'buffer';
import process from './process.ts';

const turns: (() => void)[] = [];
const { port1, port2 } = new MessageChannel();
port1.addEventListener('message', () => turns.shift()?.());
port1.start();

Object.assign(globalThis, {
  Buffer,
  // A turn of the event loop, after everything that was promised: a timer of 0 ms would be held back to 4.
  setImmediate: (turn: () => void) => {
    turns.push(turn);
    port2.postMessage(null);
  },
  process,
});
