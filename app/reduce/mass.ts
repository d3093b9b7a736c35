/**
 * Mass per pulse of one measuring window (SAE J1832 list: dynamic flow, Qd), by double chronometry.
 *
 * The meter gives an edge for every 1/K of volume. n whole edges between the clock readings of the first and the last of
 * them are a volume flow n / (K dt) without the rounding of a count over a fixed gate (API MPMS 4.6, ISO 7278-3). Times
 * the density of the fluid in the meter it is a mass flow; the controller's period makes it mass per pulse exactly.
 *
 * The result is referred to the plan's pressure and to the reference temperature. An injector is an orifice, m' =
 * Cd A sqrt(2 rho dp): at the mean gauge pressure p instead of p_set it passes sqrt(p / p_set) as much, and with fluid of
 * density rho instead of rho_ref sqrt(rho / rho_ref) as much, so
 *
 *   Qd = rho_meter (n / (K(f) dt) - L) P sqrt(p_set / p) sqrt(rho_ref / rho_rail)
 *
 * L is the flow that passes the meter and not the injector.
 * rho_meter is the density in the meter and only counts mass; rho_rail is the density in the injector and only tells how
 * much fuel another density would let through; rho_ref is the density at the reference temperature and plan pressure.
 */
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfRun, densityUncertainty } from '../fluid/density-of-run.ts';
import type { HeptaneState } from '../fluid/heptane.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, kilograms, pascals } from '../quantities/quantity.ts';
import type { Kilograms } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { combined, term } from '../uncertainty/budget.ts';
import type { BudgetTerm } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import { curveError } from './k-interpolation.ts';
import type { LeakBlock } from './leak-block.ts';

type NoMassReason =
  | 'not-driven'
  | 'too-few-edges'
  | 'no-pressure'
  | 'no-supply'
  | 'not-a-number'
  | 'all-leak'
  | 'outside-fluid-range';

/**
 * The terms of one window that windows share, at the places below `count`. There are thousands of windows with a dozen terms each: those of the next stand in the same lists, and
 * numbers in lists need no object each, as they would on the way to somebody who is told one after the other.
 */
export class SharedTerms {
  count = 0;
  readonly sources: ErrorSource[] = [];
  /** Change of the mass for one unit, relative, and the standard uncertainty in that unit. */
  readonly sensitivities: number[] = [];
  readonly uncertainties: number[] = [];
  /** The estimates and their units. */
  readonly values: number[] = [];
  readonly units: string[] = [];

  add(source: ErrorSource, sensitivity: number, standardUncertainty: number, value: number, unit: string): void {
    const at = this.count;
    this.sources[at] = source;
    this.sensitivities[at] = sensitivity;
    this.uncertainties[at] = standardUncertainty;
    this.values[at] = value;
    this.units[at] = unit;
    this.count = at + 1;
  }
}

/** Of the window that was asked last. */
const termsOfWindow = new SharedTerms();

export interface MassPerPulse {
  readonly kind: 'mass';
  /** Qd at the plan's pressure and the reference temperature. */
  readonly mass: Kilograms;
  /** What passed the meter in a period, before those two corrections and the leak. */
  readonly measured: Kilograms;
  /** Of it, what leaked past the injector: taken off (RED-43). 0: nobody looked for a leak. */
  readonly leaked: Kilograms;
  /** Factors that lead from `measured` to `mass`. */
  readonly pressureFactor: number;
  readonly temperatureFactor: number;
  readonly meterHertz: number;
  readonly kFactorPerCubicMetre: number;
  readonly meterDensity: number;
  /** Relative to `mass`. Worked out anew whenever it is read, since those of a long run would be most of what its reduction keeps (HOST-21). */
  readonly budget: readonly BudgetTerm[];
  /** Those of it that windows share. They stand until the next window is asked for its own, so whoever asks keeps none of the lists (RED-98). */
  readonly sharedTerms: () => SharedTerms;
  /** Relative standard uncertainty of the random terms, and of those among them that every window has at least. */
  readonly uRandom: number;
  readonly uTiming: number;
  readonly uShared: number;
  /** What is left in the window of the squared error inside a turn of the meter, 0 to 1 (RED-95). */
  readonly partTurn: number;
}

