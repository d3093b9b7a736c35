/** A journal as a person reads it: who, what and of which kind, one line for each event. */
import type { RunCommand, RunEvent, RunEventBody } from '../../../app/journal/events.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { targetPlace } from '../../../app/plan/wanted.ts';
import { endingWords } from '../../../app/run/ending.ts';
import { reasonWords, verdictWords } from '../../components/attempts.ts';
import { minuteUtc } from '../../../app/qualification/utc.ts';

export const lineKinds = {
  person: 'What people did',
  alarm: 'Alarms and the way to safe',
  measuring: 'Attempts and results',
  run: 'The course of the run',
  bench: 'Bench and clocks',
  step: 'Steps of attempts',
} as const;
export type LineKind = keyof typeof lineKinds;

export interface JournalLine {
  readonly seq: number;
  readonly at: number;
  readonly kind: LineKind;
  /** A person by name; empty: the program or the bench. */
  readonly who: string;
  readonly what: string;
  /** Index of the point that it is about; null: of none. */
  readonly point: number | null;
}

const commandText: Readonly<Record<RunCommand['kind'], string>> = {
  start: 'Start', 'pause-now': 'Pause now', 'pause-at-next-point': 'Pause at the next point', resume: 'Resume', 'skip-wait': 'Skip the wait', 'change-target': 'Change a target', 'skip-point': 'Leave a point out',
  'measure-again': 'Measure again', 'finish-early': 'Finish early', abort: 'Abort', 'emergency-stop': 'STOP', acknowledge: 'Acknowledge', choose: 'Choose the attempt that is reported',
  'measure-remaining': 'Measure what has no result', 'accept-untraceable': 'Measure although not traceable', note: 'Note',
};

function pointsText(points: readonly number[]): string {
  const shown = points.slice(0, 12).map(shownPoint).join(', ');
  return `${points.length === 1 ? 'point' : 'points'} ${shown}${points.length > 12 ? ` and ${points.length - 12} more` : ''}`;
}

const noteWords = { note: 'Note', look: 'To be looked at', settled: 'Settled' } as const;

function commandWhat(command: RunCommand, answer: string, reason: string): string {
  if (command.kind === 'note') {
    const about = [command.point === null ? '' : `point ${shownPoint(command.point)}`, command.attempt === null ? '' : `attempt ${command.attempt}`, command.injector === null ? '' : `injector ${command.injector + 1}`].filter((part) => part !== '').join(', ');
    return `${noteWords[command.mark]}${about === '' ? '' : ` (${about})`}: ${answer === 'refused' ? `refused. ${reason}` : command.text}`;
  }
  const about = 'points' in command ? ` (${pointsText(command.points)})` : 'point' in command ? ` (point ${shownPoint(command.point)})` : '';
  const why = 'reason' in command ? ` Reason: ${command.reason}` : '';
  return `${commandText[command.kind]}${about}${answer === 'refused' ? `: refused. ${reason}` : '.'}${why}`;
}

const injectorText = (plan: Plan | null, injector: number): string => plan?.injectors[injector]?.serialNumber ?? `injector ${injector + 1}`;

type Said = readonly [kind: LineKind, what: string, who?: string, point?: number];

