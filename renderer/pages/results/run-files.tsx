import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { notesOf } from '../../../app/journal/note.ts';
import { ask, useHost } from '../../host/host.ts';
import type { JournalView } from '../../host/journal-feed.ts';
import { readFile } from '../../host/read-file.ts';
import { Button } from '../../components/button.tsx';
import { runFileName } from '../../components/file-name.ts';
import { saveFile } from '../../components/save-file.ts';
import { Notice } from '../../components/status.tsx';
import { zipped } from '../../components/zip.ts';
import { zipText, type RunOfZip } from './zip-text.ts';

interface RunFilesProps {
  readonly run: Omit<RunOfZip, 'notes' | 'injectors'>;
  /** Of the run: what people noted. */
  readonly journal: JournalView;
  /** Why nothing can be exported now; empty: it can. */
  readonly against: string;
}

/** The files of a run in one ZIP archive that says which run it is of. EXP-7 */
export function RunFiles({ run, journal, against }: RunFilesProps) {
  const { software } = useHost();
  const [doing, setDoing] = useState('');
  const [problem, setProblem] = useState('');
  const save = async (): Promise<void> => {
    setProblem('');
    setDoing('Exporting …');
    const made = await ask('run.export', { id: run.id });
    const text = made.ok ? await asZip({ ...run, notes: notesOf(journal.events), injectors: (journal.state?.plan.injectors ?? []).map((one) => one.serialNumber) }, made.value, (name) => setDoing(`Reading ${name} …`), software) : made.failure.text;
    setDoing('');
    setProblem(text);
  };
  return (
    <>
      <Button against={against} busy={doing !== ''} onPress={() => void save()} label={doing === '' ? 'Save all files as one ZIP' : doing}>
        {doing === '' ? 'All files (ZIP)' : doing}
      </Button>
      {problem !== '' && <Notice tone="bad">Nothing was saved. {problem}</Notice>}
    </>
  );
}

/** Offers it; a text: why it could not be made. */
async function asZip(run: RunOfZip, { export: from, files }: AnswerTo<'run.export'>, onFile: (name: string) => void, software: string): Promise<string> {
  const folder = runFileName({ order: run.order, planName: run.planName, at: run.createdAt, id: run.id });
  const entries: { name: string; pieces: readonly string[] }[] = [];
  for (const { name } of files) {
    onFile(name);
    const read = await readFile(from, name);
    if (!read.ok) return `${name} could not be read. ${read.text}`;
    entries.push({ name: `${folder}/${name}`, pieces: read.pieces });
  }
  const about = zipText(run, files.map((file) => file.name), software);
  try {
    saveFile(`${folder}.zip`, await zipped([{ name: `${folder}/README.txt`, pieces: [about] }, ...entries], new Date(run.createdAt)));
    return '';
  } catch (error) {
    return (error as Error).message;
  }
}
