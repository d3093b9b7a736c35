/**
 * The hash chain over a run's journal. Each event's hash covers the hash before it, so that an event which was changed,
 * removed or put in between later is found; the first hash covers what the run was opened with. Somebody who computes a whole
 * chain anew is found by the ledger (ledger.ts), and one who computes that anew too by a head that was kept elsewhere.
 */
import { hash } from 'node:crypto';

/** What `chainStart` binds: the row of the run. */
export interface RunRecord {
  readonly id: string;
  readonly createdAt: number;
  readonly planName: string;
  readonly order: string;
  readonly operator: string;
  readonly software: string;
  readonly planHash: string;
  readonly equipmentHash: string;
}

/** The same as it lies in the table `runs`. */
export interface RunRecordRow {
  readonly no: number;
  readonly id: string;
  readonly created_at: number;
  readonly plan_name: string;
  readonly order_text: string;
  readonly operator: string;
  readonly software: string;
  readonly plan_hash: string;
  readonly equipment_hash: string;
}

export const recordOf = (row: RunRecordRow): RunRecord => ({
  id: row.id,
  createdAt: row.created_at,
  planName: row.plan_name,
  order: row.order_text,
  operator: row.operator,
  software: row.software,
  planHash: row.plan_hash,
  equipmentHash: row.equipment_hash,
});

/** SHA-256 of a text in UTF-8, as 64 lower-case hexadecimal digits (FIPS 180-4). */
export const sha256 = (text: string): string => hash('sha256', text, 'hex');

/** The hash before a run's first event. */
export const chainStart = (run: RunRecord): string =>
  sha256(
    JSON.stringify([
      'run',
      run.id,
      run.createdAt,
      run.planName,
      run.order,
      run.operator,
      run.software,
      run.planHash,
      run.equipmentHash,
    ]),
  );

/** The hash of an event whose body is stored as the text `body`. */
export const chainHash = (previous: string, seq: number, at: number, body: string): string =>
  sha256(`${previous} ${seq} ${at} ${body}`);

/** Hashes of plan and equipment as an `opened` event holds them: as they were stored, and not as they are read today. `null` where there is none. */
export function documentHashes(opened: unknown): { readonly planHash: string; readonly equipmentHash: string } {
  const { plan = null, equipment = null } = (typeof opened === 'object' && opened !== null ? opened : {}) as { readonly plan?: unknown; readonly equipment?: unknown };
  return { planHash: sha256(JSON.stringify(plan)), equipmentHash: sha256(JSON.stringify(equipment)) };
}
