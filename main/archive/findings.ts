/** What a check of an archive found, as a sentence or a few for people. */

export interface ArchiveCheck {
  readonly name: string;
  readonly passed: boolean;
  /** What was held against what and what was found, in a sentence or a few. */
  readonly text: string;
}

const problemsShown = 5;

/** Gathers what one check found; `asked` is counted for the sentence of a check that passed. */
export class Findings {
  readonly #name: string;
  readonly #passedText: (asked: number) => string;
  readonly #problems: string[] = [];
  #count = 0;
  #asked = 0;

  constructor(name: string, passedText: (asked: number) => string) {
    this.#name = name;
    this.#passedText = passedText;
  }

  expect(fine: boolean, problem: () => string): boolean {
    this.#asked += 1;
    if (!fine) this.fail(problem());
    return fine;
  }

  fail(problem: string): void {
    this.#count += 1;
    if (this.#problems.length < problemsShown) this.#problems.push(problem);
  }

  done(): ArchiveCheck {
    const more = this.#count - this.#problems.length;
    const text =
      this.#count === 0 ? this.#passedText(this.#asked) : [...this.#problems, ...(more > 0 ? [`And ${more} more like these.`] : [])].join(' ');
    return { name: this.#name, passed: this.#count === 0, text };
  }
}

