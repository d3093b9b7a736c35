/**
 * One injector as a machine: coil, magnetic circuit, needle between two stops, and the fluid it lets through. The
 * equations of one pulse are integrated from rest (or from what an earlier pulse left behind) until the needle is shut.
 *
 * Magnetic circuit, state is the flux phi:
 *   N i = phi (R_core (1 + (phi/phi_s)^8) + gap(x) / (mu0 A)) + k_e dphi/dt       (eddy currents as one shorted turn)
 *   N dphi/dt = u - i R        u = supply while the switch conducts, supply - clamp while the coil current flies back
 * which is L(x) di/dt + i dL/dt = u - i R with a lift-dependent, saturating L = N phi / i.
 *
 * Needle: m x'' = phi^2 / (2 mu0 A) - preload - k x - c x' - (p - p_sac) A_seat, two stops with restitution.
 * Flow: seat (area grows with lift) and metering holes in series, both as Cd A, so that
 *   A_e = A_s A_h / sqrt(A_s^2 + A_h^2),   m' = A_e sqrt(2 rho p),   (p - p_sac) = p A_h^2 / (A_s^2 + A_h^2).
 *
 * The first is the equation of an orifice (Bernoulli), the second follows from the same flow through both.
 */

/** Vacuum permeability, H/m. */
const MU0 = 4e-7 * Math.PI;
/** Copper, per kelvin at 20 degC (IEC 60028). The plant has figures of its own: a wrong one in the reduction must not be right here. */
const COPPER_PER_K = 0.00393;

export interface InjectorParts {
  /** Coil at 20 degC, ohm. */
  readonly resistance: number;
  readonly turns: number;
  /** Pole face, m2. */
  readonly pole: number;
  /** Air gap that remains at full lift, m. */
  readonly residualGap: number;
  /** Reluctance of the unsaturated iron, 1/H. */
  readonly core: number;
  /** Flux at which the iron's reluctance has doubled, Wb. */
  readonly saturationFlux: number;
  /** Eddy currents: ampere-turns for each Wb/s. */
  readonly eddy: number;
  /** Moving mass, kg. */
  readonly mass: number;
  /** Spring force with the needle shut, N. */
  readonly preload: number;
  /** N/m. */
  readonly spring: number;
  /** N s/m. */
  readonly damping: number;
  /** m. */
  readonly lift: number;
  /** Rebound speed over impact speed. */
  readonly upperRestitution: number;
  readonly seatRestitution: number;
  /** Seat circle, m. */
  readonly seatDiameter: number;
  /** Seat flow area (with its discharge coefficient) for each metre of lift, m. */
  readonly seatAreaPerLift: number;
  /** Metering holes with their discharge coefficient, m2. */
  readonly holes: number;
}

/** What drives the coil. */
export interface CoilDrive {
  /** At the supply's terminals, V. */
  readonly supply: number;
  /** Everything between the supply and the coil: source, harness, switch; ohm. */
  readonly series: number;
  /** Fly-back clamp, switched terminal to ground, V: the coil then sees it less the supply. */
  readonly clamp: number;
}

/** Where the needle and the flux are at one instant. */
export interface NeedleState {
  readonly flux: number;
  readonly lift: number;
  readonly velocity: number;
}

export const AT_REST: NeedleState = { flux: 0, lift: 0, velocity: 0 };

export interface PulseOutcome {
  /** Effective area integrated over time, m2 s: mass is this times sqrt(2 rho p). */
  readonly areaTime: number;
  /** From the start of the pulse until the needle first leaves the seat, first reaches full lift, last comes to rest; s.
   * NaN: it did not. */
  readonly leavesSeat: number;
  readonly fullLift: number;
  readonly shut: number;
  /** Through the supply, C. */
  readonly charge: number;
  /** Dissipated in the coil's copper, J. */
  readonly heat: number;
  /** Coil current at the end of the integration, A. */
  readonly current: number;
  /** State at the end of the integration. */
  readonly end: NeedleState;
  readonly endedAt: number;
  /** From the start of the pulse until nothing of it can be felt by a next one, s. */
  readonly forgotten: number;
}

/** Effective area at full lift, m2. */
export function openArea(parts: InjectorParts): number {
  const seat = parts.seatAreaPerLift * parts.lift;
  return (seat * parts.holes) / Math.hypot(seat, parts.holes);
}

