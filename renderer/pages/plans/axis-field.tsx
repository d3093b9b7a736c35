import { settings } from '../../settings/settings.ts';
import { storedFromTyped, typedFromStored, unitShown } from '../../settings/quantities.ts';
import { useRef, useState } from 'react';
import type { KeyboardEvent } from 'react';
import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { fieldAt, listPaths } from './fields.ts';
import type { ListName } from './fields.ts';
import { useTyped } from '../../typed/typed.ts';
import { changeForm, setUnread } from './plan-draft.ts';
import { FieldProblems, idOf, planProblemShown, rangeHint } from './plan-field.tsx';
import { problemsAt } from './plan-form.ts';
import { ascending, listText, readValues, withValues } from '../../components/value-list.ts';
import type { ListReading } from '../../components/value-list.ts';

const pressures = (): string => ({ kPa: '300; 400', bar: '3; 4', psi: '45; 60' })[settings().pressureUnit];
/** What the values of an axis look like, in the unit that they are typed in. */
const examples: Readonly<Record<ListName, () => string>> = {
  voltageV: () => '9; 12-16 by 1', mapVoltageV: () => '8-16 by 1', pressureKpa: pressures, mapPressureKpa: pressures, widthMs: () => '1.5; 2-8 by 1', periodMs: () => '10; 20',
};

/** More single values than this are shown as text only. */
const mostChips = 200;

interface AxisFieldProps {
  readonly axis: ListName;
  readonly values: readonly string[];
  readonly problems: readonly Problem[];
}

