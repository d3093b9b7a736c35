/**
 * A bench that nobody of this house designed: windows of a characterisation from physics of their own. It shares neither code nor
 * convenient forms with the simulated bench or with the reduction: a coil whose current rises as a stretched exponential (eddy
 * currents), a needle that moves, a clamp whose effect goes by the supply over it, a meter curve of another shape, density as a straight
 * line. In common are only what certificates say and how far the instruments are off by them. Imperfections are switched on by name
 * (`imperfections.ts`); with all off it is what the budget believes of a bench.
 */
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { WindowSummary } from '../../app/journal/measured.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { amperes, celsius, pascals, seconds, volts } from '../../app/quantities/quantity.ts';
import { simulatedBenchEquipment } from '../../firmware-protocol/simulator/plant/certificates.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';

/** What is wrong with the bench beyond its certificates. Everything absent: nothing. */
export interface Imperfect {
  /** Coil to fuel, K/W, and its time constant, s. */
  readonly coil?: { readonly kelvinPerWatt: number; readonly tauS: number };
  /** Drift of all that the bench measures, percent an hour, and percent after an hour of a random walk. Nought in the mean of the run. */
  readonly driftPercentPerH?: number;
  readonly walkPercentPerRootH?: number;
  /** Hose before the rail: pressure lost at 4 g/s, Pa, and how fast the rail follows, s. `told`: a bound, which the record states; the truth lies anywhere below. */
  readonly dip?: { readonly pascals: number; readonly tauS: number; readonly told?: true };
  /** The meter's curve turns by so much between 1 and 400 Hz, percent, and its certificate has so many points there. */
  readonly meterCurve?: { readonly percent: number; readonly points: number };
  /** So large a part of all windows is off by so much, percent, to either side. */
  readonly gross?: { readonly part: number; readonly percent: number };
  /** Scatter follows Student's t with so many degrees of freedom, at the same variance. */
  readonly studentDof?: number;
  /** Flow that grows over the pulse: by so much from nought to 12 ms, percent. */
  readonly curvaturePercent?: number;
  /** Local error inside a turn of the meter, percent, where windows have few edges: injectors with an eighth of the flow. */
  readonly inRotationPercent?: number;
  /** Resistance behind the supply's read-back, ohm: what is lost there sags inside the pulse and not in the mean. */
  readonly sagOhm?: number;
  /** That is a bound, which the record states as a voltage; the truth lies anywhere below. */
  readonly sagTold?: true;
  /** The controller reads the supply inside pulses, as well as the read-back is known. */
  readonly sagRead?: true;
  /** No bend at all in short pulses. */
  readonly straight?: true;
  /** Injectors are of the type that this seed drew; absent: of one of the bench's own. */
  readonly typeOf?: number;
  /** Needles shut about as slowly as they open: closing takes 0.24 to 0.39 ms, where 0.15 to 0.3 ms is usual. */
  readonly slowClosing?: true;
  /** The injector of this channel is of another make: its needle and its bends take half as long again, or so many times as long. */
  readonly differs?: number;
  readonly differsBy?: number;
}

/** One injector's own numbers. */
interface Instance {
  /** Cd A, m2. */
  readonly area: number;
  readonly ohm20: number;
  /** Inductance as the coil's current feels it, H. */
  readonly henry: number;
  /** How stretched the rise of the current is; 1: an exponential. */
  readonly stretch: number;
  /** A at 400 kPa, and how much of its force is the fluid's. */
  readonly pullIn: number;
  readonly fluidShare: number;
  /** Movements of the needle, s. */
  readonly opens: number;
  readonly shuts: number;
  /** Decay of the current at the coil's own resistance, s times supply over clamp. */
  readonly decay: number;
  /** Bend of short pulses: size, s, length, s, and phase of its bounce. */
  readonly bend: number;
  readonly fades: number;
  readonly bounce: number;
}

