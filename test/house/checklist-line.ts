/** A line of a checklist, and what can come of it. */
export type Outcome =
  | { readonly result: 'pass' }
  | { readonly result: 'fail'; readonly why: string }
  | { readonly result: 'not checked'; readonly why: string };

export interface Line {
  readonly what: string;
  readonly check: () => Outcome | Promise<Outcome>;
}

export const pass: Outcome = { result: 'pass' };
export const fail = (why: string): Outcome => ({ result: 'fail', why });
export const unless = (bad: boolean, why: string): Outcome => (bad ? fail(why) : pass);
