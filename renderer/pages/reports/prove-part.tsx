import { useState } from 'react';
import { Button } from '../../components/button.tsx';
import { TextInput } from '../../components/field.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { ask } from '../../host/host.ts';
import { giveFile } from '../../host/give-file.ts';
import { toBase64 } from './files.ts';
import { useTyped } from '../../typed/typed.ts';
import { SaidNotice, type ReportSaid } from './said.tsx';

const keyPattern = /^[\w-]{43}$/u;

/** Proves a report that somebody brings: by itself, and against this archive. */
export function ProvePart({ against }: { readonly against: string }) {
  const [file, setFile] = useState<File | null>(null);
  const [stamp, setStamp] = useState<File | null>(null);
  const [key, setKey] = useTyped('reports/key', '', { title: 'Public key of the laboratory' });
  const [withArchive, setWithArchive] = useState(false);
  const [busy, setBusy] = useState(false);
  const [said, setSaid] = useState<ReportSaid | null>(null);
  const problem = key.trim() === '' || keyPattern.test(key.trim()) ? '' : 'A public key is 43 letters and digits.';
  const prove = async (of: File): Promise<void> => {
    setBusy(true);
    setSaid(null);
    const answer = stamp === null ? null : await toBase64(stamp);
    const upload = `given-${crypto.randomUUID()}`;
    const lost = stamp !== null && answer === null ? `${stamp.name} is larger than any time stamp.` : await giveFile(upload, await of.text());
    const proved = lost === null ? await ask('report.prove', { upload, against: withArchive, ...(key.trim() === '' ? {} : { publicKey: key.trim() }), ...(answer === null ? {} : { stamp: answer }) }) : null;
    setBusy(false);
    if (proved === null) setSaid({ tone: 'bad', sentences: [lost ?? ''] });
    else if (!proved.ok) setSaid({ tone: 'bad', sentences: [proved.failure.text] });
    else setSaid({ tone: proved.value.holds ? 'good' : 'bad', sentences: proved.value.said });
  };
  return (
    <Section title="Prove a report">
      <p>Whether a report is as it was issued: every byte, its signature, and that its run lies in the history of its archive. Nothing leaves this machine.</p>
      <div className="button-row">
        <FileButton fileLabel="Report that is to be proved" accept=".html,.htm,text/html" onFile={setFile}>
          Choose a report …
        </FileButton>
        <FileButton fileLabel="Time stamp of the report that is to be proved" accept=".tsr,.tst,application/timestamp-reply" onFile={setStamp}>
          Its time stamp …
        </FileButton>
      </div>
      <p className="small quiet">{[file === null ? 'No report is chosen.' : file.name, ...(stamp === null ? [] : [stamp.name])].join(', ')}</p>
      <TextInput label="Public key of the laboratory" hint="As the laboratory gave it. May be left empty." problem={problem} value={key} onChange={setKey} />
      <label className="report-same">
        <input type="checkbox" checked={withArchive} onChange={(event) => setWithArchive(event.target.checked)} /> Also against this archive: work it out anew, and look it up in the book. That checks the whole archive and may take minutes.
      </label>
      <div className="button-row">
        <Button against={against !== '' ? against : file === null ? 'Choose a report first.' : problem} busy={busy} onPress={() => file !== null && void prove(file)}>
          {busy ? 'Being proved …' : 'Prove the report'}
        </Button>
      </div>
      <SaidNotice said={said} />
    </Section>
  );
}
