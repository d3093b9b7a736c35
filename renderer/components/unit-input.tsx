/** A field whose value stands in the unit of the house and is typed in the unit that a person chose (WIN-130, WIN-131). */
import { useState } from 'react';
import { storedFromTyped, typedFromStored, unitShown } from '../settings/quantities.ts';
import { TextInput } from './field.tsx';

interface InChosenUnit {
  readonly text: string;
  readonly onText: (text: string) => void;
}

/** `stored` is touched only by what is typed: a value that is merely shown in another unit stays as it was, to the last bit. */
export function useInChosenUnit(unit: string, stored: string, onStored: (text: string) => void, difference = false): InChosenUnit {
  const [typed, setTyped] = useState(() => typedFromStored(unit, stored, difference));
  // What did not come from this field takes the place of what was typed.
  const text = storedFromTyped(unit, typed, difference) === stored ? typed : typedFromStored(unit, stored, difference);
  return {
    text,
    onText: (next) => {
      setTyped(next);
      onStored(storedFromTyped(unit, next, difference));
    },
  };
}

interface UnitInputProps {
  readonly label: string;
  /** Of the house; absent: none. */
  readonly unit?: string | undefined;
  /** A tolerance or an uncertainty. */
  readonly difference?: boolean | undefined;
  readonly hint?: string | undefined;
  readonly problem?: string;
  readonly disabled?: boolean;
  readonly value: string;
  readonly onChange: (stored: string) => void;
}

/** Label with the chosen unit behind it. */
export function UnitInput({ label, unit = '', difference = false, value, onChange, ...rest }: UnitInputProps) {
  const { text, onText } = useInChosenUnit(unit, value, onChange, difference);
  return <TextInput label={unit === '' ? label : `${label}, ${unitShown(unit)}`} value={text} onChange={onText} {...rest} />;
}
