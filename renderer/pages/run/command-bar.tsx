import { useLayoutEffect, useMemo, useRef, useState } from 'react';
import type { RunState } from '../../../app/journal/state.ts';
import type { RunStatus } from '../../../app/run/engine.ts';
import { ConfirmBar } from '../../components/dialog.tsx';
import { onWindowKeys } from '../../components/keys.ts';
import { AnswerLine } from './answer.tsx';
import { commandsOf } from './commands.ts';
import type { CommandView } from './commands.ts';
import type { RunCommands } from './use-commands.ts';

/** The commands of a run that is open on the bench, always in the same places; each by pointer and by its key. `status`: what the host told last. */
export function CommandBar({ state, status, commands }: { readonly state: RunState; readonly status: RunStatus | null; readonly commands: RunCommands }) {
  const told = status?.mode ?? null;
  const views = useMemo(() => commandsOf(state, told), [state, told]);
  const [asking, setAsking] = useState<CommandView['kind'] | null>(null);
  const asked = views.find((view) => view.kind === asking && view.against === '' && view.question !== null);

  const row = useRef<HTMLDivElement>(null);
  /** Back to the control that was asked about: the question takes the focus with it when it goes. */
  const leave = (view: CommandView): void => {
    setAsking(null);
    row.current?.querySelector<HTMLElement>(`[data-command="${view.kind}"]`)?.focus();
  };

  const give = (view: CommandView): void => {
    setAsking(null);
    void commands.send('bar', view.label, [{ kind: view.kind }]);
  };
  const press = (view: CommandView): void => {
    const against = commands.against === '' ? view.against : commands.against;
    if (against !== '') commands.refuse('bar', view.label, against);
    else if (view.question !== null) {
      commands.forget();
      setAsking(view.kind);
    }
    else give(view);
  };

  const latest = useRef({ views, press });
  // A key is heard from the moment on at which its button is seen.
  useLayoutEffect(() => {
    latest.current = { views, press };
  });
  const codes = views.map((view) => view.code).join(' ');
  useLayoutEffect(
    () =>
      onWindowKeys(
        Object.fromEntries(
          codes.split(' ').map((code) => [
            `Alt+${code}`,
            (event: KeyboardEvent) => {
              event.preventDefault();
              const view = latest.current.views.find((one) => one.code === code);
              if (view !== undefined && !event.repeat) latest.current.press(view);
            },
          ]),
        ),
      ),
    [codes],
  );

  return (
    <div className="run-commands">
      <div className="run-command-row" ref={row} role="group" aria-label="Commands of the run">
        {views.map((view) => (
          <CommandButton key={view.code} view={view} against={commands.against === '' ? view.against : commands.against} onPress={() => press(view)} />
        ))}
      </div>
      <div className="run-answer-place">
        {asked !== undefined && asked.question !== null && (
          <ConfirmBar question={asked.question} confirm={asked.label} onLeave={() => leave(asked)} onConfirm={() => {
              leave(asked);
              give(asked);
            }} />
        )}
        <AnswerLine commands={commands} place="bar" />
      </div>
    </div>
  );
}

/** Stays in its place when it cannot be used; pressing it then says why, beside the row. */
function CommandButton({ view, against, onPress }: { readonly view: CommandView; readonly against: string; readonly onPress: () => void }) {
  return (
    <button
      type="button"
      data-command={view.kind}
      className={`button ${view.primary && against === '' ? 'button-primary' : 'button-plain'} run-command`}
      aria-disabled={against !== ''}
      aria-keyshortcuts={`Alt+${view.letter}`}
      title={against === '' ? `Alt+${view.letter}` : against}
      onClick={onPress}
    >
      <span>{view.label}</span> <kbd>Alt+{view.letter}</kbd>
    </button>
  );
}
