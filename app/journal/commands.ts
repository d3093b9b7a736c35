/**
 * The commands of a person to a run, one row each: what it brings with it, who may give it, whether the run drives the bench after it, what
 * it changes at once, and what each mode does with it. The union of the commands, the schema of the contract, the rights of the windows,
 * the fold's part and the engine's table of handling all follow from here.
 */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import type { Mode } from './modes.ts';

/** What a mode does with a command: carries it out, or turns it down. */
export type CommandHandling = { readonly kind: 'handled'; readonly how: string } | { readonly kind: 'refused'; readonly why: string };

const handled = (how: string): CommandHandling => ({ kind: 'handled', how });
const refused = (why: string): CommandHandling => ({ kind: 'refused', why });

const point = z.int().min(0);

type ByMode = Readonly<Record<Mode, CommandHandling>>;

interface Row {
  /** What the command brings with it, beside its kind. */
  readonly brings: z.ZodRawShape;
  /** Of the windows at a host: the one that holds control, or each (HOST-70). */
  readonly who: 'holder' | 'anyone';
  /** After it the run drives the bench, so it takes it over from work by hand before. */
  readonly drives: boolean;
  /** It can be given about a run that is not on the bench: it asks nothing of one. */
  readonly stored: boolean;
  /** What it changes in the state as soon as it is accepted; what else it does is told by the events that follow it. */
  readonly sets: { readonly pausePending?: boolean; readonly finishing?: boolean };
  readonly handling: ByMode;
}

/** What most commands are; a row says what it is beside that. */
const usual = { brings: {}, who: 'holder', drives: false, stored: false, sets: {} } as const satisfies Omit<Row, 'handling'>;

const everywhere = (how: CommandHandling, but: Partial<ByMode> = {}): ByMode => ({
  ready: how, proving: how, measuring: how, 'making-safe': how, paused: how, held: how, tripped: how, ended: how, ...but,
});

const noWait = refused('Nothing is being waited for that could be skipped.');
const chosenAtRest = handled('writes down that the results will not be traceable, who chose so and why');
const neverStarted = refused('The run has not been started, so there is nothing to pause.');
const pausedAlready = refused('The run is paused already.');
const acknowledgeFirst = refused('The run has tripped; acknowledge it first.');
const hasEnded = refused('The run has ended.');
const endedAlready = refused('The run has ended already.');
const onlyAgain = refused('The run has ended; measure points again, or open a new run.');
const pausesWhenSafe = handled('pauses once the bench was told to be safe and has answered, or could not');
const takenBack = handled('takes a pause that was asked for back');
const stopsHolding = handled('pauses: it will not go on by itself');
const endsSafely = handled('makes safe, ends');

const pauses = {
  ready: neverStarted,
  'making-safe': pausesWhenSafe,
  paused: pausedAlready,
  held: stopsHolding,
  tripped: acknowledgeFirst,
  ended: hasEnded,
} as const;

/** A plain note; "look at this"; and that somebody did. */
const noteMarks = ['note', 'look', 'settled'] as const;

