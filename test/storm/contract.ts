/**
 * The fault contract: what comes of each fault in each mode of a run. Written from the rules (their numbers stand in each cell),
 * not from what the program does; `contract-trials.ts` holds the program to it. FAULT-CONTRACT.md is this table for people.
 *
 * Times are upper bounds for the plan and the bench of the trials: dead-man 1 s, 20 frames a second, simulated bench.
 */
import type { RunCommand } from '../../app/journal/events.ts';
import type { Mode } from '../../app/journal/state.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import type { Happening } from './draw.ts';
import type { WindowHappening } from './house-draw.ts';

type BenchFault = Scenario['faults'][number]['fault'];

type End =
  /** Proving and measuring go on. */
  | 'goes on'
  /** The mode is as it was; a hold goes on by itself when its own cause is over. */
  | 'stays'
  /** What was being made safe comes to rest where it was going (in the trials: to a pause). */
  | 'where it was going'
  /** Held, and it goes on by itself when the fault is over. */
  | 'held'
  | 'ready' | 'paused' | 'tripped' | 'ended'
  /** The run service gives up with the bench safe; opened again, the run is where a new host leaves it (RUN-80 to RUN-83). */
  | 'given up';

export interface Outcome {
  readonly end: End;
  /** From the fault until no injector is driven and the supply is at its safe value; `goes on`: the bench is driven as the run wants it. */
  readonly safeS: number | 'goes on';
  /** From the fault until the run is where `end` says. */
  readonly endS: number;
  /** One of these must be told or shown, word for word; empty: nothing need be said. */
  readonly said: readonly string[];
  /** What becomes of an attempt that is going on: cut (kept, never counts), or judged like any other. What was accepted is kept in every cell. */
  readonly attempt: 'cut' | 'judged' | 'any';
}

export interface Cell {
  readonly rules: string;
  /** More than one where it depends on what the run was just doing; then `why` says on what. */
  readonly outcomes: readonly Outcome[];
  readonly why: string;
  /** A command that is refused in this mode, whatever else happened before. */
  readonly refused?: true;
}

export interface Impossible {
  /** Why this fault cannot happen in this mode. */
  readonly impossible: string;
}

export interface Row {
  readonly id: string;
  readonly of: 'line' | 'controller' | 'bench' | 'host' | 'clock' | 'disk' | 'process' | 'person' | 'window';
  /** What happens, with its size and how long it lasts. */
  readonly what: string;
  /** How the storm calls it when it happens. */
  readonly seenAs: string;
  readonly lastsS: number;
  /** What makes it happen at an instant, in a mode. */
  readonly happenings: (atS: number, mode: Mode) => readonly Happening[];
  /** The same of a fault of the windows: it is put into the whole house. */
  readonly windows?: (atS: number) => readonly WindowHappening[];
  readonly cells: readonly (readonly [readonly Mode[], Cell | Impossible])[];
}

export const modes: readonly Mode[] = ['ready', 'proving', 'measuring', 'making-safe', 'paused', 'held', 'tripped', 'ended'];

/** The one cell of a fault in a mode; a text says what is wrong with the table. */
export function cellOf(row: Row, mode: Mode): Cell | Impossible | string {
  const there = row.cells.filter(([in_]) => in_.includes(mode));
  const [first] = there;
  if (first === undefined) return `"${row.id}" has no cell for ${mode}`;
  if (there.length > 1) return `"${row.id}" has ${there.length} cells for ${mode}`;
  const [, cell] = first;
  if ('impossible' in cell) return cell.impossible.trim() === '' ? `"${row.id}" is said to be impossible in ${mode}, and not why` : cell;
  if (cell.outcomes.length === 0) return `"${row.id}" has an empty cell for ${mode}`;
  if (!/\b(RUN|LINE|PLAN|STORM|HOST|WIN)-\d/.test(cell.rules)) return `"${row.id}" has a cell for ${mode} that no rule justifies`;
  if (cell.outcomes.length > 1 && cell.why === '') return `"${row.id}" has several outcomes in ${mode}, and does not say what they depend on`;
  return cell;
}

// ------------------------------------------------------------------ times, s

/** From the last request until the controller has made itself safe (LINE-55). */
const deadMan = 1.1;
/** The controller acts by itself: looks and acts within 50 ms (LINE-59). */
const atOnce = 0.1;
/** The host asks for a safe bench and the controller does it (LINE-12). */
export const asked = 0.2;
/** The host finds that it hears nothing any more, or no telemetry (RUN-25), at its next tick. */
const missed = 1.4;
/** A bench that answers has confirmed that it is safe: its supply runs down (RUN-4). */
export const confirmed = 3;
/** The driver's time for one request to make safe, three of which are made before the host falls silent (RUN-4). */
const oneTry = 5;
const threeTries = 3 * oneTry + deadMan + 3.5;
/** A lost bench is looked for at least so often, and asked who it is. */
export const found = 2.5;

// ------------------------------------------------------------------ cells

export const driving: readonly Mode[] = ['proving', 'measuring'];
/** Modes in which nothing goes on that a fault could disturb. */
export const quiet: readonly Mode[] = ['ready', 'paused', 'tripped', 'ended'];
/** Resting or on the way there, with the run unfinished: a latched fault of the controller trips (RUN-23). */
const live: readonly Mode[] = ['proving', 'measuring', 'making-safe', 'paused', 'held'];

const texts = (said: string | readonly string[]): readonly string[] => (typeof said === 'string' ? (said === '' ? [] : [said]) : said);