// eslint-disable-next-line max-lines-per-function, complexity -- one branch for each kind of event, a line or two each; the compiler asks for every kind
function said(body: RunEventBody, plan: Plan | null): Said {
  const attempt = (of: { readonly point: number; readonly attempt: number }): string => `Point ${shownPoint(of.point)}, attempt ${of.attempt}`;
  switch (body.kind) {
    case 'opened':
      return ['run', `The run was opened: ${body.plan.name}, ${body.points} points, with ${body.software}.`, body.operator];
    case 'bench-connected':
      return ['bench', `Connected: ${body.identity.model} ${body.identity.serialNumber}, firmware ${body.identity.firmware}, over ${body.link}.`];
    case 'preflight': {
      const count = (result: string): number => body.lines.filter((line) => line.result === result).length;
      return ['run', `Pre-flight: ${body.lines.length} lines, ${count('warn')} to look at, ${count('refuse')} against a start.${body.qualification === undefined ? '' : ` The bench was qualified until ${minuteUtc(body.qualification.until)}, sheet ${body.qualification.version} of ${body.qualification.bench}.`}`];
    }
    case 'commanded':
      return ['person', commandWhat(body.command, body.answer, body.reason), body.by];
    case 'not-traceable':
      return ['person', `The results are not traceable from here on: ${body.reasons.join(' ')}`, body.by];
    case 'clocks-compared':
      return ['bench', body.text];
    case 'proving-started':
      return ['run', 'The proof of the watchdog begins.'];
    case 'dead-man-proved':
      return ['run', `The watchdog was proved: safe after ${body.silence.toFixed(2)} s of silence.`];
    case 'dead-man-not-proved':
      return ['alarm', body.text];
    case 'measuring-started':
      return ['run', 'Measuring begins.'];
    case 'points-added':
      return ['run', `${body.points.length} points were added. ${body.why}`, 'person' in body.by ? body.by.person : ''];
    case 'target-changed':
      return ['person', `Wanted from here on: U95 of ${body.deadTimeUs} us of the dead time ${targetPlace(body)}${body.before === null ? '' : `; it was ${body.before} us`}.`, body.by];
    case 'attempt-started':
      return ['measuring', `${attempt(body)} begins, ${reasonWords[body.reason]}.`, '', body.point];
    case 'step':
      return ['step', `${attempt(body)}: ${body.step}.`, '', body.point];
    case 'wait-skipped':
      return ['person', `${attempt(body)}: the wait of "${body.step}" was skipped.`, '', body.point];
    case 'attempt-ended':
      return ['measuring', `${attempt(body)}: ${verdictWords(body.verdict)}. ${body.text}`, '', body.point];
    case 'blind-sealed':
      return ['measuring', `${attempt(body)} is driven blind; the secret is sealed.`, '', body.point];
    case 'blind-unsealed':
      return ['measuring', `The secrets of ${body.shifts.length} blind attempts are told.`];
    case 'chosen':
      return ['person' in body.by ? 'person' : 'measuring', body.attempt === null ? `Point ${shownPoint(body.point)}: no attempt is reported. ${body.why}` : `${attempt({ point: body.point, attempt: body.attempt })} is reported. ${body.why}`, 'person' in body.by ? body.by.person : '', body.point];
    case 'point-skipped':
      return ['measuring', `Point ${shownPoint(body.point)} was left out. ${body.why}`, '', body.point];
    case 'injector-out':
      return ['alarm', `${injectorText(plan, body.injector)} is measured no further. ${body.text}`];
    case 'injector-looked-at':
      return ['measuring', `First look at ${injectorText(plan, body.injector)}: ${body.passed ? 'passed' : 'not passed'}. ${body.text}`];
    case 'injector-back':
      return ['run', `${injectorText(plan, body.injector)} takes part again. ${body.text}`];
    case 'queued':
      return ['run', `To be measured again: ${pointsText(body.points)}.`];
    case 'second-pass-started':
      return ['run', `Second pass over ${pointsText(body.points)}.`];
    case 'guard-noted':
    case 'guard-cleared':
    case 'link-lost':
    case 'link-restored':
    case 'link-not-restored':
    case 'made-safe':
      return ['alarm', body.text];
    case 'clock-stepped':
      return ['bench', body.text];
    case 'controller-fault':
      return ['alarm', `Fault of the controller: ${body.fault.text}`];
    case 'making-safe':
      return ['alarm', `The bench is being made safe. ${body.why}`];
    case 'paused':
      return ['run', `Paused.${body.text === undefined ? '' : ` ${body.text}`}`];
    case 'held':
      return ['alarm', `Held. ${body.text}`];
    case 'tripped':
      return ['alarm', `Tripped. ${body.text}`];
    case 'acknowledged':
      return ['run', 'The trip is acknowledged.'];
    case 'resumed':
      return ['run', body.automatic ? 'The run goes on by itself.' : 'The run goes on.'];
    case 'ended':
      return ['run', `The run ended: ${endingWords(body.ending)}. ${body.text}`];
    case 'reopened':
      return ['run', `The run was opened again. ${body.why}`];
    case 'host-restarted':
      return ['alarm', body.text];
  }
}

/** `from`: place of the first event that is wanted. */
export function journalLines(events: readonly RunEvent[]): readonly JournalLine[] {
  let plan: Plan | null = null;
  return events.map(({ seq, at, body }) => {
    if (body.kind === 'opened') plan = body.plan;
    const [kind, what, who = '', point = null] = said(body, plan);
    return { seq, at, kind, who, what: what.trim(), point };
  });
}

/** `2026-11-27 03:12:04.5 UTC` */
export const instantText = (at: number): string => `${new Date(at).toISOString().slice(0, 21).replace('T', ' ')} UTC`;

/** The lines as a text to keep, with tabs between its columns. */
export const journalText = (lines: readonly JournalLine[]): string => ['instant (UTC)\tevent\twho\twhat', ...lines.map((line) => [new Date(line.at).toISOString(), line.seq, line.who, line.what].join('\t')), ''].join('\n');
