/** Carries a run on a terminal: progress, what happens, Ctrl-C, and the exit code at its rest. */
import { shownPoint } from '../../app/plan/points.ts';
import { targetPlace } from '../../app/plan/wanted.ts';
import type { RunCommand, RunEventBody } from '../../app/journal/events.ts';
import { restAfterAcknowledge } from '../../app/run/engine.ts';
import type { RunState } from '../../app/journal/state.ts';
import { isBeyond, worthTelling } from '../../app/run/time-base.ts';
import { wait, type Clock } from '../clock/clock.ts';
import { machineClock } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import type { RunService } from '../service/run-service.ts';
import { exitCode, type ExitCode } from './exit-codes.ts';
import { printJson } from './json.ts';
import { foldedOutcome } from './outcome.ts';
import { LiveLine, tell } from './say.ts';

export interface DriveOptions {
  readonly clock: Clock;
  /** Seconds of bench time to wait for a bench that went away, before the run is left unfinished. */
  readonly waitForBench: number;
  /** Also say each accepted point, once it is in the archive. */
  readonly everyPoint: boolean;
  /** No progress, no accepted points. */
  readonly quiet: boolean;
  /** Also as lines for a program, on standard output (CLI-5). */
  readonly json: boolean;
  /** How the user would go on with this run. */
  readonly continueWith: string;
  /** How the user would measure what has no result in this run, once it has ended. */
  readonly remainingWith: string;
}

/** How often a program is told how far the run is, ms of the machine's time. */
const JSON_EVERY_MS = 1000;

/** How far a run is, for people and for programs. */
class Progress {
  readonly #service: RunService;
  readonly #quiet: boolean;
  readonly #json: boolean;
  readonly #line = new LiveLine();
  #lastForPrograms = Number.NEGATIVE_INFINITY;

  constructor(service: RunService, { quiet, json }: Pick<DriveOptions, 'quiet' | 'json'>) {
    this.#service = service;
    this.#quiet = quiet;
    this.#json = json;
  }

