/** Requests of one run: on the bench, and what is stored of it. */
import { z } from 'zod';
import { stabilitySignals } from '../results/stability-signals.ts';
import type { BenchFrame } from '../bench/port.ts';
import { runCommandSchema } from '../journal/commands.ts';
import type { RunEvent } from '../journal/events.ts';
import { upcast } from '../journal/upcast.ts';
import type { RunStatus } from '../run/engine.ts';
import { accepted, finite, id, keptFiles, nothing, person, text, type Requests } from './fields.ts';

export const runEvent = z.unknown().transform((value, context): RunEvent => {
  const read = upcast(value);
  if (read.ok) return read.event;
  context.addIssue({ code: 'custom', message: `An event of the run ${read.text}.` });
  return z.NEVER;
});
export const benchFrame = z.custom<BenchFrame>((value) => {
  const frame = value as Partial<Record<keyof BenchFrame, unknown>> | null;
  return typeof frame?.at === 'number' && typeof frame.number === 'number' && typeof frame.pressure === 'number';
});
export const runStatus = z.custom<RunStatus>((value) => typeof (value as { mode?: unknown } | null)?.mode === 'string');

/** Least and most; null: nothing was read. */
const extent = z.tuple([finite, finite]).nullable();

export const runRequests = {
  'run.open': { control: true, params: z.strictObject({ document: z.unknown(), operator: person }), result: z.object({ id }) },
  /** Opens a stored run on the bench again, to continue it or to measure points again. */
  'run.continue': { control: true, params: z.strictObject({ id }), result: z.object({ id }) },
  'run.command': { control: true, params: z.strictObject({ id, command: runCommandSchema, by: person, commandId: id }), result: accepted },
  /** Lets go of a run that rests; the bench stays connected. */
  'run.close': { control: true, params: z.strictObject({ id }), result: nothing },
  'run.journal': {
    control: false,
    params: z.strictObject({ id, fromSeq: z.int().min(0), limit: z.int().min(1).max(5000) }),
    result: z.object({ events: z.array(runEvent), more: z.boolean() }),
  },
  /**
   * The same condensed (`app/journal/condensed.ts`): what stands of the `limit` events from `fromSeq` on, or of fewer. `next`: the place of the first event behind them, which is
   * where to read on. HOST-170
   */
  'run.condensed': {
    control: false,
    params: z.strictObject({ id, fromSeq: z.int().min(0), limit: z.int().min(1).max(5000) }),
    result: z.object({ events: z.array(runEvent), next: z.int().min(0), more: z.boolean() }),
  },
  /** Frames stored with a run, thinned to at most `most`. */
  'run.telemetry': {
    control: false,
    params: z.strictObject({ id, most: z.int().min(2).max(2000) }),
    result: z.object({ frames: z.array(benchFrame) }),
  },
  /**
   * What the bench read from `from` to `to` (ms of the day; absent: from the beginning, to the end), as least and most in so many equal parts: pressure in kPa, rail temperature in °C,
   * supply in V, flow in mL/min at the meter. `at`: middle of a part. Parts without a frame are left out. HOST-93
   */
  'run.signals': {
    control: false,
    params: z.strictObject({ id, from: finite.optional(), to: finite.optional(), parts: z.int().min(2).max(2000) }),
    result: z.object({
      /** What there is of the run; null: no frame. */
      whole: z.object({ from: finite, to: finite }).nullable(), from: finite, to: finite,
      parts: z.array(z.object({ at: finite, pressure: extent, temperature: extent, supply: extent, flow: extent })),
    }),
  },
  /**
   * How steady the bench held the point that a run held longest, as the command `stability` has it: deviations of the mass relative, of the others Pa, V, K; times in s. `at` null: none was held long enough, and `text`
   * says so. `paysUntil` null: beyond what the record tells. WIN-200
   */
  'run.stability': {
    control: false, params: z.strictObject({ id }),
    result: z.object({
      at: z.object({ serialNumber: z.string(), voltage: finite, pressure: finite, width: finite, period: finite }).nullable(), text: z.string(), step: finite, duration: finite, windows: z.int(),
      signals: z.array(z.object({
        signal: z.enum(stabilitySignals), paysUntil: finite.nullable(), pays: z.string(), drift: z.string(),
        rows: z.array(z.object({ time: finite, deviation: finite, low: finite, high: finite, dof: finite, noise: z.enum(['resolution', 'white', 'flicker', 'walk']) })),
      })),
    }),
  },
  /** Makes the files of a run, for the window to offer; the host keeps the latest few exports. */
  'run.export': { control: false, params: z.strictObject({ id }), result: keptFiles },
  /** The text of such a file from a byte on. `next`: where to read on; null: that was the end. */
  'export.piece': {
    control: false, params: z.strictObject({ export: id, file: text, from: z.int().min(0) }), result: z.object({ text: z.string(), next: z.int().nullable() }),
  },
} as const satisfies Requests;
