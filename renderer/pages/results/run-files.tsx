import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { ask, useHost } from '../../host/host.ts';
import { readFile } from '../../host/read-file.ts';
import { Button } from '../../components/button.tsx';
import { runFileName } from '../../components/file-name.ts';
import { saveFile } from '../../components/save-file.ts';
import { Notice } from '../../components/status.tsx';
import { zipped } from '../../components/zip.ts';

interface RunFilesProps {
  readonly run: { readonly id: string; readonly order: string; readonly planName: string; readonly createdAt: number };
  /** Why nothing can be exported now; empty: it can. */
  readonly against: string;
}

/** What each file of an export is for, in a sentence. */
const purposes: Readonly<Record<string, string>> = {
  'attempts.csv': 'Every attempt, rejected and cut ones too, with what it was held against.',
  'masses.csv': 'The windows that count: mass per pulse with its uncertainty.',
  'budgets.csv': 'The uncertainty budget of each mass, part by part.',
  'lines.csv': 'Flow curves: slope and dead time of each injector, voltage, pressure and period.',
  'leak.csv': 'Zero points: what leaked, and the pressure decay.',
  'static-flow.csv': 'Static flow of each injector and pressure.',
  'tables.csv': 'Results in long form, one value a line, for programs.',
  'maps.csv': 'Results on axes, with the basis of each value: measured, interpolated, extrapolated or estimated.',
  'curves.csv': 'Dead time over voltage as a curve, with residuals.',
  'reduction.json': 'All results with plan, equipment and provenance, for programs.',
  'manifest.json': 'Name, size and SHA-256 of every file, and the place of the run in the archive\'s history: check-export reads it.',
};

function aboutText({ id, order, planName, createdAt }: RunFilesProps['run'], names: readonly string[], software: string): string {
  const lines = [
    `Run ${id}`, `Job: ${order === '' ? '-' : order}`, `Plan: ${planName}`, `Opened: ${new Date(createdAt).toISOString()}`, `Written by: ${software}`, '',
    'Files:', ...names.map((name) => `  ${name}: ${purposes[name] ?? 'Named in manifest.json.'}`), '',
    'CSV is RFC 4180 in UTF-8, with a point before decimals and units in the names of the columns. The last columns of every line name run, job and archive.', '',
  ];
  return lines.join('\r\n');
}

/** The files of a run in one ZIP archive that says which run it is of. EXP-7 */
export function RunFiles({ run, against }: RunFilesProps) {
  const { software } = useHost();
  const [doing, setDoing] = useState('');
  const [problem, setProblem] = useState('');
  const save = async (): Promise<void> => {
    setProblem('');
    setDoing('Exporting …');
    const made = await ask('run.export', { id: run.id });
    const text = made.ok ? await asZip(run, made.value, (name) => setDoing(`Reading ${name} …`), software) : made.failure.text;
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
async function asZip(run: RunFilesProps['run'], { export: from, files }: AnswerTo<'run.export'>, onFile: (name: string) => void, software: string): Promise<string> {
  const folder = runFileName({ order: run.order, planName: run.planName, at: run.createdAt, id: run.id });
  const entries: { name: string; pieces: readonly string[] }[] = [];
  for (const { name } of files) {
    onFile(name);
    const read = await readFile(from, name);
    if (!read.ok) return `${name} could not be read. ${read.text}`;
    entries.push({ name: `${folder}/${name}`, pieces: read.pieces });
  }
  const about = aboutText(run, files.map((file) => file.name), software);
  try {
    saveFile(`${folder}.zip`, await zipped([{ name: `${folder}/README.txt`, pieces: [about] }, ...entries], new Date(run.createdAt)));
    return '';
  } catch (error) {
    return (error as Error).message;
  }
}
