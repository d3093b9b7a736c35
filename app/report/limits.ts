/** The limits of an order, held against the results of a run. REP-14 to REP-16. */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import { uncertaintyOfLeak } from '../reduce/leak-words.ts';
import type { LineCell, NoLineCell, Reduction, StaticFlow } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import { deviationsFromMean, meanOf, percentOf } from '../uncertainty/set.ts';
import { result } from '../uncertainty/budget.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import type { Plan } from '../plan/plan.ts';
import { decideConformity } from './conformity.ts';
import type { Conformity, DecisionRule, Measured, Tolerance } from './conformity.ts';
import type { ReportLimit } from './details.ts';
import type { ReportUnit } from './document.ts';
import { reportUnits } from './units.ts';

/** One result against one limit; SI units, but for percentages. `of` null: there is no result, `why` says why. */
export interface HeldLimit {
  readonly what: string;
  /** Serial number, or what else it is of. */
  readonly item: string;
  readonly at: string;
  readonly unit: ReportUnit;
  readonly tolerance: Tolerance;
  readonly of: (Measured & { readonly coverageFactor: number }) | null;
  readonly why: string;
  readonly verdict: Conformity | null;
}

interface LimitedRun {
  readonly plan: Plan;
  readonly reduction: Omit<Reduction, 'windows'>;
}

type Found = Pick<HeldLimit, 'item' | 'at' | 'of' | 'why'>;

/** Every result that a limit speaks of, in the order of the limits; a limit that speaks of none gives a row that says so. */
export function heldLimits(limits: readonly ReportLimit[], rule: DecisionRule, run: LimitedRun): readonly HeldLimit[] {
  return limits.flatMap((limit) => {
    const { what, unit, tolerance } = stated(limit);
    const found = foundOf(limit, run);
    const rows: readonly Found[] = found.length > 0 ? found : [{ item: 'type' in limit && limit.type !== undefined ? limit.type : 'all', at: '', of: null, why: 'Nothing was measured that this limit speaks of.' }];
    return rows.map((row): HeldLimit => ({ what, unit, tolerance, ...row, verdict: row.of === null ? null : decideConformity(row.of, tolerance, rule) }));
  });
}

const si = (value: number | undefined, { factor }: ReportUnit): number | null => (value === undefined ? null : value / factor);

function stated(limit: ReportLimit): Pick<HeldLimit, 'what' | 'unit' | 'tolerance'> {
  const between = (unit: ReportUnit, low?: number, high?: number) => ({ unit, tolerance: { low: si(low, unit), high: si(high, unit) } });
  switch (limit.of) {
    case 'slope':
      return { what: 'Slope m', ...between(reportUnits.slope, limit.low, limit.high) };
    case 'static-flow':
      return { what: 'Static flow Qs', ...between(reportUnits.staticFlow, limit.low, limit.high) };
    case 'dead-time':
      return { what: 'Dead time X', ...between(reportUnits.deadTime, limit.low, limit.high) };
    case 'match': {
      const unit = limit.quantity === 'dead-time' ? reportUnits.microseconds : reportUnits.percent;
      const of = { slope: 'slope m', 'static-flow': 'static flow Qs', 'dead-time': 'dead time X' }[limit.quantity];
      return { what: `Match of ${of} in the set`, ...between(unit, -limit.within, limit.within) };
    }
    case 'leak':
      return { what: 'Leak of the rail, injectors shut', ...between(reportUnits.leak, undefined, limit.high) };
    case 'coil-resistance':
      return { what: 'Coil resistance', ...between(reportUnits.resistance, limit.low, limit.high) };
  }
}

function foundOf(limit: ReportLimit, { plan, reduction }: LimitedRun): readonly Found[] {
  switch (limit.of) {
    case 'slope':
    case 'dead-time':
      return cellsOf(limit, plan, reduction).map((cell) => ({ ...placeOf(cell), ...(cell.kind === 'line' ? { of: limit.of === 'slope' ? cell.slope : cell.deadTime, why: '' } : { of: null, why: cell.text }) }));
    case 'static-flow':
      return flowsOf(limit, plan, reduction).map((s) => ({ item: s.serialNumber, at: `${s.pressure / 1e3} kPa`, ...(s.kind === 'static-flow' ? { of: s.flow, why: '' } : { of: null, why: s.text }) }));
    case 'match':
      return matchOf(limit, plan, reduction);
    case 'leak':
      return [leakOf(reduction)];
    case 'coil-resistance':
      return plan.injectors
        .filter((i) => limit.type === undefined || i.type === limit.type)
        .map(({ serialNumber, coilResistanceOhm }) => ({
          item: serialNumber,
          at: '',
          ...(coilResistanceOhm === undefined ? { of: null, why: 'The plan has no coil resistance of it.' } : { of: result(coilResistanceOhm, 0, Number.POSITIVE_INFINITY, limit.standardUncertaintyOhm), why: '' }),
        }));
  }
}

