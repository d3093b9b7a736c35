/** What this run has set on the bench, as far as it is certain, and since when the bench follows it. */
import type { BenchFrame } from '../../bench/port.ts';
import { fluidTemperatures, placeInFrame } from '../../bench/readings.ts';
import type { Plan } from '../../plan/plan.ts';
import { celsius, toCelsius } from '../../quantities/quantity.ts';
import type { Kelvins } from '../../quantities/quantity.ts';
import type { EngineCore } from './core.ts';

/** Where a frame's readings have the temperatures that must keep the plan's band. */
const temperatures = fluidTemperatures.map(placeInFrame).filter((place) => place >= 0);

export class EngineSettings {
  /** Set points that the controller has accepted, V and Pa; NaN: none, or not certain. */
  supply = Number.NaN;
  pressure = Number.NaN;
  armed = false;
  /** The pump was enabled and nothing has switched it off since. */
  pumping = false;
  /** A burst was asked for and its end has not been seen. */
  pulsing = false;
  /** Channel whose injector was driven last, since the bench was safe, in an attempt that was accepted; null: none was, or it was not (RUN-230, RUN-241). */
  driven: number | null = null;
  /** The rail was asked to be shut off, and not yet to be opened again. */
  railShut = false;
  /** On the scale of `now`; NaN: it is not. */
  #supplySteadySince = Number.NaN;
  #conditionSince = Number.NaN;
  readonly #core: EngineCore;
  readonly #plan: Pick<Plan, 'supply' | 'condition'>;
  /** Of the plan, for every frame: V, Pa. */
  readonly #supplyTolerance: number;
  readonly #pressureTolerance: number;
  /** K; a temperature between them is in the band whatever the rounding of its conversion. */
  readonly #surelyAbove: number;
  readonly #surelyBelow: number;

  constructor(core: EngineCore) {
    this.#core = core;
    this.#plan = core.state.plan;
    this.#supplyTolerance = this.#plan.supply.toleranceV;
    this.#pressureTolerance = this.#plan.condition.pressureToleranceKpa * 1e3;
    this.#surelyAbove = celsius(this.#plan.condition.temperatureMinC) + 1e-6;
    this.#surelyBelow = celsius(this.#plan.condition.temperatureMaxC) - 1e-6;
  }

  /** The bench was told to be safe, or its supply was: nothing of this is certain. */
  forgetSupply(): void {
    this.supply = Number.NaN;
    this.#supplySteadySince = Number.NaN;
  }

  forgetPressure(): void {
    this.pressure = Number.NaN;
    this.#conditionSince = Number.NaN;
  }

  /** A person has set the pressure, or is asked to. */
  expectPressure(pressure: number): void {
    this.pressure = pressure;
    this.conditionBeginsAnew();
    if (this.#core.frame !== null) this.#trackCondition(this.#core.frame);
  }

  conditionBeginsAnew(): void {
    this.#conditionSince = Number.NaN;
  }

  /** The controller was reset. */
  forgetAfterReset(): void {
    this.pressure = Number.NaN;
    this.supply = Number.NaN;
    this.pumping = false;
  }

  forgetAll(): void {
    this.forgetSupply();
    this.forgetPressure();
    this.armed = false;
    this.pumping = false;
    this.pulsing = false;
    this.driven = null;
    this.railShut = false;
  }

  track(frame: BenchFrame): void {
    if (!(Math.abs(frame.supply - this.supply) <= this.#supplyTolerance)) this.#supplySteadySince = Number.NaN;
    else if (Number.isNaN(this.#supplySteadySince)) this.#supplySteadySince = this.#core.now;
    this.#trackCondition(frame);
  }

  /** Armed, and the read-back has been within its tolerance for as long as the plan wants (RUN-40). */
  get supplyIsSteady(): boolean {
    return this.armed && this.#core.now - this.#supplySteadySince >= this.#plan.supply.steadyS;
  }

  /** RUN-41. */
  get conditionIsSteady(): boolean {
    return this.#core.now - this.#conditionSince >= this.#plan.condition.steadyS;
  }

  pressureFits(frame: BenchFrame): boolean {
    return Math.abs(frame.pressure - this.pressure) <= this.#pressureTolerance;
  }

  /** Of the latest frame. */
  temperaturesFit(): boolean {
    const { readings } = this.#core;
    for (const place of temperatures) {
      const found = readings[place] as number;
      if (found > this.#surelyAbove && found < this.#surelyBelow) continue;
      const { temperatureMinC: min, temperatureMaxC: max } = this.#plan.condition;
      const shown = toCelsius(found as Kelvins);
      if (!(shown >= min && shown <= max)) return false;
    }
    return true;
  }

  #trackCondition(frame: BenchFrame): void {
    if (!this.pressureFits(frame) || !this.temperaturesFit()) this.#conditionSince = Number.NaN;
    else if (Number.isNaN(this.#conditionSince)) this.#conditionSince = this.#core.now;
  }
}
