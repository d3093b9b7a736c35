import { quantityText } from '../../settings/quantities.ts';
import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { figureShown as figure, plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { shownQuantities } from '../../../app/results/agreement.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import { Button } from '../../components/button.tsx';
import { Choice } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { ask } from '../../host/host.ts';
import { FigureTable } from './figure-table.tsx';

type Spread = AnswerTo<'types.spread'> & { readonly type: string };

/** What injectors of a type are like over all runs of the archive. CMP-13 */
export function TypePanel({ results: { plan } }: { readonly results: RunResults }) {
  const types = [...new Set(plan.injectors.map((injector) => injector.type))];
  const [type, setType] = useState(types[0] ?? '');
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState('');
  const [spread, setSpread] = useState<Spread | null>(null);
  const work = async (): Promise<void> => {
    setBusy(true);
    setProblem('');
    setSpread(null);
    const reply = await ask('types.spread', { type });
    setBusy(false);
    if (reply.ok) setSpread({ ...reply.value, type });
    else setProblem(reply.failure.text);
  };
  return (
    <Section title="What injectors of a type are like" wide>
      <p>Over all runs of this archive: the mean, how the injectors differ with what measuring alone shows of that taken out, and the interval that holds 95 % of all of the type with 95 % confidence (ISO 16269-6).</p>
      <div className="field-row">
        <Choice label="Type" value={type} options={types.map((value) => ({ value, text: value }))} onChange={setType} />
      </div>
      <div className="button-row">
        <Button busy={busy} onPress={() => void work()}>
          {busy ? 'All runs are being read …' : 'Work it out over all runs'}
        </Button>
      </div>
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {spread !== null && <SpreadOfType spread={spread} />}
    </Section>
  );
}

function SpreadOfType({ spread: { type, runs, spreads } }: { readonly spread: Spread }) {
  const counted = `${runs} ${runs === 1 ? 'run' : 'runs'} with injectors of type ${type}.`;
  if (spreads.length === 0) return <Notice tone="note">{counted} At no place two of them have a result: measure more of them.</Notice>;
  return (
    <>
      <p role="status">{counted}</p>
      <FigureTable
        caption={`Injectors of type ${type}; ± is the expanded uncertainty (95 %) of the mean, the others are standard deviations`}
        columns={['Result', 'Injectors', 'Results', 'Mean', 'Total spread', 'By measuring', 'Of the injectors', '95 % of all, confidence 95 %']}
        rows={spreads.map((s) => {
          const { name, unit, factor } = shownQuantities[s.quantity];
          const shown = (value: number): string => figure(value * factor, s.u * factor);
          const place = `${name}, ${plain(s.voltage)} V, ${quantityText(s.pressure / 1e3, 'kPa')}${s.period === 0 ? '' : `, ${plain(s.period * 1e3)} ms`}`;
          return {
            key: place,
            head: place,
            cells: [String(s.injectors), String(s.results), `${plusMinus(s.mean * factor, s.expanded * factor)} ${unit}`, shown(s.seen), shown(s.measuring), shown(s.left), s.tolerance === null ? 'too few' : `${shown(s.tolerance.low)} to ${shown(s.tolerance.high)}`],
          };
        })}
      />
      {spreads.map((s) => (
        <p key={s.text}>{s.text}</p>
      ))}
    </>
  );
}
