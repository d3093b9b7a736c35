import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { figureShown as figure, plusMinusShown as plusMinus, minusShown as trueMinus } from '../../components/figures.ts';
import { shownQuantities } from '../../../app/results/agreement.ts';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice, Status } from '../../components/status.tsx';
import { giveFile } from '../../host/give-file.ts';
import { ask } from '../../host/host.ts';
import { FigureTable } from './figure-table.tsx';

const largestFile = 20 * 2 ** 20;

type Compared = AnswerTo<'run.compare'> & { readonly name: string };

/** A run against what somebody else stated: the tables of another run or bench, a certificate, or the CSV of a partner. CMP-12 */
export function FileCompare({ id }: { readonly id: string }) {
  const [busy, setBusy] = useState('');
  const [problem, setProblem] = useState('');
  const [compared, setCompared] = useState<Compared | null>(null);
  const choose = async (chosen: File): Promise<void> => {
    setBusy(chosen.name);
    setProblem('');
    setCompared(null);
    const upload = `compared-${crypto.randomUUID()}`;
    const lost = chosen.size > largestFile ? `${chosen.name} is larger than any file of results.` : await giveFile(upload, await chosen.text());
    const reply = lost === null ? await ask('run.compare', { id, upload, name: chosen.name.slice(0, 200) }) : null;
    setBusy('');
    if (reply === null) setProblem(lost ?? '');
    else if (reply.ok) setCompared({ ...reply.value, name: chosen.name });
    else setProblem(reply.failure.text);
  };
  return (
    <Section title="With a file" wide>
      <p>
        Results of another laboratory or visit: tables.json or a digital calibration certificate (DCC) of any run, tables.csv, or the CSV of a partner with the columns injector, quantity (dead-time, slope, static-flow), unit, voltage_V, pressure_kPa, period_ms, value, U95 and coverage_factor.
      </p>
      <div className="button-row">
        <FileButton fileLabel="File of results to compare with" accept=".json,.xml,.csv,application/json,application/xml,text/xml,text/csv" against={busy === '' ? '' : 'A file is being compared.'} onFile={(chosen) => void choose(chosen)}>
          Compare with a file …
        </FileButton>
      </div>
      {busy !== '' && <Notice tone="busy">{busy} is being compared with this run.</Notice>}
      {problem !== '' && <Notice tone="bad">{problem} Nothing was compared.</Notice>}
      {compared !== null && <ComparedFile of={compared} />}
    </Section>
  );
}

function ComparedFile({ of: { name, text, left, said, rows } }: { readonly of: Compared }) {
  return (
    <>
      <Notice tone={rows.length === 0 || text.startsWith('THEY DIFFER') ? 'bad' : 'good'}>{text}</Notice>
      {[...said, ...left].map((sentence) => (
        <Notice key={sentence} tone="note">
          {shownText(sentence)}
        </Notice>
      ))}
      {rows.length > 0 && (
        <FigureTable
          caption={`This run less ${name}; ± is the expanded uncertainty (95 %), En the difference over its expanded, zeta over its standard uncertainty`}
          columns={['Result', 'File', 'This run', 'Difference', 'En', 'zeta', 'Verdict']}
          words={[5]}
          rows={rows.map((row) => {
            const { unit, factor } = shownQuantities[row.quantity];
            return {
              key: row.place,
              head: row.place,
              cells: [
                figure(row.first * factor, row.firstExpanded * factor), figure(row.second * factor, row.secondExpanded * factor), `${plusMinus(row.difference * factor, row.expanded * factor, true)} ${unit}`,
                trueMinus(row.en.toFixed(2)), trueMinus(row.zeta.toFixed(2)),
                <Status key="verdict" tone={Math.abs(row.en) > 1 ? 'note' : 'off'}>
                  {row.verdict}
                </Status>,
              ],
            };
          })}
        />
      )}
    </>
  );
}
