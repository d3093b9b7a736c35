import { decimalsShown, shownIn, unitShown } from '../../settings/quantities.ts';
import { decimals as decimalSign } from '../../components/decimals.ts';
import { useMemo } from 'react';
import { readingOf, signals, toShown } from '../../../app/bench/readings.ts';
import type { SignalId } from '../../../app/bench/readings.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { toKilopascals } from '../../../app/quantities/quantity.ts';
import { useFlowShown } from '../../components/flow-shown.ts';
import { Strip } from '../../components/strip.tsx';
import type { StripSource } from '../../components/strip.tsx';
import { useHost } from '../../host/host.ts';
import { liveSource, useLatest } from '../../host/use-latest.ts';
import { densityAtMeter } from '../../live/flow.ts';
import { plainNumber } from './sheets.ts';

/** Those that a plan has a band for, and the supply, which each point has one of. */
const shownNow = () => signals.flatMap((signal) => {
  const band: Band | null = signal.id === 'supply' ? 'supply' : signal.band;
  if (band === null) return [];
  const { shown: unit, digits, leastSpan } = signal;
  return [{
    ...signal, band, source: liveSource(signal.id, 'ten-minutes'), toShown: (si: number) => shownIn(unit, toShown(signal, si)),
    shown: unitShown(unit), digits: decimalsShown(unit, digits), leastSpan: shownIn(unit, leastSpan, true),
  }];
});
/** What is set stands before the flow that comes of it. */
const beforeFlow: ReadonlySet<SignalId> = new Set(['pressure', 'supply']);
const flowSource = liveSource('flow', 'ten-minutes');

type Band = 'pressure' | 'temperature' | 'supply';

const staleAfter = 1.5;
const lastMinutes = 300;

/** The bench at a glance: pressure, supply, flow and temperatures of the last minutes, one under the other, with what the plan wants of them. */
export function BenchStrips({ plan, point, speed }: { readonly plan: Plan; readonly point: Point | null; readonly speed: number }) {
  const { latest, age } = useLatest();
  const equipment = useHost().equipment;
  const stale = age === null || age > staleAfter;
  const density = latest === null || equipment === null ? null : densityAtMeter(equipment, latest.frame);
  const flow = useFlowShown(density);
  const wanted = setPointsOf(plan, point);
  const shown = useMemo(shownNow, []);
  const strips = shown.map((signal) => {
    const found = latest === null ? undefined : readingOf(latest.frame, signal.id);
    return {
      id: signal.id, label: signal.label, unit: signal.shown, decimals: signal.digits, leastRange: 2 * signal.leastSpan, ...wanted[signal.band],
      value: found === undefined ? null : signal.toShown(found), source: signal.source, toShown: signal.toShown,
    };
  });
  const flowNow = latest?.flow == null ? null : flow.toShown(latest.flow);
  const flowStrip = { ...flow, id: 'flow', band: null, setPoint: null, value: flowNow !== null && Number.isFinite(flowNow) ? flowNow : null, source: flowSource };
  const inOrder = [...strips.filter(({ id }) => beforeFlow.has(id)), flowStrip, ...strips.filter(({ id }) => !beforeFlow.has(id))];
  return (
    <section className="section run-strips" aria-label={speed === 1 ? 'The last five minutes' : `The last five minutes of the bench, at ${speed} times its speed`}>
      {inOrder.map(({ id, ...strip }, index) => (
        <BenchStrip key={id} {...strip} stale={stale} times={index === inOrder.length - 1} />
      ))}
    </section>
  );
}

interface Wanted {
  readonly band: { readonly low: number; readonly high: number } | null;
  readonly setPoint: number | null;
}

/** What the plan asks for at this point, in shown units. */
export function setPointsOf(plan: Plan, point: Point | null): Readonly<Record<Band, Wanted>> {
  const around = (value: number | null, tolerance: number): Wanted => ({ setPoint: value, band: value === null ? null : { low: value - tolerance, high: value + tolerance } });
  const inUnit = (unit: string, { setPoint, band }: Wanted): Wanted => ({
    setPoint: setPoint === null ? null : shownIn(unit, setPoint),
    band: band === null ? null : { low: shownIn(unit, band.low), high: shownIn(unit, band.high) },
  });
  const { pressureToleranceKpa, temperatureMinC: low, temperatureMaxC: high } = plan.condition;
  return {
    pressure: inUnit('kPa', around(point === null ? null : toKilopascals(point.pressure), pressureToleranceKpa)),
    supply: around(point?.voltage ?? null, plan.supply.toleranceV),
    temperature: inUnit('°C', { setPoint: null, band: { low, high } }),
  };
}

interface BenchStripProps extends Wanted {
  readonly label: string;
  readonly unit: string;
  readonly decimals: number;
  readonly leastRange: number;
  readonly stale: boolean;
  readonly value: number | null;
  readonly source: StripSource;
  readonly toShown: (value: number) => number;
  readonly times: boolean;
}

export function BenchStrip({ label, unit, decimals, leastRange, stale, band, setPoint, value, source, toShown, times }: BenchStripProps) {
  const inside = value === null || band === null || (value >= band.low && value <= band.high);
  const [low, high] = [band?.low ?? null, band?.high ?? null];
  const drawn = useMemo(() => (low === null || high === null ? null : { low, high }), [low, high]);
  return (
    <div className={times ? 'run-strip run-strip-times' : 'run-strip'}>
      <p>
        <span className="quiet">{label} </span>
        <strong className={stale ? 'run-stale' : ''}>{value === null ? 'not known' : `${decimalSign(value.toFixed(decimals))}\u00a0${unit}`}</strong>
        {stale && value !== null && <span> ▲ stale</span>}
        {!stale && !inside && <span> ▲ outside</span>}
        {band !== null && <span className="quiet"> band {plainNumber(band.low)} to {plainNumber(band.high)}</span>}
      </p>
      <div className="run-strip-line">
        <Strip label={label} source={source} toShown={toShown} unit={unit} seconds={lastMinutes} setPoint={setPoint} band={drawn} leastRange={leastRange} height="fill" times={times} />
      </div>
    </div>
  );
}
