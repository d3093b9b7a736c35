/** Commands of a person to a run, and what each was answered. */
import { useCallback, useEffect, useMemo, useState } from 'react';
import type { Params } from '../../../app/contract/contract.ts';
import { ask, useHostState } from '../../host/host.ts';
import { settings, useSettings } from '../../settings/settings.ts';

/** A command as it is sent. */
export type SentCommand = Params<'run.command'>['command'];

/** Beside which control the answer is shown. */
export type Place = 'bar' | 'points' | 'panel';

interface Answer {
  readonly place: Place;
  /** The control that was used. */
  readonly label: string;
  readonly accepted: boolean;
  readonly text: string;
}

export interface RunCommands {
  /** Of the run. */
  readonly id: string;
  /** Why no command can be given from this window; empty: they can. */
  readonly against: string;
  readonly answer: Answer | null;
  readonly busy: boolean;
  /** True when all of them were accepted; stops at the first that was not. Opens a stored run on the bench before, where it has to be. */
  send(place: Place, label: string, commands: readonly SentCommand[]): Promise<boolean>;
  /** Says why a control does nothing, where the control is. */
  refuse(place: Place, label: string, text: string): void;
  forget(): void;
}

const acceptedShownMs = 8000;

export function useCommands(id: string, onBench: boolean): RunCommands {
  const [answer, setAnswer] = useState<Answer | null>(null);
  const [busy, setBusy] = useState(false);
  // That something was done needs no lasting notice: the run shows it. Why something was not done stays.
  useEffect(() => {
    if (answer?.accepted !== true) return undefined;
    const timer = setTimeout(() => setAnswer(null), acceptedShownMs);
    return () => clearTimeout(timer);
  }, [answer]);
  const named = useSettings(({ operator }) => operator !== '');
  const against = useHostState(({ line, control }) =>
    line.state !== 'up'
      ? 'The host cannot be reached, so no command can be sent.'
      : !named
        ? 'Say first who works at this window: the field stands at the top.'
      : control.mine
        ? ''
        : 'This window only watches. Take control first; the button stands at the top.',
  );

  // Why something was not done holds only as long as what stood against it.
  useEffect(() => setAnswer((old) => (old?.accepted === false ? null : old)), [against]);

  const send = useCallback(
    async (place: Place, label: string, commands: readonly SentCommand[]): Promise<boolean> => {
      setBusy(true);
      setAnswer(null);
      const told = await carryOut(id, onBench, commands);
      setBusy(false);
      setAnswer({ place, label, ...told });
      return told.accepted;
    },
    [id, onBench],
  );
  const refuse = useCallback((place: Place, label: string, text: string) => setAnswer({ place, label, accepted: false, text }), []);
  const forget = useCallback(() => setAnswer(null), []);
  return useMemo(() => ({ id, against, answer, busy, send, refuse, forget }), [id, against, answer, busy, send, refuse, forget]);
}

async function carryOut(id: string, onBench: boolean, commands: readonly SentCommand[]): Promise<{ readonly accepted: boolean; readonly text: string }> {
  if (!onBench) {
    const opened = await ask('run.continue', { id });
    if (!opened.ok) return { accepted: false, text: `The run could not be opened on the bench. ${opened.failure.text}` };
  }
  let text = '';
  for (const command of commands) {
    const reply = await ask('run.command', { id, command, by: settings().operator, commandId: crypto.randomUUID() });
    if (!reply.ok) return { accepted: false, text: reply.failure.text };
    if (!reply.value.accepted) return { accepted: false, text: reply.value.reason };
    text = reply.value.reason;
  }
  return { accepted: true, text };
}
