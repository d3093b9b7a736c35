/**
 * Rows of the fault contract for windows: what a second window, control that is taken over, a window that goes and work by hand
 * come to in each mode of the run that is open. In the trials window 1 holds control and opened the run, windows 2 and 3 watch.
 */
import type { Mode } from '../../app/journal/state.ts';
import { arrives, asked, confirmed, contractOfARun, driving, ends, found, goesOn, newHost, pauses, quiet, rests, stays, type Cell, type Row } from './contract.ts';
import { placeholders, type WindowHappening } from './house-draw.ts';

const [holder, watcher, third] = [0, 1, 2];

/** The run is as if nothing had happened. */
const unmoved = (rules: string, said: string): Row['cells'] => [
  [driving, goesOn(rules, said)],
  [[...quiet, 'held'], stays(rules, said)],
  [['making-safe'], arrives(rules, confirmed, said)],
];

const window = (id: string, what: string, seenAs: string, lastsS: number, windows: (atS: number) => readonly WindowHappening[], cells: Row['cells']): Row => ({
  id, of: 'window', what, seenAs, lastsS, happenings: () => [], windows, cells,
});

/** The supply is set by hand, and nothing makes it safe: the run stays where it is, and watches nothing meanwhile. */
const byHand = (rules: string, said: string): Cell => ({ rules, why: '', outcomes: [{ end: 'stays', safeS: 'goes on', endS: 0, said: [said], attempt: 'any' }] });
const safeWithin = (cell: Cell, safeS: number, said: string): Cell => ({ ...cell, outcomes: cell.outcomes.map((outcome) => ({ ...outcome, safeS, said: [said] })) });
/** Nobody may work by hand there. */
const notByHand: Row['cells'] = [
  [driving, goesOn('STORM-77', 'A run is going on. Pause it first. Nothing was driven by hand.')],
  [['making-safe'], arrives('STORM-77', confirmed, 'A run is going on. Pause it first. Nothing was driven by hand.')],
  [['held'], stays('STORM-77', 'A run is going on. Pause it first. Nothing was driven by hand.')],
  [['tripped'], stays('STORM-77', 'The run has tripped. Find the cause and acknowledge it first. Nothing was driven by hand.')],
];
const handModes: readonly Mode[] = ['ready', 'paused', 'ended'];
const setTo10 = 'The supply is set to 10 V.';

const supply = (atS: number): WindowHappening => ({ kind: 'asked', window: holder, atS, name: 'manual.supply', params: { volts: 10 } });
const command = (by: number, atS: number): WindowHappening =>
  ({ kind: 'asked', window: by, atS, name: 'run.command', params: { id: placeholders.run, command: { kind: 'pause-now' }, by: 'somebody', commandId: `trial-${atS}` } });
/** From the loss of its window until work by hand is ended. */
const goneS = 5;
const silentS = 10;
/** Of a window that is back, or of a program: the windows find each other again. */
const backS = 2;

const stopCells = contractOfARun.find(({ id }) => id === 'command-emergency-stop')?.cells ?? [];

