/** What is seen on the line itself, whatever host and bench say of it. */
import { decodeFromController, type Telemetry } from '../../firmware-protocol/line/messages.ts';
import type { BenchRequest } from '../../app/bench/port.ts';
import { isTelemetry } from './machine.ts';

/** With what word a request of a run goes over the line; making safe and silence are more than a line. */
const wordOf: Readonly<Partial<Record<BenchRequest['kind'], string>>> = {
  arm: 'arm', 'set-supply': 'supply', 'set-pressure': 'pressure', burst: 'burst', 'stop-burst': 'halt', 'clear-faults': 'clear', pump: 'pump', 'shut-off': 'shut-off',
};

/** Of the lines of telemetry every so many-th is held against the archive. */
const EVERY_LINE = 16;

const text = (bytes: Uint8Array): string => Buffer.from(bytes).toString('latin1');

export class LineWitness {
  /** Of the telemetry that hosts read, the first and every so many-th line after it, in order. */
  readonly telemetry: Uint8Array[] = [];
  #lines = 0;
  #last: Uint8Array | null = null;
  /** When a host read telemetry last, s; of the world. */
  telemetryAt = 0;
  readonly #sent: { readonly word: string; readonly number: number; readonly at: number }[] = [];
  readonly #answered: number[] = [];

  sent(word: string, number: number, at: number): void {
    this.#sent.push({ word, number, at });
  }

  read(bytes: Uint8Array, at: number): void {
    if (isTelemetry(bytes)) {
      if (this.#lines % EVERY_LINE === 0) this.telemetry.push(bytes);
      this.#lines += 1;
      this.#last = bytes;
      this.telemetryAt = at;
      return;
    }
    for (const line of text(bytes).split('\n')) {
      const number = /^[=!] (\d+) /.exec(line)?.[1];
      if (number !== undefined) this.#answered.push(Number(number));
    }
  }

  /** The telemetry that was read last; null: none, or it was no line. */
  get last(): Telemetry | null {
    const bytes = this.#last;
    const heard = bytes === null ? null : decodeFromController(text(bytes).split('\n')[0] ?? '');
    return heard?.kind === 'telemetry' ? heard.telemetry : null;
  }

  /** A field of a line of telemetry; NaN: it is not there. */
  static field(bytes: Uint8Array, name: string): number {
    return Number(new RegExp(` ${name}=(-?\\d+)`).exec(text(bytes))?.[1] ?? Number.NaN);
  }

  /** Watches one request from now on; call what is returned when it was answered. Null: it is not one line. */
  follow(request: BenchRequest['kind']): (() => { readonly numbers: number; readonly answered: boolean }) | null {
    const word = wordOf[request];
    if (word === undefined) return null;
    const sent = this.#sent.length;
    const answered = this.#answered.length;
    return () => {
      const numbers = new Set(this.#sent.slice(sent).flatMap((line) => (line.word === word ? [line.number] : [])));
      return { numbers: numbers.size, answered: this.#answered.slice(answered).some((number) => numbers.has(number)) };
    };
  }

  /** Whether a line with this word was sent since `followWord` was asked for it, or was on its way then: less than `replyS` ago and unanswered. */
  followWord(word: string, now: number, replyS: number): () => boolean {
    const sent = this.#sent.length;
    const underWay = this.#sent.slice(-5).some((line) => line.word === word && now - line.at < replyS && !this.#answered.slice(-5).includes(line.number));
    return () => underWay || this.#sent.slice(sent).some((line) => line.word === word);
  }
}
