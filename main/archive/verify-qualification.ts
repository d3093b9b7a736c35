/** Holds the sheet of a qualification that a run names against the archive. HOST-182 */
import { benchName } from '../../app/qualification/qualification.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { Findings } from './findings.ts';
import { sha256 } from './chain.ts';
import type { Database } from './sqlite.ts';

export const qualificationsText = (asked: number): string => (asked === 0 ? 'No run names a qualification of its bench.' : `Each of ${asked} qualifications that runs name is the one that lies in the archive, of the bench that they were measured with.`);

/** Follows the journal of one run. */
export class NamedQualifications {
  readonly #stored;
  readonly #to: Findings;
  #bench: string | null = null;

  constructor(db: Database, to: Findings) {
    this.#stored = db.prepare<[string, number], { document: string }>(`SELECT document FROM record_versions WHERE kind = 'qualification' AND name = ? AND version = ?`);
    this.#to = to;
  }

  /** `where`: what the event is called. */
  follow(body: RunEventBody, where: string): void {
    if (body.kind === 'bench-connected') this.#bench = benchName(body.identity);
    if (body.kind !== 'preflight' || body.qualification === undefined) return;
    const { bench, version, sha256: named } = body.qualification;
    const sheet = `sheet ${version} of ${bench}`;
    const stored = this.#stored.get(bench, version);
    const wrong =
      this.#bench !== null && bench !== this.#bench ? `${where} names ${sheet}, which is of another bench: the run was measured with ${this.#bench}.`
      : stored === undefined ? `${where} names ${sheet}, which the archive does not hold.`
      : sha256(stored.document) !== named ? `${where} names ${sheet}, and what lies in the archive is not what it was then.`
      : '';
    this.#to.expect(wrong === '', () => wrong);
  }
}