const ambient = simulatedBenchEquipment.ambientKpa * 1e3;
/** What is drawn of density at 20 degC and 1 bar, kg/m3, its expansion, 1/K, and compressibility, 1/Pa (table values of n-heptane, from memory). */
const density20 = 683.8;
const expansion = 1.24e-3;
const compressibility = 1.42e-9;
const copper = 0.00393;
const usualCoil = { kelvinPerWatt: 0.5, tauS: 1 };
/** Scatter of a window: a relative part, and one of opening and closing, s. */
const scatterRelative = 1e-3;
const scatterS = 1e-6;
const edgesPerTurn = simulatedBenchEquipment.meter.edgesPerRevolution;
const edgesPerCubicMetre = 48e6;

interface Drive {
  readonly supply: number;
  readonly series: number;
  readonly clamp: number;
}

/** Time from the beginning of a pulse until the needle stands open, and the dead time of long pulses, s. */
function timesOf(of: Instance, { supply, series, clamp }: Drive, pressure: number, coilC: number): { readonly full: number; readonly deadTime: number; readonly current: number } {
  const ohm = of.ohm20 * (1 + copper * (coilC - 20)) + series;
  const current = of.pullIn * Math.sqrt(1 - of.fluidShare + (of.fluidShare * pressure) / 4e5);
  const part = (current * ohm) / supply;
  if (!(part < 1)) throw new Error('this injector does not open at so low a voltage');
  const pullsIn = (of.henry / ohm) * (-Math.log(1 - part)) ** (1 / of.stretch);
  const opening = of.opens * (12 / supply) ** 0.2;
  return { full: pullsIn + opening, deadTime: pullsIn + 0.6 * opening - of.shuts - (of.decay * (of.ohm20 / ohm) * supply) / clamp, current };
}

/** What short pulses pass more than their line says, as open time, s. */
function bendOf(of: Instance, width: number, full: number): number {
  const beyond = Math.max(0, width - full);
  return -of.bend * Math.exp(-((beyond / of.fades) ** 1.3)) * Math.cos((2 * Math.PI * beyond) / 1.3e-3 + of.bounce);
}

interface TrueLine {
  readonly slope: number;
  readonly deadTime: number;
  readonly staticFlow: number;
  readonly mass: (width: number) => number;
  /** Widths at and above it lie on the line to 0.2 us. */
  readonly linearFrom: (widths: readonly number[]) => number;
}

export interface OddBench {
  readonly equipment: Equipment;
  readonly windowOf: (point: Point) => WindowSummary;
  /** Noise-free, at the plan's conditions and settled warmth: masses, and the line of least squares through widths of 4 ms and more. */
  readonly truthAt: (channel: number, voltage: number, pressure: number, widths: readonly number[], period: number, series?: number) => TrueLine;
  /** True standard deviation of one window's mass, kg, of a flow of `slope` kg/s. */
  readonly scatterOf: (mass: number, slope: number) => number;
}

