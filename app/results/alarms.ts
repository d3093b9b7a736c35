/**
 * The alarm list of a run: what went wrong, what it means, what to do. Each alarm stands from the event that raised it to
 * the event that ended it and stays in the list for good.
 */
import { guardSignals } from '../bench/guard-signals.ts';
import type { Guard } from '../plan/plan.ts';
import type { RunCommand, RunEvent } from '../journal/events.ts';
import { deadManText, safeSentence, unconfirmedWords } from '../run/safe-words.ts';
import { isBeyond, worthTelling } from '../run/time-base.ts';

export type AlarmKind = 'person' | 'pause' | 'note' | 'hold' | 'trip' | 'fault' | 'link' | 'unsafe' | 'restart' | 'injector';

export interface Alarm {
  /** Place in the journal of the event that raised it. */
  readonly seq: number;
  readonly at: number;
  readonly kind: AlarmKind;
  /** Guard or fault code; tells which event ends it. */
  readonly source: string;
  /** What happened, as the journal has it. */
  readonly text: string;
  readonly meaning: string;
  readonly action: string;
  /** null: it stands. */
  readonly endedAt: number | null;
  /** How it ended; empty while it stands. */
  readonly ended: string;
}

/** In the order in which they are shown where several stand at a time. */
const urgency: Readonly<Record<AlarmKind, number>> = { unsafe: 0, trip: 1, fault: 2, link: 3, pause: 4, hold: 5, injector: 6, restart: 7, person: 8, note: 9 };

export const alarmWords: Readonly<Record<AlarmKind, { readonly word: string; readonly glyph: string }>> = {
  unsafe: { word: `${unconfirmedWords.charAt(0).toUpperCase()}${unconfirmedWords.slice(1)}`, glyph: '!!' },
  trip: { word: 'Trip', glyph: '!!' },
  fault: { word: 'Controller fault', glyph: '!!' },
  link: { word: 'Link lost', glyph: '!' },
  pause: { word: 'Waits for a person', glyph: '!' },
  hold: { word: 'Hold', glyph: '!' },
  injector: { word: 'Injector out', glyph: '!' },
  restart: { word: 'Program restarted', glyph: 'i' },
  note: { word: 'Note', glyph: 'i' },
  person: { word: 'By a person', glyph: 'i' },
};

/** Standing ones first, the most urgent of them first; then the ended ones, newest first. */
export function alarmsInOrder(alarms: readonly Alarm[]): readonly Alarm[] {
  return alarms.toSorted((a, b) => {
    const standing = Number(a.endedAt !== null) - Number(b.endedAt !== null);
    if (standing !== 0) return standing;
    return a.endedAt === null && urgency[a.kind] !== urgency[b.kind] ? urgency[a.kind] - urgency[b.kind] : b.seq - a.seq;
  });
}

/** What an alarm's words depend on. */
export interface AlarmContext {
  readonly guards: readonly Guard[];
  readonly started: boolean;
  /** Whether the last way to safe was confirmed by the bench. */
  readonly confirmedSafe: boolean;
}