export function coilResistance(parts: InjectorParts, coilC: number): number {
  return parts.resistance * (1 + COPPER_PER_K * (coilC - 20));
}

/** Inductance with the needle shut and the iron unsaturated, H. */
export function shutInductance(parts: InjectorParts): number {
  return parts.turns ** 2 / (parts.core + (parts.residualGap + parts.lift) / (MU0 * parts.pole));
}

/** Integration step, s. */
const STEP = 2e-6;
/** A rebound slower than this is none, m/s: its height would be below a nanometre. */
const STICK = 2e-3;
/** The coil has settled when what remains of dflux/dt N is below this, V: worth some nanoseconds of closing time. */
const SETTLED_V = 1e-3;
/** Flux that a next pulse no longer feels, Wb: it moves an opening by less than 0.05 us. */
const FORGOTTEN_FLUX = 1e-9;
/** Nothing an injector does takes longer than this after its pulse, s. */
const LONGEST_TAIL = 20e-3;

/**
 * Integrates one pulse of `width` seconds. `until` cuts the integration (a next pulse begins there); by default it
 * ends when the needle rests on its seat and the current is off.
 * @param pressure at the seat, gauge, Pa.
 * @param coilC mean copper temperature, degC.
 * @param step integration step, s; only a test of convergence gives another than the default.
 */
