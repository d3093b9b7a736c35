/** Texts that windows hand over piece by piece, because one message is small: kept until they are whole and used. REP-43 */

const MOST_FILES = 8;
/** A report with the raw data of 40 injectors has a few million. */
const MOST_CHARACTERS = 24 * 2 ** 20;

export class GivenFiles {
  /** The oldest first. */
  readonly #given = new Map<string, { readonly pieces: string[]; length: number }>();

  /** A sentence where it cannot be taken; empty: it was. */
  add(name: string, text: string): string {
    const file = this.#given.get(name) ?? { pieces: [], length: 0 };
    file.length += text.length;
    if (file.length > MOST_CHARACTERS) {
      this.#given.delete(name);
      return 'The file is larger than any report. It was not taken.';
    }
    file.pieces.push(text);
    // The latest that is added to stays longest.
    this.#given.delete(name);
    this.#given.set(name, file);
    for (const oldest of this.#given.keys()) {
      if (this.#given.size <= MOST_FILES) break;
      this.#given.delete(oldest);
    }
    return '';
  }

  /** The whole of it, once; null: there is none. */
  take(name: string): string | null {
    const file = this.#given.get(name);
    this.#given.delete(name);
    return file === undefined ? null : file.pieces.join('');
  }
}
