/** What a benchmark found. */
export interface BenchReport {
  readonly name: string;
  readonly figures: readonly { readonly label: string; readonly value: number; readonly unit: string }[];
}
