import type { ReactNode } from 'react';
import { guardSignals } from '../../../app/bench/guard-signals.ts';
import type { Problem } from '../../../app/boundary/problems.ts';
import { problemShown } from '../../components/problem-shown.ts';
import { shownText } from '../../components/shown-text.ts';
import { useInChosenUnit } from '../../components/unit-input.tsx';
import { allShown, typedFromStored, unitShown } from '../../settings/quantities.ts';
import { choiceWords, fieldAt, withFieldNames } from './fields.ts';
import type { FieldWords, FieldPath } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { problemsAt } from './plan-form.ts';
import type { PlanForm } from './plan-form.ts';

/** The element that shows the field at this path of the document. */
export function idOf(path: string): string {
  return `plan:${path}`;
}

/** What is allowed and what an empty field means, behind the help. */
export function rangeHint(field: FieldWords): string {
  if (field.kind === 'choice') return '';
  const empty = field.otherwise !== null && field.otherwise !== '' ? ` Empty: ${field.otherwise}${field.unit === '' ? '' : `\u00a0${field.unit}`}.` : '';
  return `Allowed: ${allShown(field.unit, field.range)}.${allShown(field.unit, empty)}`;
}

export interface RowListProps {
  /** Path of the list in the document. */
  readonly list: 'guards' | 'injectors' | 'types';
}

const columnOf = (list: RowListProps['list'], column: string): { readonly id: string; readonly label: string; readonly help: string } => {
  const path = `${list}[].${column}` as FieldPath;
  const field = fieldAt(path);
  return { id: idOf(`${path}:help`), label: field.label, help: `${shownText(field.help)} ${rangeHint(field)}` };
};

/** Heads of the columns of a list of the plan, each with its help unless that stands below; the cells of `RowCell` refer to it. */
export function ColumnHeads({ list, columns, helpBelow }: RowListProps & { readonly columns: readonly string[]; readonly helpBelow: boolean }) {
  return columns.map((column) => {
    const { id, label, help } = columnOf(list, column);
    return (
      <th key={column} scope="col">
        {label}
        {!helpBelow && (
          <span className="plan-column-help" id={id}>
            {help}
          </span>
        )}
      </th>
    );
  });
}

/** What the columns of a table mean that is too wide for words in its head. */
export function ColumnHelp({ list, columns }: RowListProps & { readonly columns: readonly string[] }) {
  return (
    <details className="plan-columns-help">
      <summary>What the columns mean</summary>
      <dl>
        {columns.map((column) => {
          const { id, label, help } = columnOf(list, column);
          return (
            <div key={column}>
              <dt>{label}</dt>
              <dd id={id}>{help}</dd>
            </div>
          );
        })}
      </dl>
    </details>
  );
}

interface RowCellProps extends RowListProps {
  readonly index: number;
  readonly column: string;
  readonly value: string;
  readonly problems: readonly string[];
  /** What the row is called: `guard 2, over-pressure`. */
  readonly row: string;
  /** Of the house, where it is another one than that of the column. */
  readonly unit?: CellUnit | null;
  readonly onChange: (text: string) => void;
}

export interface CellUnit {
  readonly unit: string;
  readonly difference: boolean;
}

/** The limits of a guard are in the unit of what it watches. */
export function unitOfGuard(signal: string, column: string): CellUnit | null {
  if (column !== 'low' && column !== 'high' && column !== 'hysteresis') return null;
  const watched = (guardSignals as Readonly<Record<string, { readonly shown: string } | undefined>>)[signal];
  return watched === undefined ? null : { unit: watched.shown, difference: column === 'hysteresis' || signal.includes('deviation') };
}

/** What guards can watch, with the units that their limits are typed in. */
const signalWords = (): Readonly<Record<string, string>> => Object.fromEntries(Object.entries(guardSignals).map(([signal, { label, shown }]) => [signal, `${label}, ${unitShown(shown)}`]));

export function RowCell({ list, index, column, value, problems, row, unit = null, onChange }: RowCellProps) {
  const path = `${list}[${index}].${column}`;
  const columnPath = `${list}[].${column}` as FieldPath;
  const field = fieldAt(columnPath);
  return (
    <td className={`plan-cell-${column}`}>
      <FieldControl
        path={path}
        field={field}
        value={value}
        problems={problems}
        describedBy={`${idOf(`${columnPath}:help`)} ${idOf(`${path}:wrong`)}`}
        label={`${field.label} of ${row}`}
        words={columnPath === 'guards[].signal' ? signalWords() : choiceWords[columnPath]}
        typedIn={unit}
        onChange={onChange}
      />
      <FieldProblems id={idOf(`${path}:wrong`)} texts={problems} {...(unit ?? { unit: field.unit })} />
    </td>
  );
}