export interface NoMass {
  readonly kind: 'no-mass';
  readonly reason: NoMassReason;
  readonly text: string;
}

/** One tick of the controller's clock, 1 us, rectangular. */
const uClockTick = 1e-6 / Math.sqrt(12);

type KFactorPoint = Equipment['meter']['kFactor'][number];

/** What every window asks for again is put together once. */
function oncePer<K extends object, S>(make: (of: K) => S): (of: K) => S {
  const made = new WeakMap<K, S>();
  return (of) => {
    const known = made.get(of);
    if (known !== undefined) return known;
    const source = make(of);
    made.set(of, source);
    return source;
  };
}

/** A point of a curve with what every window beside it asks of it: its K-factor, 1/m3, what that is uncertain by by itself, and under which name. */
interface CurvePoint extends KFactorPoint {
  readonly own: number;
  readonly uOwn: number;
  readonly source: ErrorSource;
}

/** From the lowest frequency up. */
const risingPoints = oncePer((meter: Equipment['meter']): readonly CurvePoint[] =>
  meter.kFactor
    .map((point) => {
      const own = point.edgesPerLitre * 1e3;
      return { ...point, own, uOwn: (own * (point.ownUncertaintyPercent ?? 0)) / 100, source: errorSource('k-factor-point', String(point.hertz)) };
    })
    .sort((a, b) => a.hertz - b.hertz),
);

/** How many points of a curve lie at a frequency or below it: the last of them and the next give it its K-factor. */
function pointsUpTo(points: readonly CurvePoint[], hertz: number): number {
  let count = 0;
  while (count < points.length && !((points[count] as CurvePoint).hertz > hertz)) count += 1;
  return count;
}

/** What the next of two points has in the K-factor of a frequency between them. */
const shareOfNext = (below: CurvePoint, next: CurvePoint, hertz: number): number => (hertz - below.hertz) / (next.hertz - below.hertz);

/** K-factor at a meter frequency: linear between the certificate's points, flat outside. 1/m3. RED-3. */
export function kFactorAt(meter: Equipment['meter'], hertz: number): number {
  return kFactorOf(placeOnCurve(risingPoints(meter), hertz));
}

/** The points of a curve that a frequency lies between, and what the second has in its K-factor. */
interface PlaceOnCurve {
  readonly below: CurvePoint | undefined;
  readonly next: CurvePoint | undefined;
  readonly share: number;
}

function placeOnCurve(points: readonly CurvePoint[], hertz: number): PlaceOnCurve {
  const count = pointsUpTo(points, hertz);
  const [below, next] = [points[count - 1], points[count]];
  return { below, next, share: below === undefined ? 1 : next === undefined ? 0 : shareOfNext(below, next, hertz) };
}

function kFactorOf({ below, next, share }: PlaceOnCurve): number {
  if (below === undefined || next === undefined) return (below ?? next)?.own ?? 0;
  return (1 - share) * below.edgesPerLitre * 1e3 + share * next.edgesPerLitre * 1e3;
}

/** Where a window lies on the curve of its meter, and what is not known of the curve there. */
interface OnCurve extends PlaceOnCurve {
  readonly error: ReturnType<typeof curveError>;
}

function onCurve(meter: Equipment['meter'], hertz: number): OnCurve {
  const points = risingPoints(meter);
  return { ...placeOnCurve(points, hertz), error: curveError(points, hertz) };
}

