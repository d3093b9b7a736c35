/**
 * Each kind of event as it stands in journals of all versions: what is required was there from the beginning, or every journal that has
 * the kind has it. They check, and change nothing but plan and equipment: fields that a later version writes stay, as does their order.
 */
import { z } from 'zod';
import { windowSignals, type Spreads } from '../bench/readings.ts';
import type { Problem } from '../boundary/problems.ts';
import { shownThroughout } from '../boundary/text.ts';
import { parseEquipment } from '../equipment/parse.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { parsePlan } from '../plan/parse.ts';
import type { Plan } from '../plan/plan.ts';
import { asStored } from '../plan/stored.ts';
import { broughtInJournal, commands, type RunCommand } from './commands.ts';
import type { RunEventBody } from './events.ts';

const { looseObject, literal, string: text, boolean } = z;
const kind = <K extends RunEventBody['kind']>(name: K) => literal(name);

const real = z.number();
const count = z.int().min(0);
const index = count;
const attempt = z.int().min(1);
const indices = z.array(index);

const verdict = z.enum(['accepted', 'rejected', 'cut']);
const attemptReason = z.enum(['plan', 'repeat', 'second-pass', 'measure-again', 'resumed']);
const origin = z.enum(['first-pass', 'second-pass', 'measure-again']);
const step = z.enum(['supply', 'condition', 'purge', 'settle', 'measure', 'stop']);
const ending = z.enum(['complete', 'complete-with-failures', 'finished-early', 'aborted', 'emergency-stopped']);
const decider = z.union([looseObject({ rule: text() }), looseObject({ person: text() })]);
/** Beside a text, from the version on that writes it (RUN-193, RUN-194). */
const held = { quantity: text(), found: real.nullable(), low: real.nullable(), high: real.nullable(), unit: text() };
const reading = looseObject(held).optional();
const criteria = z.array(looseObject({
  rule: text(), passed: boolean(), text: text(),
  quantity: held.quantity.optional(), found: held.found.optional(), low: held.low.optional(), high: held.high.optional(), unit: held.unit.optional(),
}));

const spread = looseObject({ mean: real, sd: real });
/** Signals that came later are absent in journals of earlier versions. */
const spreads = Object.fromEntries(windowSignals.map(({ id, addedToWindows, further }) => [id, addedToWindows === true || further === true ? spread.optional() : spread])) as unknown as {
  readonly [S in keyof Spreads]-?: z.ZodType<AsRead<Spreads[S]>>;
};
const decay = looseObject({ from: real, to: real, frames: count, pressure: real, railTemperature: real, slope: real, uSlope: real, warming: real, uWarming: real });
const window = looseObject({
  from: real, to: real, frames: count, missingFrames: z.int(), edges: count, firstEdgeAt: real, lastEdgeAt: real, partRates: z.array(real), pulses: z.int(),
  ...spreads,
  idle: looseObject({ edges: real, time: real }).optional(), decay: decay.optional(),
});

const command = z.union(
  Object.keys(commands).map((name) => looseObject({ kind: literal(name), ...(broughtInJournal as Readonly<Record<string, z.ZodRawShape>>)[name] })),
) as unknown as z.ZodType<AsRead<RunCommand>>;

const afterSafe = z.union([
  looseObject({ kind: literal('paused'), guard: text().optional(), text: text().optional() }),
  looseObject({ kind: z.enum(['held', 'tripped']), guard: text(), text: text(), reading }),
  looseObject({ kind: literal('ended'), ending }),
]);

const identity = looseObject({ model: text(), serialNumber: text(), firmware: text(), protocol: count });
const capabilities = looseObject({
  channels: count, timerResolution: real, minWidth: real, maxWidth: real, minPeriod: real, maxPeriod: real, maxCount: real, minSupply: real, maxSupply: real, safeSupply: real,
  pressure: z.union([looseObject({ commandable: literal(true), min: real, max: real }), looseObject({ commandable: literal(false) })]),
  rail: looseObject({ pump: boolean(), relief: boolean(), shutOff: boolean() }).optional(),
  deadManMin: real, deadManMax: real, telemetryMaxHz: real, interlocks: z.array(text()),
});

const fault = looseObject({ code: text(), text: text() });
const addedPoint = looseObject({
  role: z.enum(['measure', 'reference', 'static', 'pair', 'invariance', 'blind', 'zero', 'look']), injector: index, channel: count, voltage: real, pressure: real, width: real, period: real, replicate: count,
  changed: z.enum(['time', 'period', 'long-period', 'pressure-up', 'pressure-down']).optional(),
});

function refuse(problems: readonly Problem[], context: z.RefinementCtx): never {
  for (const { path, text: message } of problems) context.addIssue({ code: 'custom', message: `${path}: ${message}` });
  return z.NEVER;
}

/** The same type as a schema can give it: quantities without their brand, absent fields also as `undefined`. */
type AsRead<T> = T extends number
  ? number
  : T extends readonly (infer Item)[]
    ? readonly AsRead<Item>[]
    : T extends object
      ? { [Key in keyof T]: AsRead<T[Key]> | (object extends Pick<T, Key> ? undefined : never) }
      : T;

