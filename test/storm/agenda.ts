/** Lets what was drawn of machine, bench and line happen at its time: at an instant, after an event of the journal or a line, or at a commit. */
import type { RunCommand } from '../../app/journal/events.ts';
import type { RunningBench } from '../../main/bench/running-bench.ts';
import type { VirtualClock } from '../../main/clock/clock.ts';
import type { DiskError, Happening, Instant, Timed, Upon } from './draw.ts';
import type { Wire } from './machine.ts';

type Death = Extract<Happening, { kind: 'death' }>;

interface AgendaOf {
  readonly world: VirtualClock;
  readonly happenings: readonly Happening[];
  readonly bench: RunningBench;
  readonly wire: Wire;
  readonly happened: (what: string) => void;
  /** Something that lasted is over. */
  readonly over: () => void;
  readonly die: (death: Death) => void;
  readonly stopHost: (forS: number, clockGoesOn: boolean) => void;
  readonly stepClock: (ms: number) => void;
  readonly secondWriter: () => void;
  readonly command: (command: RunCommand) => void;
}

export class Agenda {
  readonly #of: AgendaOf;
  readonly #waiting: { readonly upon: Upon; readonly set: (immediately: boolean) => void }[] = [];
  readonly #counted = new Map<string, number>();
  /** Those that strike once at the next commit or line, and have. */
  readonly #over = new Set<Happening>();
  #bursts = 0;
  #lines = 0;
  commits = 0;

  constructor(of: AgendaOf) {
    this.#of = of;
    for (const one of of.happenings) this.#schedule(one);
  }

  /** One more event of the journal. */
  countEvent(kind: string): void {
    this.#count('event', kind);
  }

  beforeLine(word: string): void {
    this.#lines += 1;
    this.#count('word', word);
    this.#dieAt('before', (at) => ('line' in at ? at.line === this.#lines : this.#isNext(at, 'line')));
  }

  afterLine(word: string): void {
    if (word === 'burst') this.#countBurst();
    this.#dieAt('after', (at) => ('line' in at ? at.line === this.#lines : this.#isNext(at, 'line')));
  }

  dieAtCommit(where: 'before' | 'within' | 'after'): void {
    this.#dieAt(where, (at) => ('commit' in at ? at.commit === this.commits : this.#isNext(at, 'commit')));
  }

  /** What the disk says to this commit there; null: nothing. */
  diskError(where: 'statement' | 'end'): { readonly code: DiskError; readonly forGood: boolean } | null {
    const error = this.#of.happenings.find((one) => one.kind === 'disk-error' && one.where === where && !this.#over.has(one)
      && (typeof one.commit === 'number' ? one.commit === this.commits : this.#now() >= one.commit.fromS));
    if (error?.kind !== 'disk-error') return null;
    this.#over.add(error);
    this.#of.happened(`disk ${error.code}${error.forGood ? ' for good' : ''}`);
    return error;
  }

  #now(): number {
    return this.#of.world.now() / 1e3;
  }