/** The bench of a seed. Windows must be asked for in the order of the run: it has a clock, and coils keep their warmth. `points`: the whole run. */
export function oddBench(seed: number, stated: Imperfect, plan: Plan, points: readonly Point[]): OddBench {
  const random = RandomSource.named(seed, 'a bench of another hand');
  const course = RandomSource.named(seed, 'imperfections');
  const below = RandomSource.named(seed, 'below a bound');
  const inPulse = simulatedBenchEquipment.supply.uncertaintyMv * 1e-3 * RandomSource.named(seed, 'reading inside pulses').normal();
  const what = {
    ...stated,
    ...(stated.dip?.told === true ? { dip: { ...stated.dip, pascals: stated.dip.pascals * below.uniform() } } : {}),
    ...(stated.sagOhm !== undefined && stated.sagTold === true ? { sagOhm: stated.sagOhm * below.uniform() } : {}),
  };
  const draw = (u: number): number => u * random.normal();
  const { supply, pressure: transducer, temperature, wiring, driver, timeBase, meter, fluid } = simulatedBenchEquipment;
  const errors = {
    supply: draw(supply.uncertaintyMv / 1e3),
    pressure: draw(transducer.uncertaintyKpa * 1e3),
    rail: draw(temperature.uncertaintyC),
    meterThermometer: draw(temperature.uncertaintyC),
    kFactor: draw(meter.relativeUncertaintyPercent / 100),
    density: draw(fluid.densityUncertaintyPercent / 100),
    timeBase: draw(timeBase.uncertaintyPpm * 1e-6),
    clamp: draw(driver.clampUncertaintyV),
    coilOverRail: 0.35 * (2 * random.uniform() - 1),
  };
  const harness = wiring.harnessOhm + draw(wiring.harnessUncertaintyOhm);
  const instances = drawInstances(random, plan.injectors.map((i) => i.channel), what, what.typeOf === undefined ? random : RandomSource.named(what.typeOf, 'type of injector'));
  const channels = new Map(plan.injectors.map(({ channel }) => [channel, { clamp: driver.clampV + errors.clamp + draw(driver.channelUncertaintyV), rise: 0, until: 0 }]));
  const { curve, meter: ofBench } = meterOf(course, what);
  const equipment = recordOf(stated, ofBench);

  const coil = what.coil ?? usualCoil;
  const sag = what.sagOhm ?? 0;
  const density = (c: number, gauge: number): number => density20 * (1 - expansion * (c - 20)) * (1 + compressibility * (gauge + ambient - 1e5)) * (1 + errors.density);
  const power = (of: Instance, voltage: number, width: number, period: number): number => (voltage * voltage * Math.max(0, width - of.henry / of.ohm20)) / of.ohm20 / period;
  const curved = (open: number): number => open * (1 + ((what.curvaturePercent ?? 0) / 100) * (open / 12e-3));
  const instanceOf = (channel: number): Instance => {
    const found = instances.get(channel);
    if (found === undefined) throw new Error('no such channel');
    return found;
  };
  /** Open time of a pulse, s. */
  const openOf = (of: Instance, drive: Drive, pressure: number, coilC: number, width: number): number => {
    const { full, deadTime } = timesOf(of, drive, pressure, coilC);
    return curved(Math.max(0, width - deadTime + bendOf(of, width, full)));
  };

  let now = 8;
  let driven = 0;
  let at: { readonly voltage: number; readonly pressure: number } = { voltage: 0, pressure: 0 };
  const drift = driftOf(course, what, points.length);

  const windowOf = (point: Point): WindowSummary => {
    if (point.role === 'zero') throw new Error('this bench has no zero points');
    const of = instanceOf(point.channel);
    const channel = channels.get(point.channel);
    if (channel === undefined) throw new Error('no such channel');
    now += Math.abs(point.voltage - at.voltage) / 10 + (point.voltage === at.voltage ? 0 : 0.5) + (point.pressure === at.pressure ? 0 : 4) + 0.2;
    at = point;
    const fluidC = 20.6 + 0.3 * Math.sin(now / 900) + 0.05 * random.normal();
    const meanPressure = point.pressure - errors.pressure + 400 * random.normal();
    const [width, period] = [point.width * (1 + errors.timeBase), point.period * (1 + errors.timeBase)];
    const volt = point.voltage - errors.supply;
    // Purge, settling and window each lead the coil towards their own warmth.
    const towards = (watts: number, time: number): number => {
      const settled = watts * coil.kelvinPerWatt;
      const before = channel.rise - settled;
      channel.rise = settled + before * Math.exp(-time / coil.tauS);
      return settled + (before * coil.tauS * (1 - Math.exp(-time / coil.tauS))) / time;
    };
    towards(0, Math.max(1e-9, now - channel.until));
    // A plan with targets purges where the injector changes (RUN-230), and so does one that says so (PLAN-110).
    const purgeS = (plan.targets !== undefined || plan.purge.when === 'injector-changes') && point.channel === driven ? 0 : plan.purge.pulses * plan.purge.periodMs * 1e-3;
    driven = point.channel;
    if (purgeS > 0) towards(power(of, volt, plan.purge.widthMs * 1e-3, plan.purge.periodMs * 1e-3), purgeS);
    const watts = power(of, volt, width, period);
    towards(watts, plan.settleS);
    now += purgeS + plan.settleS;

    const flux = (pressure: number): number => of.area * Math.sqrt(2 * density(fluidC, pressure) * pressure);
    const held = point.role === 'static';
    const meanCurrent = held ? volt / of.ohm20 : ((volt / of.ohm20) * Math.max(0, width - of.henry / of.ohm20)) / period;
    const drive = { supply: volt + sag * meanCurrent, series: harness + sag, clamp: channel.clamp };
    const open0 = held ? period : openOf(of, drive, meanPressure, fluidC + errors.coilOverRail + channel.rise, width);
    const whileOpen = held ? meanPressure : meanPressure - dipOf(what, flux(meanPressure), open0, period);
    // The length of the window goes by its flow.
    const edgeRate = (mass: number): number => {
      let hertz = 0;
      for (let i = 0; i < 12; i += 1) hertz = (mass / period / density(fluidC + 0.25, meanPressure)) * edgesPerCubicMetre * curve(hertz) * (1 + errors.kFactor);
      return hertz;
    };
    const roughly = edgeRate(open0 * flux(whileOpen));
    const minEdges = what.inRotationPercent === undefined ? plan.window.minEdges : fewEdges;
    const all = Math.ceil(Math.max(minEdges, plan.window.minS * roughly));
    const turns = Math.floor(all / edgesPerTurn) * edgesPerTurn;
    const edges = 2 * turns >= all ? turns : all;
    const length = edges / roughly;
    const warmth = towards(watts, length);
    const open = held ? period : openOf(of, drive, whileOpen, fluidC + errors.coilOverRail + warmth, width);
    const mass = open * flux(whileOpen) * drift(point.index);
    const hertz = edgeRate(mass) * (1 + errors.timeBase);
    const scatter = Math.hypot(scatterRelative, held ? 0 : scatterS / open);
    const chance = what.gross === undefined ? 1 : course.uniform();
    const gross = what.gross !== undefined && chance < what.gross.part ? ((chance < what.gross.part / 2 ? 1 : -1) * what.gross.percent) / 100 : 0;
    const place = 2 * Math.PI * random.uniform();
    const turned = (from: number, to: number): number => ((what.inRotationPercent ?? 0) / 100) * (edgesPerTurn / (2 * Math.PI)) * (Math.sin(place + (2 * Math.PI * to) / edgesPerTurn) - Math.sin(place + (2 * Math.PI * from) / edgesPerTurn));
    const took = ((edges + turned(0, edges)) / hertz) * (1 + scatter * noise(random, what) + gross);
    const parts = Math.min(10, Math.floor(edges / (edges < 10 * edgesPerTurn ? 4 : edgesPerTurn)));
    const firstEdge = Math.round(1e6 * random.uniform() / hertz) / 1e6;
    const began = now;
    now += length;
    channel.until = now;
    return {
      from: seconds(began),
      to: seconds(now),
      frames: Math.ceil(20 * length),
      missingFrames: 0,
      edges,
      firstEdgeAt: seconds(firstEdge),
      lastEdgeAt: seconds(Math.round(1e6 * (firstEdge + took)) / 1e6),
      partRates:
        parts < 2
          ? []
          : Array.from({ length: parts }, (_, i) => {
              const [a, b] = [(i * edges) / parts, ((i + 1) * edges) / parts];
              return (hertz * (b - a)) / (b - a + turned(a, b)) / (1 + scatter * Math.sqrt(parts) * noise(random, what) + gross);
            }),
      pulses: Math.round(length / period),
      pressure: { mean: pascals(meanPressure + errors.pressure), sd: 300 },
      current: { mean: amperes(meanCurrent), sd: 0 },
      supply: { mean: volts(volt + errors.supply), sd: 0 },
      // It lies lower by what the current of the pulse, above its mean, loses.
      ...(what.sagRead === undefined || held ? {} : { supplyInPulse: { mean: volts(volt + errors.supply - sag * meanCurrent * (period / width - 1) + inPulse), sd: 0 } }),
      railTemperature: { mean: celsius(fluidC + errors.rail), sd: 0 },
      meterTemperature: { mean: celsius(fluidC + 0.25 + errors.meterThermometer), sd: 0 },
    };
  };

  const truthAt: OddBench['truthAt'] = (channel, voltage, pressure, widths, period, series = 0) => {
    const of = instanceOf(channel);
    const drive = { supply: voltage, series, clamp: driver.clampV };
    const referenceC = plan.reduction.referenceC;
    const flux = of.area * Math.sqrt(2 * density(referenceC, pressure) * pressure);
    const coilAt = (width: number): number => referenceC + coil.kelvinPerWatt * power(of, voltage, width, period);
    const mass = (width: number): number => openOf(of, drive, pressure, coilAt(width), width) * flux;
    const long = widths.filter((w) => w > 3.99e-3);
    const meanWidth = long.reduce((sum, w) => sum + w, 0) / long.length;
    const meanMass = long.reduce((sum, w) => sum + mass(w), 0) / long.length;
    const slope = long.reduce((sum, w) => sum + (w - meanWidth) * (mass(w) - meanMass), 0) / long.reduce((sum, w) => sum + (w - meanWidth) ** 2, 0);
    const linearFrom = (all: readonly number[]): number => {
      const falling = [...all].sort((a, b) => b - a);
      const bent = falling.find((w) => Math.abs(bendOf(of, w, timesOf(of, drive, pressure, coilAt(w)).full)) > 2e-7);
      return falling.filter((w) => bent === undefined || w > bent).at(-1) ?? Number.POSITIVE_INFINITY;
    };
    return { slope, deadTime: meanWidth - meanMass / slope, staticFlow: flux, mass, linearFrom };
  };
  return { equipment, windowOf, truthAt, scatterOf: (mass, slope) => Math.hypot(scatterRelative * mass, scatterS * slope) };
}

