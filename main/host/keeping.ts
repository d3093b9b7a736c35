/** What stands against things being kept in the archive and beside it, in sentences for the windows (ARC-45, HOST-34). */
import type { Archive } from '../archive/archive.ts';

export class Keeping {
  readonly #archive: Pick<Archive, 'strayed' | 'rescue'>;
  readonly #onChange: () => void;
  #strayed: string | null = null;
  #saved: string | null = null;
  #noted: string | null = null;
  readonly #standing: string | null;

  /** `onChange` is told after `problems` has changed. `standing`: what is so for as long as the archive is open (ARC-60). */
  constructor(archive: Pick<Archive, 'strayed' | 'rescue'>, onChange: () => void, standing: string | null = null) {
    this.#standing = standing;
    this.#archive = archive;
    this.#onChange = onChange;
  }

  /** Empty: all is well. */
  get problems(): readonly string[] {
    return [this.lost, this.#noted, this.#standing].filter((text) => text !== null);
  }

  /** Why nothing can be kept in the archive, as it was at the last look; null: it can. */
  get lost(): string | null {
    return this.#strayed === null ? null : `${this.#strayed} No run can be opened and nothing can be saved until it lies there again. ${this.#saved ?? ''}`.trimEnd();
  }

  /** Looks where the archive is; true when it has gone astray since the last look. */
  look(): boolean {
    const before = this.#strayed;
    this.#strayed = this.#archive.strayed();
    if (this.#strayed === before) return false;
    if (this.#strayed === null) this.#saved = null;
    this.#onChange();
    return before === null;
  }

  /** Saves what was committed while this program still has the file open. Takes as long as writing it: the bench is safe by then. */
  save(): void {
    if (this.#strayed === null) return;
    this.#saved = this.#archive.rescue();
    this.#onChange();
  }

  /** Something beside the archive could not be kept, and why; the latest stands. */
  note(text: string): void {
    if (text === this.#noted) return;
    this.#noted = text;
    this.#onChange();
  }
}
