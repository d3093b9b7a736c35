/**
 * The wire to a simulated bench, with what a cable, an adapter and other programs do to it that no line of the controller does: bytes
 * without an end, a reader that steals some, a second talker, a port that is taken. It begins with the n-th burst.
 */
import { sealLine } from '../../firmware-protocol/line/codec.ts';
import { decodeFromController, encodeRequest, encodeTelemetry } from '../../firmware-protocol/line/messages.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import type { RunningBench } from '../../main/bench/running-bench.ts';
import type { Clock } from '../../main/clock/clock.ts';
import type { Channel, ChannelEvents, OpenedChannel } from '../../main/link/channel.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';

export type Trouble =
  /** So many bytes at once, and no LF among them. */
  | { readonly what: 'garbage'; readonly bytes: number }
  /** Another reader takes a part of every second packet. */
  | { readonly what: 'thief'; readonly forS: number }
  /** Another program says `hello` to the controller on the same wire, so often. */
  | { readonly what: 'talker'; readonly times: number; readonly everyS: number }
  /** The port goes away, and another program has it when it is back. */
  | { readonly what: 'taken' }
  /** Answers come under the number after theirs. */
  | { readonly what: 'misnumbered'; readonly forS: number }
  /** The controller gives an edge the time of the frame that tells of it. */
  | { readonly what: 'lazy-edges' };

export class TroubledLine implements Channel {
  /** How often the trouble was at work. */
  struck = 0;
  readonly description = 'simulated bench on a troubled line';
  readonly #bench: RunningBench;
  readonly #clock: Clock;
  readonly #trouble: Trouble;
  readonly #chance = RandomSource.named(7, 'troubled line');
  readonly #bursts = new Set<string>();
  readonly #atBurst: number;
  #wire: SimulatedChannel;
  #events: ChannelEvents | null = null;
  #begunAt = Number.POSITIVE_INFINITY;
  #packets = 0;

  constructor(bench: RunningBench, clock: Clock, trouble: Trouble, atBurst: number) {
    this.#bench = bench;
    this.#clock = clock;
    this.#trouble = trouble;
    this.#atBurst = atBurst;
    this.#wire = new SimulatedChannel(bench);
  }

  open(events: ChannelEvents): Promise<OpenedChannel> {
    if (this.#isOn && this.#trouble.what === 'taken') {
      this.struck += 1;
      return Promise.resolve({ ok: false, code: 'busy', text: 'The port is in use by another program. Close that program, then try again.' });
    }
    this.#events = events;
    this.#wire = new SimulatedChannel(this.#bench);
    return this.#wire.open({ onBytes: (bytes) => this.#deliver(bytes), onClosed: events.onClosed });
  }

  write(bytes: Uint8Array): void {
    const line = Buffer.from(bytes).toString('latin1');
    if (line.includes(' burst ')) this.#bursts.add(line);
    this.#wire.write(bytes);
    if (this.#bursts.size >= this.#atBurst && !this.#isOn) this.#begin();
  }

  close(): Promise<void> {
    this.#events = null;
    return this.#wire.close();
  }

  get #isOn(): boolean {
    return this.#begunAt < Number.POSITIVE_INFINITY;
  }

  #begin(): void {
    const trouble = this.#trouble;
    this.#begunAt = this.#clock.now();
    switch (trouble.what) {
      case 'garbage':
        this.#clock.after(100, () => this.#strike(() => this.#events?.onBytes(new Uint8Array(trouble.bytes).fill(0x55))));
        return;
      case 'talker':
        for (let n = 0; n < trouble.times; n += 1) {
          this.#clock.after(100 + n * trouble.everyS * 1e3, () =>
            this.#strike(() => this.#bench.receive(Buffer.from(`\n${encodeRequest(20_000 + n, { word: 'hello', token: `other${n}` })}`, 'latin1'))),
          );
        }
        return;
      case 'taken':
        this.#clock.after(100, () => this.#wire.unplug());
        return;
      default:
        return;
    }
  }

  #strike(act: () => void): void {
    this.struck += 1;
    act();
  }

  #deliver(bytes: Uint8Array): void {
    const trouble = this.#trouble;
    const lasts = 'forS' in trouble ? trouble.forS : Number.POSITIVE_INFINITY;
    if (!this.#isOn || this.#clock.now() > this.#begunAt + lasts * 1e3) {
      this.#events?.onBytes(bytes);
      return;
    }
    this.#packets += 1;
    if (trouble.what === 'thief' && this.#packets % 2 === 0) {
      const from = Math.floor(this.#chance.uniform() * bytes.length);
      const to = from + Math.floor(this.#chance.uniform() * (bytes.length - from + 1));
      this.#strike(() => this.#events?.onBytes(Buffer.concat([bytes.subarray(0, from), bytes.subarray(to)])));
      return;
    }
    const line = Buffer.from(bytes).toString('latin1');
    const said = retold(line, trouble.what);
    if (said !== line) this.struck += 1;
    this.#events?.onBytes(Buffer.from(said, 'latin1'));
  }
}

/** A line as it comes, said otherwise, with a checksum that is right. */
function retold(line: string, what: Trouble['what']): string {
  if (what === 'misnumbered') return line.replace(/^= (\d+) (.*) #[0-9A-F]{4}\n$/, (_, seq: string, body: string) => sealLine(`= ${(Number(seq) + 1) % 65_536} ${body}`));
  const heard = what === 'lazy-edges' ? decodeFromController(line.trimEnd()) : null;
  if (heard?.kind !== 'telemetry' || heard.telemetry.edges === 0) return line;
  return encodeTelemetry({ ...heard.telemetry, lastEdgeUs: heard.telemetry.atUs });
}