const one = (rules: string, outcome: Outcome): Cell => ({ rules, outcomes: [outcome], why: '' });
export const goesOn = (rules: string, said: string | readonly string[] = ''): Cell => one(rules, { end: 'goes on', safeS: 'goes on', endS: 0, said: texts(said), attempt: 'judged' });
export const stays = (rules: string, said: string | readonly string[] = ''): Cell => one(rules, { end: 'stays', safeS: 0, endS: 0, said: texts(said), attempt: 'any' });
export const arrives = (rules: string, endS: number, said: string | readonly string[] = '', safeS = asked): Cell => one(rules, { end: 'where it was going', safeS, endS, said: texts(said), attempt: 'any' });
export const rests = (end: End) => (rules: string, safeS: number, endS: number, said: string | readonly string[], attempt: Outcome['attempt'] = 'cut'): Cell =>
  one(rules, { end, safeS, endS, said: texts(said), attempt });
const holds = rests('held');
const trips = rests('tripped');
export const pauses = rests('paused');
export const ends = rests('ended');
const either = (why: string, ...cells: readonly Cell[]): Cell => ({ rules: cells.map((cell) => cell.rules).join('; '), outcomes: cells.flatMap((cell) => cell.outcomes), why });

/** What does not concern a bench that is not driven. */
const notConcerned = (rules: string, said: string | readonly string[] = ''): Row['cells'] => [
  [quiet, stays(rules, said)],
  [['held'], stays(rules, said)],
  [['making-safe'], arrives(rules, confirmed, said)],
];

/** A fault that the controller latches whether it is armed or not. */
const latched = (rules: string, safeS: number, said: string | readonly string[]): Row['cells'] => [
  [
    ['proving'],
    either(
      'on whether the watchdog of the proof is latched already, and over before it is cleared: one fault is latched at a time (LINE-63)',
      trips(`RUN-23; ${rules}`, safeS, safeS + confirmed, said),
      trips('RUN-28; LINE-63', safeS, safeS + confirmed, 'Something else than the watchdog keeps the controller from being cleared'),
      goesOn('LINE-63; RUN-12'),
    ),
  ],
  [live.filter((mode) => mode !== 'proving'), trips(`RUN-23; ${rules}`, safeS, safeS + confirmed, said)],
  [['ready'], stays(`RUN-11; ${rules}`, said)],
  [['tripped', 'ended'], stays('RUN-82; LINE-62')],
];

// ------------------------------------------------------------------ faults

const scripted = (fault: BenchFault, lastsS: number): Pick<Row, 'seenAs' | 'lastsS' | 'happenings'> => ({
  seenAs: fault.kind,
  lastsS,
  happenings: (atS) => [{ kind: 'bench', fault: { begins: { atS }, forS: lastsS, fault } }],
});

/** In these modes nothing is written by itself: a command that is refused is. */
const written = (atS: number, mode: Mode): readonly Happening[] =>
  mode === 'proving' || mode === 'measuring' ? [] : [{ kind: 'command', atS: atS + 0.01, command: { kind: 'skip-wait' } }];

export const newHost = 'The program was started again and found this run unfinished.';
/** Until another host has taken over, s. */
const backS = 2;
const taken = backS + found + confirmed;

const hostDies: Row['cells'] = [
  [driving, pauses('RUN-80; LINE-55', deadMan, taken, newHost)],
  [['making-safe'], pauses('RUN-80; LINE-55', deadMan, taken, newHost)],
  [['paused', 'held'], pauses('RUN-80', 0, taken, newHost)],
  [['ready'], rests('ready')('RUN-83', 0, taken, newHost, 'any')],
  [['tripped'], trips('RUN-82', 0, taken, newHost, 'any')],
  [['ended'], rests('ended')('RUN-82; RUN-81', 0, 0, '', 'any')],
];

const death = (id: string, what: string, seenAs: string, at: (atS: number) => Extract<Happening, { kind: 'death' }>['at']): Row => ({
  id, of: 'host', what, seenAs, lastsS: backS, cells: hostDies,
  happenings: (atS, mode) => [{ kind: 'death', at: at(atS), backS }, ...(seenAs.endsWith('a commit') ? written(atS, mode) : [])],
});

/** The service is over, and the run is opened again by somebody within 10 s. */
const noDisk = 'What was committed before is kept; make room and continue the run.';
const diskFails: Row['cells'] = [
  [driving, rests('given up')('STORM-52', asked, confirmed, noDisk)],
  [['ready', 'paused', 'held', 'tripped', 'ended'], rests('given up')('STORM-52', 0, confirmed, noDisk)],
  [['making-safe'], rests('given up')('STORM-52', asked, confirmed, noDisk)],
];
const disk = (id: string, what: string, code: Extract<Happening, { kind: 'disk-error' }>['code'], where: 'statement' | 'end', forGood: boolean): Row => ({
  id, of: 'disk', what, seenAs: `disk ${code}${forGood ? ' for good' : ''}`, lastsS: 0, cells: diskFails,
  happenings: (atS, mode) => [{ kind: 'disk-error', commit: { fromS: atS }, code, where, forGood }, ...written(atS, mode)],
});

const stoodStill = holds('RUN-23; RUN-25; LINE-55', deadMan, 2 + missed + confirmed, ['did not hear the host', 'No telemetry for']);
const standsShort: Row['cells'] = [
  [['proving'], either('on whether it is in the silence of the proof', stoodStill, goesOn('RUN-12'))],
  [['measuring'], stoodStill],
  [['making-safe'], arrives('RUN-4', 2 + confirmed, '', deadMan)],
  [[...quiet, 'held'], stays('RUN-25; RUN-117')],
];
const callsPerson = 'nobody watched the bench meanwhile. Look at the bench, then resume.';
const standsLong: Row['cells'] = [
  [driving, pauses('RUN-164; LINE-55', deadMan, 20 + missed + confirmed, callsPerson)],
  [['held'], pauses('RUN-164', 0, 20 + missed + confirmed, callsPerson, 'any')],
  [['making-safe'], arrives('RUN-4', 20 + confirmed, '', deadMan)],
  [quiet, stays('RUN-164')],
];
/** A host that stands still: the dead-man acts when that is longer than it, and a person is called when it is longer than `byItself.gapS` (PLAN-60: 3 s). */
const stops = (id: string, what: string, forS: number, clockGoesOn: boolean, cells: Row['cells']): Row => ({
  id, of: 'host', what, seenAs: clockGoesOn ? 'process stopped' : 'machine suspended', lastsS: forS, cells,
  happenings: (atS) => [{ kind: 'host-stopped', atS, forS, clockGoesOn }],
});

