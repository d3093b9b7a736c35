/** Injectors that were booked in by mistake: withdrawing one, and those that are withdrawn (WIN-180). */
import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Dialog } from '../../components/dialog.tsx';
import { TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { plural } from '../../components/plural.ts';
import { Notice } from '../../components/status.tsx';
import { ask } from '../../host/host.ts';
import { settings } from '../../settings/settings.ts';
import { useTyped } from '../../typed/typed.ts';
import type { KnownPart } from './parts-grid.ts';

export type Withdrawn = AnswerTo<'parts.withdrawn'>[number];

interface WithdrawDialogProps {
  readonly part: KnownPart;
  /** Why it cannot be done now; empty: it can. */
  readonly against: string;
  readonly onClose: () => void;
  /** Every injector as it is now. */
  readonly onDone: (parts: readonly KnownPart[]) => void;
}

/** Asks why, and says what it means. */
export function WithdrawDialog({ part, against, onClose, onDone }: WithdrawDialogProps) {
  const [reason, setReason] = useTyped(`injectors/withdraw/${part.id}`, '', { title: `Why ${part.serialNumber} is withdrawn`, work: false });
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const notNow = against !== '' ? against : reason.trim() === '' ? 'Say why first.' : '';
  const withdraw = async (): Promise<void> => {
    if (notNow !== '' || busy) return;
    setBusy(true);
    const reply = await ask('parts.withdraw', { id: part.id, by: settings().operator, reason: reason.trim() });
    setBusy(false);
    if (!reply.ok) {
      setProblem(reply.failure.text);
      return;
    }
    setReason('');
    onDone(reply.value);
  };
  return (
    <Dialog title={`Withdraw ${part.serialNumber}?`} open onClose={onClose}>
      <div className="withdraw-form">
        <p>
          For an injector that was booked in by mistake. {part.type} {part.serialNumber}
          {part.order === '' ? '' : ` of job ${part.order}`} leaves the list{part.channel === null ? '' : `, and channel ${part.channel} is free`}. Its record stays in the archive, with your name and the reason, and it can be taken back.
        </p>
        <TextInput label="Reason" hint="For example: serial number mistyped." autoFocus value={reason} onChange={setReason} onEnter={() => void withdraw()} />
        {problem !== '' && <Notice tone="bad">{problem}</Notice>}
        <div className="button-row">
          <Button kind="primary" busy={busy} against={notNow} onPress={() => void withdraw()}>
            Withdraw
          </Button>
          <Button onPress={onClose}>Leave it</Button>
        </div>
      </div>
    </Dialog>
  );
}

interface WithdrawnListProps {
  readonly withdrawn: readonly Withdrawn[];
  readonly against: string;
  readonly onTakeBack: (part: KnownPart) => void;
}

export function WithdrawnList({ withdrawn, against, onTakeBack }: WithdrawnListProps) {
  if (withdrawn.length === 0) return null;
  return (
    <Section title="Withdrawn" aside={<span className="quiet small">{plural(withdrawn.length, 'injector')}</span>}>
      <div className="parts-scroll" role="group" aria-label="Withdrawn, scrolls sideways" tabIndex={0}>
        <table className="plain parts-withdrawn">
          <caption className="unseen">Withdrawn injectors</caption>
          <thead>
            <tr>
              <th scope="col">Job</th>
              <th scope="col">Type</th>
              <th scope="col">Serial number</th>
              <th scope="col">Reason</th>
              <th scope="col">By</th>
              <th scope="col">On</th>
              <th scope="col">
                <span className="unseen">Take back</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {withdrawn.map(({ part, at, by, reason }) => (
              <tr key={part.id}>
                <td>{part.order}</td>
                <td>{part.type}</td>
                <td>{part.serialNumber}</td>
                <td>{reason}</td>
                <td>{by}</td>
                <td>{dateTimeText(at)}</td>
                <td>
                  <Button kind="quiet" against={against} label={`Take back: ${part.serialNumber}`} onPress={() => onTakeBack(part)}>
                    Take back
                  </Button>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </Section>
  );
}

/** What is withdrawn, and taking one back. `onParts`: every injector as it is then. */
export function useWithdrawn(onParts: (parts: readonly KnownPart[]) => void) {
  const [withdrawn, setWithdrawn] = useState<readonly Withdrawn[]>([]);
  /** The one that was withdrawn last here, and can be taken back at once. */
  const [last, setLast] = useState<KnownPart | null>(null);
  const read = async (): Promise<void> => {
    const reply = await ask('parts.withdrawn', {});
    if (reply.ok) setWithdrawn(reply.value);
  };
  /** The sentence that says what came of it; a problem is `ok: false`. */
  const takeBack = async (part: KnownPart): Promise<{ readonly ok: boolean; readonly text: string }> => {
    const reply = await ask('parts.take-back', { id: part.id, by: settings().operator });
    if (!reply.ok) return { ok: false, text: reply.failure.text };
    setLast(null);
    onParts(reply.value);
    await read();
    const now = reply.value.find(({ id }) => id === part.id);
    return { ok: true, text: `${part.serialNumber} was taken back${part.channel !== null && now?.channel == null ? `, without its channel: another is on channel ${part.channel} now` : ''}.` };
  };
  const done = (part: KnownPart, parts: readonly KnownPart[]): void => {
    setLast(part);
    onParts(parts);
    void read();
  };
  return { withdrawn, last, read, takeBack, done };
}