/** The alarms after an event. Returns the same list where nothing changed. */
// eslint-disable-next-line max-lines-per-function, complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
export function alarmsAfter(before: readonly Alarm[], { guards, started, confirmedSafe }: AlarmContext, { seq, at, body }: RunEvent): readonly Alarm[] {
  const alarms = body.kind === 'made-safe' ? withSafety(before, body.confirmed) : before;
  const raise = (kind: AlarmKind, source: string, text: string, meaning: string, action: string): readonly Alarm[] => [
    ...alarms,
    { seq, at, kind, source, text, meaning, action, endedAt: null, ended: '' },
  ];
  const end = (kinds: readonly AlarmKind[], ended: string, source?: string): readonly Alarm[] => {
    const ends = (alarm: Alarm) => alarm.endedAt === null && kinds.includes(alarm.kind) && (source === undefined || alarm.source === source);
    return alarms.some(ends) ? alarms.map((alarm) => (ends(alarm) ? { ...alarm, endedAt: at, ended } : alarm)) : alarms;
  };

  const safe = safeSentence(confirmedSafe);
  switch (body.kind) {
    case 'commanded':
      return body.answer === 'accepted' && isEnd(body.command.kind) ? raise('person', body.command.kind, endedBy(body.command.kind, body.by), endMeanings[body.command.kind], 'Nothing, if it was meant. The points without a result can be measured in this run later.') : alarms;
    case 'guard-noted':
      return raise('note', body.guard, body.text, `${guardName(guards, body.guard)} is outside its limits. The run goes on; the results it takes are judged by the plan's limits as always.`, 'Look at it when you can. The note ends by itself when the value is back inside.');
    case 'clocks-compared': {
      const stands = alarms.some((alarm) => alarm.endedAt === null && alarm.source === 'time-base');
      if (!isBeyond(body.comparison, worthTelling)) return end(['note'], 'The clocks agree by now.', 'time-base');
      return stands ? alarms : raise('note', 'time-base', body.text, 'Pulse widths are counted by the clock of the controller: slope and dead time are off by as much as it is.', 'Have the oscillator of the controller looked at, and see that the clock of this computer is kept by a time server.');
    }
    case 'guard-cleared':
      return end(['note'], 'Back inside its limits.', body.guard);
    case 'injector-out':
      return raise('injector', `injector ${body.injector}`, body.text, outMeaning(body.cause), 'Put right what is wrong, then measure its points again: that brings the injector back into the run. Its points can be marked and measured at any time, also after the end.');
    case 'injector-back':
      return end(['injector'], body.text, `injector ${body.injector}`);
    case 'held':
      return raise('hold', body.guard, body.text, `${holdMeaning(guards, body.guard)} ${safe}; the attempt that was going on was cut and is measured again.`, holdAction(guards, body.guard));
    case 'tripped':
      return raise('trip', body.guard, body.text, `${tripMeaning(guards, body.guard, body.text)} ${safe}; nothing is driven until you acknowledge.`, tripAction(body.guard, body.text));
    case 'controller-fault':
      return raise('fault', body.fault.code, body.fault.text, `The controller has latched the fault "${body.fault.code}" and drives nothing while it stands.`, body.fault.code === 'dead-man' ? 'The run clears it by itself when it goes on.' : body.fault.code === 'emergency-stop' ? releaseFirst : 'Put the cause right, then acknowledge: that clears the fault in the controller.');
    case 'link-lost':
      return raise('link', 'link', body.text, `Host and controller do not hear each other. ${deadManText()}`, 'Check cable and power of the controller. The link is taken up again by itself.');
    case 'link-not-restored':
      return alarms.map((alarm) => (alarm.kind === 'link' && alarm.endedAt === null ? { ...alarm, text: body.text } : alarm));
    case 'link-restored':
      return end(['link'], 'The link is back.');
    case 'dead-man-not-proved':
      return raise('fault', 'dead-man-proof', body.text, 'It was not shown that the controller makes itself safe when the host falls silent.', 'Do not measure on this bench until the proof passes: check the controller, then acknowledge and resume.');
    case 'dead-man-proved':
      return end(['fault'], 'The proof was passed.', 'dead-man-proof');
    case 'making-safe':
      return withSafety(alarms, null);
    case 'made-safe':
      return body.confirmed
        ? end(['unsafe', 'person'], `${safeSentence(true)}.`)
        : raise('unsafe', 'made-safe', body.text, `${safeSentence(null)}: pulses off, supply at its safe value, outputs disarmed.`, 'Go to the bench. If anything still runs, press the emergency stop on it.');
    case 'host-restarted':
      return raise('restart', 'host', body.text, 'What the archive holds was read back; what is accepted in it is not measured again.', started ? 'Look at the bench, then resume.' : 'Start when you are ready.');
    case 'acknowledged':
      return end(['trip', 'fault'], 'Acknowledged.');
    case 'resumed':
      return end(['pause', 'hold', 'restart', 'unsafe', 'fault', 'person'], body.automatic ? 'Clear again; the run went on by itself.' : 'The run was resumed.');
    case 'proving-started':
      return end(['restart', 'unsafe', 'fault', 'person'], 'The run was started.');
    case 'paused': {
      const ended = end(['hold'], 'The run was paused.');
      if (body.text === undefined) return ended;
      return [...ended, { seq, at, kind: 'pause', source: body.guard ?? 'pause', text: body.text, meaning: `${safe}; the run does not go on by itself.`, action: 'Look at the bench and put right what is wrong, then resume.', endedAt: null, ended: '' }];
    }
    case 'ended':
      return end(['pause', 'hold', 'trip', 'restart'], 'The run ended.');
    case 'clock-stepped':
    case 'opened':
    case 'points-added':
    case 'target-changed':
    case 'bench-connected':
    case 'preflight':
    case 'not-traceable':
    case 'measuring-started':
    case 'attempt-started':
    case 'step':
    case 'wait-skipped':
    case 'attempt-ended':
    case 'blind-sealed':
    case 'blind-unsealed':
    case 'chosen':
    case 'point-skipped':
    case 'queued':
    case 'second-pass-started':
    case 'reopened':
    case 'injector-looked-at':
      return alarms;
  }
}

