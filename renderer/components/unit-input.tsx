/** A field whose value stands in the unit of the house and is typed in the unit that a person chose (WIN-130, WIN-131). */
import { useState } from 'react';
import { storedFromTyped, typedFromStored, unitShown } from '../settings/quantities.ts';
import { TextInput } from './field.tsx';
import { problemShown } from './problem-shown.ts';

interface InChosenUnit {
  readonly text: string;
  readonly onText: (text: string) => void;
}

/** A text in the units of the house and as it is typed, there and back. */
interface Conversion {
  readonly stored: (typed: string) => string;
  readonly typed: (stored: string) => string;
}

/** `stored` is touched only by what is typed: a value that is merely shown in another unit stays as it was, to the last bit. */
export function useConverted(conversion: Conversion, stored: string, onStored: (text: string) => void): InChosenUnit {
  const [typed, setTyped] = useState(() => conversion.typed(stored));
  // What did not come from this field takes the place of what was typed.
  const text = conversion.stored(typed) === stored ? typed : conversion.typed(stored);
  return {
    text,
    onText: (next) => {
      setTyped(next);
      onStored(conversion.stored(next));
    },
  };
}

export const useInChosenUnit = (unit: string, stored: string, onStored: (text: string) => void, difference = false): InChosenUnit =>
  useConverted({ stored: (typed) => storedFromTyped(unit, typed, difference), typed: (text) => typedFromStored(unit, text, difference) }, stored, onStored);

interface UnitInputProps {
  readonly label: string;
  /** Of the house; absent: none. */
  readonly unit?: string | undefined;
  /** A tolerance or an uncertainty. */
  readonly difference?: boolean | undefined;
  readonly hint?: string | undefined;
  /** As the reader of the document tells it, in the unit of the house. */
  readonly problem?: string;
  readonly disabled?: boolean;
  readonly value: string;
  readonly onChange: (stored: string) => void;
}

/** Label with the chosen unit behind it. */
export function UnitInput({ label, unit = '', difference = false, problem = '', value, onChange, ...rest }: UnitInputProps) {
  const { text, onText } = useInChosenUnit(unit, value, onChange, difference);
  return <TextInput label={unit === '' ? label : `${label}, ${unitShown(unit)}`} problem={problemShown(problem, unit, difference)} value={text} onChange={onText} {...rest} />;
}
