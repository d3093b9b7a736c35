import { describe, expect, it } from 'vitest';
import { volts } from '../quantities/quantity.ts';
import { normalFrom } from '../reduce/synthetic.test-helper.ts';
import { planOf, play, straight } from './play.test-helper.ts';
import { changeBetween, cellRoute } from './route.ts';
import type { Setting } from './route.ts';
import { precisionOfDirection, widthOrder } from './width-order.ts';

const plan = planOf({});
const voltages = plan.axes.voltageV.map(volts);
const all = voltages.flatMap((voltage) => [0, 1, 2, 3].map((injector): Setting => ({ injector, voltage })));
const takes = (route: readonly Setting[], from: Setting | null): number => route.reduce((sum, place, i) => sum + changeBetween(plan, route[i - 1] ?? from, place), 0);

/** So many of the places, in an order that the seed draws. */
function some(seed: number, count: number): readonly Setting[] {
  const normal = normalFrom(seed);
  return all.map((place) => ({ place, draw: normal() })).sort((a, b) => a.draw - b.draw).slice(0, count).map(({ place }) => place);
}

describe('the order of the cells', () => {
  it('SCH-45: a purge where the injector changes, the supply on its way where the voltage does', () => {
    const [at9, at16] = [{ injector: 0, voltage: volts(9) }, { injector: 0, voltage: volts(16) }];
    expect(changeBetween(plan, at9, at9)).toBe(0);
    expect(changeBetween(plan, at9, { ...at9, injector: 1 })).toBeCloseTo(plan.purge.pulses * plan.purge.periodMs * 1e-3, 9);
    expect(changeBetween(plan, at9, at16)).toBeCloseTo(0.7 + plan.supply.steadyS + 2 / plan.link.telemetryHz, 9);
    expect(changeBetween(plan, at9, { ...at16, injector: 1 })).toBeCloseTo(changeBetween(plan, at9, at16) + changeBetween(plan, at9, { ...at9, injector: 1 }), 9);
  });

  it('SCH-45: every cell once, and no turning round of a part takes time off', () => {
    for (let seed = 1; seed <= 30; seed += 1) {
      const cells = some(seed, 3 + (seed % 12));
      const from = seed % 4 === 0 ? null : (all[seed % all.length] ?? null);
      const route = cellRoute(cells, (p) => p, from, plan);
      expect(route.length).toBe(cells.length);
      expect(new Set(route)).toEqual(new Set(cells));
      expect(cellRoute(cells, (p) => p, from, plan)).toEqual(route);
      const least = takes(route, from);
      for (let i = 0; i < route.length; i += 1) {
        for (let j = i + 1; j < route.length; j += 1) {
          expect(takes([...route.slice(0, i), ...route.slice(i, j + 1).reverse(), ...route.slice(j + 1)], from)).toBeGreaterThanOrEqual(least - 1e-6);
        }
      }
    }
  });

  it('SCH-45: takes less than voltage by voltage where few cells of many injectors want windows, and never much more', () => {
    let [time, byVoltage] = [0, 0];
    for (let seed = 1; seed <= 40; seed += 1) {
      const cells = some(seed, 8);
      const from = all[seed % all.length] ?? null;
      const [own, other] = [takes(cellRoute(cells, (p) => p, from, plan), from), takes(cells.toSorted((a, b) => a.voltage - b.voltage || a.injector - b.injector), from)];
      expect(own).toBeLessThanOrEqual(other + 1);
      time += own;
      byVoltage += other;
    }
    expect(time).toBeLessThan(0.85 * byVoltage);
  });

  it('SCH-45: a decision goes by it from what is set', () => {
    const { decisions } = play(planOf({ deadTimeUs: 2.6 }), straight, { seed: 4 });
    let at: Setting | null = null;
    let rounds = 0;
    for (const { additions } of decisions) {
      const cells = additions.flatMap(({ points: [p] }) => (p?.role === 'measure' ? [p] : []));
      if (cells.length > 2) rounds += 1;
      expect(takes(cells, at)).toBeLessThanOrEqual(takes(cellRoute(cells, (p) => p, at, plan), at) + 1e-9);
      at = cells.at(-1) ?? at;
    }
    expect(rounds).toBeGreaterThan(3);
  });
});

describe('the order of the widths', () => {
  const known = [12, 12, 6, 2.5, 2.2, 2.2].map((ms) => ms / 1e3) as never[];

  it('SCH-46: what an order tells of the direction is what least squares leave to it beside height and slope', () => {
    // Up and down at like widths: the direction is clear of the line. By hand, with weights 1/w2.
    const order = [4, 8, 4, 2, 4, 2];
    const rows = order.flatMap((w, i) => (i === 0 ? [] : [[w, Math.sign(w - (order[i - 1] ?? w))] as const]));
    const fit = (design: (w: number) => readonly [number, number]): number => {
      // Residual squares of the direction on the two columns of the design, by Gram and Schmidt.
      const weighted = rows.map(([w, d]) => ({ d: d / w, one: design(w)[0] / w, x: design(w)[1] / w }));
      const dot = (a: readonly number[], b: readonly number[]): number => a.reduce((sum, v, i) => sum + v * (b[i] ?? 0), 0);
      const one = weighted.map((r) => r.one);
      const x = weighted.map((r) => r.x).map((v, i) => v - (dot(weighted.map((r) => r.x), one) / dot(one, one)) * (one[i] ?? 0));
      const d = weighted.map((r) => r.d);
      return dot(d, d) - dot(d, one) ** 2 / dot(one, one) - dot(d, x) ** 2 / dot(x, x);
    };
    expect(precisionOfDirection(order)).toBeCloseTo(fit((w) => [1, w]), 9);
    // Longest and shortest alone: one always after a shorter, the other after a longer.
    expect(precisionOfDirection([12, 2, 12, 2])).toBe(0);
    expect(precisionOfDirection([12, 2])).toBe(0);
    expect(precisionOfDirection([])).toBe(0);
  });

  it('SCH-46: the order of a line tells the direction more than twice as well as one that is drawn, and is still drawn', () => {
    const normal = normalFrom(7);
    const draw = (): number => Math.floor(1e9 * Math.abs(normal()));
    const drawn = Array.from({ length: 200 }, () => known.map((width) => ({ width, draw: draw() })).sort((a, b) => a.draw - b.draw).map(({ width }) => width));
    const chosen = Array.from({ length: 200 }, () => widthOrder(known, draw));
    const mean = (orders: readonly (readonly number[])[]): number => orders.reduce((sum, order) => sum + precisionOfDirection(order), 0) / orders.length;
    expect(mean(chosen)).toBeGreaterThan(2 * mean(drawn));
    for (const order of chosen) expect([...order].sort()).toEqual([...known].sort());
    expect(new Set(chosen.map((order) => order.join(' '))).size).toBeGreaterThan(5);
  });

  it('SCH-46: a schedule measures its widths so', () => {
    const { decisions } = play(planOf({}, {}, 8), straight, { until: 1 });
    const orders = (decisions[0]?.additions ?? []).map((a) => a.points.filter((p) => p.role === 'measure').map((p) => p.width)).filter((o) => o.length >= 4);
    expect(orders.length).toBeGreaterThan(20);
    // Of four widths half of the orders tell nothing of the direction.
    expect(orders.filter((o) => precisionOfDirection(o) > 0).length).toBe(orders.length);
  });
});
