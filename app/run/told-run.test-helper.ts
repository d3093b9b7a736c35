/** A run on the scripted bench that writes down, line by line, what it does: events, requests, what a person is told. Times are of the bench, s. */
import { signals, spreadOf } from '../bench/readings.ts';
import type { Criterion, RunEventBody } from '../journal/events.ts';
import type { WindowSummary } from '../journal/measured.ts';
import type { EngineInput, EngineOutput } from './engine.ts';
import { TestRun } from './scripted-bench.test-helper.ts';

/** Six digits are enough to see a change by, and few enough to read; what is left of a rounding is nothing. */
const rounded = (value: number): number => (Math.abs(value) < 1e-12 ? 0 : Number(value.toPrecision(6)));

const short = (value: unknown): string => JSON.stringify(value, (_, inner: unknown) => (typeof inner === 'number' ? rounded(inner) : inner));

const fields = (of: object): string => Object.entries(of).flatMap(([field, value]) => (value === undefined ? [] : [` ${field}=${short(value)}`])).join('');

function windowLines(window: WindowSummary): readonly string[] {
  const { from, to, firstEdgeAt, lastEdgeAt, partRates, frames, missingFrames, edges, pulses, idle, decay } = window;
  const spreads = signals.map(({ id }) => [id, spreadOf(window, id)] as const).filter(([, spread]) => spread !== undefined).map(([id, spread]) => ` ${id}=${short(spread?.mean)}+/-${short(spread?.sd)}`).join('');
  return [`window${fields({ from, to, frames, missingFrames, edges, firstEdgeAt, lastEdgeAt, pulses, partRates, idle, decay })}`, `window${spreads}`];
}

function eventLines(event: RunEventBody): readonly string[] {
  switch (event.kind) {
    case 'opened':
    case 'bench-connected':
    case 'preflight':
      return [event.kind];
    case 'attempt-ended': {
      const { kind, point, attempt, verdict, window, criteria, ...rest } = event;
      return [`${kind} ${point}/${attempt} ${verdict}${fields(rest)}`, ...(window === null ? [] : windowLines(window)), ...criteriaLines(criteria)];
    }
    case 'injector-looked-at': {
      const { kind, criteria, ...rest } = event;
      return [`${kind}${fields({ ...rest, text: undefined })}`, ...criteriaLines(criteria)];
    }
    case 'making-safe': {
      const { kind, ...then } = event.then;
      const text = 'text' in then && then.text !== event.why ? then.text : undefined;
      return [`making-safe, then ${kind}${fields({ ...then, text, why: event.why })}`];
    }
    case 'commanded':
      return [`${event.by} ${event.id} ${short(event.command)} ${event.answer}: ${event.reason}`];
    case 'attempt-started':
    case 'step': {
      const { kind, point, attempt, ...rest } = event;
      return [`${kind} ${point}/${attempt} ${Object.values(rest).join(' ')}`];
    }
    default: {
      const { kind, ...rest } = event;
      return [`${kind}${fields(rest)}`];
    }
  }
}

function criteriaLines(criteria: readonly Criterion[]): readonly string[] {
  const kept = criteria.filter(({ passed }) => passed).map(({ rule, found, low, high, text }) => `${rule} ${found === undefined ? text : `${short(found)} (${short(low)} to ${short(high)})`}`);
  return [...(kept.length === 0 ? [] : [`kept ${kept.join(', ')}`]), ...criteria.filter(({ passed }) => !passed).map(({ rule, text }) => `NOT kept ${rule}: ${text}`)];
}

export class ToldRun extends TestRun {
  readonly lines: string[] = [];
  #doing = '';
  #progress = '';
  #wait = '';
  #waited = '';

  override step(input: EngineInput): EngineOutput {
    const output = super.step(input);
    if (input.kind === 'link') this.#tell('*', [`link ${input.state}`]);
    this.#tell(' ', output.events.flatMap(eventLines));
    for (const { request: { kind, ...rest }, deadline } of output.requests) this.#tell('>', [`${kind}${fields({ ...rest, within: deadline - (input.now - this.suspendedFor) })}`]);
    if (output.ignored !== null) this.#tell('-', [output.ignored]);
    this.#status(input.now);
    return output;
  }

  override restartHost(): void {
    const before = this.journal.length;
    super.restartHost();
    this.#tell('*', ['another host']);
    this.#tell(' ', this.journal.slice(before).flatMap(eventLines));
  }

  /** What came before is that of a sound bench, and told in its journal. */
  fromHere(): this {
    this.lines.length = 0;
    return this;
  }

  /** What a test does to the bench, for the reader. */
  happens(what: string): this {
    this.#tell('*', [what]);
    return this;
  }

  #tell(mark: string, lines: readonly string[]): void {
    const time = (this.bench.time - 100).toFixed(2).padStart(8);
    lines.forEach((line, i) => this.lines.push(`${i === 0 ? time : ' '.repeat(8)} ${mark} ${line}`.trimEnd()));
  }

  /** Told when something else is done or waited for; with what the wait before had come to. */
  #status(now: number): void {
    const { doing, advice, waitingFor, remaining, progress, safe } = this.engine.status(now);
    const wait = waitingFor === null ? '' : `waits for ${waitingFor.text}, ${short(waitingFor.low)} to ${short(waitingFor.high)} ${waitingFor.unit}`;
    const said = `${doing} ${advice}`.trim();
    const far = `${fields({ ...progress, safe: safe ?? undefined }).trim()}${remaining === null ? '' : `, ${remaining.toFixed(2)} s left`}`;
    if (wait !== this.#wait && this.#wait !== '') this.#tell('=', [`waited until ${this.#waited}`]);
    if (said !== this.#doing || far !== this.#progress) this.#tell('=', [...(said === this.#doing ? [] : [said]), ...(far === this.#progress ? [] : [far])]);
    if (wait !== this.#wait && wait !== '') this.#tell('=', [`${wait}; now ${short(waitingFor?.value)}`]);
    this.#doing = said;
    this.#progress = far;
    this.#wait = wait;
    this.#waited = short(waitingFor?.value);
  }
}
