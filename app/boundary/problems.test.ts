import { expect, test } from 'vitest';
import { z } from 'zod';
import { problemsOf } from './problems.ts';

const schema = z.strictObject({
  begins: z.union([z.strictObject({ atS: z.number() }), z.strictObject({ atBurst: z.int() })]).optional(),
  fault: z
    .discriminatedUnion('kind', [z.strictObject({ kind: z.literal('silent') }), z.strictObject({ kind: z.literal('stuck'), at: z.number() })])
    .optional(),
  ratio: z.number().gt(0).lt(1).optional(),
  step: z.number().multipleOf(5).optional(),
  name: z.string().max(3).optional(),
  list: z.array(z.boolean()).max(1).optional(),
});

const problems = (input: unknown) => {
  const parsed = schema.safeParse(input);
  return parsed.success ? [] : problemsOf(parsed.error, input).map((p) => `${p.path}: ${p.text}`);
};

test.each([
  [{ begins: {} }, 'begins: This fits none of the forms that are allowed. It is an object; it would need atS a finite number, or atBurst a finite number.'],
  [{ begins: { atS: 1, atBurst: 1 } }, 'begins: This fits none of the forms that are allowed. It is an object; it would need without atBurst, or without atS.'],
  [{ fault: { kind: 'loud' } }, 'fault.kind: This must be one of silent, stuck, but it is the text "loud".'],
  [{ fault: { kind: 'stuck' } }, 'fault.at: This field is missing. It must be a finite number.'],
  [{ ratio: 1 }, 'ratio: This must be less than 1, but it is 1.'],
  [{ step: 7 }, 'step: This must be a multiple of 5, but it is 7.'],
  [{ name: 'long' }, 'name: This text may have 3 characters at most.'],
  [{ name: null }, 'name: This must be a text, but it is null.'],
  [{ list: [true, false] }, 'list: This list may have 1 entry at most.'],
  [{ list: ['x'.repeat(99)] }, `list[0]: This must be true or false, but it is the text "${'x'.repeat(40)}...".`],
])('a problem in words (case %#)', (input, text) => {
  expect(problems(input)).toEqual([text]);
});
