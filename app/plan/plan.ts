/**
 * A plan is data: what to measure, in what order, and what makes a measurement good. Version 1.
 * File units are the trade's; field names carry them. Unknown fields are errors.
 */
import { z } from 'zod';
import { guardSignalNames } from '../bench/guard-signals.ts';
import { namePattern, oneLine } from '../boundary/text.ts';

const positive = z.number().positive();
const nonNegative = z.number().nonnegative();
/** Seconds, up to a day: nothing that a plan waits for takes longer. */
const duration = nonNegative.max(86_400);
const positiveDuration = positive.max(86_400);

/** Drives of port injectors: the coil at the full supply for the whole pulse, or a peak current that falls to a hold current. */
const injectorDrives = ['saturated', 'peak-and-hold'] as const;

const axis = <T extends z.ZodType>(value: T) => z.array(value).min(1).max(10_000);

/** A guard watches one signal and has one of three answers when the signal leaves its limits for `dwellS`. */
const guardSchema = z
  .strictObject({
    id: z.string().regex(namePattern),
    signal: z.enum(guardSignalNames),
    low: z.number().optional(),
    high: z.number().optional(),
    /** The signal must come back inside by this much before the guard clears. */
    hysteresis: nonNegative.default(0),
    dwellS: duration.default(0),
    /** note: written down. hold: make safe, go on by itself when clear. trip: make safe, latch until acknowledged. */
    level: z.enum(['note', 'hold', 'trip']),
    /** hold only: after this many automatic resumes within an hour, the guard trips instead. */
    maxResumes: z.int().min(0).default(3),
    /** hold only: the limits must be kept for this long before the run resumes by itself. */
    clearS: duration.default(5),
  })
  .refine((g) => g.low !== undefined || g.high !== undefined, { error: 'A guard needs a limit: give low, high or both.' })
  .refine((g) => g.low === undefined || g.high === undefined || g.low < g.high, { error: 'Of the two limits, low must be below high.' })
  .meta({ anyOf: [{ required: ['low'] }, { required: ['high'] }] });

/** What may be stated of a type of injector, in a plan and in the lab's record of it (app/type-record). */
export const typeFields = {
  /** Coil resistance at 20 degC, and the standard uncertainty of what one of them has. */
  resistanceOhm: positive.optional(),
  uncertaintyOhm: nonNegative.optional(),
  /** How much warmer than the rail a watt makes them in fuel, and the time in which they follow, each with its standard uncertainty. */
  kelvinPerWatt: nonNegative.max(100).optional(),
  uncertaintyKelvinPerWatt: nonNegative.max(100).optional(),
  timeConstantS: positive.max(1000).optional(),
  uncertaintyTimeConstantS: nonNegative.max(1000).optional(),
  /** Nominal static flow at `flowPressureKpa` (absent: 400) in a fluid of `flowDensityKgPerM3` (absent: n-heptane): what is expected of them (PLAN-94). */
  staticFlowGPerMin: positive.max(100_000).optional(),
  flowPressureKpa: positive.max(10_000).optional(),
  flowDensityKgPerM3: positive.max(5000).optional(),
  /** What they are made for: pre-flight says where a plan goes beyond (PLAN-95, PRE-64). */
  minVoltageV: positive.optional(),
  maxVoltageV: positive.optional(),
  minPressureKpa: positive.optional(),
  maxPressureKpa: positive.optional(),
  minWidthMs: positive.optional(),
  maxWidthMs: positive.optional(),
  maxDutyPercent: positive.max(100).optional(),
  /** How they are meant to be driven: by a switch that stays on, or by a current that is lowered once they are open (PRE-65). */
  drive: z.enum(injectorDrives).optional(),
};

