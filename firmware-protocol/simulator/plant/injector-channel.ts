/**
 * One injector on its driver channel: knows its coil's warmth and what the last pulse left behind.
 *
 * A pulse that begins when nothing of the last one can be felt comes from the table. One that begins earlier (the
 * needle still moving, current still flowing, or flux left in the iron) is integrated by itself from the state it
 * finds, and what the last pulse would have passed after that instant is taken back.
 */
import type { RandomSource } from './random.ts';
import { AT_REST, decayed, simulatePulse, type NeedleState } from './injector.ts';
import type { Injector } from './injector-type.ts';
import { PulseTable } from './pulse-table.ts';
import { driveAt, type Circuit } from './supply.ts';
import { riseAfterPause, riseAfterPulse } from './thermal.ts';
import type { Scenario } from './scenario.ts';

/** Pulse-to-pulse scatter: a relative part, and the jitter of opening and closing that rules short pulses. */
const SCATTER_RELATIVE = 0.003;
const SCATTER_S = 10e-6;
/** A needle that hardly lifts has little to scatter: the jitter grows in over this much open time. */
const SCATTER_FULL_S = 100e-6;

/** What one pulse does to the rail and the supply: a constant draw over a span. */
export interface Draw {
  readonly fromUs: number;
  readonly toUs: number;
  /** Effective area, m2; 0: the injector stays shut. */
  readonly area: number;
  /** Mean supply current over the span, A. */
  readonly current: number;
}

interface Last {
  readonly startUs: number;
  readonly width: number;
  readonly supplyV: number;
  readonly pressure: number;
  readonly coilC: number;
  readonly from: NeedleState;
  readonly areaTime: number;
  readonly endedAt: number;
  readonly end: NeedleState;
  readonly forgotten: number;
}

export class InjectorChannel {
  readonly injector: Injector;
  #table: PulseTable;
  readonly #circuit: Circuit;
  readonly #scatter: RandomSource | null;
  #rise = 0;
  #riseAtUs = 0;
  #last: Last | null = null;
  #owed = 0;
  stuckShut = false;
  /** Part of its flow that a clogged injector still passes. */
  passes = 1;
  /** Relative standard deviation of the open time that a fault adds. */
  erratic = 0;

  /** What is wrong with it beyond its parts. */
  readonly #imperfect: Pick<Scenario['imperfections'], 'coil' | 'curvaturePercent'>;

  constructor(injector: Injector, circuit: Circuit, scatter: RandomSource | null, imperfect: Pick<Scenario['imperfections'], 'coil' | 'curvaturePercent'> = {}) {
    this.injector = injector;
    this.#imperfect = imperfect;
    this.#circuit = circuit;
    this.#table = new PulseTable(injector.parts, circuit);
    this.#scatter = scatter;
  }

  /** Another coil, ohm at 20 degC; null: the injector's own. */
  set coil(ohm: number | null) {
    const resistance = ohm ?? this.injector.parts.resistance;
    if (resistance !== this.#table.parts.resistance) this.#table = new PulseTable({ ...this.injector.parts, resistance }, this.#circuit);
  }

  /** At 20 degC. */
  get coilOhm(): number {
    return this.#table.parts.resistance;
  }

  /** Effective area while open, m2. */
  get openArea(): number {
    return this.#table.openArea * this.passes;
  }

  pulse(startUs: number, widthUs: number, supplyV: number, pressure: number, fluidC: number): Draw {
    const width = widthUs / 1e6;
    const riseNow = riseAfterPause(this.#rise, (startUs - this.#riseAtUs) / 1e6, this.#imperfect.coil);
    const coilC = fluidC + riseNow;
    const { parts } = this.#table;

    const gap = this.#last === null ? Number.POSITIVE_INFINITY : (startUs - this.#last.startUs) / 1e6;
    let from = AT_REST;
    if (this.#last !== null && gap < this.#last.forgotten) {
      const last = this.#last;
      if (gap >= last.endedAt) from = decayed(parts, last.end, gap - last.endedAt);
      else {
        const cut = simulatePulse(parts, driveAt(last.supplyV, this.#circuit), last.pressure, last.coilC, last.width, last.from, gap);
        this.#owed += last.areaTime - cut.areaTime;
        from = cut.end;
      }
    }
    const pulse =
      from === AT_REST
        ? this.#table.pulse(width, supplyV, pressure, coilC)
        : simulatePulse(parts, driveAt(supplyV, this.#circuit), pressure, coilC, width, from);
    this.#last = {
      startUs,
      width,
      supplyV,
      pressure,
      coilC,
      from,
      areaTime: pulse.areaTime,
      endedAt: pulse.endedAt,
      end: pulse.end,
      forgotten: pulse.forgotten,
    };
    this.#rise = riseAfterPulse(riseNow, pulse.heat, width, this.#imperfect.coil);
    this.#riseAtUs = startUs + widthUs;

    let open = this.stuckShut ? 0 : pulse.areaTime / this.#table.openArea;
    if (this.#scatter !== null && open > 0) {
      const jitter = SCATTER_S * Math.min(1, open / SCATTER_FULL_S);
      open += Math.hypot(SCATTER_RELATIVE * open, jitter) * this.#scatter.normal();
    }
    if (this.erratic > 0 && this.#scatter !== null) open *= Math.max(0, 1 + this.erratic * this.#scatter.normal());
    if (this.#owed > 0) {
      const paid = Math.min(Math.max(0, open), this.#owed / this.#table.openArea);
      open -= paid;
      this.#owed -= paid * this.#table.openArea;
    }
    if (open <= 0) return { fromUs: startUs, toUs: startUs + widthUs, area: 0, current: pulse.charge / width };
    const fromUs = startUs + Math.max(0, pulse.shut - open) * 1e6;
    return { fromUs, toUs: fromUs + open * 1e6, area: this.openArea * curvature(open, this.#imperfect.curvaturePercent), current: pulse.charge / open };
  }
}

/** Mean flow of a pulse that was open for so long, over that of one of no length: it grows by `percent` to 12 ms. */
export function curvature(open: number, percent = 0): number {
  return 1 + ((percent / 100) * open) / 12e-3;
}
