/** A fault of the program that a storm must find. */
interface Swap {
  readonly file: string;
  /** Must be there exactly once. */
  readonly find: string;
  readonly put: string;
}

export interface Planted {
  readonly name: string;
  readonly swaps: readonly Swap[];
  /** Which storm is to find it; absent: that of a run. */
  readonly of?: 'house';
  /** Why no storm can find it: nothing that anybody could see, keep or touch is different. Such a fault is not counted. */
  readonly harmless?: string;
}

export const one = (name: string, file: string, find: string, put: string): Planted => ({ name, swaps: [{ file, find, put }] });
