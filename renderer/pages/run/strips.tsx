import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { kelvins, pascals, toCelsius, toKilopascals } from '../../../app/quantities/quantity.ts';
import { Strip } from '../../components/strip.tsx';
import type { StripSource } from '../../components/strip.tsx';
import type { Latest } from '../../live/live-bench.ts';
import { liveSource, useLatest } from '../../host/use-latest.ts';
import { plainNumber } from './sheets.ts';

const pressure = { source: liveSource('pressure', 'ten-minutes'), shown: (value: number) => toKilopascals(pascals(value)) };
const rail = { source: liveSource('railTemperature', 'ten-minutes'), shown: (value: number) => toCelsius(kelvins(value)) };
const meter = { source: liveSource('meterTemperature', 'ten-minutes'), shown: (value: number) => toCelsius(kelvins(value)) };

const staleAfter = 1.5;
const lastMinutes = 300;

/** The rail at a glance: pressure and temperatures of the last minutes with what the plan wants of them. */
export function RailStrips({ plan, point }: { readonly plan: Plan; readonly point: Point | null }) {
  const { latest, age } = useLatest();
  const stale = age === null || age > staleAfter;
  const wanted = point === null ? null : toKilopascals(point.pressure);
  const { pressureToleranceKpa: tolerance, temperatureMinC: low, temperatureMaxC: high } = plan.condition;
  const pressureBand = wanted === null ? null : { low: wanted - tolerance, high: wanted + tolerance };
  const temperatureBand = { low, high };
  const value = (of: (latest: Latest) => number) => (latest === null ? null : of(latest));
  return (
    <div className="run-strips">
      <RailStrip
        label="Rail pressure" unit="kPa" decimals={1} leastRange={20} stale={stale} band={pressureBand} setPoint={wanted}
        value={value(({ frame }) => pressure.shown(frame.pressure))} source={pressure.source} toShown={pressure.shown}
      />
      <RailStrip
        label="Fluid in the rail" unit="°C" decimals={2} leastRange={2} stale={stale} band={temperatureBand} setPoint={null}
        value={value(({ frame }) => rail.shown(frame.railTemperature))} source={rail.source} toShown={rail.shown}
      />
      <RailStrip
        label="Fluid at the meter" unit="°C" decimals={2} leastRange={2} stale={stale} band={temperatureBand} setPoint={null}
        value={value(({ frame }) => meter.shown(frame.meterTemperature))} source={meter.source} toShown={meter.shown}
      />
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
