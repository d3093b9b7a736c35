/** A value as the JSON that goes to a window: what is large is made into text here, and only sent on by the host (HOST-20). */
export interface AsJson<T> {
  readonly json: string;
  /** Never there: what it is the text of. */
  readonly of?: T;
}