  show(): void {
    if (this.#json) this.#showPrograms();
    if (!this.#quiet) this.#line.show(() => this.#texts());
  }

  /** A reader that stands still is told how it is then. */
  #showPrograms(): void {
    const now = machineClock.now();
    if (process.stdout.writableLength > 0 || now - this.#lastForPrograms < JSON_EVERY_MS) return;
    this.#lastForPrograms = now;
    const { doing, progress, remaining } = this.#service.status();
    printJson('run', { kind: 'progress', accepted: progress.accepted, skipped: progress.skipped, points: progress.points, remainingS: remaining, doing });
  }

  /** From the longest to the shortest: a narrow terminal still shows what is being done (CLI-14). */
  #texts(): readonly string[] {
    const { doing, waitingFor, progress, remaining } = this.#service.status();
    const done = progress.accepted + progress.skipped;
    const waiting = progress.waiting > 0 ? ` (${progress.waiting} wait for a person)` : '';
    const now = `${doing}${waitingFor === null ? '' : ` (waits for ${waitingFor.text})`}`;
    const [eta, shortEta] = remaining === null ? ['', ''] : [`, ${duration(remaining)} of bench time to go`, `, ${duration(remaining)}`];
    return [`${done} of ${progress.points} points${waiting}${eta}. ${now}`, `${done}/${progress.points}${shortEta}. ${now}`, `${done}/${progress.points}. ${now}`];
  }

  /** A line that stays. */
  say(text: string): void {
    if (this.#json) printJson('run', { kind: 'said', text });
    this.#line.clear();
    tell(text);
  }
}

function duration(seconds: number): string {
  const s = Math.round(seconds);
  if (s < 90) return `${s} s`;
  if (s < 5400) return `${Math.round(s / 60)} min`;
  return `${Math.floor(s / 3600)} h ${Math.round((s % 3600) / 60)} min`;
}

/** What tells of progress, or of something that is over. */
const isGood = (event: RunEventBody): boolean => good.has(event.kind) || (event.kind === 'ended' && event.ending === 'complete');
const good: ReadonlySet<RunEventBody['kind']> = new Set<RunEventBody['kind']>([
  'dead-man-proved', 'second-pass-started', 'injector-looked-at', 'injector-back', 'guard-cleared', 'link-restored', 'host-restarted', 'resumed', 'clocks-compared', 'blind-unsealed',
]);

/** What a person at the terminal should see of the journal; null: nothing. */
// eslint-disable-next-line complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
function spoken(event: RunEventBody, everyPoint: boolean): string | null {
  switch (event.kind) {
    case 'dead-man-proved':
      return `The controller's watchdog works: silent for ${event.silence.toFixed(2)} s, it stopped after ${event.pulsesBefore} of ${event.pulsesCommanded} pulses and took the supply to its safe value.`;
    case 'dead-man-not-proved':
      return `The controller's watchdog is not proved: ${event.text}`;
    case 'attempt-ended':
      if (event.verdict === 'accepted' && everyPoint) return `Point ${shownPoint(event.point)}, attempt ${event.attempt}, accepted.`;
      return event.verdict === 'rejected' ? `Point ${shownPoint(event.point)}, attempt ${event.attempt}, rejected: ${event.text}` : null;
    case 'second-pass-started':
      return `Second pass over ${event.points.length} failed points.`;
    case 'blind-unsealed':
      return `The secrets of ${event.shifts.length} blind windows are told; reduce shows whether they were found.`;
    case 'points-added':
      return `${event.points.length === 1 ? 'One point more is' : `${event.points.length} points more are`} measured: ${event.why}.`;
    case 'target-changed':
      return `${event.by} wants U95 of ${event.deadTimeUs} us of the dead time ${targetPlace(event)} from here on.`;
    case 'injector-out':
      return event.text;
    case 'injector-looked-at':
      return everyPoint ? `First look at injector ${event.injector + 1} of the plan: ${event.text}.` : null;
    case 'injector-back':
      return `Injector ${event.injector + 1} of the plan takes part again. ${event.text}`;
    case 'point-skipped':
      return `Point ${shownPoint(event.point)} left out: ${event.why}`;
    case 'clocks-compared':
      return isBeyond(event.comparison, worthTelling) || everyPoint ? event.text : null;
    case 'guard-noted':
    case 'guard-cleared':
      return `Guard ${event.guard}: ${event.text}`;
    case 'link-lost':
    case 'link-restored':
    case 'host-restarted':
    case 'link-not-restored':
    case 'clock-stepped':
      return event.text;
    case 'paused':
      return event.text ?? null;
    case 'controller-fault':
      return `The controller reports a fault: ${event.fault.text}`;
    case 'made-safe':
      return event.confirmed ? null : event.text;
    case 'held':
      return `Held by guard ${event.guard}: ${event.text}`;
    case 'tripped':
      return `Tripped by guard ${event.guard}: ${event.text}`;
    case 'resumed':
      return event.automatic ? 'Resumed by itself.' : null;
    case 'ended':
      return event.text;
    default:
      return null;
  }
}

/**
 * Gives the run its first command and stays until it rests. The first Ctrl-C pauses (pulsing stops, the supply goes to its
 * safe value, everything is committed), the second is STOP, which ends the run.
 */
// eslint-disable-next-line max-lines-per-function, complexity -- one run on a terminal from its beginning to its rest, read top to bottom
export async function drive(
  service: RunService,
  begin: (state: RunState) => readonly RunCommand[],
  by: string,
  options: DriveOptions,
): Promise<ExitCode> {
  const progress = new Progress(service, options);
  // An object, because the listener below changes it behind the compiler's back.
  const bench = { gone: false };
  let cancelWait = (): void => undefined;
  const unlisten = service.listen((events) => {
    for (const event of events) {
      const text = options.quiet && isGood(event) ? null : spoken(event, options.everyPoint);
      if (text !== null) progress.say(text);
      if (event.kind === 'link-lost') {
        cancelWait();
        cancelWait = options.clock.after(options.waitForBench * 1000, () => {
          bench.gone = true;
          service.command({ kind: 'pause-now' }, by);
        });
      }
      if (event.kind === 'link-restored') {
        cancelWait();
        bench.gone = false;
      }
    }
    progress.show();
  });

  const asked = { stop: false, end: new AbortController() };
  const isAsked = (): boolean => asked.end.signal.aborted;
  const letGo = ending.hold({
    onAsked: ({ why, interrupts }) => {
      if (!isAsked()) {
        asked.end.abort(new Error(why));
        progress.say(`${why} Stopping: the bench is being made safe and everything committed ...`);
        // Refused where nothing is driven.
        service.command({ kind: 'pause-now' }, why);
      }
      if (interrupts < 2 || asked.stop) return;
      asked.stop = true;
      service.command({ kind: 'emergency-stop' }, by);
    },
    makeSafe: () => service.makeSafeNow(),
  });
  const toldRest = (mode: string, code: ExitCode, text: string, canContinue: boolean): void => {
    if (!options.json) return;
    const { accepted, attempts } = service.state.counts;
    printJson('run', { kind: 'rest', mode, exitCode: code, accepted, points: service.state.points.length, attempts, text, continueWith: canContinue ? options.continueWith : null });
  };
  try {
    // A run that was found unfinished is on its way to the safe state first.
    let rest = await service.rest();
    const commands = rest.kind === 'resting' ? begin(service.state) : [];
    let acknowledged = false;
    for (const command of commands) {
      if (rest.kind !== 'resting' || isAsked()) break;
      // A person who acknowledged looks at the bench; the engine does not drive it before (RUN-150).
      if (acknowledged) await wait(options.clock, (restAfterAcknowledge + 0.1) * 1000, asked.end.signal).catch(() => undefined);
      if (isAsked()) break;
      acknowledged = command.kind === 'acknowledge';
      const answer = service.command(command, by);
      if (!answer.accepted) {
        progress.say(answer.reason);
        if (rest.mode === 'ready' || rest.mode === 'ended') {
          toldRest(rest.mode, exitCode.refused, answer.reason, rest.mode === 'ready');
          return exitCode.refused;
        }
        break;
      }
      rest = await service.rest();
    }
    if (rest.kind === 'failed') {
      progress.say(rest.text);
      return rest.code === 'archive' ? exitCode.archive : exitCode.defect;
    }
    const outcome = foldedOutcome(service.state, rest.mode);
    const code = bench.gone && outcome.exitCode === exitCode.unfinished ? exitCode.bench : outcome.exitCode;
    if (!options.quiet || code !== exitCode.done) progress.say(outcome.text);
    const lost = outcome.canContinue ? service.readBack() : null;
    if (lost !== null) {
      progress.say(`What was accepted could NOT be read back from the archive. ${lost} Keep this machine as it is, and look for the file before anything else is done.`);
      return exitCode.archive;
    }
    if (outcome.canContinue) progress.say(`What was accepted was read back from the archive: nothing of it is lost. To go on: ${options.continueWith}`);
    if (outcome.remaining > 0) progress.say(`${outcome.remaining === 1 ? '1 point has' : `${outcome.remaining} points have`} no result. To measure ${outcome.remaining === 1 ? 'it' : 'them'}: ${options.remainingWith}`);
    toldRest(rest.mode, code, outcome.text, outcome.canContinue);
    return code;
  } finally {
    cancelWait();
    unlisten();
    letGo();
  }
}
