import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import type { RunCommands, Place } from './use-commands.ts';

/** What the last command was answered, beside the control that gave it. */
export function AnswerLine({ commands: { answer, busy }, place }: { readonly commands: RunCommands; readonly place: Place }) {
  if (busy && place === 'bar') return <p className="run-answer quiet" role="status">Sent; waiting for the answer.</p>;
  if (answer?.place !== place) return null;
  if (!answer.accepted) {
    return (
      <Notice tone="note">
        <strong>{answer.label}: not done. </strong>
        {shownText(answer.text)}
      </Notice>
    );
  }
  return (
    <p className="run-answer quiet" role="status">
      <span aria-hidden="true">✓ </span>
      {answer.label}: accepted{answer.text === '' ? '' : `; it ${answer.text}`}.
    </p>
  );
}
