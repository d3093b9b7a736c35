/**
 * Pulses by the thousand without integrating each. One injector's pulse is integrated in the middle of a small cell of
 * (supply, pressure, coil temperature) and half a cell to each side, and a pulse inside the cell is that expanded to
 * the second order. Four corners of the cell are integrated too: where the expansion misses one of them by more than
 * the tolerance, the cell is cut into finer ones, and where the finest still misses (the needle just grazes a stop),
 * each pulse is integrated by itself. So the error against direct integration is bounded by construction.
 *
 * Temperature and density of the fluid need no expansion: mass is areaTime sqrt(2 rho p) exactly.
 */
import { openArea, simulatePulse, type InjectorParts, type PulseOutcome } from './injector.ts';
import { driveAt, type Circuit } from './supply.ts';

/** Cells from coarse to fine: V, Pa, K. */
const CELLS = [
  { v: 0.02, p: 4000, k: 2 },
  { v: 0.005, p: 1000, k: 0.5 },
  { v: 0.00125, p: 250, k: 0.125 },
] as const;
type Size = (typeof CELLS)[number];
/** At a corner, the farthest a pulse can be from the middle: 0.01 % of the pulse, or this much open time, s. */
const TOLERANCE = 1e-4;
const TOLERANCE_S = 0.02e-6;
/** Beyond this many cells the table starts afresh; a sweep needs some hundreds for each injector. */
const MOST_CELLS = 5000;

interface Expansion {
  readonly middle: number;
  readonly slope: readonly [number, number, number];
  readonly curvature: readonly [number, number, number];
}

type Expanded = 'areaTime' | 'charge' | 'heat';

interface Cell {
  readonly size: Size;
  readonly v: number;
  readonly p: number;
  readonly k: number;
  /** null: even the expansion in the finest cell is not good enough. */
  readonly expansions: Readonly<Record<Expanded, Expansion>> | null;
  readonly middle: PulseOutcome;
}

/** What the plant needs of one pulse; see PulseOutcome for the meaning. */
export type Pulse = Pick<PulseOutcome, Expanded | 'shut' | 'endedAt' | 'end' | 'forgotten'>;

export class PulseTable {
  readonly parts: InjectorParts;
  readonly openArea: number;
  readonly #circuit: Circuit | undefined;
  readonly #cells = new Map<string, Cell | 'too coarse'>();
  #width = Number.NaN;
  #cell: Cell | null = null;

  /** `circuit` absent: as the certificates say. */
  constructor(parts: InjectorParts, circuit?: Circuit) {
    this.parts = parts;
    this.#circuit = circuit;
    this.openArea = openArea(parts);
  }

  /** A pulse from rest. @param width s. @param supplyV at the terminals. @param pressure gauge, Pa. */
  pulse(width: number, supplyV: number, pressure: number, coilC: number): Pulse {
    let cell = this.#cell;
    if (cell === null || width !== this.#width || !holds(cell, supplyV, pressure, coilC)) {
      cell = this.#find(width, supplyV, pressure, coilC);
      this.#cell = cell;
      this.#width = width;
    }
    const { expansions, middle, size } = cell;
    if (expansions === null) return this.#integrate(width, supplyV, pressure, coilC);
    const dv = supplyV - cell.v * size.v;
    const dp = pressure - cell.p * size.p;
    const dk = coilC - cell.k * size.k;
    return {
      areaTime: Math.max(0, expand(expansions.areaTime, dv, dp, dk)),
      charge: Math.max(0, expand(expansions.charge, dv, dp, dk)),
      heat: Math.max(0, expand(expansions.heat, dv, dp, dk)),
      shut: middle.shut,
      endedAt: middle.endedAt,
      end: middle.end,
      forgotten: middle.forgotten,
    };
  }

  #find(width: number, supplyV: number, pressure: number, coilC: number): Cell {
    for (const size of CELLS) {
      const v = Math.round(supplyV / size.v);
      const p = Math.round(pressure / size.p);
      const k = Math.round(coilC / size.k);
      const key = `${width} ${size.v} ${v} ${p} ${k}`;
      let cell = this.#cells.get(key);
      if (cell === undefined) {
        if (this.#cells.size >= MOST_CELLS) this.#cells.clear();
        cell = this.#build(width, size, v, p, k);
        this.#cells.set(key, cell);
      }
      if (cell !== 'too coarse') return cell;
    }
    throw new Error('the finest cell is never too coarse');
  }

  #build(width: number, size: Size, v: number, p: number, k: number): Cell | 'too coarse' {
    const at = (dv: number, dp: number, dk: number) =>
      this.#integrate(width, (v + dv) * size.v, (p + dp) * size.p, (k + dk) * size.k);
    const middle = at(0, 0, 0);
    const sides = [
      { below: at(-0.5, 0, 0), above: at(0.5, 0, 0), half: size.v / 2 },
      { below: at(0, -0.5, 0), above: at(0, 0.5, 0), half: size.p / 2 },
      { below: at(0, 0, -0.5), above: at(0, 0, 0.5), half: size.k / 2 },
    ] as const;
    const expansion = (of: Expanded): Expansion => {
      const slope = ({ below, above, half }: (typeof sides)[number]) => (above[of] - below[of]) / (2 * half);
      const curvature = ({ below, above, half }: (typeof sides)[number]) =>
        (above[of] - 2 * middle[of] + below[of]) / (half * half);
      return {
        middle: middle[of],
        slope: [slope(sides[0]), slope(sides[1]), slope(sides[2])],
        curvature: [curvature(sides[0]), curvature(sides[1]), curvature(sides[2])],
      };
    };
    const expansions = { areaTime: expansion('areaTime'), charge: expansion('charge'), heat: expansion('heat') };
    const allowed = TOLERANCE_S * this.openArea;
    const good = CORNERS.every(([dv, dp, dk]) => {
      const direct = at(dv, dp, dk).areaTime;
      const found = Math.max(0, expand(expansions.areaTime, dv * size.v, dp * size.p, dk * size.k));
      return Math.abs(found - direct) <= Math.max(allowed, TOLERANCE * direct);
    });
    if (good) return { size, v, p, k, expansions, middle };
    return size === CELLS[CELLS.length - 1] ? { size, v, p, k, expansions: null, middle } : 'too coarse';
  }

  #integrate(width: number, supplyV: number, pressure: number, coilC: number): PulseOutcome {
    return simulatePulse(this.parts, driveAt(Math.max(0, supplyV), this.#circuit), Math.max(0, pressure), coilC, width);
  }
}

/** Every second corner of the cube. */
const CORNERS = [
  [0.5, 0.5, 0.5],
  [0.5, -0.5, -0.5],
  [-0.5, 0.5, -0.5],
  [-0.5, -0.5, 0.5],
] as const;

function holds(cell: Cell, supplyV: number, pressure: number, coilC: number): boolean {
  const { size } = cell;
  return (
    Math.round(supplyV / size.v) === cell.v &&
    Math.round(pressure / size.p) === cell.p &&
    Math.round(coilC / size.k) === cell.k
  );
}

function expand(e: Expansion, dv: number, dp: number, dk: number): number {
  return (
    e.middle +
    dv * (e.slope[0] + 0.5 * dv * e.curvature[0]) +
    dp * (e.slope[1] + 0.5 * dp * e.curvature[1]) +
    dk * (e.slope[2] + 0.5 * dk * e.curvature[2])
  );
}
