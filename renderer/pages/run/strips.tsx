import { readingOf, signals, toShown } from '../../../app/bench/readings.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { toKilopascals } from '../../../app/quantities/quantity.ts';
import { Strip } from '../../components/strip.tsx';
import type { StripSource } from '../../components/strip.tsx';
import { liveSource, useLatest } from '../../host/use-latest.ts';
import { plainNumber } from './sheets.ts';

/** Those that a plan has a band for. */
const strips = signals.flatMap((signal) =>
  signal.band === null ? [] : [{ ...signal, band: signal.band, source: liveSource(signal.id, 'ten-minutes'), toShown: (si: number) => toShown(signal, si) }],
);

const staleAfter = 1.5;
const lastMinutes = 300;

/** The rail at a glance: pressure and temperatures of the last minutes with what the plan wants of them. */
export function RailStrips({ plan, point }: { readonly plan: Plan; readonly point: Point | null }) {
  const { latest, age } = useLatest();
  const stale = age === null || age > staleAfter;
  const wanted = point === null ? null : toKilopascals(point.pressure);
  const { pressureToleranceKpa: tolerance, temperatureMinC: low, temperatureMaxC: high } = plan.condition;
  const bands = { pressure: wanted === null ? null : { low: wanted - tolerance, high: wanted + tolerance }, temperature: { low, high } };
  const value = (signal: (typeof strips)[number]): number | null => {
    const found = latest === null ? undefined : readingOf(latest.frame, signal.id);
    return found === undefined ? null : signal.toShown(found);
  };
  return (
    <div className="run-strips">
      {strips.map((signal) => (
        <RailStrip
          key={signal.id} label={signal.label} unit={signal.shown} decimals={signal.digits} leastRange={2 * signal.leastSpan} stale={stale} band={bands[signal.band]}
          setPoint={signal.band === 'pressure' ? wanted : null} value={value(signal)} source={signal.source} toShown={signal.toShown}
        />
      ))}
    </div>
  );
}

interface RailStripProps {
  readonly label: string;
  readonly unit: string;
  readonly decimals: number;
  readonly leastRange: number;
  readonly stale: boolean;
  readonly band: { readonly low: number; readonly high: number } | null;
  readonly setPoint: number | null;
  readonly value: number | null;
  readonly source: StripSource;
  readonly toShown: (value: number) => number;
}

function RailStrip({ label, unit, decimals, leastRange, stale, band, setPoint, value, source, toShown }: RailStripProps) {
  const inside = value === null || band === null || (value >= band.low && value <= band.high);
  return (
    <div className="run-strip">
      <p>
        <span className="quiet">{label} </span>
        <strong className={stale ? 'run-stale' : ''}>{value === null ? 'not known' : `${value.toFixed(decimals)}\u00a0${unit}`}</strong>
        {stale && value !== null && <span> ▲ stale</span>}
        {!stale && !inside && <span> ▲ outside</span>}
        {band !== null && <span className="quiet"> band {plainNumber(band.low)} to {plainNumber(band.high)}</span>}
      </p>
      <Strip label={label} source={source} toShown={toShown} unit={unit} seconds={lastMinutes} setPoint={setPoint} band={band} leastRange={leastRange} height={52} />
    </div>
  );
}