/** Edges of a window where the meter gives few. */
const fewEdges = 15;

function drawInstances(random: RandomSource, channels: readonly number[], what: Imperfect, ofType: RandomSource): ReadonlyMap<number, Instance> {
  const spread = (value: number, relative: number): number => value * (1 + relative * random.normal());
  const between = (low: number, high: number): number => low + (high - low) * ofType.uniform();
  const type = {
    area: between(1.6e-7, 1.9e-7) * (what.inRotationPercent === undefined ? 1 : 1 / 8),
    ohm20: between(12.2, 14.8),
    henry: between(0.019, 0.023),
    stretch: between(0.87, 0.96),
    pullIn: between(0.33, 0.38),
    fluidShare: between(0.15, 0.3),
    opens: between(0.4e-3, 0.6e-3),
    shuts: between(0.15e-3, 0.3e-3) + (what.slowClosing === true ? 0.09e-3 : 0),
    decay: between(0.35e-3, 0.55e-3),
    bend: what.straight === true ? 0 : between(40e-6, 90e-6),
    fades: between(0.22e-3, 0.34e-3),
    bounce: between(-0.5, 0.5),
  };
  return new Map(
    channels.map((channel) => {
      const slower = channel === what.differs ? (what.differsBy ?? 1.5) : 1;
      return [
        channel,
        {
          ...type,
          area: spread(type.area, 0.015),
          ohm20: spread(type.ohm20, 0.005),
          henry: spread(type.henry, 0.01),
          pullIn: spread(type.pullIn, 0.02),
          opens: slower * spread(type.opens, 0.03),
          shuts: spread(type.shuts, 0.03),
          bend: spread(type.bend, 0.1),
          fades: slower * spread(type.fades, 0.03),
        },
      ];
    }),
  );
}

