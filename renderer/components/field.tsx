import { useState } from 'react';
import type { ReactNode } from 'react';
import { FieldError, Group, Input, Label, Text, TextField } from 'react-aria-components';
import { numberIn, readNumber } from '../settings/read-number.ts';

interface CommonProps {
  readonly label: string;
  /** One line below: the range, where the number comes from. */
  readonly hint?: string | undefined;
  /** What is wrong with it, in words; empty or absent: nothing. */
  readonly problem?: string | undefined;
  readonly disabled?: boolean;
  readonly autoFocus?: boolean;
}

interface NumberInputProps extends CommonProps {
  readonly unit: string;
  /** NaN: empty, or what is typed is no number. */
  readonly value: number;
  readonly onChange: (value: number) => void;
  readonly min?: number;
  readonly max?: number;
  /** One press of an arrow key. The number itself is not rounded to it. */
  readonly step?: number;
  /** Digits after the point that a number which was not typed here is shown with, at most. */
  readonly decimals?: number;
  readonly onEnter?: () => void;
  /** The text itself, where somebody else keeps it (WIN-28). */
  readonly typed?: string;
  readonly onTyped?: (text: string) => void;
}

/**
 * A number with its unit inside the frame (WIN-1, WIN-2). The text stays as it was typed, also when it is no number or
 * outside of the range: that is named, and nothing is changed in silence. Arrow keys step.
 */
// eslint-disable-next-line complexity -- an attribute for each thing a field may have
export function NumberInput({ label, hint, problem = '', disabled = false, autoFocus, unit, value, onChange, min, max, step, decimals = 3, onEnter, typed: keptText, onTyped }: NumberInputProps) {
  const shown = (number: number): string => (Number.isFinite(number) ? String(Number(number.toFixed(decimals))) : '');
  const [ownText, setOwnText] = useState(() => shown(value));
  const typed = keptText ?? ownText;
  const setTyped = (text: string): void => {
    setOwnText(text);
    onTyped?.(text);
  };
  const [given, setGiven] = useState(value);
  const read = readNumber(typed);
  // A value that did not come from this field takes the place of what was typed.
  if (keptText === undefined && !Object.is(value, given)) {
    setGiven(value);
    if (!Object.is(numberIn(typed), value)) setTyped(shown(value));
  }
  const take = (text: string): void => {
    setTyped(text);
    const number = numberIn(text);
    setGiven(number);
    onChange(number);
  };
  const outside =
    Number.isFinite(value) && ((min !== undefined && value < min) || (max !== undefined && value > max))
      ? `Allowed: ${min ?? '…'} to ${max ?? '…'} ${unit}.`
      : '';
  const wrong = read.kind === 'unreadable' ? read.why : problem === '' ? outside : problem;
  // Whoever types a comma sees what it was read as.
  const readAs = read.kind === 'number' && typed.includes(',') ? `Read as ${read.text} ${unit}.` : '';
  return (
    <TextField className="field" value={typed} onChange={take} isDisabled={disabled} isInvalid={wrong !== ''} validationBehavior="aria" {...(autoFocus === undefined ? {} : { autoFocus })}>
      <Label>{label}</Label>
      <Group className="field-frame">
        <Input
          inputMode="decimal"
          autoComplete="off"
          spellCheck={false}
          onKeyDown={(event) => {
            if (event.key === 'Enter' && onEnter !== undefined) onEnter();
            if (step === undefined || (event.key !== 'ArrowUp' && event.key !== 'ArrowDown')) return;
            event.preventDefault();
            event.stopPropagation();
            // What cannot be read is not stepped away from.
            if (read.kind === 'unreadable') return;
            const next = (Number.isFinite(value) ? value : 0) + (event.key === 'ArrowUp' ? step : -step);
            take(shown(Math.min(max ?? Infinity, Math.max(min ?? -Infinity, next))));
          }}
        />
        <span className="field-unit" aria-hidden="true">
          {unit}
        </span>
      </Group>
      {(hint !== undefined || readAs !== '') && <Text slot="description">{[readAs, hint ?? ''].filter((part) => part !== '').join(' ')}</Text>}
      <FieldError>{wrong}</FieldError>
    </TextField>
  );
}

interface TextInputProps extends CommonProps {
  readonly value: string;
  readonly onChange: (value: string) => void;
  readonly onEnter?: () => void;
}

export function TextInput({ label, hint, problem = '', disabled = false, autoFocus, value, onChange, onEnter }: TextInputProps) {
  return (
    <TextField
      className="field"
      value={value}
      onChange={onChange}
      isDisabled={disabled}
      isInvalid={problem !== ''}
      validationBehavior="aria"
      onKeyDown={(event) => {
        if (event.key === 'Enter' && onEnter !== undefined) onEnter();
      }}
      {...(autoFocus === undefined ? {} : { autoFocus })}
    >
      <Label>{label}</Label>
      <Input className="field-frame" />
      {hint !== undefined && <Text slot="description">{hint}</Text>}
      <FieldError>{problem}</FieldError>
    </TextField>
  );
}

/** How a day is typed. WIN-220 */
export const dayHint = 'Like 2026-03-31.';

/** A day as records have it, whatever the browser's language is: its own control would show 03/04 to one person and 04/03 to the next. */
export function DayInput(props: Omit<TextInputProps, 'hint'>) {
  return <TextInput {...props} hint={dayHint} onChange={(text) => props.onChange(text.trim())} />;
}

interface ChoiceProps<T extends string> extends CommonProps {
  readonly value: T;
  readonly options: readonly { readonly value: T; readonly text: string }[];
  readonly onChange: (value: T) => void;
}

/** One of several, by the platform's own list: it works with every keyboard and reader. */
export function Choice<T extends string>({ label, hint, problem = '', disabled = false, value, options, onChange }: ChoiceProps<T>) {
  return (
    <Field label={label} hint={hint} problem={problem}>
      <select
        className="field-frame"
        value={value}
        disabled={disabled}
        onChange={(event) => {
          const chosen = options.find((option) => option.value === event.target.value);
          if (chosen !== undefined) onChange(chosen.value);
        }}
      >
        {options.map((option) => (
          <option key={option.value} value={option.value}>
            {option.text}
          </option>
        ))}
      </select>
    </Field>
  );
}

/** Label, hint and problem around a control of the platform (select, textarea, file). */
export function Field({ label, hint, problem = '', children }: { readonly label: string; readonly hint?: string | undefined; readonly problem?: string; readonly children: ReactNode }) {
  return (
    <label className="field">
      <span className="field-label">{label}</span>
      {children}
      {hint !== undefined && <span className="field-hint">{hint}</span>}
      {problem !== '' && (
        <span className="field-problem" role="alert">
          {problem}
        </span>
      )}
    </label>
  );
}
