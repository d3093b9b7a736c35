import { useEffect, useState } from 'react';
import { archiveHead } from '../../../app/contract/archive-requests.ts';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { Button } from '../../components/button.tsx';
import { TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { ask, useHostState } from '../../host/host.ts';
import { useTyped } from '../../typed/typed.ts';
import { sizeText } from './words.ts';

type Outcome<T> = { readonly state: 'none' } | { readonly state: 'busy' } | { readonly state: 'failed'; readonly text: string } | { readonly state: 'done'; readonly value: T };

/** Backing the archive up, and proving it whole. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function ArchiveCare() {
  const { archivePath, against } = useArchive();
  const mine = useHostState(({ control }) => control.mine);
  const checked = useHostState((state) => state.checked);
  const [backup, setBackup] = useState<Outcome<AnswerTo<'archive.backup'>>>({ state: 'none' });
  const [verified, setVerified] = useState<Outcome<AnswerTo<'archive.verify'>>>({ state: 'none' });
  const [noted, setNoted] = useTyped('archive/head', '', { title: 'A head that was noted earlier' });
  const head = useHead(verified);
  const problem = noted.trim() === '' || archiveHead.safeParse(noted.trim()).success ? '' : 'A head is a number, a colon and 64 hexadecimal digits.';
  const copy = async (): Promise<void> => {
    setBackup({ state: 'busy' });
    const reply = await ask('archive.backup', {});
    setBackup(reply.ok ? { state: 'done', value: reply.value } : { state: 'failed', text: reply.failure.text });
  };
  const verify = async (): Promise<void> => {
    useHostState.setState({ checked: null });
    setVerified({ state: 'busy' });
    const reply = await ask('archive.verify', noted.trim() === '' ? {} : { head: noted.trim() });
    setVerified(reply.ok ? { state: 'done', value: reply.value } : { state: 'failed', text: reply.failure.text });
  };
  return (
    <div className="sections">
      <Section title="Back up">
        <p>
          Copies the whole archive, while it may be in use, into its own folder under a name with the date. Then carry the copy to another machine or disk: in the same folder it is lost together
          with the archive.
        </p>
        <div className="button-row">
          <Button against={against !== '' ? against : mine ? '' : 'This window only watches. Take control first; the button stands at the top.'} busy={backup.state === 'busy'} onPress={() => void copy()}>
            {backup.state === 'busy' ? 'Backing up …' : 'Back up now'}
          </Button>
        </div>
        {backup.state === 'failed' && <Notice tone="bad">There is no new copy. {backup.text}</Notice>}
        {backup.state === 'done' && (
          <Notice tone="good">
            Copied and checked, {sizeText(backup.value.bytes)}: <code>{backup.value.path}</code>
          </Notice>
        )}
        {archivePath !== '' && <p className="small quiet">The archive: {archivePath}</p>}
      </Section>
      <Section title="Verify">
        <p>
          Finds damage and changes: structure, ledger and chains of hashes over every row, replay of every journal, and every window worked out again from its raw frames. Somebody who wrote the whole
          file anew, every hash included, is found only by a head that was kept elsewhere: note this one, on paper or on another machine, and give it here later.
        </p>
        {head !== null && (
          <p className="small">
            Archive <code>{head.archiveId}</code>
            <br />
            Head <code>{head.head}</code>
          </p>
        )}
        <TextInput label="A head that was noted earlier" hint="May be left empty." problem={problem} value={noted} onChange={setNoted} />
        <div className="button-row">
          <Button against={against !== '' ? against : problem} busy={verified.state === 'busy'} onPress={() => void verify()}>
            {verified.state === 'busy' ? 'Verifying …' : 'Verify the archive'}
          </Button>
        </div>
        {verified.state === 'busy' && <Notice tone="busy">{checked === null ? '' : `${Math.round(100 * checked)} % is checked. `}Every run is read; with many runs that takes minutes. You can go on working.</Notice>}
        {verified.state === 'failed' && <Notice tone="bad">The archive could not be verified. {verified.text}</Notice>}
        {verified.state === 'done' && (
          <>
            <Notice tone={verified.value.passed ? 'good' : 'bad'}>
              {verified.value.passed
                ? `The archive is whole: all ${verified.value.checks.length} checks passed.`
                : 'The archive is not whole. Do not write to it any more: close this program, keep the file as it is, and go back to the last good copy.'}
            </Notice>
            <ul className="checks">
              {verified.value.checks.map((check) => (
                <li key={check.name}>
                  <Status tone={check.passed ? 'good' : 'bad'}>
                    <strong>{check.name}</strong>: {check.passed ? 'passed' : 'failed'}. {check.text}
                  </Status>
                </li>
              ))}
            </ul>
          </>
        )}
      </Section>
    </div>
  );
}

/** Of the archive as it is now; asked for again after each verification. */
function useHead(asked: unknown): AnswerTo<'archive.head'> | null {
  const up = useHostState(({ line }) => line.state === 'up');
  const [head, setHead] = useState<AnswerTo<'archive.head'> | null>(null);
  useEffect(() => {
    if (up) void ask('archive.head', {}).then((reply) => reply.ok && setHead(reply.value));
  }, [up, asked]);
  return head;
}

function useArchive(): { readonly archivePath: string; readonly against: string } {
  const archivePath = useHostState((host) => host.archivePath);
  const up = useHostState(({ line }) => line.state === 'up');
  return { archivePath, against: up ? '' : 'The host cannot be reached.' };
}