/** Adds the budget's terms of the K-factor: what the whole curve shares, the uncertainty of each point by itself, and what is not known between and beyond them. RED-5, RED-71, RED-72. */
function kFactorTerms(meter: Equipment['meter'], { below, next, share, error: { source, u } }: OnCurve, kFactor: number, gross: number, to: SharedTerms): void {
  to.add(ofWindows.kFactor, -1 / kFactor, (kFactor * meter.relativeUncertaintyPercent) / 100, kFactor, '1/m3');
  if (below !== undefined) kFactorPointTerm(below, 1 - share, kFactor, gross, to);
  if (next !== undefined) kFactorPointTerm(next, share, kFactor, gross, to);
  // What is less than a hundredth of the certificate's own uncertainty is no line of a budget.
  if (u * 1e4 > meter.relativeUncertaintyPercent) to.add(source, -gross / kFactor, kFactor * u, kFactor, '1/m3');
}

function kFactorPointTerm({ own, uOwn, source }: CurvePoint, share: number, kFactor: number, gross: number, to: SharedTerms): void {
  if (uOwn !== 0 && share !== 0) to.add(source, (-gross * share) / kFactor, uOwn, own, '1/m3');
}

/** Sources of which a run has one, for all its windows. */
const ofWindows = {
  kFactor: errorSource('k-factor'),
  density: errorSource('fluid-density'),
  pressure: errorSource('rail-pressure'),
  whileOpen: errorSource('pressure-while-open'),
  inMeter: errorSource('meter-temperature'),
  inRail: errorSource('rail-temperature'),
  leakMeter: errorSource('leak-meter'),
};

/**
 * Reduces one window. Uncertainties in the budget are relative to the mass. A window without two edges, without
 * pressure or outside the range of the density is a typed refusal. `leak`: what leaked at that time; null: nobody looked.
 */
export function massPerPulse(
  point: Pick<Point, 'role' | 'injector' | 'pressure' | 'width' | 'period'>,
  window: WindowSummary,
  equipment: Equipment,
  reduction: Plan['reduction'],
  leak: LeakBlock | null,
): MassPerPulse | NoMass {
  if (!(point.period > 0)) {
    return { kind: 'no-mass', reason: 'not-driven', text: 'Nothing was driven in this window: it tells what leaks, and has no mass per pulse.' };
  }
  const { edges, pressure } = window;
  const dt = window.lastEdgeAt - window.firstEdgeAt;
  if (!(edges >= 1 && dt > 0)) {
    return { kind: 'no-mass', reason: 'too-few-edges', text: 'The window holds fewer than two meter edges, so there is no flow to compute.' };
  }
  if (!(pressure.mean > 0)) {
    return { kind: 'no-mass', reason: 'no-pressure', text: 'The mean rail pressure of the window is not above the room, so the mass cannot be referred to the plan pressure.' };
  }
  if (!(window.supply.mean > 0)) {
    return { kind: 'no-mass', reason: 'no-supply', text: 'The window has no supply voltage, so its mass belongs to no voltage.' };
  }
  const known = knownOf(window, equipment);
  if (!known.isFinite) {
    return { kind: 'no-mass', reason: 'not-a-number', text: 'A reading of the window is not a finite number. Look at the frames of this attempt and measure the point again.' };
  }
  const ambient = equipment.ambientKpa * 1e3;
  const { inMeter, inRail } = known;
  const atReference = referenceDensity(equipment, reduction.referenceC, point.pressure + ambient);
  if (inMeter === null || inRail === null || atReference === null) {
    return { kind: 'no-mass', reason: 'outside-fluid-range', text: 'Temperature or pressure of the window lies outside the range in which the density of the fluid is known.' };
  }
  const { hertz, kFactor } = known;
  const measured = (inMeter.density * hertz * point.period) / kFactor;
  const leaked = inMeter.density * (leak?.flow ?? 0) * point.period;
  if (!(measured > leaked)) {
    return { kind: 'no-mass', reason: 'all-leak', text: 'No more passed the meter than what leaks past the injector, so there is no mass per pulse. Find the leak and measure the point again.' };
  }
  const gross = grossOf(measured, leaked);
  const pressureFactor = Math.sqrt(point.pressure / pressure.mean);
  const temperatureFactor = Math.sqrt(atReference.density / inRail.density);

  const mass = (measured - leaked) * pressureFactor * temperatureFactor;
  return new ReducedMass(mass, measured, leaked, pressureFactor, temperatureFactor, (gross * Math.SQRT2 * uClockTick) / dt, { point, window, leak, known: known as KnownOfWindow<HeptaneState> });
}

