/**
 * A transcript: everything that passed over a channel, in both directions, with the time of the host's clock. Plain
 * ASCII, one JSON object a line: first a header, then entries. It can be read by eye, searched, and played back
 * (`replay-channel.ts`).
 */
import { closeSync, createReadStream, fsyncSync, openSync, writeSync } from 'node:fs';
import { createInterface } from 'node:readline';
import { z } from 'zod';
import type { Clock } from '../clock/clock.ts';
import type { Channel, ChannelEvents, OpenedChannel } from './channel.ts';

const headerSchema = z.strictObject({
  transcriptVersion: z.literal(1),
  /** What was recorded, for people. */
  channel: z.string(),
  /** Wall-clock time at `ms` 0, milliseconds since 1970. */
  startedUnixMs: z.number(),
});

const entrySchema = z.discriminatedUnion('from', [
  /** Bytes as they came, one character for each byte; cut anywhere. */
  z.strictObject({ ms: z.number().nonnegative(), from: z.enum(['host', 'controller']), text: z.string() }),
  /** What became of the channel itself. `text`: why it closed. */
  z.strictObject({ ms: z.number().nonnegative(), from: z.literal('channel'), event: z.enum(['opened', 'closed']), text: z.string() }),
]);

export type TranscriptHeader = z.infer<typeof headerSchema>;
export type TranscriptEntry = z.infer<typeof entrySchema>;

export interface Transcript {
  readonly header: TranscriptHeader;
  readonly entries: readonly TranscriptEntry[];
  /** The last line was cut off, as when the recording host died; everything before it is here. */
  readonly torn: boolean;
}

export type TranscriptResult =
  | { readonly ok: true; readonly transcript: Transcript }
  | { readonly ok: false; readonly text: string };

/** Held back before it is written, in characters: bounds both the memory and what a death of the host can lose. */
const BUFFER_CHARACTERS = 32_768;
/** ... and for no longer than this, as long as anything is passing. */
const BUFFER_MS = 1000;

/** As `writeSync`: writes some of `bytes` from `at` on and says how many. */
type WriteBytes = (file: number, bytes: Uint8Array, at: number) => number;

const nonAscii = /[\u007f-\uffff]/g;

function asciiJson(value: object): string {
  return JSON.stringify(value).replace(nonAscii, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`);
}

/**
 * Writes a transcript file. A file that cannot be written (disk full) ends the recording and never the run: `failure`
 * then says why, and what was recorded until then stays.
 */
export class TranscriptRecorder {
  readonly #write: WriteBytes;
  readonly #clock: Clock;
  readonly #origin: number;
  #file: number | null;
  #held: string[] = [];
  #heldCharacters = 0;
  #heldSince = 0;
  #failure: string | null = null;

  /** Creates `path`; throws the file system's error when it cannot, and when the file exists already. */
  constructor(path: string, channel: string, clock: Clock, write: WriteBytes = writeSync) {
    this.#file = openSync(path, 'wx');
    this.#write = write;
    this.#clock = clock;
    this.#origin = clock.now();
    this.#hold({ transcriptVersion: 1, channel, startedUnixMs: clock.unixNow() } satisfies TranscriptHeader);
  }

  get failure(): string | null {
    return this.#failure;
  }

  bytes(from: 'host' | 'controller', bytes: Uint8Array): void {
    this.#hold({ ms: this.#ms(), from, text: Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length).toString('latin1') });
  }

  channel(event: 'opened' | 'closed', text: string): void {
    this.#hold({ ms: this.#ms(), from: 'channel', event, text });
  }

  /** Everything recorded so far is on the disk afterwards. */
  close(): void {
    this.#flush();
    const file = this.#file;
    this.#file = null;
    if (file === null) return;
    this.#attempt(() => {
      fsyncSync(file);
    });
    closeSync(file);
  }

  #ms(): number {
    return Math.round((this.#clock.now() - this.#origin) * 1000) / 1000;
  }

  #hold(entry: TranscriptHeader | TranscriptEntry): void {
    if (this.#file === null || this.#failure !== null) return;
    if (this.#held.length === 0) this.#heldSince = this.#clock.now();
    const line = asciiJson(entry) + '\n';
    this.#held.push(line);
    this.#heldCharacters += line.length;
    if (this.#heldCharacters >= BUFFER_CHARACTERS || this.#clock.now() - this.#heldSince >= BUFFER_MS) this.#flush();
  }

  #flush(): void {
    const file = this.#file;
    if (file === null) return;
    const bytes = Buffer.from(this.#held.join(''), 'latin1');
    this.#held = [];
    this.#heldCharacters = 0;
    this.#attempt(() => {
      for (let at = 0; at < bytes.length; ) at += this.#write(file, bytes, at);
    });
  }

  #attempt(action: () => void): void {
    if (this.#failure !== null) return;
    try {
      action();
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      this.#failure = `The transcript ends here, because its file could not be written (${why}). The run is not affected.`;
    }
  }
}

/** `channel`, with everything that passes over it also given to `recorder`. */
export function recordedChannel(channel: Channel, recorder: TranscriptRecorder): Channel {
  return {
    description: channel.description,
    async open(events: ChannelEvents): Promise<OpenedChannel> {
      const result = await channel.open({
        onBytes: (bytes) => {
          recorder.bytes('controller', bytes);
          events.onBytes(bytes);
        },
        onClosed: (reason) => {
          recorder.channel('closed', reason);
          events.onClosed(reason);
        },
      });
      if (result.ok) recorder.channel('opened', channel.description);
      return result;
    },
    write(bytes) {
      recorder.bytes('host', bytes);
      channel.write(bytes);
    },
    async close() {
      await channel.close();
      recorder.channel('closed', 'by the host');
    },
  };
}

/** Reads a whole transcript. A torn last line is left out and told; any other line that is not an entry is an error. */
export async function readTranscript(path: string): Promise<TranscriptResult> {
  const entries: TranscriptEntry[] = [];
  let header: TranscriptHeader | null = null;
  let torn = false;
  let number = 0;
  const damaged = (why: string): TranscriptResult => ({
    ok: false,
    text: `${path}, line ${number}, is not a transcript entry (${why}). The file was changed or damaged; take an unchanged copy.`,
  });
  const lines = createInterface({ input: createReadStream(path, 'latin1'), crlfDelay: Infinity });
  try {
    for await (const line of lines) {
      if (torn) return damaged('it is not JSON');
      number += 1;
      const json = parseJson(line);
      if (header === null) {
        const result = headerSchema.safeParse(json);
        if (!result.success) {
          return { ok: false, text: `${path} is not a transcript of version 1: its first line is no transcript header. Give a file that this program recorded.` };
        }
        header = result.data;
      } else if (json === undefined) {
        torn = true;
      } else {
        const result = entrySchema.safeParse(json);
        if (!result.success) return damaged(z.prettifyError(result.error));
        entries.push(result.data);
      }
    }
  } catch (error) {
    return { ok: false, text: `The transcript ${path} could not be read (${error instanceof Error ? error.message : String(error)}).` };
  }
  if (header === null) return { ok: false, text: `The file ${path} is empty, so it is no transcript.` };
  return { ok: true, transcript: { header, entries, torn } };
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text) as unknown;
  } catch {
    return undefined;
  }
}