const clock = (id: string, what: string, byS: number, cells: Row['cells']): Row => ({
  id, of: 'clock', what, seenAs: 'clock stepped', lastsS: 0, cells,
  happenings: (atS) => [{ kind: 'clock-stepped', atS, byS }],
});

const person = (command: RunCommand, cells: Row['cells'], what = command.kind as string): Row => ({
  id: `command-${command.kind}`, of: 'person', what: `a person asks: ${what}`, seenAs: `command ${command.kind}`, lastsS: 0,
  happenings: (atS) => [{ kind: 'command', atS, command }], cells,
});
/** Refused, with the reason, and nothing is done. */
const refused = (rules: string, said: string): readonly [Cell, Cell, Cell] => [goesOn(rules, said), stays(rules, said), arrives(rules, confirmed, said)];
/** `now`: with what was done before; otherwise always. */
const refusedIn = (in_: readonly Mode[], rules: string, said: string, now?: 'now'): Row['cells'] => {
  const [running, resting, onTheWay] = refused(rules, said);
  return in_.map((mode) => {
    const cell = driving.includes(mode) ? running : mode === 'making-safe' ? onTheWay : resting;
    return [[mode], now === undefined ? { ...cell, refused: true } : cell] as const;
  });
};

const cable = (id: string, what: string, told: boolean, said: string): Row => ({
  id, of: 'line', what, seenAs: told ? 'cable pulled, told' : 'cable pulled, untold', lastsS: 3,
  happenings: (atS) => [{ kind: 'cable-pulled', atS, forS: 3, told }],
  cells: [
    [driving, holds('RUN-25; RUN-22; LINE-55', deadMan, 3 + missed + found + confirmed, said)],
    [['making-safe'], arrives('RUN-4; LINE-55', 3 + missed + found + confirmed, '', deadMan)],
    [[...quiet, 'held'], stays('RUN-2; RUN-25', said)],
  ],
});

/** A fault of one injector in the sweep: the attempts say so, the run goes on. */
const ofAnInjector = (rules: string): Row['cells'] => [[driving, goesOn(`${rules}; RUN-31`)], ...notConcerned('LINE-53')];

const away = ['The link to the bench was lost', 'No telemetry'];
const atAnotherTime = 'on whether it is driven, and for how long, while the fault lasts';

/** Driven it comes to one of these; at rest the host notices at most that the bench is away for a while. */
function misbehaves(name: string, what: string, how: Extract<BenchFault, { kind: 'controller-misbehaves' }>['how'], ...outcomes: readonly Cell[]): readonly Row[] {
  return [{
    id: `controller-${name}`, of: 'controller', what: `the controller misbehaves for 4 s: ${what}`, ...scripted({ kind: 'controller-misbehaves', how }, 4),
    cells: [
      [driving, either('on what the run just waits for', ...outcomes)],
      [[...quiet, 'held'], stays('RUN-161; RUN-25; LINE-53')],
      [['making-safe'], arrives('RUN-4; LINE-55', threeTries, '', deadMan)],
    ],
  }];
}

