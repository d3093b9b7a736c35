/**
 * The rail: a compliance that a proportional regulator feeds. With D the deficit below the regulator's target,
 *   C dD/dt = q_out - C D / tau,     q_in = C D / tau = D / r
 * so the pressure droops with the flow, ripples with the pulses, and what runs in through the meter is the injectors'
 * flow smoothed with tau. Solved in closed form over any span of constant outflow. A rail above its target is relieved
 * to the tank behind the meter: nothing runs back through it.
 *
 * A rail that is cut off from its regulator (pump off, or shut-off valve shut) has no inflow: C dp/dt = -q_out.
 */

/** Compliance of rail, hose and damper times density, kg/Pa: a 10 mg pulse lowers the pressure by 0.2 kPa. */
const COMPLIANCE = 7.5e-11 * 684;
const REFILL_S = 0.03;
/** 50 mL of fluid that expands by 1.25e-3 of itself for each kelvin, over the compliance, Pa/K. */
const PRESSURE_PER_KELVIN = (1.25e-3 * 50e-6) / 7.5e-11;
/** The regulator's approach to a new target. */
const TARGET_TAU_S = 0.5;
/** A target nearer than this is reached, Pa. */
const NEAR_PA = 0.5;
/** The pressure transducer's own filter. */
const SENSOR_TAU_S = 0.02;

export class Rail {
  #target: number;
  #goal: number;
  #deficit = 0;
  #cutOff = false;
  #sensed: number;

  readonly #compliance: number;
  readonly #tauS: number;
  readonly #lag: number;

  /** `filled`: another compliance, kg/Pa, and time in which it is filled again, s; absent: the bench's own. */
  constructor(pressure: number, filled = { compliance: COMPLIANCE, tauS: REFILL_S }) {
    this.#compliance = filled.compliance;
    // Equal to the sensor's own the closed form has no answer.
    this.#tauS = Math.abs(filled.tauS - SENSOR_TAU_S) < 1e-6 ? filled.tauS + 1e-5 : filled.tauS;
    this.#lag = this.#tauS / (this.#tauS - SENSOR_TAU_S);
    this.#target = pressure;
    this.#goal = pressure;
    this.#sensed = pressure;
  }

  /** True pressure, gauge, Pa. */
  get pressure(): number {
    return Math.max(0, this.#target - this.#deficit);
  }

  /** What the transducer's filter passes on, without its error. */
  get sensed(): number {
    return this.#sensed;
  }

  /** Where the regulator shall go; it gets there by `follow`. */
  aim(pressure: number): void {
    this.#goal = Math.max(0, pressure);
  }

  /** Nothing runs into the rail any more; or it is fed again, from the pressure at which it stands. */
  cutOff(cutOff: boolean): void {
    if (cutOff === this.#cutOff) return;
    this.#cutOff = cutOff;
    if (!cutOff) return;
    this.#target = this.pressure;
    this.#deficit = 0;
  }

  /** Moves the regulator towards its aim for `dt` seconds, as one small step. */
  follow(dt: number): void {
    if (this.#cutOff) return;
    const way = this.#goal - this.#target;
    if (way === 0) return;
    const step = Math.abs(way) < NEAR_PA ? way : way * (1 - Math.exp(-dt / TARGET_TAU_S));
    this.#target += step;
    this.#deficit += step;
  }

  /** The fluid becomes warmer by `kelvins`: in a rail that is cut off it has nowhere to go. */
  warm(kelvins: number): void {
    if (this.#cutOff) this.#target = Math.max(0, this.#target + PRESSURE_PER_KELVIN * kelvins);
  }

  /** Mean pressure over the next `duration` seconds while `outflow` (kg/s) runs out. */
  meanPressure(duration: number, outflow: number): number {
    if (this.#cutOff) return Math.max(0, this.#target - (outflow / this.#compliance) * (duration / 2));
    const far = (outflow * this.#tauS) / this.#compliance;
    const share = duration > 0 ? (this.#tauS / duration) * -Math.expm1(-duration / this.#tauS) : 1;
    return Math.max(0, this.#target - far - (this.#deficit - far) * share);
  }

  /** Mass through the meter in the next `dt` seconds, kg, with `outflow` (kg/s) running out of the rail. */
  inflowAfter(dt: number, outflow: number): number {
    if (this.#cutOff) return 0;
    const far = (outflow * this.#tauS) / this.#compliance;
    const mass = this.#compliance * ((far * dt) / this.#tauS - (this.#deficit - far) * Math.expm1(-dt / this.#tauS));
    return Math.max(0, mass);
  }

  /** Lets `dt` seconds pass with `outflow` (kg/s) running out of the rail. */
  advance(dt: number, outflow: number): void {
    if (this.#cutOff) {
      const fall = outflow / this.#compliance;
      const behind = this.#sensed - this.#target - fall * SENSOR_TAU_S;
      this.#target = Math.max(0, this.#target - fall * dt);
      this.#sensed = this.#target + fall * SENSOR_TAU_S + behind * Math.exp(-dt / SENSOR_TAU_S);
      return;
    }
    const far = (outflow * this.#tauS) / this.#compliance;
    const fading = this.#deficit - far;
    const kept = Math.exp(-dt / this.#tauS);
    // The filter follows target - far - fading exp(-t / tau): its own particular solution, and its own fading part.
    const particular = this.#target - far - fading * this.#lag;
    this.#sensed = this.#target - far - fading * this.#lag * kept + (this.#sensed - particular) * Math.exp(-dt / SENSOR_TAU_S);
    this.#deficit = far + fading * kept;
  }
}
