/** What a plan chooses of the conversation. */
export interface LinkSettings {
  readonly deadManMs: number;
  readonly telemetryHz: number;
}