export const contractOfARun: readonly Row[] = [
  // ---------------------------------------------------------------- the line
  {
    id: 'lines-lost', of: 'line', what: 'one line in ten is lost, both ways, for 10 s', ...scripted({ kind: 'lines-lost', direction: 'both', probability: 0.1 }, 10),
    cells: [[driving, goesOn('LINE-70; LINE-73; RUN-68')], ...notConcerned('LINE-70')],
  },
  {
    id: 'lines-garbled', of: 'line', what: 'one line in ten is damaged, both ways, for 10 s', ...scripted({ kind: 'lines-garbled', direction: 'both', probability: 0.1 }, 10),
    cells: [[driving, goesOn('LINE-9; LINE-70; RUN-68')], ...notConcerned('LINE-9; LINE-70')],
  },
  {
    id: 'lines-repeated', of: 'line', what: 'every second line comes twice, both ways, for 10 s', ...scripted({ kind: 'lines-repeated', direction: 'both', probability: 0.5 }, 10),
    cells: [[driving, goesOn('LINE-13; RUN-2')], ...notConcerned('LINE-13')],
  },
  {
    id: 'line-silent', of: 'line', what: 'nothing comes through, both ways, for 4 s', ...scripted({ kind: 'line-silent', direction: 'both' }, 4),
    cells: [
      [driving, holds('RUN-25; RUN-22; LINE-55', deadMan, 4 + missed + found + confirmed, away)],
      [['making-safe'], arrives('RUN-4; LINE-55', 4 + found + confirmed, '', deadMan)],
      [[...quiet, 'held'], stays('RUN-2; RUN-25', 'The link is back')],
    ],
  },
  {
    id: 'deaf-host', of: 'line', what: 'nothing of the bench reaches the host for 30 s', ...scripted({ kind: 'line-silent', direction: 'to-host' }, 30),
    cells: [
      [driving, holds('RUN-4; RUN-25; LINE-55', missed + deadMan, 30 + found + confirmed, away)],
      [['making-safe'], arrives('RUN-4', threeTries)],
      [['ready', 'paused', 'tripped', 'ended', 'held'], stays('RUN-2; RUN-25', 'The link is back')],
    ],
  },
  {
    id: 'deaf-bench', of: 'line', what: 'nothing of the host reaches the bench for 4 s', ...scripted({ kind: 'line-silent', direction: 'to-controller' }, 4),
    cells: [
      [driving, holds('RUN-23; RUN-22; LINE-55', deadMan, 4 + missed + found + confirmed, ['The controller did not hear the host for too long', 'The bench did not answer', 'The link to the bench was lost'])],
      [['making-safe'], arrives('RUN-4; LINE-55', 4 + found + confirmed, '', deadMan)],
      [[...quiet, 'held'], stays('LINE-53; LINE-55')],
    ],
  },
  {
    id: 'lines-late', of: 'line', what: 'lines come 0.15 s late, both ways, for 8 s', seenAs: 'lines late', lastsS: 8,
    happenings: (atS) => [{ kind: 'lines-late', atS, forS: 8, delayMs: 150 }],
    cells: [[driving, goesOn('LINE-13; LINE-70')], ...notConcerned('LINE-13; LINE-70')],
  },
  {
    id: 'answers-again', of: 'line', what: 'lines come 0.15 s late, and each answer once more 0.5 s after it, for 8 s', seenAs: 'lines late, answers again', lastsS: 8,
    happenings: (atS) => [{ kind: 'lines-late', atS, forS: 8, delayMs: 150, againS: 0.5 }],
    cells: [[driving, goesOn('LINE-13; LINE-70; LINE-71')], ...notConcerned('LINE-13; LINE-70')],
  },
  {
    id: 'lines-very-late', of: 'line', what: 'lines come 3 s late, both ways, for 10 s', seenAs: 'lines late', lastsS: 10,
    happenings: (atS) => [{ kind: 'lines-late', atS, forS: 10, delayMs: 3000 }],
    cells: [
      [driving, holds('RUN-25; RUN-22; LINE-55', 3 + missed + deadMan, 13 + threeTries, ['The link to the bench was lost', 'No telemetry for', 'did not answer'])],
      [['making-safe'], arrives('RUN-4; LINE-55', 13 + threeTries, '', 3 + missed + deadMan)],
      [[...quiet, 'held'], stays('RUN-2; RUN-25', 'The link is back')],
    ],
  },
  {
    id: 'telemetry-stops', of: 'line', what: 'the bench answers, and its telemetry does not come, for 4 s', seenAs: 'telemetry stops', lastsS: 4,
    happenings: (atS) => [{ kind: 'telemetry-stops', atS, forS: 4 }],
    cells: [
      [driving, holds('RUN-25; RUN-22; LINE-55', missed + deadMan, 4 + missed + found + confirmed, away)],
      [['making-safe'], arrives('RUN-4; LINE-111', 4 + found + confirmed, '', deadMan)],
      [[...quiet, 'held'], stays('RUN-2; RUN-25; LINE-111', 'The link is back')],
    ],
  },
  cable('cable-pulled-told', 'the cable is pulled for 3 s, and the operating system says so', true, 'The cable was pulled'),
  cable('cable-pulled-untold', 'the cable is pulled for 3 s, and nobody says so', false, 'The link is back'),
  {
    id: 'other-bench', of: 'line', what: 'the cable hangs on another bench, of another serial number, for 6 s', seenAs: 'other bench on the cable', lastsS: 6,
    happenings: (atS) => [{ kind: 'other-bench', atS, forS: 6 }],
    cells: [
      [driving, holds('RUN-25; RUN-80; LINE-55', deadMan, 6 + 2 * found + confirmed, 'SIM-9999')],
      [['making-safe'], arrives('RUN-4; RUN-80', 6 + 2 * found + confirmed, 'SIM-9999', deadMan)],
      [[...quiet, 'held'], stays('RUN-2; RUN-80', 'SIM-9999')],
    ],
  },
  // ---------------------------------------------------------------- the controller
  {
    id: 'controller-reset', of: 'controller', what: 'the controller starts anew', ...scripted({ kind: 'controller-reset' }, 0.3),
    cells: [
      [driving, holds('RUN-25; RUN-14; LINE-52', atOnce, missed + found + confirmed, 'started anew')],
      [['making-safe'], arrives('RUN-25; LINE-52', missed + found + confirmed, 'The controller was reset')],
      [[...quiet, 'held'], stays('RUN-25; RUN-14; LINE-52', 'The controller was reset')],
    ],
  },
  {
    id: 'controller-disobeys', of: 'controller', what: 'told to make safe the controller says that it did, and its pulses go on, for 30 s (a pause is asked for 0.2 s later)',
    seenAs: 'controller disobeys', lastsS: 30,
    happenings: (atS, mode) => [
      { kind: 'controller-disobeys', atS, forS: 30 },
      ...(driving.includes(mode) ? [{ kind: 'command', atS: atS + 0.2, command: { kind: 'pause-now' } } as const] : []),
    ],
    cells: [
      [driving, pauses('RUN-4; RUN-152; LINE-55', threeTries, threeTries, 'Paused')],
      [['making-safe'], arrives('RUN-4', threeTries, '', threeTries)],
      [[...quiet, 'held'], stays('RUN-3')],
    ],
  },
  // Each of these breaks LINE-110 or the like, for 4 s, and says what it says in the right form.
  ...misbehaves('clock-back', 'its clock steps back by 5 s', { what: 'clock-back', s: 5 }, goesOn('RUN-160; LINE-111'), holds('RUN-161; RUN-25', 4 + missed, 4 + missed + found + confirmed, '')),
  ...misbehaves('frames-absent', 'it sends no frames', { what: 'frames-absent' }, holds('RUN-25; LINE-55', missed + deadMan, 4 + missed + found + confirmed, away)),
  ...misbehaves('frames-unreadable', 'its frames lack a field', { what: 'frames-unreadable' }, holds('RUN-25; LINE-10; LINE-55', missed + deadMan, 4 + missed + found + confirmed, away)),
  ...misbehaves('boot-id-other', 'its frames carry another boot id', { what: 'boot-id-other' }, holds('RUN-25; LINE-111', missed + deadMan, 4 + missed + 2 * found + confirmed, 'started anew')),
  ...misbehaves('pulses-overcounted', 'it counts more pulses than were commanded', { what: 'pulses-overcounted' }, goesOn('RUN-26'), trips('RUN-26', 4 + asked, 4 + confirmed, 'pulses where')),
  ...misbehaves('channel-mixed', 'it drives another channel and says so', { what: 'channel-mixed', with: 2, echoed: true }, goesOn('LINE-90; RUN-31'), trips('LINE-90; RUN-13', 4 + asked, 4 + confirmed, 'in place of'), pauses('RUN-165; LINE-90', 4 + asked, 4 + confirmed, 'in place of', 'any')),
  ...misbehaves('replies-unreadable', 'its answers cannot be read', { what: 'replies-unreadable' }, holds('RUN-25; LINE-70; LINE-55', 4 + deadMan, 4 + threeTries, ['did not answer', 'The link to the bench was lost']), goesOn('LINE-74')),
  ...misbehaves('replies-late', 'its answers come 1 s late', { what: 'replies-late', s: 1 }, goesOn('LINE-70'), holds('RUN-25; LINE-70; LINE-55', 4 + deadMan, 4 + threeTries, ['did not answer', 'The link to the bench was lost'])),
  { id: 'converter-stopped', of: 'controller', what: 'the controller takes no more readings for 3 s', ...scripted({ kind: 'converter-stopped' }, 3), cells: latched('LINE-93', atOnce, 'no longer measures current, pressure and temperature') },
  // ---------------------------------------------------------------- what the bench is watched by
  { id: 'emergency-stop', of: 'bench', what: 'the emergency stop is pressed for 2 s', ...scripted({ kind: 'emergency-stop' }, 2), cells: latched('LINE-58; RUN-24; RUN-151', atOnce, ['The emergency stop is pressed.', 'The emergency stop of the bench is pressed.']) },
  ...(['cover', 'ventilation'] as const).map((interlock): Row => {
    const said = interlock === 'cover' ? ['The cover of the bench was opened', 'cover'] : ['The ventilation failed', 'ventilation'];
    return {
      id: `interlock-${interlock}`, of: 'bench', what: interlock === 'cover' ? 'the cover is open for 2 s' : 'the ventilation fails for 2 s',
      ...scripted({ kind: 'interlock-open', interlock }, 2),
      cells: [
        [driving, trips('RUN-24; RUN-23; LINE-58', atOnce, confirmed, said)],
        [['held'], trips('RUN-24', 0, confirmed, said, 'any')],
        [['making-safe'], either('on whether the bench is still armed', arrives('RUN-24; LINE-58', confirmed), trips('RUN-23; LINE-58', asked, 2 * confirmed, said, 'any'))],
        [['ready'], stays('RUN-11; LINE-58', said)],
        [['paused', 'tripped', 'ended'], stays('RUN-24; LINE-58')],
      ],
    };
  }),
  { id: 'over-current', of: 'bench', what: '8 A flow for 2 s', ...scripted({ kind: 'over-current', amperes: 8 }, 2), cells: latched('LINE-60', atOnce, "The supply current went over the controller's limit.") },
  {
    id: 'warm', of: 'bench', what: 'the fluid warms by 9 K in 8 s, out of a guard that holds', ...scripted({ kind: 'over-temperature', riseC: 9 }, 8),
    cells: [
      [driving, holds('RUN-20; RUN-21; RUN-22', 8 + asked, 8 + confirmed, 'Fluid temperature in the rail')],
      [['making-safe'], arrives('RUN-20', confirmed, 'Fluid temperature in the rail')],
      [['ready', 'paused', 'tripped'], stays('RUN-20', 'Fluid temperature in the rail')],
      // Held by 9 K already: twice that is out of the guard that trips.
      [['held'], trips('RUN-20; RUN-21', 0, 8 + confirmed, 'Fluid temperature in the rail', 'any')],
      [['ended'], stays('RUN-82')],
    ],
  },
  {
    id: 'hot', of: 'bench', what: 'the fluid warms by 22 K in 6 s, out of a guard that trips', ...scripted({ kind: 'over-temperature', riseC: 22 }, 6),
    cells: [
      [driving, trips('RUN-20; RUN-21', 6 + asked, 6 + confirmed, 'Fluid temperature in the rail')],
      [['making-safe', 'paused'], trips('RUN-20', asked, 6 + confirmed, 'Fluid temperature in the rail', 'any')],
      [['held'], trips('RUN-20; RUN-23', 0, 6 + confirmed, ['Fluid temperature in the rail', "The fluid went over the controller's temperature limit."], 'any')],
      [['ready', 'tripped'], stays('RUN-20', 'Fluid temperature in the rail')],
      [['ended'], stays('RUN-82')],
    ],
  },
  {
    id: 'pressure-loss', of: 'bench', what: 'the rail pressure falls to 300 kPa for 8 s, out of a guard that holds', ...scripted({ kind: 'pressure-loss', toKpa: 300 }, 8),
    cells: [
      [driving, either('on whether the pressure matters at the moment or is waited for', goesOn('RUN-41; RUN-21'), holds('RUN-20; RUN-21; RUN-22', 8 + asked, 8 + confirmed, 'Rail pressure off its set point'))],
      ...notConcerned('LINE-88; RUN-21'),
    ],
  },
  { id: 'sensor-lost', of: 'bench', what: 'the wire of the pressure transducer is off for 4 s', ...scripted({ kind: 'sensor-lost', sensor: 'pressure', end: 'low' }, 4), cells: latched('LINE-92', atOnce, 'The pressure transducer is broken') },
  {
    id: 'sensor-stuck', of: 'bench', what: 'the pressure reading stands still for 8 s', ...scripted({ kind: 'sensor-stuck', sensor: 'pressure' }, 8),
    cells: [
      [driving, either('on whether one burst lasts long enough for it (LINE-92: 2 s), or the rail fills up under a reading that stands (LINE-94)', goesOn('LINE-92'), trips('LINE-92; LINE-94; RUN-23', 8 + asked, 8 + confirmed, ['The pressure transducer is broken', 'Current or fluid flowed although nothing was driven']))],
      ...notConcerned('LINE-92'),
    ],
  },
  {
    id: 'sensor-noisy', of: 'bench', what: 'the pressure reading scatters by 8 kPa for 6 s', ...scripted({ kind: 'sensor-noisy', sensor: 'pressure', sd: 8000 }, 6),
    cells: [[driving, goesOn('RUN-41; RUN-63; RUN-21')], ...notConcerned('LINE-53')],
  },
  {
    id: 'supply-out-of-reach', of: 'bench', what: 'the supply does not come above 8 V for 6 s', ...scripted({ kind: 'supply-out-of-reach', maxV: 8 }, 6),
    cells: [[driving, goesOn('RUN-40; RUN-64')], ...notConcerned('LINE-53')],
  },
  // ---------------------------------------------------------------- injectors, drivers, leaks, meter
  { id: 'injector-stuck-shut', of: 'bench', what: 'an injector does not open for 10 s', ...scripted({ kind: 'injector-stuck-shut', channel: 1 }, 10), cells: ofAnInjector('RUN-46; RUN-132') },
  {
    id: 'injector-stuck-open', of: 'bench', what: 'an injector that was pulsed does not shut for 12 s', ...scripted({ kind: 'injector-stuck-open', channel: 1 }, 12),
    cells: [
      [driving, either(atAnotherTime, goesOn('RUN-31'), trips('RUN-23; RUN-131; RUN-121; LINE-94', 12 + asked, 12 + confirmed, ['Current or fluid flowed although nothing was driven']))],
      ...notConcerned('LINE-53; LINE-88'),
    ],
  },
  { id: 'injector-clogged', of: 'bench', what: 'an injector passes 40 % of its flow for 10 s', ...scripted({ kind: 'injector-clogged', channel: 1, flowPercent: 40 }, 10), cells: ofAnInjector('RUN-46; RUN-67') },
  { id: 'injector-erratic', of: 'bench', what: 'the open time of an injector scatters by 20 % for 10 s', ...scripted({ kind: 'injector-erratic', channel: 1, percent: 20 }, 10), cells: ofAnInjector('RUN-67') },
  { id: 'coil-open', of: 'bench', what: 'a coil is open for 10 s', ...scripted({ kind: 'coil-resistance', channel: 1, ohm: 1e6 }, 10), cells: ofAnInjector('RUN-132') },
  { id: 'channels-swapped', of: 'bench', what: 'two injectors are plugged crosswise for 10 s', ...scripted({ kind: 'channels-swapped', channel: 1, with: 2 }, 10), cells: ofAnInjector('RUN-141') },
  {
    id: 'coil-shorted', of: 'bench', what: 'a coil is short-circuited for 8 s', ...scripted({ kind: 'coil-shorted', channel: 1 }, 8),
    cells: [
      [driving, either(atAnotherTime, goesOn('RUN-31'), trips('RUN-23; LINE-95', 8 + asked, 8 + confirmed, "The supply current went over the controller's limit."))],
      ...notConcerned('LINE-53'),
    ],
  },
  {
    id: 'driver-shorted', of: 'bench', what: 'a driver conducts always, for 8 s', ...scripted({ kind: 'driver-shorted', channel: 1 }, 8),
    cells: [
      [driving, trips('RUN-23; RUN-131; RUN-121; LINE-94', 8 + asked, 8 + confirmed, ['Current or fluid flowed although nothing was driven', 'A flows while nothing is driven', "The supply current went over the controller's limit."])],
      ...notConcerned('LINE-53'),
    ],
  },
  {
    id: 'injector-leaking', of: 'bench', what: 'an injector drips 5 mL/min for 10 s', ...scripted({ kind: 'injector-leaking', channel: 1, mlPerMin: 5 }, 10),
    cells: ofAnInjector('RUN-104'),
  },
  {
    id: 'fitting-leaking', of: 'bench', what: 'a fitting leaks 5 mL/min for 10 s', ...scripted({ kind: 'fitting-leaking', mlPerMin: 5 }, 10),
    cells: ofAnInjector('RUN-104'),
  },
  { id: 'meter-silent', of: 'bench', what: 'the meter gives no edges for 8 s', ...scripted({ kind: 'meter-silent' }, 8), cells: ofAnInjector('RUN-46') },
  {
    id: 'meter-rattling', of: 'bench', what: 'the meter input rattles with 100 edges a second for 8 s', ...scripted({ kind: 'meter-rattling', hertz: 100 }, 8),
    cells: [
      [driving, either(atAnotherTime, goesOn('RUN-67'), trips('RUN-23; LINE-94', 9 + asked, 9 + confirmed, 'Current or fluid flowed although nothing was driven'))],
      ...notConcerned('LINE-89; LINE-94'),
    ],
  },
  { id: 'meter-overrun', of: 'bench', what: 'the meter input gives 20 000 edges a second for 3 s', ...scripted({ kind: 'meter-rattling', hertz: 20_000 }, 3), cells: latched('LINE-96', 0.6, "The flow meter's input gave edges faster than the controller can count") },
  // ---------------------------------------------------------------- the host
  death('death', 'the host dies, and another takes over 2 s later', 'death at an instant', (atS) => ({ atS })),
  death('death-before-commit', 'the host dies before its next commit', 'death before a commit', (fromS) => ({ fromS, next: 'commit', where: 'before' })),
  death('death-within-commit', 'the host dies within its next commit', 'death within a commit', (fromS) => ({ fromS, next: 'commit', where: 'within' })),
  death('death-after-commit', 'the host dies after its next commit, before it acts upon it', 'death after a commit', (fromS) => ({ fromS, next: 'commit', where: 'after' })),
  death('death-before-line', 'the host dies before its next line to the bench', 'death before a line', (fromS) => ({ fromS, next: 'line', where: 'before' })),
  death('death-after-line', 'the host dies after its next line to the bench', 'death after a line', (fromS) => ({ fromS, next: 'line', where: 'after' })),
  stops('stopped-briefly', 'the process stands still for 0.5 s', 0.5, true, [[driving, goesOn('RUN-25; LINE-74')], ...notConcerned('RUN-25')]),
  stops('stopped', 'the process stands still for 2 s', 2, true, standsShort),
  stops('suspended', 'the machine is suspended for 2 s', 2, false, standsShort),
  stops('stopped-long', 'the process stands still for 20 s', 20, true, standsLong),
  stops('suspended-long', 'the machine is suspended for 20 s', 20, false, standsLong),
  // ---------------------------------------------------------------- clock, disk, process
  clock('clock-back', 'the wall clock is set back by an hour', -3600, [
    [driving, goesOn('RUN-168; RUN-5', 'The clock of this computer was set back by')],
    [['making-safe'], arrives('RUN-168', confirmed, 'The clock of this computer was set back by')],
    [['ready', 'paused', 'held', 'tripped'], stays('RUN-168', 'The clock of this computer was set back by')],
    [['ended'], stays('RUN-168')],
  ]),
  clock('clock-forward', 'the wall clock is set forward by an hour', 3600, [
    [driving, goesOn('RUN-164; RUN-168; RUN-5', 'The clock of this computer went on by')],
    [['making-safe'], arrives('RUN-168', confirmed, 'The clock of this computer went on by')],
    [['ready', 'paused', 'held', 'tripped'], stays('RUN-168', 'The clock of this computer went on by')],
    [['ended'], stays('RUN-168')],
  ]),
  disk('disk-full', 'the disk is full at one write', 'SQLITE_FULL', 'statement', false),
  disk('disk-full-for-good', 'the disk is full and stays so until the process ends', 'SQLITE_FULL', 'statement', true),
  disk('write-error', 'one write fails at the end of a commit', 'SQLITE_IOERR_WRITE', 'end', false),
  disk('write-error-for-good', 'writes fail until the process ends', 'SQLITE_IOERR_WRITE', 'statement', true),
  disk('sync-error', 'one sync fails at the end of a commit', 'SQLITE_IOERR_FSYNC', 'end', false),
  disk('sync-error-for-good', 'syncs fail until the process ends', 'SQLITE_IOERR_FSYNC', 'end', true),
  {
    id: 'second-process', of: 'process', what: 'another process wants to write the same archive', seenAs: 'second writer', lastsS: 0,
    happenings: (atS) => [{ kind: 'second-writer', atS }],
    cells: [[driving, goesOn('STORM-21', 'is already being written by')], ...notConcerned('STORM-21', 'is already being written by')],
  },
  // ---------------------------------------------------------------- a person
  person({ kind: 'start' }, [
    [['ready'], goesOn('RUN-11; RUN-12', 'Proving that the controller makes itself safe')],
    ...refusedIn(['proving', 'measuring', 'making-safe', 'paused', 'held', 'tripped'], 'RUN-2', 'The run has been started already.'),
    ...refusedIn(['ended'], 'RUN-74', 'The run has ended'),
  ]),
  person({ kind: 'pause-at-next-point' }, [
    [driving, pauses('RUN-70; RUN-71', 15 + asked, 15 + confirmed, 'Paused', 'judged')],
    [['held'], pauses('RUN-70', 0, confirmed, 'Paused', 'any')],
    ...refusedIn(['ready'], 'RUN-2', 'The run has not been started, so there is nothing to pause.'),
    ...refusedIn(['making-safe'], 'RUN-2', 'The run is about to pause.', 'now'),
    ...refusedIn(['paused'], 'RUN-2', 'The run is paused already.'),
    ...refusedIn(['tripped'], 'RUN-82', 'The run has tripped; acknowledge it first.'),
    ...refusedIn(['ended'], 'RUN-82', 'The run has ended.'),
  ]),
  person({ kind: 'pause-now' }, [
    [driving, pauses('RUN-71', asked, confirmed, 'A pause was asked for.')],
    [['held'], pauses('RUN-71', 0, confirmed, 'A pause was asked for.', 'any')],
    ...refusedIn(['ready'], 'RUN-2', 'The run has not been started, so there is nothing to pause.'),
    ...refusedIn(['making-safe'], 'RUN-2', 'The run is about to pause.', 'now'),
    ...refusedIn(['paused'], 'RUN-2', 'The run is paused already.'),
    ...refusedIn(['tripped'], 'RUN-82', 'The run has tripped; acknowledge it first.'),
    ...refusedIn(['ended'], 'RUN-82', 'The run has ended.'),
  ]),
  person({ kind: 'resume' }, [
    [['paused'], goesOn('RUN-11; RUN-71')],
    ...refusedIn(['ready'], 'RUN-2', 'The run has not been started; start it instead.'),
    ...refusedIn(driving, 'RUN-70', 'The run is going on and no pause was asked for.', 'now'),
    ...refusedIn(['making-safe'], 'RUN-2', 'The bench is being made safe; resume when it is.'),
    ...refusedIn(['held'], 'RUN-11', 'Guard rail-warm is not clear.', 'now'),
    ...refusedIn(['tripped'], 'RUN-82', 'The run has tripped; find the cause and acknowledge it first.'),
    ...refusedIn(['ended'], 'RUN-82', 'The run has ended; measure points again, or open a new run.'),
  ]),
  person({ kind: 'skip-wait' }, [
    [['measuring'], goesOn('RUN-73; RUN-49', ['A person skipped the wait', 'Nothing is being waited for that could be skipped.', 'goes on to the next step'])],
    ...refusedIn(['proving'], 'RUN-73', 'The proof that the watchdog works cannot be skipped.'),
    ...refusedIn(['making-safe'], 'RUN-73', 'The way to the safe state cannot be skipped.'),
    ...refusedIn(['held'], 'RUN-22', 'A hold cannot be skipped'),
    ...refusedIn(['ready', 'paused', 'tripped', 'ended'], 'RUN-73', 'Nothing is being waited for that could be skipped.'),
  ]),
  person({ kind: 'skip-point', point: 3 }, [
    [['proving'], goesOn('RUN-33', 'leaves the point out')],
    [
      ['measuring'],
      either('on whether it is the point that is being measured', goesOn('RUN-33', 'leaves the point out'), one('RUN-33', { end: 'goes on', safeS: 'goes on', endS: 0, said: ['The point was left out while it was being measured.'], attempt: 'cut' })),
    ],
    [['making-safe'], arrives('RUN-33', confirmed, 'leaves the point out')],
    [['ready', 'paused', 'held', 'tripped'], stays('RUN-33', 'leaves the point out')],
    ...refusedIn(['ended'], 'RUN-33', 'The run has ended, so there is no point left to leave out.'),
  ], 'leave a point out'),
  person({ kind: 'measure-again', points: [0] }, [
    [driving, goesOn('RUN-30; RUN-74', 'puts the points before all others')],
    [['making-safe'], arrives('RUN-74', confirmed, 'puts the points before all others')],
    [['ready', 'paused', 'held', 'tripped'], stays('RUN-74', 'puts the points before all others')],
    [['ended'], goesOn('RUN-74', 'asked for points to be measured again.')],
  ]),
  person({ kind: 'measure-remaining' }, [
    ...refusedIn(modes.filter((mode) => mode !== 'ended'), 'RUN-153', 'The plan goes on by itself'),
    [['ended'], goesOn('RUN-153', 'asked for every point that has no result to be measured.')],
  ]),
  person({ kind: 'finish-early' }, [
    [['proving'], ends('RUN-72', asked, confirmed, 'Finished early')],
    [['measuring'], ends('RUN-72', 15 + asked, 15 + confirmed, 'Finished early', 'judged')],
    [['making-safe', 'paused', 'held', 'tripped'], ends('RUN-72', asked, 2 * confirmed, 'Finished early', 'any')],
    ...refusedIn(['ready'], 'RUN-72', 'The run has not been started; abort it instead.'),
    ...refusedIn(['ended'], 'RUN-72', 'The run has ended already.'),
  ]),
  person({ kind: 'abort' }, [
    [driving, ends('RUN-75', asked, confirmed, 'Aborted')],
    [['ready', 'making-safe', 'paused', 'held', 'tripped'], ends('RUN-75', asked, 2 * confirmed, 'Aborted', 'any')],
    ...refusedIn(['ended'], 'RUN-75', 'The run has ended already.'),
  ]),
  person({ kind: 'emergency-stop' }, [
    [driving, ends('RUN-8', asked, confirmed, 'Stopped with STOP')],
    [['ready', 'making-safe', 'paused', 'held', 'tripped'], ends('RUN-8', asked, 2 * confirmed, 'Stopped with STOP', 'any')],
    [['ended'], ends('RUN-8', 0, confirmed, 'makes safe once more', 'any')],
  ], 'STOP'),
  person({ kind: 'acknowledge' }, [
    [['tripped'], pauses('RUN-29; RUN-150', 0, confirmed, 'The trip was acknowledged.', 'any')],
    ...refusedIn(['ready'], 'RUN-11', 'The controller has no fault, so there is nothing to acknowledge.', 'now'),
    ...refusedIn(['making-safe'], 'RUN-2', 'The bench is being made safe; acknowledge when it is.'),
    ...refusedIn(['held'], 'RUN-22', 'A hold is not latched; it ends when its guard is clear.'),
    ...refusedIn(['proving', 'measuring', 'paused', 'ended'], 'RUN-29', 'Nothing has tripped, so there is nothing to acknowledge.'),
  ]),
  person({ kind: 'accept-untraceable' }, [
    ...refusedIn(['ready', 'paused', 'held', 'ended'], 'RUN-110', 'Nothing on the pre-flight sheet is out of date, so there is nothing to choose.'),
    ...refusedIn(['proving', 'measuring', 'making-safe'], 'RUN-110', 'This is chosen before a run starts or goes on; the run is going on.'),
    ...refusedIn(['tripped'], 'RUN-110', 'The run has tripped; acknowledge it first.'),
  ]),
  person({ kind: 'change-target', voltageV: null, deadTimeUs: 5 }, [
    ...refusedIn(modes.filter((mode) => mode !== 'ended'), 'RUN-238', 'The plan states no targets', 'now'),
    ...refusedIn(['ended'], 'RUN-238', 'The run has ended, so nothing is decided in it any more.'),
  ]),
  person({ kind: 'choose', point: 0, attempt: null, reason: 'a trial' }, [
    [driving, goesOn('RUN-37', 'writes down which attempt counts')],
    [['making-safe'], arrives('RUN-37', confirmed, 'writes down which attempt counts')],
    [['ready', 'paused', 'held', 'tripped', 'ended'], stays('RUN-37', 'writes down which attempt counts')],
  ], 'no attempt of a point counts'),
  person({ kind: 'note', point: 0, attempt: null, injector: null, text: 'a trial', mark: 'look' }, [
    [driving, goesOn('WIN-55', 'is kept with the run')],
    [['making-safe'], arrives('WIN-55', confirmed, 'is kept with the run')],
    [['ready', 'paused', 'held', 'tripped', 'ended'], stays('WIN-55', 'is kept with the run')],
  ]),
];

/** Who has to act for the run to go on. */
export function whoActs(end: End): string {
  switch (end) {
    case 'goes on':
      return 'nobody';
    case 'held':
      return 'nobody, once the cause is over';
    case 'stays':
      return 'who had to before';
    case 'where it was going':
    case 'paused':
      return 'a person resumes';
    case 'ready':
      return 'a person starts';
    case 'tripped':
      return 'a person acknowledges, then resumes';
    case 'ended':
      return 'a person, if points are to be measured again';
    case 'given up':
      return 'a person makes room and continues the run';
  }
}
