/** What the connected bench reads over a span of its time, for a line of a qualification. HOST-132 */
import { SpanReading, type SpanRead } from '../../app/qualification/span-reading.ts';
import { wait, type Clock } from '../clock/clock.ts';
import type { BenchAtHost } from './bench-at-host.ts';
import { Failed, noBench } from './outcome.ts';

/** How much longer than asked for is waited, s of bench time: frames come ten times a second and more. */
const SLACK_S = 3;
/** How often it is looked whether the bench is still there: its own clock stands when it goes. */
const LOOK_EVERY_MS = 200;

/** Resolves after so many seconds of bench time, or when the bench has gone. Asks nothing of the bench. `clock`: the host's. */
export async function readSpan(bench: BenchAtHost, clock: Clock, seconds: number): Promise<SpanRead | Failed> {
  const { connected } = bench;
  if (connected === null) return noBench();
  const { place, bench: driver } = connected;
  const reading = new SpanReading();
  const enough = new AbortController();
  let lost = '';
  const unlisten = driver.listen({
    onFrame: (frame) => {
      reading.add(place.clock.now() / 1e3, frame);
      if (reading.seconds >= seconds) enough.abort(new Error('enough'));
    },
    onLink: (event) => {
      if (event.state !== 'down') return;
      lost = 'The link to the bench was lost meanwhile.';
      enough.abort(new Error('lost'));
    },
  });
  try {
    const began = place.clock.now();
    while (!enough.signal.aborted && bench.connected?.bench === driver && place.clock.now() - began < (seconds + SLACK_S) * 1e3) {
      await wait(clock, LOOK_EVERY_MS, enough.signal).catch(() => undefined);
    }
  } finally {
    unlisten();
  }
  if (bench.connected?.bench !== driver) return new Failed('no-bench', 'The bench was disconnected meanwhile. Nothing was read.');
  if (lost !== '') return new Failed('bench', `${lost} Nothing was read.`);
  const { read } = reading;
  return read === null || read.seconds < seconds ? new Failed('bench', 'Too few readings came from the bench, or its controller started anew meanwhile. Nothing was read. Try again.') : read;
}
