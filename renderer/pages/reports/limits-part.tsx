/** Limits that were agreed, a row each (WIN-160). */
import { Button } from '../../components/button.tsx';
import { Section } from '../../components/page.tsx';
import { problemShown } from '../../components/problem-shown.ts';
import { shownText } from '../../components/shown-text.ts';
import { useInChosenUnit } from '../../components/unit-input.tsx';
import { unitShown } from '../../settings/quantities.ts';
import { columnsOf, limitColumns, limitKinds, type LimitDraft, type LimitKind } from './details-form.ts';

interface LimitsPartProps {
  readonly limits: readonly LimitDraft[];
  readonly problems: ReadonlyMap<string, string>;
  readonly onChange: (limits: readonly LimitDraft[]) => void;
}

export function LimitsPart({ limits, problems, onChange }: LimitsPartProps) {
  const change = (index: number, next: Partial<LimitDraft>): void => onChange(limits.map((limit, i) => (i === index ? { ...limit, ...next } : limit)));
  return (
    <Section
      title="Limits"
      wide
      aside={
        <Button onPress={() => onChange([...limits, { kind: 'slope' }])}>
          Another limit
        </Button>
      }
    >
      <p className="small quiet">Where type, pressure or supply stay empty the limit is for all of them. Against the set: how far an injector may lie from the mean of the set.</p>
      {limits.length === 0 ? (
        <p>None was agreed.</p>
      ) : (
        <div className="limits-scroll">
          <table className="plain limits-table">
            <caption className="unseen">Limits that were agreed</caption>
            <thead>
              <tr>
                <th scope="col">Of</th>
                {limitColumns.map((column) => (
                  <th key={column.key} scope="col">
                    {column.label}
                    {'unit' in column ? `, ${unitShown(column.unit)}` : ''}
                  </th>
                ))}
                <th scope="col">
                  <span className="unseen">Remove</span>
                </th>
              </tr>
            </thead>
            <tbody>
              {limits.map((limit, index) => (
                <LimitRow key={index} limit={limit} index={index} problems={problems} onChange={(next) => change(index, next)} onRemove={() => onChange(limits.filter((_, i) => i !== index))} />
              ))}
            </tbody>
          </table>
        </div>
      )}
    </Section>
  );
}

interface LimitRowProps {
  readonly limit: LimitDraft;
  readonly index: number;
  readonly problems: ReadonlyMap<string, string>;
  readonly onChange: (next: Partial<LimitDraft>) => void;
  readonly onRemove: () => void;
}

function LimitRow({ limit, index, problems, onChange, onRemove }: LimitRowProps) {
  const asked = columnsOf(limit.kind);
  const whole = problems.get(`limits[${index}]`);
  return (
    <tr>
      <td>
        <select className="field-frame" aria-label={`What limit ${index + 1} is of`} value={limit.kind} onChange={(event) => onChange({ kind: event.target.value as LimitKind })}>
          {limitKinds.map(({ value, text }) => (
            <option key={value} value={value}>
              {text}
            </option>
          ))}
        </select>
        {whole !== undefined && <span className="field-problem">{shownText(whole)}</span>}
      </td>
      {limitColumns.map(({ key, label, ...column }) => (
        <td key={key}>
          {asked.includes(key) && (
            <LimitCell name={`${label} of limit ${index + 1}`} unit={'unit' in column ? column.unit : ''} value={limit[key] ?? ''} problem={problems.get(`limits[${index}].${key}`)} onChange={(text) => onChange({ [key]: text })} />
          )}
        </td>
      ))}
      <td>
        <Button kind="quiet" label={`Remove limit ${index + 1}`} onPress={onRemove}>
          Remove
        </Button>
      </td>
    </tr>
  );
}

interface LimitCellProps {
  readonly name: string;
  readonly unit: string;
  readonly value: string;
  readonly problem: string | undefined;
  readonly onChange: (text: string) => void;
}

function LimitCell({ name, unit, value, problem, onChange }: LimitCellProps) {
  const { text, onText } = useInChosenUnit(unit, value, onChange);
  return (
    <>
      <input className="field-frame" aria-label={name} aria-invalid={problem !== undefined} autoComplete="off" spellCheck={false} value={text} onChange={(event) => onText(event.target.value)} />
      {problem !== undefined && <span className="field-problem">{problemShown(problem, unit)}</span>}
    </>
  );
}
