/** One line of the pre-flight sheet: a rule of app/plan/README.md and what it found. */
export interface PreflightLine {
  readonly rule: string;
  readonly result: 'pass' | 'warn' | 'refuse';
  readonly text: string;
  /** Why results would not be traceable: a person may choose to measure all the same (RUN-110). Absent: nobody may. */
  readonly untraceable?: string | undefined;
  /** Only a bench can tell, and none is connected. Absent: it was looked at. No run is opened without a bench, so no journal holds such a line. */
  readonly awaitsBench?: true | undefined;
}

/** What the archive's checks of the flow meter say of measuring with it (app/meter-check); untraceable: a person may choose to measure all the same. */
export interface MeterStanding {
  readonly result: 'pass' | 'warn' | 'untraceable';
  readonly text: string;
  /** Edge rates between which the K-factor of the record was checked; null: it is that of a certificate. */
  readonly checkedHertz: { readonly lowest: number; readonly highest: number } | null;
}

/** The qualification that a run was opened under (EQ-25): which sheet of which bench, and the SHA-256 of what was saved, so that it can be found and held against it years later. */
export interface SheetInForce {
  readonly bench: string;
  readonly version: number;
  readonly sha256: string;
  /** Unix ms. */
  readonly until: number;
}

/** What the latest qualification of the bench says of measuring with it (app/qualification). */
export interface QualificationStanding {
  readonly holds: boolean;
  /** A sentence. */
  readonly text: string;
  /** Until when it holds, Unix ms; absent: it does not. */
  readonly until?: number;
}
