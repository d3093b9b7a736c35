import { useState } from 'react';
import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { Notice } from '../../components/status.tsx';
import { ask } from '../../host/host.ts';
import { readNumber } from '../../settings/read-number.ts';
import { changeForm } from './plan-draft.ts';
import { FieldProblems, idOf } from './plan-field.tsx';
import type { PlanForm } from './plan-form.ts';
import { quantityText } from '../../settings/quantities.ts';

/** What the form shows of one entry; whatever else stands in it is the plan's affair. */
interface Shown {
  readonly type?: unknown;
  readonly pressureKpa?: unknown;
  readonly linearFromOpenMs?: unknown;
  readonly from?: unknown;
}

const textOf = (value: unknown): string => (typeof value === 'string' || typeof value === 'number' ? String(value) : '?');

/** What is known of the types of a plan with targets, and where that is from; filled from earlier runs by a press. WIN-100 */
export function KnownTypesPart({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const [said, setSaid] = useState<{ readonly tone: 'off' | 'bad'; readonly text: string } | null>(null);
  const [waiting, setWaiting] = useState(false);
  const known = (form.targetsKnown ?? []) as readonly Shown[];
  const types = [...new Set(form.injectors.map((row) => row.type.trim()).filter((type) => type !== ''))];
  const pressuresKpa = form.axes.pressureKpa.flatMap((text) => {
    const read = readNumber(text);
    return read.kind === 'number' && read.value > 0 ? [read.value] : [];
  });
  const fill = (): void => {
    setWaiting(true);
    setSaid(null);
    void ask('types.known', { types, pressuresKpa }).then((reply) => {
      setWaiting(false);
      if (!reply.ok) {
        setSaid({ tone: 'bad', text: reply.failure.text });
        return;
      }
      if (reply.value.known.length > 0) changeForm((now) => ({ ...now, targetsKnown: reply.value.known }));
      if (reply.value.missing.length > 0) setSaid({ tone: 'off', text: `No run tells it of ${reply.value.missing.join(', ')}: the end of these lines is searched.` });
    });
  };
  return (
    <div className="plan-known" id={idOf('targets.known')} tabIndex={-1}>
      {known.length === 0 ? (
        <p className="quiet">The end of each line is searched from the longest width down.</p>
      ) : (
        <ul>
          {known.map((of, i) => (
            <li key={i}>
              {textOf(of.type)} at {typeof of.pressureKpa === 'number' ? quantityText(of.pressureKpa, 'kPa') : '?'}: lines begin at {textOf(of.linearFromOpenMs)} ms of open time, from {textOf(of.from)}
            </li>
          ))}
        </ul>
      )}
      <FieldProblems id={idOf('targets.known:wrong')} texts={problems.filter(({ path }) => path.startsWith('targets.known')).map(({ text }) => text)} />
      <div className="button-row">
        <Button busy={waiting} against={types.length === 0 || pressuresKpa.length === 0 ? 'Give injectors with their types, and a pressure, first.' : ''} onPress={fill}>
          Begin from earlier runs
        </Button>
        {known.length > 0 && <Button onPress={() => changeForm((now) => ({ ...now, targetsKnown: [] }))}>Search the end of lines</Button>}
      </div>
      {known.length > 0 && <p className="quiet small">It takes about three quarters of the bench time. The run checks it, and searches where it does not hold; no result is made from it.</p>}
      {said !== null && <Notice tone={said.tone}>{said.text}</Notice>}
    </div>
  );
}
