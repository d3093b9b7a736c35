/** What a run does, waits for and needs, in words: made for people, from the state and what the engine knows besides. */
import { shownPoint } from '../plan/points.ts';
import type { Point } from '../plan/points.ts';
import { seconds, toKilopascals, toMicroseconds, toMilliseconds } from '../quantities/quantity.ts';
import type { Seconds } from '../quantities/quantity.ts';
import { endText, outText } from './ending.ts';
import type { Ending, StepKind } from '../journal/events.ts';
import type { RunState } from '../journal/state.ts';
import type { Mode } from '../journal/state.ts';
import { safeClause } from './safe-words.ts';

/** A value that the run waits for, with its band. A null limit: open on that side. */
export interface WaitingFor {
  readonly text: string;
  readonly value: number | null;
  readonly low: number | null;
  readonly high: number | null;
  readonly unit: string;
}

export interface RunStatus {
  readonly mode: Mode;
  /** What the run does now, in a sentence. */
  readonly doing: string;
  readonly waitingFor: WaitingFor | null;
  /** What the operator should or may do; empty: nothing. */
  readonly advice: string;
  readonly point: Point | null;
  readonly attempt: number | null;
  /** How the run ended; null while it goes on, or again. */
  readonly ending: Ending | null;
  /** At rest: whether the bench has confirmed that it is safe. null: the run does not rest, or nothing was asked yet. */
  readonly safe: boolean | null;
  readonly progress: { readonly points: number; readonly accepted: number; readonly skipped: number; readonly attempts: number; readonly waiting: number };
  /** Time to the end at the pace so far; null when the run is not going on. */
  readonly remaining: Seconds | null;
  /** What it needs a person for; null: nobody is needed. */
  readonly call: Call | null;
}

/** trip: latched until somebody acknowledges. hold: stands until its guard is clear. question: the run stopped by itself and waits for an answer. end: it is over. */
type CallKind = 'trip' | 'hold' | 'question' | 'end';

export interface Call {
  readonly kind: CallKind;
  /** For somebody who does not see the page. */
  readonly text: string;
}

/** What a run calls a person for (WIN-22): the same for banner, sound, notification and whoever is on call. A pause that a person asked for calls nobody. */
export function callOf(state: RunState): Call | null {
  switch (state.mode) {
    case 'tripped':
      return { kind: 'trip', text: doingText(state, null) };
    case 'held':
      return { kind: 'hold', text: doingText(state, null) };
    case 'paused':
      return state.safe?.then.kind === 'paused' && state.safe.then.guard !== undefined ? { kind: 'question', text: doingText(state, null) } : null;
    case 'ended':
      return { kind: 'end', text: doingText(state, null) };
    case 'ready':
    case 'proving':
    case 'measuring':
    case 'making-safe':
      return null;
  }
}

// eslint-disable-next-line complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
export function doingText(state: RunState, point: Point | null): string {
  const { mode, safe, ending } = state;
  switch (mode) {
    case 'ready':
      return 'Ready to start.';
    case 'proving':
      return 'Proving that the controller makes itself safe when the host is silent.';
    case 'making-safe':
      return `Making the bench safe. ${safe?.why ?? ''}`;
    case 'paused':
      return `Paused; ${safeClause(state.safe?.confirmed)}. ${safe?.then.kind === 'paused' ? (safe.then.text ?? '') : ''}`.trimEnd();
    case 'held':
      return `On hold; ${safeClause(state.safe?.confirmed)}. ${safe?.then.kind === 'held' ? safe.then.text : ''}`;
    case 'tripped':
      return `Tripped; ${safeClause(state.safe?.confirmed)}. ${safe?.then.kind === 'tripped' ? safe.then.text : ''}`;
    case 'ended':
      return ending === null ? 'Ended.' : endText(state, ending);
    case 'measuring':
      return point === null ? 'Measuring.' : `${stepText(state.current?.step ?? null)} ${pointText(state, point)}`;
  }
}

/** `notStartable`: why a run that is ready cannot be started; `pressureByHand`: the run waits for a person to set it. */
export function adviceText(state: RunState, known: { readonly notStartable: string | null; readonly pressureByHand: boolean }): string {
  const { mode, safe } = state;
  const out = outText(state);
  const others = out === '' ? '' : `${out}. Put right what is wrong and measure its points again when you can; the others go on.`;
  const unconfirmed = safe?.confirmed === false ? `${safe.text} ` : '';
  switch (mode) {
    case 'ready':
      return known.notStartable ?? 'Start the run.';
    case 'paused':
      return `${unconfirmed}Resume when you are ready; the point that was cut is measured again.`;
    case 'held':
      return `${unconfirmed}The run goes on by itself when the guard is clear.`;
    case 'tripped':
      return `${unconfirmed}Find the cause, put it right, then acknowledge.`;
    case 'ended':
      return unconfirmed.trimEnd();
    case 'measuring':
      return known.pressureByHand ? 'Set the rail pressure to the middle of the band by hand.' : others;
    case 'proving':
    case 'making-safe':
      return '';
  }
}

/** From `attempts` that took `spent` seconds together and, until they are many, from the plan's own figures. */
export function remainingTime(state: RunState, spent: number, attempts: number): Seconds {
  const { plan, counts } = state;
  const purgeS = plan.purge.when === 'each-window' ? (plan.purge.pulses * plan.purge.periodMs) / 1e3 : 0;
  const guess = plan.supply.steadyS + purgeS + plan.settleS + 1.5 * plan.window.minS + 0.5;
  const weight = 3;
  const pace = (spent + weight * guess) / (attempts + weight);
  return seconds(Math.max(0, state.points.length - counts.accepted - counts.skipped - counts.waiting) * pace);
}

function pointText(state: RunState, point: Point): string {
  const attempt = `attempt ${state.current?.attempt ?? 1}.`;
  if (point.role === 'zero') return `Point ${shownPoint(point.index)} (zero flow, all injectors shut, ${point.voltage} V, ${toKilopascals(point.pressure)} kPa), ${attempt}`;
  const serial = state.plan.injectors[point.injector]?.serialNumber ?? `channel ${point.channel}`;
  const width = toMilliseconds(point.width) < 1 ? `${toMicroseconds(point.width).toFixed(0)} us` : `${toMilliseconds(point.width).toFixed(3)} ms`;
  return `Point ${shownPoint(point.index)} (${serial}, ${point.voltage} V, ${toKilopascals(point.pressure)} kPa, ${width}), ${attempt}`;
}

function stepText(step: StepKind | null): string {
  switch (step) {
    case null:
      return 'Setting up.';
    case 'supply':
      return 'Setting the supply.';
    case 'condition':
      return 'Waiting for pressure and temperature.';
    case 'purge':
      return 'Purging.';
    case 'settle':
      return 'Letting the flow settle.';
    case 'measure':
      return 'Measuring.';
    case 'stop':
      return 'Stopping the pulses.';
  }
}