interface TextCellProps {
  readonly path: string;
  readonly field: FieldWords;
  readonly value: string;
  readonly onChange: (text: string) => void;
  readonly problems: readonly string[];
  readonly describedBy: string;
  /** In place of the words of the field's choices. */
  readonly words?: Readonly<Record<string, string>> | undefined;
  /** In place of the unit of the field. */
  readonly typedIn?: CellUnit | null;
  /** Where there is no label element for it. */
  readonly label?: string;
}

/** The control itself: the text stays as it is typed. */
export function FieldControl({ path, field, value, onChange, problems, describedBy, words = choiceWords[field.path], typedIn = null, label }: TextCellProps) {
  const common = {
    id: idOf(path),
    value,
    'aria-invalid': problems.length > 0,
    'aria-describedby': describedBy,
    ...(label === undefined ? {} : { 'aria-label': label }),
  };
  if (field.kind === 'choice') {
    return (
      <select {...common} className="field-frame" onChange={(event) => onChange(event.target.value)}>
        {field.optional && field.otherwise === null && <option value="">Not stated</option>}
        {!(field.choices.includes(value) || (value === '' && field.optional && field.otherwise === null)) && <option value={value}>{value === '' ? (field.otherwise === null ? 'Choose' : `As set out (${(words?.[field.otherwise] ?? field.otherwise).toLowerCase()})`) : `${value} (not known)`}</option>}
        {field.choices.map((choice) => (
          <option key={choice} value={choice}>
            {words?.[choice] ?? choice}
          </option>
        ))}
      </select>
    );
  }
  return <TextControl field={field} value={value} onChange={onChange} common={common} typedIn={typedIn ?? { unit: field.unit, difference: false }} />;
}

interface TextControlProps extends Pick<TextCellProps, 'field' | 'value' | 'onChange'> {
  readonly common: Readonly<Record<string, unknown>>;
  readonly typedIn: CellUnit;
}

/** A pressure or temperature is typed in the chosen unit, and stands in the form, as in the plan, in kPa or degC (WIN-34). */
function TextControl({ field, value, onChange, common, typedIn: { unit, difference } }: TextControlProps) {
  const { text, onText } = useInChosenUnit(unit, value, onChange, difference);
  return (
    <span className="field-frame">
      <input
        {...common}
        value={text}
        className={field.kind === 'text' ? 'plan-text' : undefined}
        type="text"
        inputMode={field.kind === 'text' ? 'text' : field.kind === 'whole' ? 'numeric' : 'decimal'}
        autoComplete="off"
        spellCheck={false}
        placeholder={field.otherwise === null ? undefined : typedFromStored(unit, field.otherwise, difference)}
        onChange={(event) => onText(event.target.value)}
      />
      {field.unit !== '' && (
        <span className="field-unit" aria-hidden="true">
          {unitShown(field.unit)}
        </span>
      )}
    </span>
  );
}

interface PlanFieldProps {
  readonly path: FieldPath;
  readonly form: PlanForm;
  readonly problems: readonly Problem[];
}

/** A field that stands alone: label, unit, help, allowed range, and what is wrong with it. */
export function PlanField({ path, form, problems }: PlanFieldProps) {
  const field = fieldAt(path);
  const wrong = problemsAt(problems, path);
  return (
    <LabelledField field={field} path={path} wrong={wrong}>
      {(describedBy) => (
        <FieldControl
          path={path}
          field={field}
          value={form.texts[path] ?? ''}
          problems={wrong}
          describedBy={describedBy}
          onChange={(text) => changeForm((now) => ({ ...now, texts: { ...now.texts, [path]: text } }))}
        />
      )}
    </LabelledField>
  );
}

interface LabelledProps {
  readonly field: FieldWords;
  readonly path: string;
  readonly wrong: readonly string[];
  readonly children: (describedBy: string) => ReactNode;
}

export function LabelledField({ field, path, wrong, children }: LabelledProps) {
  const id = idOf(path);
  return (
    <div className="field" data-invalid={wrong.length > 0 ? true : undefined}>
      <label htmlFor={id}>
        {field.label}
        {field.unit !== '' && <span className="unseen"> in {unitShown(field.unit)}</span>}
      </label>
      {children(`${id}:help ${id}:wrong`)}
      <span className="field-hint" id={`${id}:help`}>
        {shownText(field.help)} {rangeHint(field)}
      </span>
      <FieldProblems id={`${id}:wrong`} texts={wrong} unit={field.unit} />
    </div>
  );
}

/** With fields as the form calls them, in the unit in which this one is typed. WIN-206 */
export const planProblemShown = (text: string, unit = '', difference = false): string => problemShown(withFieldNames(text), unit, difference);

/** The element stays when it is empty, so that what describes a field is always there. */
export function FieldProblems({ id, texts, unit = '', difference = false }: { readonly id: string; readonly texts: readonly string[] } & Partial<CellUnit>) {
  return (
    <span id={id} className="plan-problems">
      {texts.map((text) => (
        <span className="field-problem" key={text}>
          {planProblemShown(text, unit, difference)}
        </span>
      ))}
    </span>
  );
}
