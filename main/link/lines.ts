import { ReadlineParser } from '@serialport/parser-readline';

const LF = 10;

/**
 * The lines in what comes over a channel (LINE-1 to LINE-4): cut by the parser of the serial port library, behind a bound on
 * their length, since the parser holds whatever has no LF. All lines of some bytes are given before `push` returns.
 */
export class Lines {
  /** Lines dropped because they were too long; the one that is still running counts from the moment it is dropped. */
  overlong = 0;
  readonly #longest: number;
  readonly #take: (text: string) => void;
  readonly #parser = new ReadlineParser({ delimiter: '\n', encoding: 'latin1', readableObjectMode: true });
  /** Bytes of the unfinished line that the parser holds. */
  #held = 0;
  #dropping = false;

  /**
   * `longest`: bytes of the longest line, LF and a CR before it included. `take` gets every whole line, without LF and without
   * the CR before it, one character per byte; never an empty one.
   */
  constructor(longest: number, take: (text: string) => void) {
    this.#longest = longest;
    this.#take = take;
  }

  push(bytes: Uint8Array): void {
    for (let start = 0; start < bytes.length; ) {
      const lf = bytes.indexOf(LF, start);
      const end = lf < 0 ? bytes.length : lf;
      if (!this.#dropping && this.#held + (end - start) + 1 > this.#longest) {
        this.restart();
        this.#dropping = true;
        this.overlong += 1;
      }
      if (lf < 0) {
        if (!this.#dropping) this.#hold(bytes.subarray(start));
        return;
      }
      if (this.#dropping) this.#dropping = false;
      else this.#finish(bytes.subarray(start, lf + 1));
      start = lf + 1;
    }
  }

  /** Forgets an unfinished line, for a stream that begins anew. */
  restart(): void {
    this.#dropping = false;
    if (this.#held === 0) return;
    this.#held = 0;
    this.#parser.write(Uint8Array.of(LF));
    this.#parser.read();
  }

  #hold(bytes: Uint8Array): void {
    this.#held += bytes.length;
    this.#parser.write(bytes);
  }

  #finish(bytes: Uint8Array): void {
    const line = this.#held === 0 ? wholeLine(bytes) : this.#endOfHeld(bytes);
    const text = line.endsWith('\r') ? line.slice(0, -1) : line;
    if (text !== '') this.#take(text);
  }

  #endOfHeld(bytes: Uint8Array): string {
    this.#held = 0;
    this.#parser.write(bytes);
    return this.#parser.read() as string;
  }
}

/** A line that came in one piece, as nearly all do, needs no parser that remembers; without its LF. */
const wholeLine = (bytes: Uint8Array): string => Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length - 1).toString('latin1');
