/** One line of the pre-flight sheet: a rule of app/plan/README.md and what it found. */
export interface PreflightLine {
  readonly rule: string;
  readonly result: 'pass' | 'warn' | 'refuse';
  readonly text: string;
  /** Why results would not be traceable: a person may choose to measure all the same (RUN-110). Absent: nobody may. */
  readonly untraceable?: string | undefined;
}