/** By how much the pressure at the rail while an injector is open lies below its mean, Pa: a hose of some resistance fills a rail that gives a little. */
function dipOf(what: Imperfect, flow: number, open: number, period: number): number {
  if (what.dip === undefined || open >= period) return 0;
  const { tauS } = what.dip;
  const lost = (what.dip.pascals * flow) / 4e-3;
  // What is missing rises from `before` towards `lost` while it is open, and fades while it is shut.
  const [rises, fades] = [Math.exp(-open / tauS), Math.exp(-(period - open) / tauS)];
  const before = (lost * (1 - rises) * fades) / (1 - rises * fades);
  const whileOpen = lost + ((before - lost) * tauS * (1 - rises)) / open;
  return whileOpen - (lost * open) / period;
}

/** The true curve over that of 48 edges a millilitre, by frequency, and the record whose certificate has points of it. */
function meterOf(random: RandomSource, { meterCurve }: Imperfect): { readonly curve: (hertz: number) => number; readonly meter: Equipment['meter'] } {
  const record = simulatedBenchEquipment;
  const size = (meterCurve?.percent ?? 0.3) / 100;
  // A step and a hump over the logarithm of the flow, where they like.
  const [step, hump, share, sign] = [random.uniform(), random.uniform(), random.uniform(), random.uniform() < 0.5 ? -1 : 1];
  const along = (hertz: number): number => Math.log(Math.max(hertz, 0.05)) / Math.log(400);
  const curve = (hertz: number): number => {
    const x = along(hertz);
    return 1 + sign * size * (share / (1 + Math.exp(-(x - step) / 0.12)) + (1 - share) * Math.exp(-(((x - hump) / 0.35) ** 2)));
  };
  const count = meterCurve?.points ?? 20;
  const [low, high] = meterCurve === undefined ? [0.25, 512] : [2, 330];
  const kFactor = Array.from({ length: count }, (_, i) => {
    const hertz = Number((low * (high / low) ** (i / (count - 1))).toPrecision(3));
    return { hertz, edgesPerLitre: Math.round((edgesPerCubicMetre / 1e3) * curve(hertz)) };
  });
  return { curve, meter: { ...record.meter, kFactor } };
}