const contractOfWindows: readonly Row[] = [
  window('watcher-gone', 'a window that watches is closed for 3 s', 'window-gone', 3, (atS) => [{ kind: 'window-gone', window: watcher, atS, forS: 3 }],
    unmoved('STORM-62; STORM-64', '"windows":2')),
  window('holder-gone', 'the window that holds control is closed for 20 s', 'window-gone', 20, (atS) => [{ kind: 'window-gone', window: holder, atS, forS: 20 }],
    unmoved('STORM-62; STORM-63', '"holder":null')),
  window('holder-silent', 'the window that holds control is not heard for 20 s, and nobody says so', 'window-silent', 20, (atS) => [{ kind: 'window-silent', window: holder, atS, forS: 20 }],
    unmoved('STORM-62', '"holder":null')),
  window('holder-hangs', 'the page that holds control hangs for 20 s', 'window-stalled', 20, (atS) => [{ kind: 'window-stalled', window: holder, atS, forS: 20 }],
    unmoved('STORM-60; STORM-68', '')),
  window('control-taken', 'a second window takes control', 'control-taken', 0, (atS) => [{ kind: 'control-taken', window: watcher, atS }],
    unmoved('STORM-62', '"holder":"window 2"')),
  window('watcher-commands', 'a window without control asks for a pause', 'asked run.command', 0, (atS) => [command(watcher, atS)],
    unmoved('STORM-61', 'Control is held by window 1. Nothing was done. Take control first.')),
  window('ousted-commands', 'a window whose control was taken half a second ago asks for a pause', 'asked run.command', 0, (atS) => [{ kind: 'control-taken', window: watcher, atS: atS - 0.5 }, command(holder, atS)],
    unmoved('STORM-61; STORM-62', 'Control is held by window 2. Nothing was done. Take control first.')),
  window('watcher-stops', 'STOP from a window without control', 'stop-pressed', 0, (atS) => [{ kind: 'stop-pressed', window: third, atS }],
    stopCells.map(([modes, cell]) => [modes, 'impossible' in cell ? cell : { ...cell, rules: `STORM-63; ${cell.rules}` }] as const)),
  window('by-hand', 'the supply is set to 10 V by hand', 'asked manual.supply', 0, (atS) => [supply(atS)], [
    ...notByHand,
    [handModes, byHand('STORM-66; STORM-77', setTo10)],
  ]),
  window('by-hand-control-taken', 'the supply is set to 10 V by hand, and 2 s later a second window takes control', 'asked manual.supply', 2, (atS) => [supply(atS), { kind: 'control-taken', window: watcher, atS: atS + 2 }], [
    ...notByHand,
    [handModes, byHand('STORM-62; STORM-66', '"holder":"window 2"')],
  ]),
  window('by-hand-gone', 'the supply is set to 10 V by hand, and 2 s later its window is closed for 20 s', 'asked manual.supply', 22, (atS) => [supply(atS), { kind: 'window-gone', window: holder, atS: atS + 2, forS: 20 }], [
    ...notByHand,
    [handModes, safeWithin(byHand('STORM-63', ''), 2 + goneS + asked, 'The window that held control has gone.')],
  ]),
  window('by-hand-silent', 'the supply is set to 10 V by hand, and 2 s later its window is not heard for 20 s', 'asked manual.supply', 22, (atS) => [supply(atS), { kind: 'window-silent', window: holder, atS: atS + 2, forS: 20 }], [
    ...notByHand,
    [handModes, safeWithin(byHand('STORM-62; STORM-63', ''), 2 + silentS + goneS + asked, 'The window that held control has gone.')],
  ]),
  window('by-hand-stopped', 'the supply is set to 10 V by hand, and 2 s later STOP comes from a window without control', 'asked manual.supply', 2, (atS) => [supply(atS), { kind: 'stop-pressed', window: third, atS: atS + 2 }], [
    [driving, ends('STORM-63; RUN-8', 2 + asked, 2 + confirmed, 'Stopped with STOP')],
    [['ready', 'making-safe', 'paused', 'held', 'tripped'], ends('STORM-63; RUN-8', 2 + asked, 2 + 2 * confirmed, 'Stopped with STOP', 'any')],
    [['ended'], ends('STORM-63; RUN-8', 2 + asked, 2 + confirmed, 'makes safe once more', 'any')],
  ]),
  window('disconnect', 'a window lets go of the bench', 'asked bench.disconnect', 0, (atS) => [{ kind: 'asked', window: holder, atS, name: 'bench.disconnect', params: {} }], [
    ...unmoved('STORM-67', 'A run is open on the bench. Nothing was done.').map(([modes, cell]) => [modes.filter((mode) => mode !== 'ended'), cell] as const),
    [['ended'], stays('STORM-67', 'The bench was disconnected.')],
  ]),
  window('closed', 'a window closes the run', 'asked run.close', 0, (atS) => [{ kind: 'asked', window: holder, atS, name: 'run.close', params: { id: placeholders.run } }], [
    [driving, goesOn('STORM-67', 'The run is going on. Pause, finish or abort it first.')],
    [['making-safe'], arrives('STORM-67', confirmed, 'The run is going on. Pause, finish or abort it first.')],
    [['held'], stays('STORM-67', 'The run is going on. Pause, finish or abort it first.')],
    // Somebody opens it again, and it is where a new host leaves it.
    [['paused'], pauses('RUN-80', 0, found + confirmed, newHost, 'any')],
    [['ready'], rests('ready')('RUN-83', 0, found + confirmed, newHost, 'any')],
    [['tripped'], rests('tripped')('RUN-82', 0, found + confirmed, newHost, 'any')],
    [['ended'], rests('ended')('RUN-82', 0, 0, '', 'any')],
  ]),
  window('program-ended', `the program is ended, and begun again ${backS} s later`, 'host-ended', backS, (atS) => [{ kind: 'host-ended', atS, backS }], [
    [driving, pauses('HOST-1; RUN-80', asked, 20 + backS + found + confirmed, newHost)],
    [['making-safe'], pauses('HOST-1; RUN-80', asked, 20 + backS + found + confirmed, newHost, 'any')],
    [['paused', 'held'], pauses('HOST-1; RUN-80', 0, 20 + backS + found + confirmed, newHost, 'any')],
    [['ready'], rests('ready')('HOST-1; RUN-83', 0, 20 + backS + found + confirmed, newHost, 'any')],
    [['tripped'], rests('tripped')('HOST-1; RUN-82', 0, 20 + backS + found + confirmed, newHost, 'any')],
    [['ended'], rests('ended')('HOST-1; RUN-82', 0, 0, '', 'any')],
  ]),
];

/** The whole table. */
export const contract: readonly Row[] = [...contractOfARun, ...contractOfWindows];
