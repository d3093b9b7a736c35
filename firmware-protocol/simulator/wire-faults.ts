/**
 * What a bad cable, a bad adapter and electrical noise do to the lines of one direction: lose, garble, repeat, fall
 * silent. Works on text with one character per byte; chance comes from the scenario's seed, so it repeats exactly.
 */
import { RandomSource } from './plant/random.ts';
import type { Fault } from './plant/scenario.ts';

export type Direction = 'to-host' | 'to-controller';

type WireFault = Extract<Fault['fault'], { direction: unknown }>;

export function isWireFault(fault: Fault['fault']): fault is WireFault {
  return 'direction' in fault;
}

export class WireFaults {
  readonly #direction: Direction;
  readonly #chance: RandomSource;
  readonly #active = new Set<WireFault>();

  constructor(seed: number, direction: Direction) {
    this.#direction = direction;
    this.#chance = RandomSource.named(seed, `wire ${direction}`);
  }

  /** No fault is at work: every line passes as it is. */
  get clear(): boolean {
    return this.#active.size === 0;
  }

  /** Ignored when the fault is of the other direction. */
  begin(fault: WireFault): void {
    if (fault.direction === this.#direction || fault.direction === 'both') this.#active.add(fault);
  }

  end(fault: WireFault): void {
    this.#active.delete(fault);
  }

  /** `line` with its LF; the answer is what arrives at the other end, '' when nothing does. */
  pass(line: string): string {
    let arriving = line;
    for (const fault of this.#active) {
      switch (fault.kind) {
        case 'line-silent':
          return '';
        case 'lines-lost':
          if (this.#strikes(fault.probability)) arriving = '';
          break;
        case 'lines-garbled':
          if (this.#strikes(fault.probability)) arriving = this.#garble(arriving);
          break;
        case 'lines-repeated':
          if (this.#strikes(fault.probability)) arriving += arriving;
          break;
      }
    }
    return arriving;
  }

  #strikes(probability: number): boolean {
    return this.#chance.uniform() < probability;
  }

  #below(n: number): number {
    return Math.floor(this.#chance.uniform() * n);
  }

  /** One of the four things that happen to bytes: changed, lost, added, or the rest of the line cut off with its LF. */
  #garble(line: string): string {
    if (line === '') return line;
    const at = this.#below(line.length);
    const noise = String.fromCharCode(this.#below(256));
    switch (this.#below(4)) {
      case 0:
        return line.slice(0, at) + String.fromCharCode(line.charCodeAt(at) ^ (1 << this.#below(8))) + line.slice(at + 1);
      case 1:
        return line.slice(0, at) + line.slice(at + 1);
      case 2:
        return line.slice(0, at) + noise + line.slice(at);
      default:
        return line.slice(0, at);
    }
  }
}
