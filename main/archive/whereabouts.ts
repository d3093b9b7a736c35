/**
 * Whether an open archive is still the file that its path names. SQLite goes on writing into a file that was removed, renamed or
 * replaced, and whatever is written then is lost with the process. Only names and sizes are looked at: opening and closing the
 * file would drop the process's locks on it (POSIX).
 */
import { statSync } from 'node:fs';

interface Seen {
  readonly device: bigint;
  readonly node: bigint;
  readonly size: bigint;
}

export class Whereabouts {
  readonly #path: string;
  readonly #seen = new Map<string, Seen>();

  /** `path`: the archive's file, which is open. */
  constructor(path: string) {
    this.#path = path;
    this.strayed();
  }

  /**
   * What happened to the file or to its log, as the beginning of a sentence about it; null: nothing. Neither of them ever becomes
   * shorter or goes away while a writer has them open.
   */
  strayed(): string | null {
    for (const [path, what] of [[this.#path, `The archive ${this.#path}`], [`${this.#path}-wal`, `The log of the archive (${this.#path}-wal)`]] as const) {
      const found = statSync(path, { bigint: true, throwIfNoEntry: false });
      const before = this.#seen.get(path);
      if (found === undefined) {
        if (before !== undefined) return `${what} was removed or renamed`;
        continue;
      }
      if (before !== undefined && (found.dev !== before.device || found.ino !== before.node)) return `${what} was replaced by another file`;
      if (before !== undefined && found.size < before.size) return `${what} was cut off`;
      if (before?.size !== found.size) this.#seen.set(path, { device: found.dev, node: found.ino, size: found.size });
    }
    return null;
  }
}
