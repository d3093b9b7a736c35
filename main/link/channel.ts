/** A way for bytes to and from a bench. What the bytes mean is the link's affair. */

export interface ChannelEvents {
  /** Any number of bytes, cut anywhere. The array is the receiver's to keep. */
  readonly onBytes: (bytes: Uint8Array) => void;
  /** The channel ended without being asked to; told once, and nothing follows. A pulled plug may go untold. */
  readonly onClosed: (reason: string) => void;
}

export type OpenedChannel =
  | { readonly ok: true }
  | {
      readonly ok: false;
      readonly code: 'busy' | 'absent' | 'permission' | 'not-a-port' | 'failed';
      /** What happened and what to do, in sentences. */
      readonly text: string;
    };

export interface Channel {
  /** For people: "serial port /dev/ttyACM0 at 115200 baud". */
  readonly description: string;
  /** Answers within a bounded time. A channel that failed to open or was closed may be opened again. */
  open(events: ChannelEvents): Promise<OpenedChannel>;
  /** Queues bytes for sending; on a channel that is not open they are dropped, as on a cut wire. */
  write(bytes: Uint8Array): void;
  /** Ends the channel within a bounded time; no event follows the call. */
  close(): Promise<void>;
}

/**
 * Where the bench may be found, the most likely place first. `connect`: only where the user said it is. `again`: the
 * bench was there and went away, so also where its cable may have come back; whoever asks checks the bench's identity.
 */
export type ChannelSource = (purpose: 'connect' | 'again') => Promise<readonly Channel[]>;