/**
 * The values of one axis: each by itself, walked with the arrow keys and taken out with Delete, and a field that takes
 * lists and ranges. What was typed is kept until it could be read.
 */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function AxisField({ axis, values: stored, problems }: AxisFieldProps) {
  const path = listPaths[axis];
  const words = fieldAt(path);
  const field = { ...words, unit: unitShown(words.unit) };
  // What is typed stays with the unit that it was typed in (WIN-208). As they are shown and typed; in the plan they stand in its own unit (WIN-34).
  const values = stored.map((value) => typedFromStored(words.unit, value));
  const id = idOf(path);
  const [typed, setTyped] = useTyped(`plans/axis/${axis}/${field.unit}`, '', { title: `${field.label}, not entered yet`, work: true });
  /** What the typed text may mean, to choose from. */
  const [readings, setReadings] = useState<readonly ListReading[]>([]);
  const readAll = (): void => {
    setUnread(axis, null);
    setReadings([]);
  };
  const [said, setSaid] = useState('');
  const [asText, setAsText] = useTyped<string | null>(`plans/axis-text/${axis}/${field.unit}`, null, { title: `${field.label}, list not taken yet`, work: true });
  const [current, setCurrent] = useState(0);
  const input = useRef<HTMLInputElement>(null);
  const chips = useRef<HTMLUListElement>(null);

  const set = (list: readonly string[]): void => {
    const before = new Map(values.map((value, index) => [value, stored[index] ?? value]));
    changeForm((form) => ({ ...form, axes: { ...form.axes, [axis]: list.map((value) => before.get(value) ?? storedFromTyped(words.unit, value)) } }));
  };

  const read = (text: string, within: HTMLInputElement | HTMLTextAreaElement | null): readonly string[] | null => {
    const result = readValues(text);
    if (result.ok) {
      readAll();
      return result.values;
    }
    setUnread(axis, { typed: within instanceof HTMLTextAreaElement ? '' : text, text: result.text });
    setReadings(result.readings);
    setSaid('');
    within?.setSelectionRange(result.at, text.length);
    return null;
  };

  /** A question is answered at the field that asked it: the list, or the whole text. */
  const mean = (values: readonly string[]): void => {
    readAll();
    if (asText === null) addValues(values);
    else takeText(values);
  };

  const add = (): void => {
    if (typed.trim() === '') return;
    const found = read(typed, input.current);
    if (found !== null) addValues(found);
  };

  const addValues = (found: readonly string[]): void => {
    const { list, added, alreadyThere } = withValues(values, found);
    set(list);
    setTyped('');
    setSaid(`${added === 1 ? '1 value added' : `${added} values added`}${alreadyThere.length > 0 ? `; already there: ${listText(alreadyThere.slice(0, 8))}` : ''}.`);
  };

  const takeText = (found: readonly string[]): void => {
    const { list, alreadyThere } = withValues([], found);
    set(list);
    setAsText(null);
    setSaid(alreadyThere.length > 0 ? `Values that stood twice are kept once: ${listText(alreadyThere.slice(0, 8))}.` : '');
  };

  const takeOut = (index: number): void => {
    set(values.toSpliced(index, 1));
    setSaid(`${values[index] ?? ''} ${field.unit} taken out.`);
    if (values.length <= 1) {
      input.current?.focus();
      return;
    }
    focusChip(Math.min(index, values.length - 2));
  };

  const focusChip = (index: number): void => {
    const next = Math.min(Math.max(index, 0), Math.max(0, values.length - 1));
    setCurrent(next);
    chips.current?.querySelectorAll<HTMLElement>('button')[next]?.focus();
  };

  const onChipKey = (event: KeyboardEvent, index: number): void => {
    const steps: Readonly<Record<string, number>> = { ArrowLeft: index - 1, ArrowUp: index - 1, ArrowRight: index + 1, ArrowDown: index + 1, Home: 0, End: values.length - 1 };
    const to = steps[event.key];
    if (to !== undefined) {
      event.preventDefault();
      focusChip(to);
    } else if (event.key === 'Delete' || event.key === 'Backspace') {
      event.preventDefault();
      takeOut(index);
    }
  };

  // The refusal is among the problems of the plan.
  const wrong = [...problemsAt(problems, path), ...problems.filter((p) => p.path.startsWith(`${path}[`)).map(({ text }) => text)];
  const tabStop = Math.min(current, values.length - 1);
  return (
    <div className="plan-axis" data-invalid={wrong.length > 0 ? true : undefined} role="group" aria-labelledby={`${id}:label`}>
      <div className="plan-axis-head">
        <label htmlFor={id} id={`${id}:label`}>
          {field.label} <span className="quiet">in {field.unit}</span>
        </label>
        <span className="quiet small">{values.length === 1 ? '1 value' : `${values.length} values`}</span>
      </div>
      {asText === null ? (
        <>
          {values.length > 0 && values.length <= mostChips && (
            <ul className="plan-chips" ref={chips} aria-label={`Values of ${field.label}`}>
              {values.map((value, index) => {
                const own = problemsAt(problems, `${path}[${index}]`);
                return (
                  <li key={`${value} ${index}`}>
                    <button
                      type="button"
                      id={idOf(`${path}[${index}]`)}
                      className={own.length > 0 ? 'plan-chip plan-chip-bad' : 'plan-chip'}
                      tabIndex={index === tabStop ? 0 : -1}
                      aria-label={`${value} ${field.unit}${own.length > 0 ? `, ${own.map((text) => planProblemShown(text, words.unit)).join(' ')}` : ''}. Remove.`}
                      title="Delete, or click, takes this value out"
                      onFocus={() => setCurrent(index)}
                      onKeyDown={(event) => onChipKey(event, index)}
                      onClick={() => takeOut(index)}
                    >
                      {own.length > 0 && <span aria-hidden="true">✕ </span>}
                      {value}
                      <span className="plan-chip-out" aria-hidden="true">
                        ×
                      </span>
                    </button>
                  </li>
                );
              })}
            </ul>
          )}
          {values.length > mostChips && (
            <p className="small">
              {listText(values.slice(0, 8))} … {listText(values.slice(-2))}. Edit the list as text to change single values.
            </p>
          )}
          <div className="plan-axis-entry">
            <span className="field-frame">
              <input
                id={id}
                ref={input}
                type="text"
                className="plan-text"
                autoComplete="off"
                spellCheck={false}
                value={typed}
                placeholder={`add, such as ${examples[axis]()}`}
                aria-invalid={wrong.length > 0}
                aria-describedby={`${id}:help ${id}:wrong`}
                onChange={(event) => {
                  setTyped(event.target.value);
                  readAll();
                }}
                onKeyDown={(event) => {
                  if (event.key === 'Enter') {
                    event.preventDefault();
                    add();
                  } else if (event.key === 'Escape' && typed !== '') {
                    event.preventDefault();
                    setTyped('');
                    readAll();
                  } else if (event.key === 'Backspace' && typed === '' && values.length > 0) {
                    event.preventDefault();
                    focusChip(values.length - 1);
                  }
                }}
                onBlur={add}
              />
            </span>
            <Button onPress={add} label={`Add: values of ${field.label}`}>
              Add
            </Button>
            {values.length > 1 && (
              <Button
                kind="quiet"
                label={`Sort: values of ${field.label}`}
                onPress={() => {
                  set(ascending(values));
                  setSaid('Sorted from the lowest to the highest.');
                }}
              >
                Sort
              </Button>
            )}
            <Button kind="quiet" onPress={() => setAsText(listText(values))} label={`As text: values of ${field.label}`}>
              As text
            </Button>
          </div>
        </>
      ) : (
        <AxisText
          id={id}
          text={asText}
          onText={(text) => {
            setAsText(text);
            readAll();
          }}
          onTake={(area) => {
            const found = read(asText, area);
            if (found !== null) takeText(found);
          }}
          onLeave={() => {
            setAsText(null);
            readAll();
          }}
        />
      )}
      <span className="field-hint" id={`${id}:help`}>
        {field.help} {rangeHint(words)}
      </span>
      <FieldProblems id={`${id}:wrong`} texts={[...new Set(wrong)].slice(0, 4)} unit={words.unit} />
      {readings.length > 0 && (
        <div className="button-row" role="group" aria-label={`What is meant: values of ${field.label}`}>
          {readings.map((reading) => (
            <Button key={reading.said} onPress={() => mean(reading.values)}>
              It means {reading.said}
            </Button>
          ))}
        </div>
      )}
      <span className="small quiet" role="status">
        {said}
      </span>
    </div>
  );
}

interface AxisTextProps {
  readonly id: string;
  readonly text: string;
  readonly onText: (text: string) => void;
  readonly onTake: (area: HTMLTextAreaElement | null) => void;
  readonly onLeave: () => void;
}

function AxisText({ id, text, onText, onTake, onLeave }: AxisTextProps) {
  const area = useRef<HTMLTextAreaElement>(null);
  return (
    <div className="plan-axis-entry">
      <textarea
        id={id}
        ref={area}
        className="field-frame"
        value={text}
        spellCheck={false}
        autoFocus
        aria-describedby={`${id}:help ${id}:wrong`}
        onChange={(event) => onText(event.target.value)}
        onKeyDown={(event) => {
          if (event.key === 'Enter' && (event.ctrlKey || event.metaKey)) onTake(area.current);
          if (event.key === 'Escape') onLeave();
        }}
      />
      <Button onPress={() => onTake(area.current)}>Take this list</Button>
      <Button kind="quiet" onPress={onLeave}>
        Leave it as it was
      </Button>
    </div>
  );
}
