/** What a person types as the value of an option (CLI-2). */
import { InvalidArgumentError, type Command } from 'commander';
import { exitCode } from './exit-codes.ts';
import { Stop } from './stop.ts';

/** A number as people write it, in decimal digits; NaN for anything else: nothing, "0x10", "1e", " ", and what is too large to be one. */
export function decimal(text: string): number {
  const value = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/iu.test(text.trim()) ? Number(text) : Number.NaN;
  return Number.isFinite(value) ? value : Number.NaN;
}

/** A whole number, at least so much. */
export function wholeNumber(least: number): (text: string) => number {
  return (text) => {
    const value = decimal(text);
    if (!Number.isInteger(value) || value < least) throw new InvalidArgumentError(`It must be a whole number of at least ${least}.`);
    return value;
  };
}

/** A file that is to be made: "-" would be one of that name. */
export function newFile(path: string): string {
  if (path === '-') throw new InvalidArgumentError('It is kept as a file and does not go to standard output. Name a file.');
  return path;
}

/** Places on an axis that a table may have at most, as in a plan. */
const MOST_ON_AXIS = 200;

/** Values of an axis, strictly rising, times `toSi`. */
export function axis(toSi: number): (text: string) => readonly number[] {
  return (text) => {
    const values = text.split(',').map(decimal);
    if (!values.every((v, i) => Number.isFinite(v) && v > 0 && (i === 0 || v > (values[i - 1] ?? 0)))) {
      throw new InvalidArgumentError('Give rising numbers above 0, with commas between.');
    }
    if (values.length > MOST_ON_AXIS) throw new InvalidArgumentError(`An axis may have ${MOST_ON_AXIS} places at most; these are ${values.length}.`);
    return values.map((v) => v * toSi);
  };
}

const isEmpty = (value: unknown): boolean => (typeof value === 'string' ? value.trim() === '' : Array.isArray(value) && value.some(isEmpty));

/** An empty value is a variable of the shell that was not set, and never a choice. Stops the command before anything is opened. */
export function refuseEmptyValues(command: Command): void {
  for (const option of command.options) {
    if (isEmpty(command.getOptionValue(option.attributeName()))) {
      const from = command.getOptionValueSource(option.attributeName()) === 'env' ? `The variable ${option.envVar ?? ''}` : `The value of ${option.long ?? option.flags}`;
      throw new Stop(exitCode.badInput, `${from} is empty. Give one, or leave it out. Nothing was done.`);
    }
  }
  command.registeredArguments.forEach((argument, i) => {
    if (isEmpty(command.processedArgs[i])) throw new Stop(exitCode.badInput, `The ${argument.name()} is empty. Give one${argument.required ? '' : ', or leave it out'}. Nothing was done.`);
  });
}