const close = (a: number, b: number): boolean => Math.abs(a - b) <= 1e-9 * Math.abs(b);

interface Place {
  readonly type?: string | undefined;
  readonly pressureKpa?: number | undefined;
  readonly voltageV?: number | undefined;
}

const ofType = ({ type }: Place, plan: Plan, injector: number): boolean => type === undefined || plan.injectors[injector]?.type === type;

function cellsOf(place: Place, plan: Plan, { cells }: LimitedRun['reduction']): readonly (LineCell | NoLineCell)[] {
  return cells.filter((c) => ofType(place, plan, c.injector) && (place.pressureKpa === undefined || close(c.pressure / 1e3, place.pressureKpa)) && (place.voltageV === undefined || close(c.voltage, place.voltageV)));
}

function flowsOf(place: Place, plan: Plan, { staticFlows }: LimitedRun['reduction']): readonly StaticFlow[] {
  return staticFlows.filter((s) => ofType(place, plan, s.injector) && (place.pressureKpa === undefined || close(s.pressure / 1e3, place.pressureKpa)));
}

const placeOf = (c: LineCell | NoLineCell): Pick<Found, 'item' | 'at'> => ({ item: c.serialNumber, at: `${c.voltage} V, ${c.pressure / 1e3} kPa` });

type MatchLimit = Extract<ReportLimit, { of: 'match' }>;

/** From the mean of all of the set that have a value at the same place; errors that they have in common cancel (RED-67). */
function matchOf(limit: MatchLimit, plan: Plan, reduction: LimitedRun['reduction']): readonly Found[] {
  interface Member { readonly key: string; readonly item: string; readonly at: string; readonly of: Carried | null; readonly why: string }
  const members: readonly Member[] =
    limit.quantity === 'static-flow'
      ? flowsOf(limit, plan, reduction).map((s) => ({ key: String(s.pressure), item: s.serialNumber, at: `${s.pressure / 1e3} kPa`, ...(s.kind === 'static-flow' ? { of: staticCarried(s), why: '' } : { of: null, why: s.text }) }))
      : cellsOf(limit, plan, reduction).map((c) => ({ key: `${c.voltage}|${c.pressure}|${c.period}`, ...placeOf(c), ...(c.kind === 'line' ? { of: limit.quantity === 'slope' ? slopeCarried(c) : deadTimeCarried(c), why: '' } : { of: null, why: c.text }) }));
  return [...new Set(members.map((m) => m.key))].flatMap((key) => {
    const here = members.filter((m) => m.key === key);
    const values = here.flatMap((m) => (m.of === null ? [] : [m.of]));
    if (values.length < 2) return here.map((m): Found => ({ item: m.item, at: m.at, of: null, why: m.of === null ? m.why : 'Fewer than two injectors have a value here, so there is no set.' }));
    const mean = meanOf(values);
    const deviations = deviationsFromMean(values).map((d) => stateCarried(limit.quantity === 'dead-time' ? d : percentOf(d, mean)));
    // Percentages are shown as such; a fraction is their SI unit.
    const scale = limit.quantity === 'dead-time' ? 1 : 0.01;
    let next = 0;
    return here.map((m): Found => {
      if (m.of === null) return { item: m.item, at: m.at, of: null, why: m.why };
      const d = deviations[next];
      next += 1;
      return { item: m.item, at: m.at, of: d === undefined ? null : { value: d.value * scale, u: d.u * scale, expanded: d.expanded * scale, effectiveDof: d.effectiveDof, coverageFactor: d.coverageFactor }, why: '' };
    });
  });
}

/** The block whose leak is the largest: the one that decides. */
function leakOf({ leak }: LimitedRun['reduction']): Found {
  if (leak.kind === 'not-looked-at') return { item: 'rail', at: '', of: null, why: leak.text };
  const worst = leak.blocks.toSorted((a, b) => b.flow - a.flow)[0];
  if (worst === undefined) return { item: 'rail', at: '', of: null, why: 'Nothing was measured that tells a leak.' };
  return { item: 'rail', at: `block ${worst.block + 1}, ${worst.voltage} V, ${worst.pressure / 1e3} kPa`, of: result(worst.flow, 0, Number.POSITIVE_INFINITY, uncertaintyOfLeak(worst)), why: '' };
}
