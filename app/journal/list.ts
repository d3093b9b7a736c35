/**
 * A list that is never written into: a change gives another list that shares with it all that did not change. So a state of a run
 * can be kept for as long as anybody likes, and one more event of a run with 100 000 points copies some hundred references.
 */

const bits = 8;
const chunkLength = 1 << bits;
const mask = chunkLength - 1;

export class List<T> implements Iterable<T> {
  /** All but the last are full, so lists with equal items are equal throughout. */
  readonly chunks: readonly (readonly T[])[];
  readonly length: number;

  private constructor(chunks: readonly (readonly T[])[], length: number) {
    this.chunks = chunks;
    this.length = length;
  }

  static of<T>(items: readonly T[]): List<T> {
    const chunks: (readonly T[])[] = [];
    for (let from = 0; from < items.length; from += chunkLength) chunks.push(items.slice(from, from + chunkLength));
    return new List(chunks, items.length);
  }

  /** undefined: there is no such place. */
  at(index: number): T | undefined {
    return this.chunks[index >> bits]?.[index & mask];
  }

  /** Throws a RangeError where there is no such place. */
  with(index: number, item: T): List<T> {
    const chunk = this.chunks[index >> bits];
    if (chunk === undefined || !(index < this.length)) throw new RangeError(`The list has ${this.length} items, so there is no item ${index}.`);
    return new List(this.chunks.with(index >> bits, chunk.with(index & mask, item)), this.length);
  }

  concat(items: readonly T[]): List<T> {
    const last = this.length & mask;
    const full = last === 0 ? this.chunks : this.chunks.slice(0, -1);
    const more = List.of(last === 0 ? items : [...(this.chunks.at(-1) ?? []), ...items]);
    return new List([...full, ...more.chunks], this.length + items.length);
  }

  /** Every item changed; the same list where `change` gives back each item. */
  changed(change: (item: T, index: number) => T): List<T> {
    const chunks = this.chunks.map((chunk, n) => {
      const next = chunk.map((item, i) => change(item, n * chunkLength + i));
      return next.every((item, i) => item === chunk[i]) ? chunk : next;
    });
    return chunks.every((chunk, n) => chunk === this.chunks[n]) ? this : new List(chunks, this.length);
  }

  toArray(): readonly T[] {
    return this.chunks.flat();
  }

  map<U>(of: (item: T, index: number) => U): U[] {
    return this.toArray().map(of);
  }

  flatMap<U>(of: (item: T, index: number) => U | readonly U[]): U[] {
    return this.toArray().flatMap(of);
  }

  filter(is: (item: T, index: number) => boolean): T[] {
    return this.toArray().filter(is);
  }

  some(is: (item: T, index: number) => boolean): boolean {
    return this.chunks.some((chunk, n) => chunk.some((item, i) => is(item, n * chunkLength + i)));
  }

  every(is: (item: T, index: number) => boolean): boolean {
    return !this.some((item, index) => !is(item, index));
  }

  entries(): ArrayIterator<[number, T]> {
    return this.toArray().entries();
  }

  [Symbol.iterator](): Iterator<T> {
    return this.toArray()[Symbol.iterator]();
  }

  toJSON(): readonly T[] {
    return this.toArray();
  }
}