/** The record of the bench: it states what pulses do to rail and supply, but for an imperfection that nobody told it. */
function recordOf({ dip, sagOhm, sagTold }: Imperfect, meter: Equipment['meter']): Equipment {
  const { rail, pressure, supply, ...rest } = simulatedBenchEquipment;
  const { insidePulseMv, ...voltmeter } = supply;
  // Full current of a coil of 12 ohm at 16 V.
  const sagMv = sagOhm === undefined ? Math.min(insidePulseMv, 0.5) : (1e3 * sagOhm * 16) / 12;
  const dipKpa = dip === undefined ? Math.min(rail.complianceMlPerMpa, 0.02) : (dip.pascals / 1e3) * 1.15;
  return {
    ...rest,
    meter,
    pressure: dip === undefined || dip.told === true ? { ...pressure, whileOpenKpa: dipKpa } : pressure,
    supply: sagOhm === undefined || sagTold === true ? { ...voltmeter, insidePulseMv: sagMv } : voltmeter,
  };
}

/** So long a point takes on the average, h. */
const pointH = 5.5 / 3600;

/** Factor of every point of the run, 1 in the mean. */
function driftOf(random: RandomSource, what: Imperfect, points: number): (index: number) => number {
  if (what.driftPercentPerH === undefined && what.walkPercentPerRootH === undefined) return () => 1;
  const sign = random.uniform() < 0.5 ? -1 : 1;
  const course: number[] = [];
  let walked = 0;
  for (let i = 0; i < points; i += 1) {
    walked += ((what.walkPercentPerRootH ?? 0) / 100) * Math.sqrt(pointH) * random.normal();
    course.push(walked + (sign * (what.driftPercentPerH ?? 0) * i * pointH) / 100);
  }
  const mean = course.reduce((sum, one) => sum + one, 0) / course.length;
  return (index) => 1 + (course[index] ?? 0) - mean;
}

/** Of mean 0 and variance 1. */
function noise(random: RandomSource, { studentDof }: Imperfect): number {
  if (studentDof === undefined) return random.normal();
  let squares = 0;
  for (let i = 0; i < studentDof; i += 1) squares += random.normal() ** 2;
  return (random.normal() / Math.sqrt(squares / studentDof)) * Math.sqrt((studentDof - 2) / studentDof);
}