export const planSchema = z.strictObject({
  planVersion: z.literal(1),
  name: oneLine(120).min(1),
  /** Order number or other reference of the lab; free text. */
  order: oneLine(120).default(''),
  injectors: axis(
    z.strictObject({
      serialNumber: oneLine(60).min(1),
      type: oneLine(60).min(1),
      /** Driver channel that this injector is connected to. */
      channel: z.int().min(1).max(1000),
      coilResistanceOhm: positive.optional(),
    }),
  ),
  /**
   * What is known of a type of injector. What it does not state of its coils is that of the plan (`look.coilOhm`, `reduction.coil`);
   * what it states of heat, it states whole (PLAN-85, PLAN-86).
   */
  types: z
    .array(
      z.strictObject({
        type: oneLine(60).min(1),
        ...typeFields,
      }),
    )
    .min(1)
    .max(100)
    .optional(),
  axes: z.strictObject({
    voltageV: axis(positive),
    pressureKpa: axis(positive),
    /** Pulse width (SAE J1832 list: PW). */
    widthMs: axis(positive),
    /** Period (P). */
    periodMs: axis(positive),
    replicates: z.int().min(1).max(1000),
  }),
  sequence: z
    .strictObject({
      /**
       * nested: the axes as loops, outermost first: pressure, voltage, injector, width, period, replicate.
       * alternating: pressure, voltage, injector, replicate, width, period, and every loop inside the pressure runs
       * forth and back in turn, so that a slow drift does not look like a slope.
       * shuffled: as alternating, with widths and periods of each replicate in an order drawn from the stored seed, so that what comes late
       * (the warmth of coils) or drifts while a line is measured is scatter and no slope.
       * randomised: shuffled inside each block of one pressure and voltage and replicate, from the stored seed.
       * README.md beside this file has the rules in full.
       */
      kind: z.enum(['nested', 'alternating', 'shuffled', 'randomised']).default('shuffled'),
      seed: z.int().min(0).max(0xffffffff).default(1),
    })
    .prefault({}),
  /** A point that is measured again and again through the run, to show drift. Not part of the result. */
  reference: z
    .strictObject({
      injector: oneLine().min(1),
      voltageV: positive,
      pressureKpa: positive,
      widthMs: positive,
      periodMs: positive,
      /** One reference point first, one after each this many points, one last. */
      everyPoints: z.int().min(1).max(1_000_000),
    })
    .optional(),
  /**
   * Static flow (SAE J1832 list: Qs): each injector held open at each pressure, by pulses as long as their period, after
   * the other points of that pressure. No duty limit applies: the coil stays warm for as long as the window takes.
   */
  static: z
    .strictObject({
      /** How often each injector's static flow is measured; 0: not at all. */
      replicates: z.int().min(0).max(1000).default(0),
      voltageV: positive.default(14),
      /** Width and period of the pulses that follow each other without a gap; the controller's longest pulse limits it. */
      periodMs: positive.default(20),
    })
    .prefault({}),
  /**
   * Zero points: all injectors shut at the plan's pressure, and the meter is watched for fluid that goes through no injector
   * under test (a leak). One first, one at each change of voltage, two at each change of pressure, one last.
   */
  zero: z
    .strictObject({
      /** Length of each, s. Absent: chosen from the length of the plan (PLAN-45). 0: no zero points. */
      windowS: duration.max(3600).optional(),
      /** Rest before it, s: the rail fills up after pulses, and that is no leak. */
      settleS: duration.default(3),
      /** Shut-off of the rail for the pressure decay, s, where it is needed and the bench can do it (RUN-107); 0: never. */
      decayS: duration.max(3600).default(20),
      /** How much a leak that is too small to be seen may move the dead time, us: the sheet says how long that takes. */
      deadTimeUs: positive.default(2),
    })
    .prefault({}),
  /** Period pair: a window of each injector at twice the period. Its mass per pulse differs by what leaks in a period. */
  pair: z
    .strictObject({
      /** Windows for each injector; 0: none. */
      windows: z.int().min(0).max(1000).default(1),
    })
    .prefault({}),
  /**
   * Invariance set: windows under a changed nuisance (time, period, rail pressure), which must come to the same result as the
   * measure points that they are held against (PLAN-71 to PLAN-74).
   */
  invariance: z
    .strictObject({
      /** At most this many such windows for a hundred measure points; 0: none. */
      percent: nonNegative.max(20).default(5),
      /** Rail pressure is moved up and down by this much of the first set point; 0: it is not. */
      pressurePercent: nonNegative.max(5).default(2),
    })
    .prefault({}),
  /** Blind windows: their pulses are longer or shorter by a secret shift, which the reduction must find (PLAN-75, PLAN-76). */
  blind: z
    .strictObject({
      /** At most this many for a hundred measure points; 0: none. */
      percent: nonNegative.max(20).default(2.5),
      /** The greatest shift, us. */
      mostUs: positive.max(200).default(20),
    })
    .prefault({}),
  /**
   * First look: before the sweep each injector is held open, then pulsed at two widths, and what does not look like a working
   * injector is set aside. Limits are wide: they tell one that does not work or is another one, not one that needs cleaning.
   */
  look: z
    .strictObject({
      /** Length of each of the three windows, s; 0: no first look. */
      windowS: duration.max(60).default(2),
      /** Absent: the highest voltage of the axes. */
      voltageV: positive.optional(),
      /** Widths of the pulses; absent: 4 and 9 ms, shorter where the duty limit wants it. */
      shortMs: positive.optional(),
      longMs: positive.optional(),
      periodMs: positive.default(20),
      /**
       * Coil resistance against the register (or `coilOhm`, or the others of its type). Production spreads by 1 % (standard
       * deviation), ohmmeter and temperature of the coil add as much; five percent is three times that.
       */
      resistancePercent: positive.max(100).default(5),
      /** Coil resistance of the type at 20 degC, for injectors that the register has no resistance of. */
      coilOhm: positive.optional(),
      /**
       * Static flow against `staticFlowGPerMin`, or the others of its type; and flow of the two widths against the static flow.
       * A worn or dirty injector that is worth measuring lies within it; one of another type, one that is blocked or two at once do not.
       */
      flowPercent: positive.max(100).default(25),
      /** Static flow of the type in n-heptane at 400 kPa. */
      staticFlowGPerMin: positive.optional(),
      /** Standard deviation of the flow of equal parts of a window. */
      scatterPercent: positive.max(100).default(4),
      /** Flow that may go on after the pulses have stopped: more, and the injector does not shut. */
      shutMlMin: positive.default(20),
    })
    .prefault({}),
  /**
   * What is wanted in place of how often (PLAN-90): the schedule chooses among the widths of the axes until each cell is known so well
   * (app/schedule). Absent: every point of the grid, `axes.replicates` times.
   */
  targets: z
    .strictObject({
      /** U95 of the dead time of measured cells, us, at every voltage that `atVoltage` does not name; absent: as it comes. */
      deadTimeUs: positive.max(1000).optional(),
      atVoltage: z.array(z.strictObject({ voltageV: positive, deadTimeUs: positive.max(1000) })).max(1000).default([]),
      /** U95 of the slope, percent; absent: as it comes. */
      slopePercent: positive.max(100).optional(),
      /** U95 of the static flow, percent, of every injector at every pressure; absent: as it comes (PLAN-103). */
      staticFlowPercent: positive.max(100).optional(),
      /** Cells of a table on axes of its own, told by the measured voltages and pressures as the tables of the results are (PLAN-101); absent: none. */
      map: z
        .strictObject({
          voltageV: axis(positive),
          pressureKpa: axis(positive),
          /** U95 of the dead time, us, at every voltage of the map that `atVoltage` does not name. */
          deadTimeUs: positive.max(1000),
          atVoltage: z.array(z.strictObject({ voltageV: positive, deadTimeUs: positive.max(1000) })).max(1000).optional(),
          /** U95 of the slope, percent; absent: as it comes. */
          slopePercent: positive.max(100).optional(),
        })
        .optional(),
      /**
       * until-known, and absent: windows until each cell is at its target, and no more. all-hours: the bench time of `hours` is spent where the worst cell, by U95 over what is wanted of it, gains most; where nothing is wanted all
       * measured dead times weigh the same (PLAN-105).
       */
      spend: z.enum(['until-known', 'all-hours']).optional(),
      /** Ceiling of the bench time as it is expected, h: nothing is added beyond it. */
      hours: positive.max(1000).default(24),
      /** Most windows of one cell, those of the search for the end of the line among them. */
      attemptsPerCell: z.int().min(6).max(1000).default(60),
      /**
       * What earlier runs told of types of injectors at a rail pressure: where the schedule begins (PLAN-98). No number of a result is made from it. Absent: nothing is known.
       */
      known: z
        .array(
          z.strictObject({
            type: oneLine(60).min(1),
            pressureKpa: positive,
            /** Open time (width less dead time) from which pulses lie on their line, ms. */
            linearFromOpenMs: positive.max(1000),
            deadTimes: z.array(z.strictObject({ voltageV: positive, deadTimeMs: z.number().min(-1000).max(1000) })).min(1).max(1000),
            /** Standard deviation between windows: of mass, relative, and of open time, us. */
            scatterPercent: nonNegative.max(100),
            scatterUs: nonNegative.max(1000),
            /** Where this is from: numbers of runs, or words. It stands in the record of the run. */
            from: oneLine(300).min(1),
          }),
        )
        .max(100)
        .default([]),
    })
    .optional(),
  supply: z
    .strictObject({
      toleranceV: positive.default(0.05),
      /** The read-back must stay in tolerance this long. */
      steadyS: duration.default(0.3),
      timeoutS: positiveDuration.default(20),
      /**
       * Supply current that may flow while nothing is driven. Below what the least current of a coil is: 0.2 A is a coil of
       * 30 ohm at 6 V. Common practice, no source.
       */
      idleCurrentA: positive.default(0.2),
    })
    .prefault({}),
  condition: z
    .strictObject({
      pressureToleranceKpa: positive.default(4),
      temperatureMinC: z.number().default(15),
      temperatureMaxC: z.number().default(30),
      steadyS: duration.default(0.5),
      timeoutS: positiveDuration.default(120),
    })
    .prefault({}),
  purge: z
    .strictObject({
      pulses: z.int().min(0).max(100_000).default(50),
      widthMs: positive.default(4),
      periodMs: positive.default(20),
      /** Before each window, or only where another injector was driven before it, or none since the bench was safe (PLAN-110). */
      when: z.enum(['each-window', 'injector-changes']).default('each-window'),
    })
    .prefault({}),
  settleS: duration.default(1),
  window: z
    .strictObject({
      /** At least this many meter edges and this many seconds, at most `maxS`. */
      minEdges: z.int().min(2).max(10_000_000).default(100),
      minS: positiveDuration.default(2),
      maxS: positiveDuration.default(60),
    })
    .prefault({}),
  accept: z
    .strictObject({
      /** Mean of the window against the set point. */
      pressureKpa: positive.default(4),
      /** Standard deviation inside the window. */
      pressureSdKpa: positive.default(2),
      supplyV: positive.default(0.05),
      temperatureMinC: z.number().default(15),
      temperatureMaxC: z.number().default(30),
      /** Flow of the first against the second half of the window, percent. */
      halvesPercent: positive.default(5),
      /** Frames that may be missing in the window, percent. */
      missingFramesPercent: nonNegative.default(10),
    })
    .prefault({}),
  repeats: z
    .strictObject({
      /** Attempts at once when a point fails, the first included. */
      attemptsAtOnce: z.int().min(1).max(20).default(2),
      /** Attempts of the second pass over what failed; 0: no second pass. */
      attemptsSecondPass: z.int().min(0).max(20).default(1),
    })
    .prefault({}),
  giveUp: z
    .strictObject({
      /**
       * An injector is given up after this many rejected attempts in a row with the same cause; its remaining points wait for a
       * person. 0: never. Two points at their usual two attempts: one bad point does not do it.
       */
      afterFailures: z.int().min(0).max(1000).default(4),
    })
    .prefault({}),
  /** What may happen without a person: beyond it the run rests until one resumes it. */
  byItself: z
    .strictObject({
      /** The computer, or the program, stood still for longer than this. */
      gapS: positiveDuration.max(60).default(3),
      /** A hold lasted longer than this. */
      holdS: positiveDuration.default(600),
      /** After so many automatic resumes of one cause within an hour (lost link, no telemetry, reset ...) the run trips. */
      perHour: z.int().min(0).max(1000).default(10),
      /** So many attempts running were rejected for one cause that no injector explains; 0: never. */
      sameCause: z.int().min(0).max(1000).default(3),
    })
    .prefault({}),
  guards: z.array(guardSchema).max(100).default([]),
  /** Whether a run may start only on a bench whose qualification holds (PLAN-97, PRE-66). */
  qualification: z.enum(['not-required', 'required']).default('not-required'),
  limits: z
    .strictObject({
      /** PW / P, percent; more is refused. */
      dutyPercent: positive.max(100).default(85),
    })
    .prefault({}),
  link: z
    .strictObject({ telemetryHz: positive.max(200).default(20), deadManMs: positive.default(1000) })
    .prefault({}),
  /** Choices of the reduction that belong to the plan. */
  reduction: z
    .strictObject({
      /** Fluid temperature to which mass is referred. */
      referenceC: z.number().default(20),
      /** Widths at or above this may belong to the line; absent: found by the rule of the reduction. */
      linearFromMs: positive.optional(),
      /** Deviation from the line, percent, inside which a width belongs to it. */
      linearityPercent: positive.default(0.5),
      /** Deviation from the line, percent, that limits the linear flow range (SAE J1832 list: LFR). */
      linearFlowRangePercent: positive.default(5),
      /** Repeatability (standard deviation of windows of one width), percent, up to which a width counts as usable. */
      repeatabilityPercent: positive.default(1),
      /** One slope for all voltages of an injector: as far as the data say so (`tested`, as it was called when a test decided), never, or always. */
      slopeOverVoltage: z.enum(['tested', 'own', 'shared']).default('tested'),
      /**
       * By how much dead times of this type grow with the rail pressure, percent for 100 kPa, and its standard uncertainty: known from other runs, by which
       * dead times are calculated at a pressure near the one that was measured. Absent: they are not.
       */
      pressureEffect: z.strictObject({ percentPer100Kpa: z.number().min(-50).max(50), uncertaintyPercentPer100Kpa: nonNegative }).optional(),
      /** Drift of the bench over the run: `none` is taken off and it stands in the uncertainties; or what the reference point tells is taken off every mass (`reference`). */
      driftCorrection: z.enum(['none', 'reference']).default('none'),
      /**
       * Thermal data of the coils of this type in fuel: how much warmer than the rail a watt makes them, and the time in which they follow, each with its
       * standard uncertainty. From the resistance of a coil that cools after long pulses. Absent: taken for usual, and told by the windows of a shuffled order.
       */
      coil: z
        .strictObject({ kelvinPerWatt: nonNegative.max(100), uncertaintyKelvinPerWatt: nonNegative.max(100), timeConstantS: positive.max(1000), uncertaintyTimeConstantS: nonNegative.max(1000) })
        .optional(),
      /**
       * Limits of a leak past the injector under test, by what it does to a result in times the U95 of that result without a leak.
       * A leak that moves it by more than `leakTimesU95` is not taken off, one that changes by more than `leakChangeTimesU95` while a
       * block is measured neither: there is no result. Is twice its standard uncertainty above `leakUncertaintyTimesU95`, the
       * result stands and is marked to be measured again.
       */
      leakTimesU95: positive.default(10),
      leakChangeTimesU95: positive.default(1),
      leakUncertaintyTimesU95: positive.default(0.5),
    })
    .prefault({}),
});

/** A plan with its defaults filled in. */
export type Plan = z.infer<typeof planSchema>;
export type Guard = z.infer<typeof guardSchema>;