/** What the budget of a mass is worked out from, beside the mass. Nothing of it is a copy. */
interface BudgetInputs {
  readonly point: Pick<Point, 'injector' | 'width' | 'period'>;
  readonly window: WindowSummary;
  readonly leak: LeakBlock | null;
  readonly known: KnownOfWindow<HeptaneState>;
}

class ReducedMass implements MassPerPulse {
  readonly kind = 'mass';
  readonly mass;
  readonly measured;
  readonly leaked;
  readonly pressureFactor;
  readonly temperatureFactor;
  readonly meterHertz;
  readonly kFactorPerCubicMetre;
  readonly meterDensity;
  readonly uTiming;
  readonly partTurn;
  readonly #inputs: BudgetInputs;

  constructor(mass: number, measured: number, leaked: number, pressureFactor: number, temperatureFactor: number, uTiming: number, inputs: BudgetInputs) {
    const { hertz, kFactor, partTurn, inMeter } = inputs.known;
    this.mass = kilograms(mass);
    this.measured = kilograms(measured);
    this.leaked = kilograms(leaked);
    this.pressureFactor = pressureFactor;
    this.temperatureFactor = temperatureFactor;
    this.meterHertz = hertz;
    this.kFactorPerCubicMetre = kFactor;
    this.meterDensity = inMeter.density;
    this.uTiming = uTiming;
    this.partTurn = partTurn;
    this.#inputs = inputs;
  }

  get uRandom(): number {
    return combined(this.budget, 'random');
  }

  get uShared(): number {
    return combined(this.budget, 'shared');
  }