export const commands = {
  start: {
    ...usual,
    drives: true,
    handling: everywhere(refused('The run has been started already.'), {
      ready: handled('checks pre-flight sheet and guards, begins the proof of the watchdog'),
      ended: onlyAgain,
    }),
  },
  'pause-at-next-point': {
    ...usual,
    sets: { pausePending: true },
    handling: { ...pauses, proving: handled('pauses as soon as the proof is done'), measuring: handled('pauses when the attempt in progress is judged') },
  },
  'pause-now': {
    ...usual,
    handling: { ...pauses, proving: handled('makes safe, pauses'), measuring: handled('cuts the attempt, makes safe, pauses') },
  },
  resume: {
    ...usual,
    drives: true,
    sets: { pausePending: false },
    handling: {
      ready: refused('The run has not been started; start it instead.'),
      proving: takenBack,
      measuring: takenBack,
      'making-safe': refused('The bench is being made safe; resume when it is.'),
      paused: handled('checks the guards, measures the point that was cut as a new attempt'),
      held: handled('goes on if the guards are clear'),
      tripped: refused('The run has tripped; find the cause and acknowledge it first.'),
      ended: onlyAgain,
    },
  },
  'skip-wait': {
    ...usual,
    handling: everywhere(noWait, {
      proving: refused('The proof that the watchdog works cannot be skipped.'),
      measuring: handled('goes on to the next step; the attempt says so'),
      'making-safe': refused('The way to the safe state cannot be skipped.'),
      held: refused('A hold cannot be skipped; it ends when its guard is clear.'),
    }),
  },
  'skip-point': {
    ...usual,
    brings: { point },
    handling: everywhere(handled('leaves the point out'), { ended: refused('The run has ended, so there is no point left to leave out.') }),
  },
  'measure-again': {
    ...usual,
    brings: { points: z.array(point).min(1).readonly() },
    drives: true,
    handling: everywhere(handled('puts the points before all others'), { ended: handled('opens the run again for these points, begins with the proof') }),
  },
  'finish-early': {
    ...usual,
    sets: { finishing: true },
    handling: {
      ready: refused('The run has not been started; abort it instead.'),
      proving: endsSafely,
      measuring: handled('ends when the attempt in progress is judged'),
      'making-safe': handled('ends once the bench was told to be safe and has answered, or could not'),
      paused: endsSafely,
      held: endsSafely,
      tripped: endsSafely,
      ended: endedAlready,
    },
  },
  abort: { ...usual, handling: everywhere(handled('makes safe, ends as aborted'), { ended: endedAlready }) },
  'emergency-stop': {
    ...usual,
    who: 'anyone',
    handling: everywhere(handled('makes safe at once, ends as stopped'), { ended: handled('makes safe once more; the ending stays') }),
  },
  acknowledge: {
    ...usual,
    handling: everywhere(refused('Nothing has tripped, so there is nothing to acknowledge.'), {
      ready: handled('clears the faults of the controller'),
      'making-safe': refused('The bench is being made safe; acknowledge when it is.'),
      held: refused('A hold is not latched; it ends when its guard is clear.'),
      tripped: handled('clears the faults of the controller, then pauses'),
    }),
  },
  /** A person chooses to measure with instruments or fluid that the sheet refuses as out of date. */
  'accept-untraceable': {
    ...usual,
    handling: everywhere(refused('This is chosen before a run starts or goes on; the run is going on.'), {
      ready: chosenAtRest,
      paused: chosenAtRest,
      held: chosenAtRest,
      tripped: acknowledgeFirst,
      ended: chosenAtRest,
    }),
  },
  /** The points of an ended run that have no result, as the plan would measure them. */
  'measure-remaining': {
    ...usual,
    drives: true,
    handling: everywhere(refused('The plan goes on by itself: it measures every point that has no result.'), {
      ended: handled('opens the run again for every point that has no result, begins with the proof'),
    }),
  },
  /** A person raises or lowers what is wanted of a run that is measured until it is known: U95 of the dead time, us, at a voltage; null: at each. `ofMap`: of the cells of its map. */
  'change-target': {
    ...usual,
    brings: { voltageV: z.number().positive().max(1000).nullable(), deadTimeUs: z.number().positive().max(1000), ofMap: z.literal(true).optional() },
    handling: everywhere(handled('goes by the new target from the next decision on'), { ended: refused('The run has ended, so nothing is decided in it any more.') }),
  },
  /** A person decides which attempt of a point counts; null: none does. */
  choose: {
    ...usual,
    brings: { point, attempt: z.int().min(1).nullable(), reason: oneLine(500).trim().min(1) },
    stored: true,
    handling: everywhere(handled('writes down which attempt counts, who said so and why')),
  },
  /** What a person wants to be remembered of a run, a point, an attempt or an injector. It changes nothing that is measured or reported. */
  note: {
    ...usual,
    brings: {
      /** Index of the point; null: none. */
      point: point.nullable(),
      attempt: z.int().min(1).nullable(),
      /** Index into the plan's injectors; null: none. All three null: it is about the run. */
      injector: z.int().min(0).nullable(),
      text: oneLine(1000).trim().min(1),
      mark: z.enum(noteMarks),
    },
    who: 'anyone',
    stored: true,
    handling: everywhere(handled('is kept with the run')),
  },
} as const satisfies Readonly<Record<string, Row>>;

type Table = typeof commands;
type Kind = keyof Table;
type Bringing = { [K in Kind]: keyof Table[K]['brings'] extends never ? never : K }[Kind];
/** What a command brought as it stands in journals: also what was refused because of it, so wider than what may be asked for. */
export const broughtInJournal: { readonly [K in Bringing]: { readonly [F in keyof Table[K]['brings']]: z.ZodType } } = {
  'skip-point': { point },
  'measure-again': { points: z.array(point) },
  'change-target': { voltageV: z.number().nullable(), deadTimeUs: z.number(), ofMap: z.literal(true).optional() },
  choose: { point, attempt: z.int().min(1).nullable(), reason: z.string() },
  note: { point: point.nullable(), attempt: z.int().min(1).nullable(), injector: z.int().min(0).nullable(), text: z.string(), mark: z.enum(noteMarks) },
};
type Brought<Shape extends z.ZodRawShape> = keyof Shape extends never ? unknown : Readonly<z.output<z.ZodObject<Shape>>>;

export type RunCommand = { [K in Kind]: { readonly kind: K } & Brought<Table[K]['brings']> }[Kind];

/** The commands that bring nothing with them. */
export type PlainKind = { [K in Kind]: keyof Table[K]['brings'] extends never ? K : never }[Kind];

const rows: Readonly<Record<Kind, Row>> = commands;
const kinds = Object.keys(commands) as [Kind, ...Kind[]];

export const commandRow = ({ kind }: RunCommand): Row => rows[kind];

/** A command as a window or a stored journal gives it. */
export const runCommandSchema = z.discriminatedUnion(
  'kind',
  kinds.map((kind) => z.strictObject({ kind: z.literal(kind), ...rows[kind].brings })) as unknown as [z.ZodObject<{ kind: z.ZodLiteral<Kind> }>],
) as unknown as z.ZodType<RunCommand, RunCommand>;

/** What a mode does with each command. */
export const commandsIn = (mode: Mode): Readonly<Record<Kind, CommandHandling>> =>
  Object.fromEntries(kinds.map((kind) => [kind, rows[kind].handling[mode]])) as Record<Kind, CommandHandling>;
