/**
 * The modes of a run, which may follow which, and what each does with what comes from bench and clock, as data. What each does with a
 * command of a person stands with the command (app/journal/commands.ts). The engine checks every change of mode against `transitions`; the rules
 * RUN-1 to RUN-9 are in README.md.
 */
import { commandsIn } from '../journal/commands.ts';
import type { CommandHandling, RunCommand } from '../journal/commands.ts';
import type { Mode } from '../journal/state.ts';

type Input = 'frame' | 'reply' | 'tick' | 'link';

export type InputName = Input | RunCommand['kind'];

/** What a mode does with an input: acts on it, turns a command down, or takes note and does nothing else. */
export type Handling = CommandHandling | { readonly kind: 'noted'; readonly how: string };

const handled = (how: string): Handling => ({ kind: 'handled', how });
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

const linkNoted = handled('writes down that the link was lost or restored');
const givenUp = noted('nothing is asked of the bench here, so it belongs to a request that was given up');
const noDeadline = noted('nothing has a deadline here');

const inputs: Readonly<Record<Mode, Readonly<Record<Input, Handling>>>> = {
  ready: {
    frame: handled('keeps it for the checks before the start, evaluates the guards'),
    reply: handled('answer to the clearing of faults'),
    tick: handled('deadline of the clearing of faults'),
    link: linkNoted,
  },
  proving: {
    frame: handled('guards, then the next step of the proof'),
    reply: handled('the next step of the proof'),
    tick: handled('deadlines of the proof, age of the telemetry'),
    link: handled('a lost link makes safe and holds'),
  },
  measuring: {
    frame: handled('guards, then the next step of the point'),
    reply: handled('the next step of the point'),
    tick: handled('deadlines of the point, age of the telemetry'),
    link: handled('a lost link or a reset makes safe and holds'),
  },
  'making-safe': {
    frame: handled('evaluates the guards; a trip changes where the run goes'),
    reply: handled('safe state confirmed, or asked for again'),
    tick: handled('deadline of the confirmation'),
    link: linkNoted,
  },
  paused: { frame: handled('guards; watches that nothing is driven'), reply: givenUp, tick: noDeadline, link: linkNoted },
  held: {
    frame: handled('guards; goes on by itself when all are clear; watches that nothing is driven'),
    reply: givenUp,
    tick: handled('a hold that lasts too long becomes a pause'),
    link: linkNoted,
  },
  tripped: { frame: handled('guards, noted only; watches that nothing is driven'), reply: givenUp, tick: noDeadline, link: linkNoted },
  ended: { frame: handled('keeps it, and the guards, for the checks before points are measured again'), reply: givenUp, tick: noDeadline, link: linkNoted },
};

/** What each mode does with each input. The engine asks it before it does anything with a command. */
export const handling: Readonly<Record<Mode, Readonly<Record<InputName, Handling>>>> = {
  ready: { ...inputs.ready, ...commandsIn('ready') },
  proving: { ...inputs.proving, ...commandsIn('proving') },
  measuring: { ...inputs.measuring, ...commandsIn('measuring') },
  'making-safe': { ...inputs['making-safe'], ...commandsIn('making-safe') },
  paused: { ...inputs.paused, ...commandsIn('paused') },
  held: { ...inputs.held, ...commandsIn('held') },
  tripped: { ...inputs.tripped, ...commandsIn('tripped') },
  ended: { ...inputs.ended, ...commandsIn('ended') },
};
