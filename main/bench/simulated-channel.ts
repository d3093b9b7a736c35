import type { RunningBench } from './running-bench.ts';
import type { Channel, ChannelEvents, OpenedChannel } from '../link/channel.ts';

/**
 * A wire to a simulated bench in this process. The bench outlives the wire: what happens on it after `close` (its
 * dead-man, for one) happens as it would at the end of a cable.
 */
export class SimulatedChannel implements Channel {
  readonly description = 'simulated bench in this process';
  readonly #bench: RunningBench;
  #events: ChannelEvents | null = null;
  #detach: () => void = () => undefined;

  constructor(bench: RunningBench) {
    this.#bench = bench;
  }

  open(events: ChannelEvents): Promise<OpenedChannel> {
    this.#events = events;
    this.#detach = this.#bench.attach(events.onBytes);
    return Promise.resolve({ ok: true });
  }

  write(bytes: Uint8Array): void {
    if (this.#events !== null) this.#bench.receive(bytes);
  }

  close(): Promise<void> {
    this.#detach();
    this.#events = null;
    return Promise.resolve();
  }

  /** What a pulled plug is to a host that is lucky enough to be told. */
  unplug(): void {
    const events = this.#events;
    void this.close();
    events?.onClosed('The cable of the simulated bench was unplugged.');
  }
}
