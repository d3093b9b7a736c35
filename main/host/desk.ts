/**
 * The desk: where what reads much or computes long is done, so that neither the heartbeat of the bench nor a stop ever waits
 * for a long list, an export or a check of the whole archive. It has two places; how one is made is the caller's affair.
 */
import type { Clock } from '../clock/clock.ts';
import type { DeskAnswer, DeskFailure, DeskJob, DeskResults } from './desk-work.ts';

/** null: end; what is going on and can be ended before it is finished is. */
export type ToDesk = { readonly id: number; readonly job: DeskJob } | null;

interface DeskAtWork {
  post(message: ToDesk): void;
  /** Whether the program stays alive for it. */
  keepsAlive(yes: boolean): void;
  /** How long it is given to come to its end when it is asked to. */
  readonly patienceMs: number;
  /** Ends it in the middle of what it does. */
  tearDown(): void;
}

interface DeskEars {
  onAnswer(id: number, answer: DeskAnswer): void;
  /** Of a job that says how far it is. */
  onProgress(id: number, share: number): void;
  /** `why` null: it came to its end as it should. Not told twice. */
  onEnd(why: string | null): void;
}

export type StartDesk = (ears: DeskEars) => DeskAtWork;

/** Jobs that may take minutes; they have a place of their own, so that a page does not wait for them. */
const long: ReadonlySet<DeskJob['kind']> = new Set<DeskJob['kind']>(['verify', 'backup', 'export', 'report', 'issue', 'prove', 'compare', 'spread', 'stability', 'references', 'match', 'life', 'recognise', 'known-types']);

export class Desk {
  readonly #quick: DeskPlace;
  readonly #long: DeskPlace;

  /** `startLong`: where the long jobs are done; absent: in a place like that of the others. */
  constructor(start: StartDesk, clock: Clock, startLong: StartDesk = start) {
    this.#quick = new DeskPlace(start, clock);
    this.#long = new DeskPlace(startLong, clock);
    // The first page that is opened does not wait for it to begin.
    this.#quick.begin();
  }

  /** Never rejects; jobs of a kind are done in the order they were given. `onProgress`: the share of a check that is done. */
  do<J extends DeskJob>(job: J, onProgress: (share: number) => void = () => undefined): Promise<{ readonly ok: true; readonly value: DeskResults[J['kind']] } | DeskFailure> {
    return (long.has(job.kind) ? this.#long : this.#quick).do(job, onProgress) as Promise<{ readonly ok: true; readonly value: DeskResults[J['kind']] } | DeskFailure>;
  }

  /** Ends the work that takes minutes, and takes no more of it. Whoever waits for some is answered so; returns what it was (HOST-18). */
  endLongWork(): readonly DeskJob[] {
    return this.#long.end('The program is ending, and this was ended before it was finished. The archive is as it was. Ask for it again when the program runs again.');
  }

  /** Resolves when both places have ended. */
  async close(): Promise<void> {
    this.#quick.end(hostEnded);
    this.#long.end(hostEnded);
    await Promise.all([this.#quick.ended(), this.#long.ended()]);
  }
}

const hostEnded = 'The host has ended.';

/** One that died is started again with the next job. */
class DeskPlace {
  readonly #start: StartDesk;
  readonly #clock: Clock;
  readonly #waiting = new Map<number, { readonly job: DeskJob; readonly settle: (answer: DeskAnswer) => void; readonly onProgress: (share: number) => void }>();
  #nextId = 0;
  #place: DeskAtWork | null = null;
  #closed = false;
  #onEnd: () => void = () => undefined;
  #ended: Promise<void> = Promise.resolve();

  constructor(start: StartDesk, clock: Clock) {
    this.#start = start;
    this.#clock = clock;
  }

  begin(): void {
    this.#running().keepsAlive(false);
  }

  do(job: DeskJob, onProgress: (share: number) => void): Promise<DeskAnswer> {
    if (this.#closed) return Promise.resolve({ ok: false, code: 'archive', text: 'The host is ending; the archive is being closed.' });
    return new Promise((settle) => {
      const id = this.#nextId++;
      this.#waiting.set(id, { job, settle, onProgress });
      const place = this.#running();
      place.keepsAlive(true);
      place.post({ id, job });
    });
  }

  /**
   * Asks it to end; one that has not in time is torn down. Whoever waits is answered at once with `text`; returns what was
   * asked for.
   */
  end(text: string): readonly DeskJob[] {
    if (this.#closed) return [];
    this.#closed = true;
    const place = this.#place;
    if (place !== null) {
      this.#ended = new Promise<void>((resolve) => {
        const inTime = this.#clock.after(place.patienceMs, () => place.tearDown());
        this.#onEnd = () => {
          inTime();
          resolve();
        };
      });
      place.keepsAlive(true);
      place.post(null);
    }
    return this.#giveUp('busy', text);
  }

  /** Resolves when what was asked to end has ended. */
  ended(): Promise<void> {
    return this.#ended;
  }

  #running(): DeskAtWork {
    if (this.#place !== null) return this.#place;
    const place = this.#start({
      onAnswer: (id, answer) => {
        const asked = this.#waiting.get(id);
        this.#waiting.delete(id);
        asked?.settle(answer);
        // An idle desk keeps no program alive.
        if (this.#waiting.size === 0) place.keepsAlive(false);
      },
      onProgress: (id, share) => this.#waiting.get(id)?.onProgress(share),
      onEnd: (why) => {
        if (this.#place === place) this.#place = null;
        this.#giveUp('defect', why === null ? 'The process that reads the archive ended.' : `The process that reads the archive ended: ${why}`);
        this.#onEnd();
      },
    });
    this.#place = place;
    return place;
  }

  #giveUp(code: DeskFailure['code'], text: string): readonly DeskJob[] {
    const waiting = [...this.#waiting.values()];
    this.#waiting.clear();
    for (const { settle } of waiting) settle({ ok: false, code, text });
    return waiting.map(({ job }) => job);
  }
}