/** One schema for each kind; the compiler holds it to `RunEventBody`. */
export const bodySchemas = {
  opened: looseObject({
    kind: kind('opened'),
    plan: z.unknown().transform((stored, context): Plan => {
      const parsed = parsePlan(asStored(stored));
      return parsed.ok ? parsed.plan : refuse(parsed.problems, context);
    }),
    equipment: z.unknown().transform((stored, context): Equipment => {
      const parsed = parseEquipment(shownThroughout(stored));
      return parsed.ok ? parsed.equipment : refuse(parsed.problems, context);
    }),
    operator: text(), software: text(), points: count,
  }),
  'bench-connected': looseObject({ kind: kind('bench-connected'), identity, capabilities, bootId: text(), link: text() }),
  preflight: looseObject({
    kind: kind('preflight'),
    lines: z.array(looseObject({ rule: text(), result: z.enum(['pass', 'warn', 'refuse']), text: text(), untraceable: text().optional() })),
    qualification: looseObject({ bench: text(), version: count, sha256: text(), until: real }).optional(),
  }),
  commanded: looseObject({ kind: kind('commanded'), id: text(), command, by: text(), answer: z.enum(['accepted', 'refused']), reason: text() }),
  'not-traceable': looseObject({ kind: kind('not-traceable'), reasons: z.array(text()), by: text() }),
  'clocks-compared': looseObject({ kind: kind('clocks-compared'), bootId: text(), comparison: looseObject({ difference: real, u: real, duration: real }), text: text() }),
  'proving-started': looseObject({ kind: kind('proving-started') }),
  'dead-man-proved': looseObject({ kind: kind('dead-man-proved'), silence: real, pulsesBefore: count, pulsesCommanded: count }),
  'dead-man-not-proved': looseObject({ kind: kind('dead-man-not-proved'), text: text() }),
  'measuring-started': looseObject({ kind: kind('measuring-started') }),
  'points-added': looseObject({ kind: kind('points-added'), points: z.array(addedPoint).min(1), by: decider, why: text() }),
  'attempt-started': looseObject({ kind: kind('attempt-started'), point: index, attempt, reason: attemptReason, origin: origin.optional() }),
  step: looseObject({ kind: kind('step'), step, point: index, attempt }),
  'wait-skipped': looseObject({ kind: kind('wait-skipped'), step, point: index, attempt }),
  'attempt-ended': looseObject({
    kind: kind('attempt-ended'), point: index, attempt, verdict, window: window.nullable(), criteria, text: text(),
    injector: index.optional(), cause: text().optional(), drivenWidth: real.optional(),
  }),
  'blind-sealed': looseObject({ kind: kind('blind-sealed'), point: index, attempt, seal: text() }),
  'blind-unsealed': looseObject({ kind: kind('blind-unsealed'), shifts: z.array(looseObject({ point: index, attempt, shift: real, salt: text() })) }),
  chosen: looseObject({ kind: kind('chosen'), point: index, attempt: attempt.nullable(), by: decider, why: text() }),
  'target-changed': looseObject({ kind: kind('target-changed'), voltageV: real.nullable(), deadTimeUs: real, before: real.nullable(), by: text(), ofMap: z.literal(true).optional() }),
  'point-skipped': looseObject({ kind: kind('point-skipped'), point: index, why: text() }),
  'injector-out': looseObject({ kind: kind('injector-out'), how: z.enum(['set-aside', 'given-up']), injector: index, points: indices, cause: text(), text: text() }),
  'injector-looked-at': looseObject({ kind: kind('injector-looked-at'), injector: index, attempts: z.array(count), passed: boolean(), criteria, text: text() }),
  'injector-back': looseObject({ kind: kind('injector-back'), injector: index, text: text() }),
  queued: looseObject({ kind: kind('queued'), points: indices, reason: attemptReason }),
  'second-pass-started': looseObject({ kind: kind('second-pass-started'), points: indices }),
  'guard-noted': looseObject({ kind: kind('guard-noted'), guard: text(), text: text(), reading }),
  'guard-cleared': looseObject({ kind: kind('guard-cleared'), guard: text(), text: text(), reading }),
  'link-lost': looseObject({ kind: kind('link-lost'), text: text() }),
  'link-restored': looseObject({ kind: kind('link-restored'), bootId: text(), text: text() }),
  'link-not-restored': looseObject({ kind: kind('link-not-restored'), text: text() }),
  'clock-stepped': looseObject({ kind: kind('clock-stepped'), by: real, text: text() }),
  'controller-fault': looseObject({ kind: kind('controller-fault'), fault }),
  'making-safe': looseObject({ kind: kind('making-safe'), then: afterSafe, why: text() }),
  'made-safe': looseObject({ kind: kind('made-safe'), confirmed: boolean(), text: text() }),
  paused: looseObject({ kind: kind('paused'), guard: text().optional(), text: text().optional() }),
  held: looseObject({ kind: kind('held'), guard: text(), text: text() }),
  tripped: looseObject({ kind: kind('tripped'), guard: text(), text: text() }),
  acknowledged: looseObject({ kind: kind('acknowledged') }),
  resumed: looseObject({ kind: kind('resumed'), automatic: boolean() }),
  ended: looseObject({ kind: kind('ended'), ending, text: text() }),
  reopened: looseObject({ kind: kind('reopened'), why: text(), plan: literal(true).optional() }),
  'host-restarted': looseObject({ kind: kind('host-restarted'), text: text() }),
} satisfies { readonly [Kind in RunEventBody['kind']]: z.ZodType<AsRead<Extract<RunEventBody, { kind: Kind }>>> };
