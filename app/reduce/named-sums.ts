/**
 * Sums under names. Windows follow each other in long lists and nearly every one has the names of the one before it, in the same order: so what came
 * after a name the last time is asked first, and only where it is another one the name is looked up.
 */
export class NamedSums {
  readonly #sums = new Map<string, Sum>();
  #last: Sum | undefined;

  add(name: string, value: number): void {
    const next = this.#last?.next;
    let sum = next?.name === name ? next : this.#sums.get(name);
    if (sum === undefined) this.#sums.set(name, (sum = { name, value, next: undefined }));
    else sum.value += value;
    if (this.#last !== undefined) this.#last.next = sum;
    this.#last = sum;
  }

  /** In the order in which the names came first. */
  toMap(): Map<string, number> {
    const map = new Map<string, number>();
    this.#sums.forEach(({ value }, name) => map.set(name, value));
    return map;
  }
}

interface Sum {
  readonly name: string;
  value: number;
  /** What came after it the last time. */
  next: Sum | undefined;
}
