/** A bench scenario: which simulated bench stands there, and what goes wrong on it and when. Version 1. */
import { z } from 'zod';

const sensor = z.enum(['supply', 'current', 'pressure', 'rail-temperature', 'meter-temperature']);
const direction = z.enum(['to-host', 'to-controller', 'both']);
const probability = z.number().min(0).max(1);

const leak = {
  /** At 400 kPa, when it begins. */
  mlPerMin: z.number().nonnegative(),
  /** By how much it becomes more in an hour; absent: not at all. */
  growsMlPerMinPerH: z.number().optional(),
  /** How it follows the pressure: as a hole (root of the pressure, the default) or as a narrow gap (the pressure itself). */
  law: z.enum(['orifice', 'laminar']).optional(),
  /** How much it wanders over a quarter of an hour, percent of itself; absent: 3. Without noise: not at all. */
  unsteadyPercent: z.number().nonnegative().max(50).optional(),
};

const duration = z.number().positive();

/** What a controller may say, and do, against the rules of the line. Sensors and plant stay as they are. */
const misbehaviours = z.discriminatedUnion('what', [
  /** Its clock, edge times with it, steps back or leaps ahead, or says one time for ever. */
  z.strictObject({ what: z.literal('clock-back'), s: duration }),
  z.strictObject({ what: z.literal('clock-ahead'), s: duration }),
  z.strictObject({ what: z.literal('clock-stands') }),
  /** It counts fewer edges than before, or twice as many as there are; or states their time wrongly. */
  z.strictObject({ what: z.literal('edges-back'), edges: z.int().min(1) }),
  z.strictObject({ what: z.literal('edges-doubled') }),
  z.strictObject({ what: z.literal('edge-time-back'), s: duration }),
  z.strictObject({ what: z.literal('edge-time-ahead'), s: duration }),
  /** It reports the same reading again and again, and its own watch does not notice. */
  z.strictObject({ what: z.literal('values-stand'), sensor: sensor.exclude(['supply', 'current']) }),
  z.strictObject({ what: z.literal('supply-offset'), mv: z.int() }),
  z.strictObject({ what: z.literal('frames-doubled') }),
  /** Each second frame comes before the one that it follows. */
  z.strictObject({ what: z.literal('frames-swapped') }),
  z.strictObject({ what: z.literal('frames-absent') }),
  /** Their checksum is right and a field is missing. */
  z.strictObject({ what: z.literal('frames-unreadable') }),
  /** More of them than it was asked for. */
  z.strictObject({ what: z.literal('frames-flood'), hz: z.int().min(1).max(2000) }),
  /** Frames carry another boot id than the answer to `hello`. */
  z.strictObject({ what: z.literal('boot-id-other') }),
  z.strictObject({ what: z.literal('pulses-overcounted') }),
  z.strictObject({ what: z.literal('pulses-undercounted'), percent: z.number().min(1).max(100) }),
  /** It drives, and says that it drives, another width than it was asked for. */
  z.strictObject({ what: z.literal('width-not-kept'), percent: z.number().positive().max(100) }),
  /** It drives another channel; `echoed`: and says so when it is asked. */
  z.strictObject({ what: z.literal('channel-mixed'), with: z.int().min(1).max(16), echoed: z.boolean() }),
  z.strictObject({ what: z.literal('replies-unreadable') }),
  z.strictObject({ what: z.literal('replies-late'), s: duration }),
  /** Another serial number than before. */
  z.strictObject({ what: z.literal('serial-other') }),
]);

const faultKinds = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('lines-lost'), direction, probability }),
  z.strictObject({ kind: z.literal('lines-garbled'), direction, probability }),
  z.strictObject({ kind: z.literal('lines-repeated'), direction, probability }),
  z.strictObject({ kind: z.literal('line-silent'), direction }),
  z.strictObject({ kind: z.literal('controller-reset') }),
  z.strictObject({ kind: z.literal('controller-misbehaves'), how: misbehaviours }),
  z.strictObject({ kind: z.literal('sensor-stuck'), sensor }),
  /** `sd` in the sensor's wire unit (mV, mA, Pa, thousandths of a degree). */
  z.strictObject({ kind: z.literal('sensor-noisy'), sensor, sd: z.number().positive() }),
  z.strictObject({ kind: z.literal('pressure-loss'), toKpa: z.number().nonnegative() }),
  z.strictObject({ kind: z.literal('over-temperature'), riseC: z.number() }),
  z.strictObject({ kind: z.literal('over-current'), amperes: z.number().positive() }),
  z.strictObject({ kind: z.literal('injector-stuck-shut'), channel: z.int().min(1) }),
  /** Opens like a good one at its first pulse and does not shut any more. */
  z.strictObject({ kind: z.literal('injector-stuck-open'), channel: z.int().min(1) }),
  /** Passes only this part of its flow. */
  z.strictObject({ kind: z.literal('injector-clogged'), channel: z.int().min(1), flowPercent: z.number().positive() }),
  /** Open time scatters from pulse to pulse, standard deviation. */
  z.strictObject({ kind: z.literal('injector-erratic'), channel: z.int().min(1), percent: z.number().positive() }),
  /** A coil of another resistance at 20 degC; a megohm is an open coil. */
  z.strictObject({ kind: z.literal('coil-resistance'), channel: z.int().min(1), ohm: z.number().positive() }),
  /** The harness is plugged crosswise: each of the two drives the other's injector. */
  z.strictObject({ kind: z.literal('channels-swapped'), channel: z.int().min(1), with: z.int().min(1) }),
  /** The switch conducts always: whenever there is a supply, current flows and the injector is open. */
  z.strictObject({ kind: z.literal('driver-shorted'), channel: z.int().min(1) }),
  /** Drips through its seat while it is shut. */
  z.strictObject({ kind: z.literal('injector-leaking'), channel: z.int().min(1), ...leak }),
  /** Fluid that passes the meter and no injector: a fitting of the rail, a relief valve that does not shut. */
  z.strictObject({ kind: z.literal('fitting-leaking'), ...leak }),
  /** A short circuit in place of the coil: nothing opens, and the supply gives all it can while the channel is driven. */
  z.strictObject({ kind: z.literal('coil-shorted'), channel: z.int().min(1) }),
  /** The transducer's signal lies at one end of its electrical range: wire or supply of it is gone, or it is shorted. */
  z.strictObject({ kind: z.literal('sensor-lost'), sensor: sensor.exclude(['supply', 'current']), end: z.enum(['low', 'high']) }),
  /** The analog converter of the controller takes no more readings; the last ones stand. */
  z.strictObject({ kind: z.literal('converter-stopped') }),
  /** The meter's input rattles, edges a second on top of the meter's own. */
  z.strictObject({ kind: z.literal('meter-rattling'), hertz: z.number().positive() }),
  z.strictObject({ kind: z.literal('meter-silent') }),
  z.strictObject({ kind: z.literal('supply-out-of-reach'), maxV: z.number().positive() }),
  z.strictObject({ kind: z.literal('emergency-stop') }),
  /** The cover was opened, or the ventilation failed. */
  z.strictObject({ kind: z.literal('interlock-open'), interlock: z.enum(['cover', 'ventilation']) }),
]);

