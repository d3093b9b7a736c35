/** What a bench may do that no certificate speaks of: its flow reading drifts, wanders and is disturbed for a while (scenario, `imperfections`). */
import { RandomSource } from './random.ts';
import type { Scenario } from './scenario.ts';

/** A disturbance lasts so long, s: about a measuring window. */
const LASTS_S = 3;
/** Scatter of heavy tails, standard deviation of what lasts that long. */
const TAILS = 1e-3;

export class Wander {
  readonly #what: Scenario['imperfections'];
  readonly #random: RandomSource;
  readonly #phase: number;
  #walked = 0;
  #until = 0;
  #disturbed = 0;

  constructor(scenario: Scenario) {
    this.#what = scenario.imperfections;
    this.#random = RandomSource.named(scenario.seed, 'imperfections');
    this.#phase = 2 * Math.PI * this.#random.uniform();
  }

  /** The meter's factor at a bench time, `dt` after it was last asked, over what it would be without. */
  at(s: number, dt: number): number {
    const { driftPercentPerH = 0, walkPercentPerRootH = 0, gross, studentDof } = this.#what;
    if (walkPercentPerRootH > 0) this.#walked += walkPercentPerRootH * Math.sqrt(dt / 3600) * this.#random.normal();
    if ((gross !== undefined || studentDof !== undefined) && s >= this.#until) {
      this.#until = s + LASTS_S;
      const chance = this.#random.uniform();
      this.#disturbed = gross !== undefined && chance < gross.part ? (chance < gross.part / 2 ? 1 : -1) * (gross.percent / 100) : 0;
      if (studentDof !== undefined) this.#disturbed += TAILS * this.#student(studentDof);
    }
    return 1 + (driftPercentPerH * s) / 360_000 + this.#walked / 100 + this.#disturbed;
  }

  /** What the meter's curve is off its certificate by, at a frequency: waves over its logarithm that a certificate of few points does not show. */
  curve(hertz: number): number {
    return 1 + ((this.#what.meterCurvePercent ?? 0) / 200) * Math.sin(1.5 * Math.log(Math.max(hertz, 0.1)) + this.#phase);
  }

  /** Of variance 1. */
  #student(dof: number): number {
    let squares = 0;
    for (let i = 0; i < dof; i += 1) squares += this.#random.normal() ** 2;
    return (this.#random.normal() / Math.sqrt(squares / dof)) * Math.sqrt((dof - 2) / dof);
  }
}
