const LF = 10;
const CR = 13;

/** The text of some bytes, one character per byte. */
export function textOf(bytes: Uint8Array): string {
  return String.fromCharCode.apply(null, bytes as unknown as number[]);
}

/**
 * Cuts a stream of bytes into lines (LINE-1 to LINE-4). Memory is bounded by the longest line whatever comes in: a line
 * that grows over it is dropped up to its LF and counted.
 */
export class LineSplitter {
  /** Lines dropped because they were too long; the one that is still running counts from the moment it is dropped. */
  overlong = 0;
  readonly #longest: number;
  readonly #take: (text: string) => void;
  readonly #held: Uint8Array;
  #length = 0;
  #dropping = false;

  /**
   * `longest`: bytes of the longest line, LF included. `take` gets every whole line, without LF and without the CR
   * before it; never an empty one.
   */
  constructor(longest: number, take: (text: string) => void) {
    this.#longest = longest;
    this.#take = take;
    this.#held = new Uint8Array(longest);
  }

  push(bytes: Uint8Array): void {
    let start = 0;
    for (;;) {
      const lf = bytes.indexOf(LF, start);
      const end = lf < 0 ? bytes.length : lf;
      this.#hold(bytes.subarray(start, end));
      if (lf < 0) return;
      start = lf + 1;
      const dropped = this.#dropping;
      let length = this.#length;
      this.#length = 0;
      this.#dropping = false;
      if (dropped) continue;
      if (length > 0 && this.#held[length - 1] === CR) length -= 1;
      if (length > 0) this.#take(textOf(this.#held.subarray(0, length)));
    }
  }

  /** Forgets an unfinished line, for a stream that begins anew. */
  restart(): void {
    this.#length = 0;
    this.#dropping = false;
  }

  #hold(bytes: Uint8Array): void {
    if (this.#dropping || bytes.length === 0) return;
    if (this.#length + bytes.length + 1 > this.#longest) {
      this.#dropping = true;
      this.#length = 0;
      this.overlong += 1;
      return;
    }
    this.#held.set(bytes, this.#length);
    this.#length += bytes.length;
  }
}