// eslint-disable-next-line max-lines-per-function, complexity -- one integration of one set of equations: its parts share every variable
export function simulatePulse(
  parts: InjectorParts,
  drive: CoilDrive,
  pressure: number,
  coilC: number,
  width: number,
  from: NeedleState = AT_REST,
  until = Number.POSITIVE_INFINITY,
  step = STEP,
): PulseOutcome {
  const { turns, core, eddy, mass, preload, spring, damping, lift: fullLift, holes, seatAreaPerLift } = parts;
  const copper = coilResistance(parts, coilC);
  const resistance = copper + drive.series;
  const resistancePerTurn = resistance / turns;
  const drivenLag = turns + resistancePerTurn * eddy;
  const perGap = 1 / (MU0 * parts.pole);
  const shutReluctance = core + (parts.residualGap + fullLift) * perGap;
  const perFluxSquared = 1 / (2 * MU0 * parts.pole);
  const perSaturation = 1 / parts.saturationFlux;
  const seatForce = (pressure * Math.PI * parts.seatDiameter ** 2) / 4;
  const holes2 = holes * holes;

  let t = 0;
  let flux = from.flux;
  let x = from.lift;
  let v = from.velocity;
  /** The fly-back is over and the driver carries no current. */
  let flownBack = false;
  let current = 0;
  let areaTime = 0;
  let charge = 0;
  let heat = 0;
  let leavesSeat = x > 0 ? 0 : Number.NaN;
  let reachesLift = Number.NaN;
  let shut = x > 0 ? Number.NaN : 0;
  let area = effectiveArea(x);

  function effectiveArea(lift: number): number {
    const seat = seatAreaPerLift * lift;
    return (seat * holes) / Math.sqrt(seat * seat + holes2);
  }
  function ampereTurns(f: number, lift: number): number {
    const s = f * perSaturation;
    const s2 = s * s;
    const s4 = s2 * s2;
    return f * (shutReluctance - lift * perGap + core * s4 * s4);
  }
  function acceleration(f: number, lift: number, speed: number): number {
    const seat = seatAreaPerLift * lift;
    const closing = preload + spring * lift + damping * speed + (seatForce * holes2) / (seat * seat + holes2);
    return (f * f * perFluxSquared - closing) / mass;
  }

  const end = Math.min(until, width + LONGEST_TAIL);
  while (t < end) {
    const driven = t < width;
    // The last step before the switch opens, and the last of all, end exactly there.
    const edge = driven ? Math.min(width, end) : end;
    let h = step;
    if (t + h > edge) h = edge - t;
    if (h < 1e-12) {
      t = edge;
      continue;
    }

    const mmf = ampereTurns(flux, x);
    const voltage = driven ? drive.supply : drive.supply - drive.clamp;
    let slope = (voltage - resistancePerTurn * mmf) / drivenLag;
    current = (mmf + eddy * slope) / turns;
    if (driven) flownBack = false;
    else if (current <= 0) flownBack = true;
    if (flownBack) {
      current = 0;
      slope = eddy > 0 ? -mmf / eddy : -flux / h;
    }

    const a0 = acceleration(flux, x, v);
    const rests = v === 0 && ((x === 0 && a0 <= 0) || (x === fullLift && a0 >= 0));
    if (rests && driven && Math.abs(slope) * turns < SETTLED_V) {
      // Nothing changes any more until the switch opens.
      const rest = edge - t;
      const steady = drive.supply / resistance;
      areaTime += area * rest;
      charge += steady * rest;
      heat += steady * steady * copper * rest;
      t = edge;
      continue;
    }
    if (rests && x === 0 && flownBack) break;

    // Midpoint rule.
    let halfFlux = flux + 0.5 * h * slope;
    let halfX = rests ? x : x + 0.5 * h * v;
    let halfMmf = ampereTurns(halfFlux, halfX);
    let halfSlope: number;
    let halfCurrent = 0;
    if (flownBack) halfSlope = eddy > 0 ? -halfMmf / eddy : slope;
    else {
      halfSlope = (voltage - resistancePerTurn * halfMmf) / drivenLag;
      halfCurrent = (halfMmf + eddy * halfSlope) / turns;
      if (!driven && 2 * halfCurrent < current) {
        // The current dies inside this step: end the step there.
        h *= current / (2 * (current - halfCurrent));
        halfFlux = flux + 0.5 * h * slope;
        halfX = rests ? x : x + 0.5 * h * v;
        halfMmf = ampereTurns(halfFlux, halfX);
        halfSlope = (voltage - resistancePerTurn * halfMmf) / drivenLag;
        halfCurrent = current / 2;
        flownBack = true;
      }
    }

    flux += h * halfSlope;
    t += h;
    if (driven) charge += h * halfCurrent;
    heat += h * halfCurrent * halfCurrent * copper;
    const areaBefore = area;
    if (!rests) {
      const a1 = acceleration(halfFlux, halfX, v + 0.5 * h * a0);
      const before = x;
      const speed = v;
      x += h * (v + 0.5 * h * a0);
      v += h * a1;
      if (before === 0 && x > 0 && Number.isNaN(leavesSeat)) leavesSeat = t;
      if (x > fullLift || x < 0) {
        const stop = x < 0 ? 0 : fullLift;
        // When it struck: straight line, then one step of Newton on the parabola.
        let struck = (h * (stop - before)) / (x - before);
        const refined = struck - (before + struck * (speed + 0.5 * struck * a0) - stop) / (speed + struck * a0);
        if (refined >= 0 && refined <= h) struck = refined;
        const left = h - struck;
        if (stop > 0 && Number.isNaN(reachesLift)) reachesLift = t - left;
        v = -(speed + struck * a1) * (stop > 0 ? parts.upperRestitution : parts.seatRestitution);
        // The damper turns about with the needle.
        const after = a1 + (damping * (speed + 0.5 * h * a0 - v)) / mass;
        x = stop + left * (v + 0.5 * left * after);
        v += left * after;
        // A rebound that is over inside its own step is none.
        if (Math.abs(v) < STICK || x < 0 || x > fullLift) {
          v = 0;
          x = stop;
        }
        if (stop === 0) shut = t;
      }
      area = effectiveArea(x);
    }
    areaTime += 0.5 * h * (areaBefore + area);
  }

  const endMmf = ampereTurns(flux, x);
  const endSlope = ((t <= width ? drive.supply : drive.supply - drive.clamp) - resistancePerTurn * endMmf) / drivenLag;
  current = flownBack ? 0 : (endMmf + eddy * endSlope) / turns;
  const decay = eddy / shutReluctance;
  return {
    areaTime,
    leavesSeat,
    fullLift: reachesLift,
    shut,
    charge,
    heat,
    current,
    end: { flux, lift: x, velocity: v },
    endedAt: t,
    forgotten: t + (flux > FORGOTTEN_FLUX ? decay * Math.log(flux / FORGOTTEN_FLUX) : 0),
  };
}

/** The state a needle that was shut at the end of `outcome` has `later` seconds after that: only flux decays. */
export function decayed(parts: InjectorParts, end: NeedleState, later: number): NeedleState {
  const decay = parts.eddy * shutInductance(parts) / parts.turns ** 2;
  return { flux: decay > 0 ? end.flux * Math.exp(-later / decay) : 0, lift: 0, velocity: 0 };
}
