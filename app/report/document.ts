/**
 * A report as a document: what it says, not how it looks. Every number is the one of the reduction, in its SI unit and to its last bit, with
 * the unit in which it is shown beside it; whatever prints it prints it from here. It is plain JSON. REP-1, REP-3.
 */
import type { Decided } from './conformity.ts';
import type { ReportDetails } from './details.ts';

export const reportLengths = ['one-page', 'full', 'raw'] as const;
export type ReportLength = (typeof reportLengths)[number];

/** Shown value = SI value * factor. */
export interface ReportUnit {
  readonly si: string;
  readonly shown: string;
  readonly factor: number;
}

export type ReportCell =
  | { readonly kind: 'text'; readonly text: string }
  /** In the SI unit of its column, or of its own. `expanded` null: no uncertainty is stated; `dof` null: very many. */
  | { readonly kind: 'value'; readonly value: number; readonly expanded: number | null; readonly coverageFactor: number | null; readonly dof: number | null; readonly unit?: ReportUnit }
  | { readonly kind: 'verdict'; readonly decided: Decided; readonly probability: number }
  /** `text`: why there is no value. */
  | { readonly kind: 'missing'; readonly text: string };

export interface ReportColumn {
  readonly title: string;
  /** Of the values of this column; null: it has none. */
  readonly unit: ReportUnit | null;
  /** Places after the point of values without an uncertainty; absent: four significant digits. */
  readonly decimals?: number;
}

interface ReportRow {
  readonly title: string;
  /** One for each column. */
  readonly cells: readonly ReportCell[];
}

export interface ReportTable {
  /** Of this document alone. */
  readonly id: string;
  readonly title: string;
  /** What the rows are. */
  readonly corner: string;
  readonly columns: readonly ReportColumn[];
  readonly rows: readonly ReportRow[];
  readonly notes: readonly string[];
}

export interface FigureSeries {
  readonly name: string;
  /** In shown units; `u`: expanded uncertainty, null: none is drawn. */
  readonly points: readonly { readonly x: number; readonly y: number; readonly u: number | null }[];
  readonly joined: boolean;
}

export interface ReportFigure {
  readonly id: string;
  readonly title: string;
  readonly caption: string;
  readonly x: { readonly title: string; /** Names of 0, 1, 2 ... where the axis is no scale. */ readonly names?: readonly string[] };
  /** `zero`: with a line that values are held against. `within`: nothing beyond is drawn. */
  readonly y: { readonly title: string; readonly zero: boolean; readonly within?: readonly [low: number, high: number] };
  readonly series: readonly FigureSeries[];
}

export interface ReportFact {
  readonly name: string;
  readonly text: string;
}

export interface ReportStatement {
  readonly title: string;
  readonly sentences: readonly string[];
}

/** Who released a report, and what it takes the place of. */
export interface ReportIssue {
  readonly number: string;
  readonly by: string;
  /** The public key that this person signs with; absent: his name is all. */
  readonly byKey?: string | undefined;
  /** ISO 8601, UTC. */
  readonly at: string;
  /** The 32 bytes of the lab's public key, base64url. */
  readonly publicKey: string;
  /** The report that this one takes the place of: its number, the SHA-256 of its body, and why. null: none. */
  readonly amends: { readonly number: string; readonly sha256: string; readonly reason: string } | null;
}

/** What the numbers rest on: enough to find the run again and to work everything out anew. */
export interface ReportBasis {
  readonly runId: string;
  readonly archiveId: string;
  /** `n:root` of the archive when this was written. */
  readonly archiveHead: string;
  /** Events of the run's journal then, and the hash of the last. */
  readonly journal: { readonly events: number; readonly hash: string };
  /** Proof that the run's latest entry lies in the history with that head (`check-proof`). */
  readonly place: unknown;
  readonly planSha256: string;
  readonly equipmentSha256: string;
  /** Names and versions of the programs that measured and that wrote this. */
  readonly measuredWith: string;
  readonly writtenWith: string;
}

export interface ReportDocument {
  readonly reportVersion: 1;
  readonly length: ReportLength;
  readonly title: string;
  /** null: a draft. */
  readonly issue: ReportIssue | null;
  /** What a reader must know before any number. */
  readonly warnings: readonly string[];
  readonly head: readonly ReportFact[];
  readonly items: ReportTable;
  /** `exceptions`: those that do not pass; `table`: every result with a limit, null where the report is short. null: no limits were agreed. */
  readonly conformity: { readonly rule: string; readonly summary: string; readonly exceptions: ReportTable; readonly table: ReportTable | null } | null;
  /** What people recorded beside the measuring; absent: nothing. */
  readonly recorded?: readonly ReportTable[];
  readonly results: readonly ReportTable[];
  readonly figures: readonly ReportFigure[];
  readonly statements: readonly ReportStatement[];
  readonly budgets: readonly ReportTable[];
  readonly traceability: { readonly sentences: readonly string[]; readonly table: ReportTable };
  /** Raw data; empty unless they were asked for. */
  readonly windows: readonly ReportTable[];
  readonly basis: ReportBasis;
  /** As they were given: what another reader needs to work the document out anew. */
  readonly details: ReportDetails;
}

/** The document as text: the same for the same document, and exact, because a number of JSON is read back as it was. */
export const documentText = (document: ReportDocument): string => `${JSON.stringify(document)}\n`;
