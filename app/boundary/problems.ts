/** What is wrong with a document, in sentences that a person can act on. */
import type { z } from 'zod';
import { namePattern, oneLinePattern, shown } from './text.ts';

export interface Problem {
  /** Where: `axes.widthMs[3]`; empty for the document as a whole. */
  readonly path: string;
  /** What is wrong there and what would be right: one sentence or two. */
  readonly text: string;
}

/** `['axes', 'widthMs', 3]` as `axes.widthMs[3]`. */
export function pathText(path: readonly PropertyKey[]): string {
  return path.reduce<string>((text, step) => {
    if (typeof step === 'number') return `${text}[${step}]`;
    return text === '' ? String(step) : `${text}.${String(step)}`;
  }, '');
}

/** The findings of a zod schema about `input`, one problem for each field. */
export function problemsOf(error: z.ZodError, input: unknown): readonly Problem[] {
  return error.issues.flatMap((issue) => {
    if (issue.code === 'unrecognized_keys') {
      return issue.keys.map((key) => ({
        path: pathText([...issue.path, key]),
        text: 'There is no field of this name. Check its spelling, or take it out.',
      }));
    }
    return [{ path: pathText(issue.path), text: sentence(issue, valueAt(input, issue.path)) }];
  });
}

// eslint-disable-next-line complexity -- one sentence for each kind of problem that zod tells
function sentence(issue: z.core.$ZodIssue, value: unknown): string {
  if (issue.code === 'invalid_union' && issue.errors.length > 0) return noFormFits(issue.errors, value);
  if (value === undefined && issue.code !== 'custom') return `This field is missing. It must be ${wanted(issue)}.`;
  const found = described(value);
  switch (issue.code) {
    case 'invalid_type':
    case 'invalid_value':
    case 'invalid_union':
    case 'invalid_format':
      return `This must be ${wanted(issue)}, but it is ${found}.`;
    case 'not_multiple_of':
      return `This must be a multiple of ${issue.divisor}, but it is ${found}.`;
    case 'too_small':
      if (issue.origin === 'array') return `This list needs ${counted(issue.minimum, 'entry', 'entries')} or more.`;
      if (issue.origin === 'string') return 'This text must not be empty.';
      return `This must be ${issue.inclusive === false ? 'more than' : 'at least'} ${String(issue.minimum)}, but it is ${found}.`;
    case 'too_big':
      if (issue.origin === 'array') return `This list may have ${counted(issue.maximum, 'entry', 'entries')} at most.`;
      if (issue.origin === 'string') return `This text may have ${counted(issue.maximum, 'character', 'characters')} at most.`;
      return `This must be ${issue.inclusive === false ? 'less than' : 'at most'} ${String(issue.maximum)}, but it is ${found}.`;
    case 'custom':
    case 'unrecognized_keys':
    case 'invalid_key':
    case 'invalid_element':
      return issue.message;
  }
}

/** Several forms are allowed and none fits: what each of them misses. */
function noFormFits(forms: readonly (readonly z.core.$ZodIssue[])[], value: unknown): string {
  const misses = forms.map((issues) =>
    issues
      .map((issue) => {
        if (issue.code === 'unrecognized_keys') return `without ${issue.keys.join(', ')}`;
        const where = pathText(issue.path);
        return `${where === '' ? '' : `${where} `}${wanted(issue)}`;
      })
      .join(' and '),
  );
  return `This fits none of the forms that are allowed. It is ${described(value)}; it would need ${misses.join(', or ')}.`;
}

/** What the schema wanted, as the end of "This must be ...". */
function wanted(issue: z.core.$ZodIssue): string {
  switch (issue.code) {
    case 'invalid_type':
      return kinds[issue.expected] ?? `of type ${issue.expected}`;
    case 'invalid_value':
      return issue.values.length === 1
        ? String(issue.values[0])
        : `one of ${issue.values.map((value) => String(value)).join(', ')}`;
    case 'invalid_union':
      // zod says which values decide between the forms, but its type does not.
      return 'options' in issue && Array.isArray(issue.options) ? `one of ${issue.options.join(', ')}` : 'one of the forms that are allowed';
    case 'invalid_format':
      if (issue.format === 'date') return 'a date like 2026-03-31';
      if (issue.pattern === String(oneLinePattern)) return 'a text of one line, without line breaks and other control characters';
      if (issue.pattern === String(namePattern)) return 'small letters, digits and hyphens, a letter first';
      return issue.pattern === undefined ? `a text of the form ${issue.format}` : `a text that matches ${issue.pattern}`;
    default:
      return 'given in the form that the schema describes';
  }
}

const kinds: Readonly<Record<string, string>> = {
  number: 'a finite number',
  int: 'a whole number',
  string: 'a text',
  boolean: 'true or false',
  array: 'a list',
  object: 'an object with named fields',
};

function described(value: unknown): string {
  if (value === null) return 'null';
  if (Array.isArray(value)) return 'a list';
  switch (typeof value) {
    case 'string':
      return `the text "${shown(value.length > 40 ? `${value.slice(0, 40)}...` : value)}"`;
    case 'number':
    case 'boolean':
    case 'bigint':
      return String(value);
    case 'undefined':
      return 'missing';
    case 'object':
      return 'an object';
    default:
      return `a ${typeof value}`;
  }
}

function counted(n: number | bigint, one: string, many: string): string {
  return `${String(n)} ${Number(n) === 1 ? one : many}`;
}

function valueAt(input: unknown, path: readonly PropertyKey[]): unknown {
  return path.reduce<unknown>(
    (value, step) => (typeof value === 'object' && value !== null ? (value as Record<PropertyKey, unknown>)[step] : undefined),
    input,
  );
}
