/** A bench at the end of a link, as the rest of the host sees it. */
import type { BenchCapabilities, BenchFrame, BenchIdentity, BenchReply, BenchRequest } from '../../app/bench/port.ts';
import type { Clock } from '../clock/clock.ts';
import type { Entropy } from '../clock/entropy.ts';
import type { ChannelSource } from '../link/channel.ts';
import type { LinkStatistics } from '../link/link.ts';
import type { LinkSettings } from './link-settings.ts';

export type BenchLinkEvent =
  /** Again while it is down: why the bench does not come back, once for each cause that a person has to see to. */
  | { readonly state: 'down'; readonly reason: string }
  /** The bench is there again; a boot id other than before says that its controller has forgotten everything. */
  | { readonly state: 'up'; readonly reason: string; readonly bootId: string };

export interface BenchListener {
  readonly onFrame: (frame: BenchFrame) => void;
  readonly onLink: (event: BenchLinkEvent) => void;
}

export interface ConnectOptions extends LinkSettings {
  readonly channels: ChannelSource;
  readonly clock: Clock;
  /** Only this bench will do (the continuation of a run). */
  readonly expected?: Pick<BenchIdentity, 'model' | 'serialNumber'>;
  /** Listens from the first frame on, as with `listen`. */
  readonly onFrame?: (frame: BenchFrame) => void;
  readonly onLink?: (event: BenchLinkEvent) => void;
  /** Ends the attempt to connect. */
  readonly signal?: AbortSignal;
  /** Where the name of each conversation comes from (LINE-8). */
  readonly entropy: Entropy;
}

export interface Bench {
  readonly identity: BenchIdentity;
  readonly capabilities: BenchCapabilities;
  /** For people: over what the bench is reached. */
  readonly link: string;
  /** Of the present conversation. */
  readonly bootId: string;
  /** Why the bench is not connected at present, while it is looked for; null: it is. */
  readonly downReason: string | null;
  /** Every frame and every change of the link from now on; returns how to stop listening. */
  listen(listener: BenchListener): () => void;
  /** Sets dead-man and telemetry rate for the rest of the connection; refused outside what the bench allows. */
  configure(settings: LinkSettings, signal?: AbortSignal): Promise<BenchReply>;
  /**
   * Resolves within a bounded time and never rejects for anything the bench or the line does. An aborted signal
   * resolves as `no-answer`. Throws RangeError for a value that is no number.
   */
  perform(request: BenchRequest, signal?: AbortSignal): Promise<BenchReply>;
  /** Counts of the present conversation; null while the link is down. */
  statistics(): LinkStatistics | null;
  /** Ends the conversation and the search for a lost bench. Makes nothing safe: that is asked for before. */
  close(): Promise<void>;
}