const sentences = [safeSentence(true), safeSentence(false), safeSentence(null)];

/** Standing alarms that speak of the bench's safety, as it stands now (RUN-170). */
function withSafety(alarms: readonly Alarm[], confirmed: boolean | null): readonly Alarm[] {
  const now = safeSentence(confirmed);
  const said = (alarm: Alarm): string | undefined => (alarm.endedAt === null ? sentences.find((sentence) => sentence !== now && alarm.meaning.includes(`${sentence};`)) : undefined);
  return alarms.some((alarm) => said(alarm) !== undefined)
    ? alarms.map((alarm) => {
        const old = said(alarm);
        return old === undefined ? alarm : { ...alarm, meaning: alarm.meaning.replace(`${old};`, `${now};`) };
      })
    : alarms;
}

/** By the cause of the failures (RUN-133), or the criterion of the first look that was not met. */
function outMeaning(cause: string): string {
  switch (cause) {
    case 'RUN-136':
      return 'Fluid went on flowing after its pulses: it does not shut.';
    case 'RUN-137':
      return 'Its coil has another resistance than it should: another injector is connected to this channel, the coil is damaged, or a contact is bad.';
    case 'RUN-138':
    case 'RUN-139':
      return 'It passes another flow than it should: another injector is connected to this channel, it is blocked, it does not open fully, or two are driven at once.';
    case 'RUN-140':
      return 'Its flow jumps from pulse to pulse: it sticks, or there is air in the rail.';
    case 'RUN-141':
      return 'Two injectors hang on each other\'s channel: everything would be measured under the wrong serial number.';
    case 'no-current':
      return 'No current flowed in its coil: the coil is open, its plug is off, or the driver of its channel does not switch.';
    case 'no-flow':
      return 'Its coil was driven, but nothing flowed: it does not open. It may be stuck, or shut off from the rail.';
    default:
      return 'It failed in the same way again and again, so trying on would only cost bench time.';
  }
}

const guardOf = (guards: readonly Guard[], id: string): Guard | undefined => guards.find((guard) => guard.id === id);

function guardName(guards: readonly Guard[], id: string): string {
  const guard = guardOf(guards, id);
  return guard === undefined ? `What the guard "${id}" watches` : guardSignals[guard.signal].subject;
}

function holdMeaning(guards: readonly Guard[], id: string): string {
  switch (id) {
    case 'link':
      return 'Host and controller lost each other.';
    case 'telemetry':
      return 'The bench sends no readings, so nobody can see what it does.';
    case 'telemetry-impossible':
      return 'What the controller reports of itself cannot be, so nothing that it says is believed.';
    case 'reset':
      return 'The controller started anew and has forgotten everything that it was told.';
    case 'dead-man':
      return 'The controller heard nothing from the host for the time of its watchdog.';
    case 'no-answer':
      return 'The controller did not answer a request.';
    default:
      return `${guardName(guards, id)} is outside the limits in which the plan allows measuring.`;
  }
}

function holdAction(guards: readonly Guard[], id: string): string {
  const itself = 'The run goes on by itself when it is clear.';
  switch (id) {
    case 'link':
    case 'telemetry':
    case 'no-answer':
      return `Check cable and power of the controller if it does not come back. ${itself}`;
    case 'telemetry-impossible':
      return `Have the firmware of the controller looked at. ${itself}`;
    case 'reset':
      return `Everything is set up again and the watchdog is proved again. If it happens twice, check the power of the controller. ${itself}`;
    case 'dead-man':
      return `If it happens again, look at what else keeps this computer busy, and at the cable. ${itself}`;
    default: {
      const guard = guardOf(guards, id);
      return `${guard === undefined ? '' : `${guardSignals[guard.signal].check} `}${itself} Pause if that should not happen.`;
    }
  }
}

