/**
 * The modes of a run and what each does with each input, as data. The engine asks this table before it does anything
 * with a command, and checks every change of mode against `transitions`; the rules RUN-1 to RUN-9 are in README.md.
 */
import type { RunCommand } from '../journal/events.ts';
import type { Mode } from '../journal/state.ts';

export type InputName = 'frame' | 'reply' | 'tick' | 'link' | RunCommand['kind'];

/** What a mode does with an input: acts on it, turns a command down, or takes note and does nothing else. */
export type Handling =
  | { readonly kind: 'handled'; readonly how: string }
  | { readonly kind: 'refused'; readonly why: string }
  | { readonly kind: 'noted'; readonly how: string };

const handled = (how: string): Handling => ({ kind: 'handled', how });
const refused = (why: string): Handling => ({ kind: 'refused', why });
const noted = (how: string): Handling => ({ kind: 'noted', how });

/** Modes in which the bench was told to be safe and nothing goes on by request of the engine. Each is entered from making-safe only. */
export const restingModes: readonly Mode[] = ['paused', 'held', 'tripped', 'ended'];

/** The modes that may follow a mode; anything else is a programming error and throws. */
export const transitions: Readonly<Record<Mode, readonly Mode[]>> = {
  ready: ['proving', 'making-safe'],
  proving: ['measuring', 'making-safe'],
  measuring: ['making-safe'],
  'making-safe': ['paused', 'held', 'tripped', 'ended'],
  paused: ['proving', 'measuring', 'making-safe'],
  held: ['proving', 'measuring', 'making-safe'],
  tripped: ['making-safe'],
  ended: ['proving', 'making-safe'],
};

const planGoesOn = refused('The plan goes on by itself: it measures every point that has no result.');

const lists = {
  'measure-again': handled('puts the points before all others'),
  choose: handled('writes down which attempt counts, who said so and why'),
  'skip-point': handled('leaves the point out'),
};

const chosenAtRest = handled('writes down that the results will not be traceable, who chose so and why');
const notNow = refused('This is chosen before a run starts or goes on; the run is going on.');

const running = {
  start: refused('The run has been started already.'),
  abort: handled('makes safe, ends as aborted'),
  'emergency-stop': handled('makes safe at once, ends as stopped'),
  'measure-remaining': planGoesOn,
  ...lists,
};

const nothingToAcknowledge = refused('Nothing has tripped, so there is nothing to acknowledge.');
const noWait = refused('Nothing is being waited for that could be skipped.');

