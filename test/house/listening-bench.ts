/**
 * A simulated bench behind a pseudo-terminal that remembers what it was told and what it said, with the time of this
 * process: so that of a program that has ended it can be said whether the bench was made safe before, and by whom.
 */
import type { Telemetry } from '../../firmware-protocol/line/messages.ts';
import { decodeFromController, decodeFromHost } from '../../firmware-protocol/line/messages.ts';
import { servePtyBench } from '../../main/bench/pty-bench.ts';
import { WallClock } from '../../main/clock/clock.ts';
import { scenario } from '../builders/in-process.ts';

/** Near enough to 0 V, the safe supply of the simulated bench. */
const SAFE_MV = 500;

interface Heard {
  readonly at: number;
  readonly word: string;
}

export interface ListeningBench {
  readonly path: string;
  /** Requests of the host so far, alive aside. */
  readonly told: () => readonly string[];
  /** Resolves in the middle of a burst of at least `pulses`, the n-th of such (the proof of the dead-man has the first). */
  readonly inBurst: (n: number, pulses?: number) => Promise<void>;
  /** Resolves with the first request for a burst. */
  readonly burstAsked: () => Promise<void>;
  /**
   * What is wrong with an end at `at` (performance.now) after the latest burst; empty: "safe" came, telemetry showed that
   * it was obeyed, both before the end, and the dead-man had no part in it.
   */
  readonly wrongWithEnd: (at: number) => readonly string[];
  /** Whether its dead-man acted since its latest burst. */
  readonly deadManActed: () => boolean;
  readonly close: () => void;
}

export async function listeningBench(speed: number): Promise<ListeningBench> {
  const told: Heard[] = [];
  const frames: { readonly at: number; readonly frame: Telemetry }[] = [];
  const watchers = new Set<() => void>();
  const bursts: { readonly at: number; readonly count: number }[] = [];
  const held = { host: '', controller: '' };
  const hear = (from: 'host' | 'controller', line: string): void => {
    const at = performance.now();
    if (from === 'host') {
      const said = decodeFromHost(line);
      if (said.kind !== 'request' || said.request.word === 'alive') return;
      told.push({ at, word: said.request.word });
      if (said.request.word === 'burst') bursts.push({ at, count: said.request.count });
    } else {
      const said = decodeFromController(line);
      if (said.kind === 'telemetry') frames.push({ at, frame: said.telemetry });
    }
    for (const watcher of [...watchers]) watcher();
  };
  const bench = await servePtyBench(scenario(), new WallClock(speed), (from, bytes) => {
    const lines = (held[from] + Buffer.from(bytes).toString('latin1')).split('\n');
    held[from] = lines.pop() ?? '';
    for (const line of lines) hear(from, line);
  });
  return {
    path: bench.path,
    told: () => told.map(({ word }) => word),
    inBurst: (n, pulses = 100) =>
      new Promise((resolve) => {
        const look = (): void => {
          const burst = bursts.filter(({ count }) => count >= pulses)[n - 1];
          const last = frames.at(-1)?.frame;
          if (burst === undefined || last?.active !== true || last.commanded !== burst.count || last.done === 0) return;
          watchers.delete(look);
          resolve();
        };
        watchers.add(look);
      }),
    burstAsked: () =>
      new Promise((resolve) => {
        const look = (): void => {
          if (bursts.length === 0) return;
          watchers.delete(look);
          resolve();
        };
        watchers.add(look);
      }),
    wrongWithEnd: (end) => {
      const wrong: string[] = [];
      const burst = bursts.at(-1);
      if (burst === undefined) return ['no burst was ever asked for'];
      const safe = told.find(({ at, word }) => word === 'safe' && at > burst.at);
      if (safe === undefined) return [`the bench was never told to be safe after its last burst, of ${burst.count} pulses`];
      const shown = frames.find(({ at, frame }) => at > safe.at && !frame.armed && !frame.active && frame.supplyMv <= SAFE_MV);
      if (safe.at > end) wrong.push('"safe" came after the program had ended');
      if (shown === undefined || shown.at > end) wrong.push('the program ended before telemetry had shown that the bench is safe');
      if (frames.some(({ at, frame }) => at > burst.at && at <= end && frame.fault === 'dead-man')) wrong.push('the dead-man acted');
      return wrong;
    },
    deadManActed: () => frames.some(({ at, frame }) => at > (bursts.at(-1)?.at ?? 0) && frame.fault === 'dead-man'),
    close: () => bench.close(),
  };
}
