/** Requests of a window itself, of the bench, and of work by hand. */
import { z } from 'zod';
import type { BenchIdentity, BenchCapabilities } from '../bench/port.ts';
import { accepted, finite, id, nothing, person, type Requests } from './fields.ts';
import { scenariosResult } from './scenarios.ts';

/** The bench as the host has it now. */
export const benchView = z.discriminatedUnion('state', [
  z.object({ state: z.literal('absent'), why: z.string() }),
  z.object({ state: z.literal('connecting'), to: z.string() }),
  z.object({
    state: z.literal('connected'),
    simulated: z.boolean(),
    /** How many times as fast as the clock on the wall its time passes: 1 but for a simulated bench. */
    speed: z.number().positive().default(1),
    /** Name of the scenario of a simulated bench; empty: a real one. */
    scenario: z.string().default(''),
    link: z.string(),
    up: z.boolean(),
    why: z.string(),
    identity: z.custom<BenchIdentity>((v) => typeof v === 'object' && v !== null),
    capabilities: z.custom<BenchCapabilities>((v) => typeof v === 'object' && v !== null),
    bootId: z.string(),
    statistics: z.record(z.string(), z.unknown()).nullable(),
  }),
]);
export type BenchView = z.infer<typeof benchView>;

/** Manual work: what the host does on the bench outside a run, and whether its guards let it. */
export const manualView = z.object({
  armed: z.boolean(),
  /** Guard or fault that stands against manual work; empty: none. */
  against: z.string(),
  doing: z.string(),
  /** What was set by hand and still holds; null: nothing was, or it was made safe since. */
  set: z.object({ supplyV: finite.nullable(), pressureKpa: finite.nullable(), periodMs: finite.nullable() }),
});
export type ManualView = z.infer<typeof manualView>;

export const control = z.object({ mine: z.boolean(), holder: z.string().nullable(), windows: z.int() });
export type ControlView = z.infer<typeof control>;

const benchSpeed = z.number().positive().max(100);
const benchChoice = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('simulated'),
    /** Bench time against real time. */
    speed: benchSpeed.default(1),
    /** A scenario document; absent: the sample bench. */
    scenario: z.unknown().optional(),
  }),
  z.strictObject({ kind: z.literal('port'), path: z.string().min(1).max(300) }),
]);
export type BenchChoice = z.input<typeof benchChoice>;

export const benchRequests = {
  hello: {
    control: false,
    params: z.strictObject({ name: person }),
    result: z.object({
      software: z.string(), archivePath: z.string(), bench: benchView, control, openRun: id.nullable(), manual: manualView.nullable(), now: finite,
      /** As the event \`archive\`. */
      archiveProblems: z.array(z.string()).default([]),
    }),
  },
  /** STOP, which is not the emergency stop of the bench: pulsing off, supply to its safe value, disarmed, whatever is going on. */
  stop: { control: false, params: nothing, result: accepted },
  'control.take': { control: false, params: nothing, result: control },
  'bench.ports': { control: false, params: nothing, result: z.array(z.object({ path: z.string(), description: z.string() })) },
  /** What can be given to `bench.connect` as a scenario. */
  'bench.scenarios': { control: false, params: nothing, result: scenariosResult },
  /** Of the time of the simulated bench that is connected. */
  'bench.speed': { control: true, params: z.strictObject({ speed: benchSpeed }), result: benchView },
  'bench.connect': { control: true, params: z.strictObject({ bench: benchChoice }), result: benchView },
  'bench.disconnect': { control: true, params: nothing, result: benchView },
  'manual.supply': { control: true, params: z.strictObject({ volts: z.number().min(0).max(100) }), result: accepted },
  'manual.pressure': { control: true, params: z.strictObject({ kpa: z.number().min(0).max(2000) }), result: accepted },
  'manual.burst': {
    control: true,
    params: z.strictObject({
      channel: z.int().min(1).max(64), widthMs: z.number().positive(), periodMs: z.number().positive(), count: z.int().min(1).max(100_000),
    }),
    result: accepted,
  },
  'manual.safe': { control: true, params: nothing, result: accepted },
  'manual.clear-faults': { control: true, params: nothing, result: accepted },
} as const satisfies Requests;
