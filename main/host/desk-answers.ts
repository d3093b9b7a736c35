/** Jobs of the desk as answers to a window. */
import type { Desk } from './desk.ts';
import type { AsJson } from './as-json.ts';
import type { DeskFailure, DeskJob, DeskResults } from './desk-work.ts';
import { Failed, Prepared } from './outcome.ts';

type TextJob = { [K in keyof DeskResults]: DeskResults[K] extends AsJson<unknown> ? K : never }[keyof DeskResults];
type TextOf<K extends keyof DeskResults> = DeskResults[K] extends AsJson<infer T> ? T : never;

export class DeskAnswers {
  readonly #desk: Desk;
  readonly #onDefect: (error: unknown) => void;

  constructor(desk: Desk, onDefect: (error: unknown) => void) {
    this.#desk = desk;
    this.#onDefect = onDefect;
  }

  async value<J extends DeskJob>(job: J, onProgress?: (share: number) => void): Promise<DeskResults[J['kind']] | Failed> {
    const answer = await this.#desk.do(job, onProgress);
    return answer.ok ? answer.value : this.#failed(answer);
  }

  /** A result that goes to the window as the text that the desk made of it (HOST-20). */
  async text<J extends DeskJob & { readonly kind: TextJob }>(job: J): Promise<Prepared<TextOf<J['kind']>> | Failed> {
    const answer = await this.#desk.do(job);
    return answer.ok ? new Prepared(answer.value as AsJson<TextOf<J['kind']>>) : this.#failed(answer);
  }

  #failed({ code, text }: DeskFailure): Failed {
    if (code === 'defect') this.#onDefect(new Error(text));
    return new Failed(code, text);
  }
}