export const handling: Readonly<Record<Mode, Readonly<Record<InputName, Handling>>>> = {
  ready: {
    ...running,
    'accept-untraceable': chosenAtRest,
    frame: handled('keeps it for the checks before the start, evaluates the guards'),
    reply: handled('answer to the clearing of faults'),
    tick: handled('deadline of the clearing of faults'),
    link: handled('writes down that the link was lost or restored'),
    start: handled('checks pre-flight sheet and guards, begins the proof of the dead-man'),
    'pause-at-next-point': refused('The run has not been started, so there is nothing to pause.'),
    'pause-now': refused('The run has not been started, so there is nothing to pause.'),
    resume: refused('The run has not been started; start it instead.'),
    'skip-wait': noWait,
    'finish-early': refused('The run has not been started; abort it instead.'),
    acknowledge: handled('clears the faults of the controller'),
  },
  proving: {
    ...running,
    'accept-untraceable': notNow,
    frame: handled('guards, then the next step of the proof'),
    reply: handled('the next step of the proof'),
    tick: handled('deadlines of the proof, age of the telemetry'),
    link: handled('a lost link makes safe and holds'),
    'pause-at-next-point': handled('pauses as soon as the proof is done'),
    'pause-now': handled('makes safe, pauses'),
    resume: handled('takes a pause that was asked for back'),
    'skip-wait': refused('The proof that the dead-man works cannot be skipped.'),
    'finish-early': handled('makes safe, ends'),
    acknowledge: nothingToAcknowledge,
  },
  measuring: {
    ...running,
    'accept-untraceable': notNow,
    frame: handled('guards, then the next step of the point'),
    reply: handled('the next step of the point'),
    tick: handled('deadlines of the point, age of the telemetry'),
    link: handled('a lost link or a reset makes safe and holds'),
    'pause-at-next-point': handled('pauses when the attempt in progress is judged'),
    'pause-now': handled('cuts the attempt, makes safe, pauses'),
    resume: handled('takes a pause that was asked for back'),
    'skip-wait': handled('goes on to the next step; the attempt says so'),
    'finish-early': handled('ends when the attempt in progress is judged'),
    acknowledge: nothingToAcknowledge,
  },
  'making-safe': {
    ...running,
    'accept-untraceable': notNow,
    frame: handled('evaluates the guards; a trip changes where the run goes'),
    reply: handled('safe state confirmed, or asked for again'),
    tick: handled('deadline of the confirmation'),
    link: handled('writes down that the link was lost or restored'),
    'pause-at-next-point': handled('pauses once the bench was told to be safe and has answered, or could not'),
    'pause-now': handled('pauses once the bench was told to be safe and has answered, or could not'),
    resume: refused('The bench is being made safe; resume when it is.'),
    'skip-wait': refused('The way to the safe state cannot be skipped.'),
    'finish-early': handled('ends once the bench was told to be safe and has answered, or could not'),
    acknowledge: refused('The bench is being made safe; acknowledge when it is.'),
  },
  paused: {
    ...running,
    'accept-untraceable': chosenAtRest,
    frame: handled('guards; watches that nothing is driven'),
    reply: noted('nothing is asked of the bench here, so it belongs to a request that was given up'),
    tick: noted('nothing has a deadline here'),
    link: handled('writes down that the link was lost or restored'),
    'pause-at-next-point': refused('The run is paused already.'),
    'pause-now': refused('The run is paused already.'),
    resume: handled('checks the guards, measures the point that was cut as a new attempt'),
    'skip-wait': noWait,
    'finish-early': handled('makes safe, ends'),
    acknowledge: nothingToAcknowledge,
  },
  held: {
    ...running,
    'accept-untraceable': chosenAtRest,
    frame: handled('guards; goes on by itself when all are clear; watches that nothing is driven'),
    reply: noted('nothing is asked of the bench here, so it belongs to a request that was given up'),
    tick: handled('a hold that lasts too long becomes a pause'),
    link: handled('writes down that the link was lost or restored'),
    'pause-at-next-point': handled('pauses: it will not go on by itself'),
    'pause-now': handled('pauses: it will not go on by itself'),
    resume: handled('goes on if the guards are clear'),
    'skip-wait': refused('A hold cannot be skipped; it ends when its guard is clear.'),
    'finish-early': handled('makes safe, ends'),
    acknowledge: refused('A hold is not latched; it ends when its guard is clear.'),
  },
  tripped: {
    ...running,
    'accept-untraceable': refused('The run has tripped; acknowledge it first.'),
    frame: handled('guards, noted only; watches that nothing is driven'),
    reply: noted('nothing is asked of the bench here, so it belongs to a request that was given up'),
    tick: noted('nothing has a deadline here'),
    link: handled('writes down that the link was lost or restored'),
    'pause-at-next-point': refused('The run has tripped; acknowledge it first.'),
    'pause-now': refused('The run has tripped; acknowledge it first.'),
    resume: refused('The run has tripped; find the cause and acknowledge it first.'),
    'skip-wait': noWait,
    'finish-early': handled('makes safe, ends'),
    acknowledge: handled('clears the faults of the controller, then pauses'),
  },
  ended: {
    ...running,
    'accept-untraceable': chosenAtRest,
    frame: handled('keeps it, and the guards, for the checks before points are measured again'),
    reply: noted('nothing is asked of the bench here, so it belongs to a request that was given up'),
    tick: noted('nothing has a deadline here'),
    link: handled('writes down that the link was lost or restored'),
    start: refused('The run has ended; measure points again, or open a new run.'),
    'pause-at-next-point': refused('The run has ended.'),
    'pause-now': refused('The run has ended.'),
    resume: refused('The run has ended; measure points again, or open a new run.'),
    'skip-wait': noWait,
    'skip-point': refused('The run has ended, so there is no point left to leave out.'),
    'finish-early': refused('The run has ended already.'),
    abort: refused('The run has ended already.'),
    'emergency-stop': handled('makes safe once more; the ending stays'),
    acknowledge: nothingToAcknowledge,
    'measure-again': handled('opens the run again for these points, begins with the proof'),
    'measure-remaining': handled('opens the run again for every point that has no result, begins with the proof'),
  },
};
