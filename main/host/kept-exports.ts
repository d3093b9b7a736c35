/** The exports that a host keeps for its windows to read piece by piece (HOST-11). */
import { join } from 'node:path';
import type { AnswerTo } from '../../app/contract/contract.ts';
import type { Desk } from './desk.ts';
import type { DeskResults } from './desk-work.ts';

const MOST_EXPORTS = 4;

export class KeptExports {
  readonly #desk: Desk;
  /** The oldest first. */
  readonly #kept = new Map<string, { readonly folder: string; readonly files: ReadonlySet<string> }>();
  #made = 0;

  constructor(desk: Desk) {
    this.#desk = desk;
  }

  /** Under a name for the windows; the oldest makes room. */
  keep(made: DeskResults['export']): AnswerTo<'run.export'> {
    const name = `export-${(this.#made += 1)}`;
    this.#kept.set(name, { folder: made.folder, files: new Set(made.files.map((file) => file.name)) });
    for (const [oldest, { folder }] of this.#kept) {
      if (this.#kept.size <= MOST_EXPORTS) break;
      this.#kept.delete(oldest);
      void this.#desk.do({ kind: 'forget', folder });
    }
    return { export: name, files: made.files };
  }

  /** null: no such file is kept. */
  pathOf(name: string, file: string): string | null {
    const kept = this.#kept.get(name);
    return kept?.files.has(file) === true ? join(kept.folder, file) : null;
  }

  async close(): Promise<void> {
    await Promise.all([...this.#kept.values()].map(({ folder }) => this.#desk.do({ kind: 'forget', folder })));
  }
}