/** When a fault begins: at a bench time, or with the n-th burst since the bench was made. */
const beginning = z.union([
  z.strictObject({ atS: z.number().nonnegative() }),
  z.strictObject({ atBurst: z.int().min(1) }),
]);

export const scenarioSchema = z.strictObject({
  scenarioVersion: z.literal(1),
  name: z.string().default('simulated bench'),
  /** Everything random on this bench comes from here: instances, instrument errors, noise, faults. */
  seed: z.int().min(0).max(0xffffffff).default(1),
  injectors: z.int().min(1).max(16).default(8),
  pressureCommandable: z.boolean().default(true),
  /** What of the rail the controller can command. Without a pump output the pump always runs, without a relief valve nothing vents. */
  rail: z
    .strictObject({ pump: z.boolean().default(true), relief: z.boolean().default(true), shutOff: z.boolean().default(true) })
    .prefault({}),
  /** Edge rate below which the flow slips through the meter and it gives no edge, Hz; 0: it sees every flow. */
  meterLeastHertz: z.number().nonnegative().default(0),
  /** false: no pulse scatter, jitter, ripple, drift or sensor noise. Instrument errors and part spread remain. */
  noise: z.boolean().default(true),
  /** false: the instruments are exactly as their certificates say. */
  instrumentErrors: z.boolean().default(true),
  /** Resistance from the supply's terminals to a coil and back, ohm, and clamp of each channel to ground, V; absent: as the certificates allow. */
  harnessOhm: z.number().nonnegative().optional(),
  clampV: z.array(z.number().positive()).optional(),
  /** How much longer a second of the controller is than a true one, parts per million; absent: as the certificates allow. */
  timeBasePpm: z.number().min(-50_000).max(50_000).optional(),
  /** The controller also reads the supply inside pulses (LINE-130). */
  readsInPulses: z.boolean().default(false),
  /** What real benches do and certificates do not say; each absent: not there. */
  imperfections: z
    .strictObject({
      /** Coil to fuel, K/W, and its time constant, s. */
      coil: z.strictObject({ kelvinPerWatt: z.number().positive(), tauS: z.number().positive() }).optional(),
      /** Of the flow reading: steady, from the beginning; a random walk, percent after an hour. */
      driftPercentPerH: z.number().optional(),
      walkPercentPerRootH: z.number().nonnegative().optional(),
      /** So large a part of spans of 3 s reads so much more or less. */
      gross: z.strictObject({ part: probability, percent: z.number().positive() }).optional(),
      /** The reading of each span of 3 s scatters by 0.1 % as Student's t of so many degrees of freedom. */
      studentDof: z.int().min(3).optional(),
      /** The meter's curve waves over the logarithm of its frequency by so much, from peak to peak; the certificate does not know. */
      meterCurvePercent: z.number().nonnegative().optional(),
      /** Local speed inside a turn of the meter, amplitude. */
      inRotationPercent: z.number().nonnegative().max(10).optional(),
      /** What gives fluid while an injector is open, and how fast it is filled again. */
      rail: z.strictObject({ complianceMlPerMpa: z.number().positive(), refillMs: z.number().positive() }).optional(),
      /** Of the supply, before the point where it is measured, ohm: it holds the mean there, and sags inside a pulse. */
      sagOhm: z.number().nonnegative().optional(),
      /** Flow that grows over a pulse: by so much from nought to 12 ms. */
      curvaturePercent: z.number().optional(),
    })
    .prefault({}),
  faults: z
    .array(
      z.strictObject({
        begins: beginning,
        /** Absent: until the bench is switched off (a controller reset is over at once). */
        forS: z.number().positive().optional(),
        fault: faultKinds,
      }),
    )
    .default([]),
});

export type Scenario = z.infer<typeof scenarioSchema>;
export type Fault = Scenario['faults'][number];

/** What a fault opens, as bits in the order of `PlantReadings.interlocks`. */
export function interlockBit(fault: Fault['fault']): number {
  if (fault.kind === 'emergency-stop') return 0b001;
  if (fault.kind !== 'interlock-open') return 0;
  return fault.interlock === 'cover' ? 0b010 : 0b100;
}
