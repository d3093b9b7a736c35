import type { ReactNode } from 'react';
import { FieldError, Group, Input, Label, NumberField, Text, TextField } from 'react-aria-components';

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
  /** NaN: empty. */
  readonly value: number;
  readonly onChange: (value: number) => void;
  readonly min?: number;
  readonly max?: number;
  /** One press of an arrow key. The number itself is not rounded to it. */
  readonly step?: number;
  /** Most digits after the point. */
  readonly decimals?: number;
  readonly onEnter?: () => void;
}

/** A number with its unit inside the frame. Arrow keys step; what is outside of the range is named, not changed in silence. */
export function NumberInput({ label, hint, problem = '', disabled = false, autoFocus, unit, value, onChange, min, max, step, decimals = 3, onEnter }: NumberInputProps) {
  const outside =
    Number.isFinite(value) && ((min !== undefined && value < min) || (max !== undefined && value > max))
      ? `Allowed: ${min ?? '…'} to ${max ?? '…'} ${unit}.`
      : '';
  const wrong = problem === '' ? outside : problem;
  return (
    <NumberField
      className="field"
      value={value}
      onChange={onChange}
      isDisabled={disabled}
      isInvalid={wrong !== ''}
      validationBehavior="aria"
      formatOptions={{ maximumFractionDigits: decimals, useGrouping: false }}
      isWheelDisabled
      {...(autoFocus === undefined ? {} : { autoFocus })}
    >
      <Label>{label}</Label>
      <Group className="field-frame">
        <Input
          onKeyDown={(event) => {
            if (event.key === 'Enter' && onEnter !== undefined) onEnter();
            if (step === undefined || (event.key !== 'ArrowUp' && event.key !== 'ArrowDown')) return;
            event.preventDefault();
            event.stopPropagation();
            const next = (Number.isFinite(value) ? value : 0) + (event.key === 'ArrowUp' ? step : -step);
            onChange(Number(Math.min(max ?? Infinity, Math.max(min ?? -Infinity, next)).toFixed(decimals)));
          }}
        />
        <span className="field-unit" aria-hidden="true">
          {unit}
        </span>
      </Group>
      {hint !== undefined && <Text slot="description">{hint}</Text>}
      <FieldError>{wrong}</FieldError>
    </NumberField>
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
