/** Changes of what the bench is for: connecting, opening a run, handing over. One at a time, and none once the host is ending. */
import { Failed } from './outcome.ts';

export class Changes {
  /** What the bench is being changed by; null: nothing. */
  #under: string | null = null;
  /** Resolves when the latest change is over; never rejects. */
  #over: Promise<unknown> = Promise.resolve();
  #ending = false;

  get ending(): boolean {
    return this.#ending;
  }

  /** What is being changed, as a sentence without its stop; null: nothing. */
  get underWay(): string | null {
    return this.#under;
  }

  /** Nothing is begun any more. Resolves when what was under way is over. */
  end(): Promise<unknown> {
    this.#ending = true;
    return this.#over;
  }

  /** A second change is refused and not kept waiting. */
  async make<T>(what: string, change: () => T | Failed | Promise<T | Failed>): Promise<T | Failed> {
    if (this.#under !== null) return new Failed('busy', `${this.#under} at the moment. Nothing was done. Try again when that is over.`);
    if (this.#ending) return new Failed('busy', 'The program is ending. Nothing was done.');
    this.#under = what;
    let over = (): void => undefined;
    this.#over = new Promise<void>((resolve) => {
      over = resolve;
    });
    try {
      return await change();
    } finally {
      this.#under = null;
      over();
    }
  }
}
