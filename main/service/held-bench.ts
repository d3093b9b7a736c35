/** The bench of a run: connected for it, or taken over as it is and left connected. */
import type { BenchIdentity } from '../../app/bench/port.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { connectBench, type Bench } from '../bench/driver.ts';
import type { Clock } from '../clock/clock.ts';
import type { Entropy } from '../clock/entropy.ts';
import type { ChannelSource } from '../link/channel.ts';
import type { RunFailure } from './load-run.ts';

/** A bench for the time of a run. */
export interface Held {
  readonly ok: true;
  readonly bench: Bench;
  readonly letGo: () => Promise<void>;
}

type BenchParts = { readonly clock: Clock; readonly entropy: Entropy } & ({ readonly channels: ChannelSource; readonly bench?: never } | { readonly bench: Bench; readonly channels?: never });

/** The bench for a run with the plan's settings: connected now, or taken over as it is. */
export async function hold(parts: BenchParts, link: Plan['link'], expected: BenchIdentity | undefined, signal: AbortSignal | undefined): Promise<Held | RunFailure> {
  const failed = (text: string): RunFailure => ({ ok: false, code: 'bench', text });
  const { deadManMs, telemetryHz } = link;
  const { bench } = parts;
  if (bench === undefined) {
    const connected = await connectBench({
      channels: parts.channels, clock: parts.clock, entropy: parts.entropy, deadManMs, telemetryHz, ...(expected ? { expected } : {}), ...(signal ? { signal } : {}),
    });
    return connected.ok ? { ok: true, bench: connected.bench, letGo: () => connected.bench.close() } : failed(connected.text);
  }
  const { model, serialNumber } = bench.identity;
  if (expected !== undefined && (expected.model !== model || expected.serialNumber !== serialNumber)) {
    return failed(`The bench ${model} ${serialNumber} is connected, and this run began on ${expected.model} ${expected.serialNumber}. Nothing was switched. Connect the bench that the run began on.`);
  }
  const set = await bench.configure({ deadManMs, telemetryHz }, signal);
  if (set.kind !== 'done') return failed(set.text);
  return { ok: true, bench, letGo: () => Promise.resolve() };
}