  /** The same window on a bench that measures so much less; its relative uncertainties are the same. */
  dividedBy(factor: number): MassPerPulse {
    return new ReducedMass(this.mass / factor, this.measured, this.leaked, this.pressureFactor, this.temperatureFactor, this.uTiming, this.#inputs);
  }

  get budget(): readonly BudgetTerm[] {
    const { window } = this.#inputs;
    const { measured, leaked, meterHertz: hertz } = this;
    const { partRates } = window;
    const dt = window.lastEdgeAt - window.firstEdgeAt;
    const gross = grossOf(measured, leaked);
    const steadiness = partRates.length >= 2 ? relativeErrorOfMean(partRates) : 0;
    const terms = [
      term(errorSource('edge-timing'), dt, 's', -gross / dt, Math.SQRT2 * uClockTick, 'random'),
      term(errorSource('steadiness'), hertz, 'Hz', gross / hertz, steadiness * hertz, 'random', Math.max(1, partRates.length - 1)),
    ];
    const { count, sources, sensitivities, uncertainties, values, units } = this.sharedTerms();
    for (let i = 0; i < count; i += 1) terms.push(term(sources[i] as ErrorSource, values[i] as number, units[i] as string, sensitivities[i] as number, uncertainties[i] as number, 'shared'));
    return terms;
  }

  sharedTerms(): SharedTerms {
    const to = termsOfWindow;
    to.count = 0;
    const { point, window, leak, known } = this.#inputs;
    const { of: { equipment, uDensity }, inMeter, inRail } = known;
    const { measured, leaked, kFactorPerCubicMetre: kFactor, meterDensity } = this;
    const { pressure } = window;
    kFactorTerms(equipment.meter, known.onCurve, kFactor, grossOf(measured, leaked), to);
    // A wrong density is wrong in the meter, the rail and the reference alike: the ratio of the last two is not touched.
    to.add(ofWindows.density, 1 / meterDensity, meterDensity * uDensity, meterDensity, 'kg/m3');
    to.add(ofWindows.pressure, -0.5 / pressure.mean + inMeter.compressibility - 0.5 * inRail.compressibility, equipment.pressure.uncertaintyKpa * 1e3, pressure.mean, 'Pa');
    const dip = dipWhileOpen(equipment, point, (measured - leaked) / meterDensity);
    if (dip !== 0) to.add(ofWindows.whileOpen, -0.5 / pressure.mean, dip / Math.sqrt(3), pressure.mean, 'Pa');
    to.add(ofWindows.inMeter, -inMeter.thermalExpansion, equipment.temperature.uncertaintyC, window.meterTemperature.mean, 'K');
    to.add(ofWindows.inRail, 0.5 * inRail.thermalExpansion, equipment.temperature.uncertaintyC, window.railTemperature.mean, 'K');
    if (leak !== null) leakTerms(leak, point, (meterDensity * point.period) / (measured - leaked), to);
    return to;
  }
}

/** A mass with what the bench measured too much of taken off, relative (RED-132). It must be one of `massPerPulse`. */
export function dividedBy(of: MassPerPulse, factor: number): MassPerPulse {
  if (!(of instanceof ReducedMass)) throw new Error('only what was reduced here knows its budget');
  return of.dividedBy(factor);
}

/**
 * By how much, Pa, the pressure while the injector is open may lie below its mean (RED-73): by what the record states, or at most by what a rail of its compliance can
 * make of a pulse. With D the duty, V what a pulse takes out and C the compliance, the dip of any rail that a resistance fills again is below 0.37 (1 - D)^2 V / C (own
 * computation over all time constants; 0.33 and 0.066 of V / C at 5 and 50 %). Held open there is no dip.
 */
function dipWhileOpen({ pressure: { whileOpenKpa }, rail }: Equipment, { width, period }: Pick<Point, 'width' | 'period'>, volume: number): number {
  const shut = Math.max(0, 1 - width / period);
  return whileOpenKpa !== undefined ? whileOpenKpa * 1e3 * shut : rail === undefined ? 0 : (0.37 * shut * shut * volume) / (rail.complianceMlPerMpa * 1e-12);
}

/** From so many turns on what is left of one is less than anything else that windows scatter by: below 3 % of it. */
const manyTurns = 10;

/**
 * The gears of a meter turn a little faster here and slower there. Of an error that swings once in a turn of N edges, n edges that begin anywhere keep
 * N sin(pi n / N) / (pi n) of its amplitude (own computation); one that swings faster keeps less. Whole turns keep nothing.
 */
function partTurnOf(edges: number, perTurn: number): number {
  if (edges % perTurn === 0 || edges > manyTurns * perTurn) return 0;
  const angle = (Math.PI * edges) / perTurn;
  return (Math.sin(angle) / angle) ** 2;
}

/** Errors that only the meter's rate has weigh more in what is left of it. */
const grossOf = (measured: number, leaked: number): number => measured / (measured - leaked);

/** Of a block, with how well its change is known; of each injector, by its place in the plan, how far the leak stood from the mean at its time, and what passes its own seat. */
const ofLeak = oncePer(({ block, change, uChange }: LeakBlock) => ({
  block: errorSource('leak', String(block + 1)),
  uOfChange: Math.hypot(change, uChange) / Math.sqrt(12),
  injectors: [] as { readonly change: ErrorSource; readonly path: ErrorSource }[],
}));

/**
 * Adds the terms of a leak: RED-43, RED-44. `perFlow`: change of the mass, relative, for one unit of the leak. The leak's mean over the block is one error of all
 * that was measured in it; how far it stood from that mean at its own time is each injector's.
 */
function leakTerms(leak: LeakBlock, { injector, width, period }: Pick<Point, 'injector' | 'width' | 'period'>, perFlow: number, to: SharedTerms): void {
  const { block, injectors, uOfChange } = ofLeak(leak);
  const own = (injectors[injector] ??= { change: errorSource('leak-change', `${leak.block + 1}, injector ${injector + 1}`), path: errorSource('leak-path', String(injector + 1)) });
  to.add(block, -perFlow, leak.uFlow, leak.flow, 'm3/s');
  to.add(own.change, -perFlow, uOfChange, leak.change, 'm3/s');
  to.add(ofWindows.leakMeter, -perFlow, leak.uMeter, leak.flow, 'm3/s');
  // Through its own seat nothing leaks while the injector is open. One-sided, by the whole leak at most.
  to.add(own.path, (-perFlow * width) / period, leak.flow / Math.sqrt(3), leak.flow, 'm3/s');
}

/** A record of equipment, with what is the same for all windows that it measured. */
interface Instruments {
  readonly equipment: Equipment;
  readonly uDensity: number;
}

const instrumentsOf = oncePer((equipment: Equipment): Instruments => ({ equipment, uDensity: densityUncertainty(equipment.fluid) }));

/** What a window tells by itself, with the equipment that measured it: whether all its readings are numbers, the fluid as it was, null outside its range, and where on its curve the meter was. */
interface KnownOfWindow<State = HeptaneState | null> {
  readonly of: Instruments;
  readonly isFinite: boolean;
  readonly inMeter: State;
  readonly inRail: State;
  readonly hertz: number;
  readonly kFactor: number;
  readonly onCurve: OnCurve;
  readonly partTurn: number;
}

const knownOfWindows = new WeakMap<WindowSummary, KnownOfWindow>();

/** A run that is reduced again while it grows has most of its windows from before: neither they nor a record of equipment are ever written into, so what they come to stands. RED-160 */
function knownOf(window: WindowSummary, equipment: Equipment): KnownOfWindow {
  const before = knownOfWindows.get(window);
  if (before?.of.equipment === equipment) return before;
  const pressure = pascals(window.pressure.mean + equipment.ambientKpa * 1e3);
  const dt = window.lastEdgeAt - window.firstEdgeAt;
  const hertz = window.edges / dt;
  const place = onCurve(equipment.meter, hertz);
  const found = {
    of: instrumentsOf(equipment),
    // What is not finite is not finite in a sum.
    isFinite: Number.isFinite(window.edges + dt + window.pressure.mean + window.supply.mean + window.railTemperature.mean + window.meterTemperature.mean) && window.partRates.every(Number.isFinite),
    inMeter: densityOfRun(equipment, window.meterTemperature.mean, pressure),
    inRail: densityOfRun(equipment, window.railTemperature.mean, pressure),
    hertz,
    kFactor: kFactorOf(place),
    onCurve: place,
    partTurn: partTurnOf(window.edges, equipment.meter.edgesPerRevolution),
  };
  knownOfWindows.set(window, found);
  return found;
}

const referenceDensities = new WeakMap<Equipment, Map<number, { readonly referenceC: number; readonly density: ReturnType<typeof densityOfRun> }>>();

/** The same for all windows of a pressure, so it is solved once. */
function referenceDensity(equipment: Equipment, referenceC: number, absolutePressure: number): ReturnType<typeof densityOfRun> {
  const known = referenceDensities.get(equipment) ?? new Map<number, { readonly referenceC: number; readonly density: ReturnType<typeof densityOfRun> }>();
  referenceDensities.set(equipment, known);
  const before = known.get(absolutePressure);
  if (before?.referenceC === referenceC) return before.density;
  const density = densityOfRun(equipment, celsius(referenceC), pascals(absolutePressure));
  known.set(absolutePressure, { referenceC, density });
  return density;
}

/** Standard deviation of the mean of equal parts, relative to it: what unsteadiness and in-rotation error leave. */
function relativeErrorOfMean(rates: readonly number[]): number {
  const n = rates.length;
  let sum = 0;
  for (const rate of rates) sum += rate;
  const mean = sum / n;
  let squares = 0;
  for (const rate of rates) squares += (rate - mean) * (rate - mean);
  return Math.sqrt(squares / (n - 1) / n) / mean;
}