/** Commands of a person that end a run before its plan does. */
type EndCommand = 'emergency-stop' | 'abort' | 'finish-early';

const isEnd = (kind: RunCommand['kind']): kind is EndCommand => kind === 'emergency-stop' || kind === 'abort' || kind === 'finish-early';

function endedBy(kind: EndCommand, by: string): string {
  switch (kind) {
    case 'emergency-stop':
      return `STOP was pressed by ${by}.`;
    case 'abort':
      return `${by} aborted the run.`;
    case 'finish-early':
      return `${by} asked the run to finish early.`;
  }
}

const endMeanings: Readonly<Record<EndCommand, string>> = {
  'emergency-stop': 'The run ends at once, and the bench is told: pulses off, supply to its safe value, disarm. STOP is this program and not the emergency stop of the bench.',
  abort: 'The run ends at once, and the bench is told: pulses off, supply to its safe value, disarm.',
  'finish-early': 'The run ends when the point that is going on is judged; the points after it stay without a result.',
};

const releaseFirst = 'Find out why it was pressed. When the bench is in order release it there, acknowledge, then resume.';

/** The contact of the emergency stop comes as an interlock or as a fault of the controller; the journal's text tells it. */
const isEmergencyStop = (id: string, text: string): boolean => (id === 'interlock' || id === 'controller-fault') && /emergency[- ]stop/iu.test(text);

function tripMeaning(guards: readonly Guard[], id: string, text: string): string {
  if (isEmergencyStop(id, text)) return 'Somebody pressed the emergency stop of the bench (or its contact is open).';
  switch (id) {
    case 'controller-fault':
      return 'The controller itself has found a fault.';
    case 'interlock':
      return 'A cover or other interlock was opened while the bench was driven.';
    case 'pulse-count':
      return 'An injector got more pulses than it was meant to get.';
    case 'unexpected-pulses':
      return 'An injector was driven without having been asked for.';
    case 'idle-current':
      return 'Current flowed although no injector was driven: a driver does not switch off, or a coil or its harness is shorted. An injector may have been open without a pulse.';
    case 'does-not-shut':
      return 'Fluid went on flowing after the pulses: an injector does not shut, or the rail leaks. Everything measured on this rail would be wrong.';
    case 'every-injector':
      return 'One injector after another failed in the same way. Not all of them are bad: look at supply, pressure, fluid and meter. All take part again when the run goes on.';
    case 'time-base':
      return 'The clock of the controller is farther from that of this computer than the equipment record allows.';
    case 'disarmed':
      return 'The controller switched its outputs off and gives no reason.';
    case 'not-safe':
      return 'The bench was seen driven again and again while it was meant to rest.';
    case 'dead-man-proof':
      return 'Without a watchdog that works nobody protects the bench from a host that dies.';
    case 'stop-not-confirmed':
      return 'The pulses went on after the controller had said that it stopped them.';
    case 'refused':
      return 'The controller refused something that it must never refuse.';
    default:
      return guardOf(guards, id)?.level === 'trip'
        ? `${guardName(guards, id)} left the limits beyond which the plan does not let the bench be driven.`
        : `${guardName(guards, id)} went outside again and again, more often than the plan lets the run go on by itself.`;
  }
}

function tripAction(id: string, text: string): string {
  if (isEmergencyStop(id, text)) return releaseFirst;
  switch (id) {
    case 'interlock':
      return 'Close the interlock, acknowledge, then resume.';
    case 'idle-current':
      return 'Do not switch the supply on again before driver, plug and coil of each channel have been looked at. Then acknowledge, and resume.';
    case 'pulse-count':
    case 'unexpected-pulses':
    case 'not-safe':
    case 'stop-not-confirmed':
    case 'refused':
      return 'Go to the bench and see that nothing runs. Have controller and firmware looked at before you acknowledge and go on.';
    default:
      return 'Find the cause and put it right. Then acknowledge, and resume.';
  }
}