  #isNext(at: Instant, what: 'commit' | 'line'): boolean {
    return 'fromS' in at && at.next === what && this.#now() >= at.fromS;
  }

  #dieAt(where: 'before' | 'within' | 'after', fits: (at: Exclude<Instant, Timed>) => boolean): void {
    const death = this.#of.happenings.find((one) => one.kind === 'death' && !('atS' in one.at) && one.at.where === where && !this.#over.has(one) && fits(one.at));
    if (death?.kind !== 'death') return;
    this.#over.add(death);
    this.#of.die(death);
  }

  /** `action` so long after its time; what waits for something waits for it. */
  at(when: Timed, afterS: number, action: () => void): void {
    const { upon } = when;
    const ms = (when.atS + afterS) * 1e3;
    const set = (immediately: boolean): void => {
      if (immediately && ms === 0) action();
      else this.#of.world.after(ms, action);
    };
    if (upon === undefined) set(false);
    else this.#waiting.push({ upon, set });
  }

  #count(what: 'event' | 'word', name: string): void {
    if (this.#waiting.length === 0) return;
    const key = `${what} ${name}`;
    const nth = (this.#counted.get(key) ?? 0) + 1;
    this.#counted.set(key, nth);
    for (const { upon, set } of this.#waiting) {
      if (upon.nth === nth && (what === 'event' ? 'event' in upon && upon.event === name : 'word' in upon && upon.word === name)) set(what === 'word');
    }
  }

  #countBurst(): void {
    this.#bursts += 1;
    for (const one of this.#of.happenings) {
      if (one.kind !== 'bench' || one.upon !== undefined) continue;
      const { begins, fault } = one.fault;
      if ('atBurst' in begins && begins.atBurst === this.#bursts && isOfTheLine(fault.kind)) this.#of.happened(fault.kind);
    }
  }

  #lasting(when: Timed & { readonly forS: number }, what: string, begin: () => void, end: () => void): void {
    this.at(when, 0, () => {
      this.#of.happened(what);
      begin();
    });
    this.at(when, when.forS, () => {
      this.#of.over();
      end();
    });
  }

  #schedule(one: Happening): void {
    const { wire, bench, happened } = this.#of;
    switch (one.kind) {
      case 'death':
        if ('atS' in one.at) this.at(one.at, 0, () => {
          this.#of.die(one);
        });
        break;
      case 'cable-pulled':
        this.#lasting(one, one.told ? 'cable pulled, told' : 'cable pulled, untold', () => {
          wire.pull(one.told);
        }, () => {
          wire.plug();
        });
        break;
      case 'lines-late':
        this.#lasting(one, (one.againS ?? 0) > 0 ? 'lines late, answers again' : 'lines late', () => {
          wire.delayMs = one.delayMs;
          wire.againMs = (one.againS ?? 0) * 1e3;
        }, () => {
          wire.delayMs = 0;
          wire.againMs = 0;
        });
        break;
      case 'telemetry-stops':
        this.#lasting(one, 'telemetry stops', () => {
          wire.telemetryStopped = true;
        }, () => {
          wire.telemetryStopped = false;
        });
        break;
      case 'host-stopped':
        this.at(one, 0, () => {
          this.#of.stopHost(one.forS, one.clockGoesOn);
        });
        break;
      case 'clock-stepped':
        this.at(one, 0, () => {
          happened('clock stepped');
          this.#of.stepClock(one.byS * 1e3);
        });
        break;
      case 'command':
        this.at(one, 0, () => {
          happened(`command ${one.command.kind}`);
          this.#of.command(one.command);
        });
        break;
      case 'controller-disobeys':
        this.#lasting(one, 'controller disobeys', () => {
          wire.disobeys = true;
        }, () => {
          wire.obeys();
        });
        break;
      case 'second-writer':
        this.at(one, 0, () => {
          this.#of.secondWriter();
        });
        break;
      case 'other-bench':
        this.#lasting(one, 'other bench on the cable', () => {
          // A run that was opened on the other one belongs to it, and is rightly not gone on with on this.
          if (this.commits === 0) return;
          wire.pull(true);
          wire.otherBench = true;
          wire.plug();
        }, () => {
          wire.otherBench = false;
        });
        break;
      case 'bench': {
        const { begins, fault, forS } = one.fault;
        if (!('atS' in begins)) break;
        const strikes = one.upon !== undefined;
        // Faults of the plant are seen at the plant, those of the line and the controller here.
        if (!strikes && !isOfTheLine(fault.kind)) break;
        this.at({ ...begins, ...(one.upon === undefined ? {} : { upon: one.upon }) }, 0, () => {
          if (isOfTheLine(fault.kind)) happened(fault.kind);
          // A bench that has nothing to say yet is looked at now, so that what comes of it is seen when it comes.
          if (strikes) bench.strike(fault, forS);
          else bench.receive(nothing);
        });
        break;
      }
      case 'disk-error':
        break;
    }
  }
}

const isOfTheLine = (kind: string): boolean => kind.startsWith('line') || kind.startsWith('controller') || kind === 'converter-stopped';

const nothing = new Uint8Array();
