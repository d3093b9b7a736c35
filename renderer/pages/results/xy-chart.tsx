/**
 * A still chart of points with their 95 % intervals. Readers of the screen get its name and are sent to the table that
 * stands beside every chart; each series is switched on and off by a button of the legend.
 */
import { decimals } from '../../components/decimals.ts';
import { memo, useMemo, useRef, useState } from 'react';
import { PictureButtons } from '../../components/picture-buttons.tsx';
import { isSameScale, logarithmicScale, scaleOver } from './scale.ts';
import type { AxisScale } from './scale.ts';
import { colourOf, dashOf, drawn, markerPath } from './series.ts';
import type { Series } from './series.ts';
import { XyPlot } from './xy-plot.tsx';
import type { ChartLine } from './xy-plot.tsx';

interface ChartBand {
  readonly title: string;
  readonly from: number;
  readonly to: number;
}

interface XyChartProps {
  /** What is shown, for readers of the screen and as name of the legend. */
  readonly label: string;
  readonly xTitle: string;
  readonly yTitle: string;
  readonly series: readonly Series[];
  /** Points of a series are joined. */
  readonly joined?: boolean;
  readonly lines?: readonly ChartLine[];
  /** Stretch of x that is marked. */
  readonly band?: ChartBand | undefined;
  /** Stretch of y that is marked: a limit. */
  readonly limit?: { readonly title: string; readonly low: number; readonly high: number } | undefined;
  /** y = 0 is drawn and in sight. */
  readonly zero?: boolean;
  /** Names of the places on x where they are not numbers. */
  readonly xNames?: readonly string[];
  readonly tall?: boolean;
  /** y goes by its logarithm: every value is above nought. */
  readonly logarithmic?: boolean;
}

const pixels = { low: 260, tall: 380 };

const none: readonly ChartLine[] = [];

/** Drawn again only when something that it is given is another thing: `series`, `lines`, `band` and `limit` are kept by whoever shows it. */
export const XyChart = memo(function XyChart({ label, xTitle, yTitle, series, joined = false, lines = none, band, limit, zero = false, xNames, tall = false, logarithmic = false }: XyChartProps) {
  const figure = useRef<HTMLElement>(null);
  const [off, setOff] = useState<ReadonlySet<string>>(new Set());
  const shown = useMemo(() => drawn(series, off), [series, off]);
  const x = useKept(useMemo(() => (xNames === undefined ? scaleOver(xValues(shown, lines, band), 7) : scaleOfNames(xNames)), [shown, lines, band, xNames]));
  const y = useKept(useMemo(() => (logarithmic ? logarithmicScale : scaleOver)(yValues(shown, lines, limit, zero), 5), [shown, lines, limit, zero, logarithmic]));
  if (series.every((one) => one.points.length === 0)) return <p className="quiet">There is nothing to draw yet: no value is there. The table says why.</p>;
  const hasBars = shown.some(({ points }) => points.some(({ low, high }) => low !== null || high !== null));
  const left = series.filter((one) => !off.has(one.id)).length - shown.length;
  const only = (id: string): void => setOff(new Set(series.filter((one) => one.id !== id).map((one) => one.id)));
  const toggle = (id: string): void => {
    const next = new Set(off);
    if (!next.delete(id)) next.add(id);
    setOff(next);
  };
  return (
    <figure className="chart" ref={figure}>
      <div className="chart-plot" role="img" aria-label={`Chart: ${label}. The table beside it holds the same numbers.`}>
        <XyPlot height={tall ? pixels.tall : pixels.low} x={x} y={y} named={xNames !== undefined} xTitle={xTitle} yTitle={yTitle} series={shown} joined={joined} lines={lines} band={band} limit={limit} zero={zero} />
      </div>
      <figcaption className="chart-legend">
        {series.length > 1 && (
          <div role="group" aria-label={`Series of the chart: ${label}`} className="chart-toggles">
            {series.map((one) => (
              <button key={one.id} type="button" className="chart-toggle" aria-pressed={!off.has(one.id)} onClick={() => toggle(one.id)} onDoubleClick={() => only(one.id)}>
                <Sample look={one.look} joined={joined} />
                {one.title}
                <span className="chart-toggle-state" aria-hidden="true">
                  {off.has(one.id) ? 'off' : ''}
                </span>
              </button>
            ))}
            {off.size > 0 && (
              <button type="button" className="chart-toggle" onClick={() => setOff(new Set())}>
                Show all
              </button>
            )}
          </div>
        )}
        {lines.map((line) => (
          <span key={line.title} className="chart-key">
            <svg width="22" height="12" aria-hidden="true">
              <line x1="0" y1="6" x2="22" y2="6" stroke="var(--ink)" strokeWidth="1.5" />
            </svg>
            {line.title}
          </span>
        ))}
        {band !== undefined && (
          <span className="chart-key">
            <svg width="22" height="12" aria-hidden="true">
              <rect width="22" height="12" fill="var(--band)" stroke="var(--edge-strong)" />
            </svg>
            {band.title}
          </span>
        )}
        {limit !== undefined && (
          <span className="chart-key">
            <svg width="22" height="12" aria-hidden="true">
              <line x1="0" y1="6" x2="22" y2="6" stroke="var(--edge-strong)" strokeWidth="1.5" strokeDasharray="7 4" />
            </svg>
            {decimals(limit.title)}
          </span>
        )}
        {hasBars && <span className="chart-key">Bars: 95 % intervals</span>}
        <PictureButtons of={figure} name={label} />
        {left > 0 && <span className="chart-key">{left} more would be too many points for one chart: switch others off to see them. The table holds all.</span>}
      </figcaption>
    </figure>
  );
});

function Sample({ look, joined }: { readonly look: number; readonly joined: boolean }) {
  return (
    <svg width="26" height="14" aria-hidden="true">
      {joined && <line x1="0" y1="7" x2="26" y2="7" stroke={colourOf(look)} strokeWidth="1.5" strokeDasharray={dashOf(look)} />}
      <path d={markerPath(look, 4.5)} transform="translate(13,7)" fill={colourOf(look)} />
    </svg>
  );
}

/** The scale of before where it is the same: then the axis is not drawn again. */
function useKept(scale: AxisScale): AxisScale {
  const [kept, keep] = useState(scale);
  if (kept === scale || isSameScale(kept, scale)) return kept;
  keep(scale);
  return scale;
}

/** Each name in the middle of its stretch. */
const scaleOfNames = (names: readonly string[]): AxisScale => ({ from: -0.5, to: names.length - 0.5, ticks: names.map((_, i) => i), label: (at) => names[at] ?? '' });

function* xValues(series: readonly Series[], lines: readonly ChartLine[], band: ChartBand | undefined): Generator<number> {
  for (const { points } of series) for (const { x } of points) yield x;
  for (const { from, to } of lines) yield* [from.x, to.x];
  if (band !== undefined && Number.isFinite(band.from)) yield band.from;
}

function* yValues(series: readonly Series[], lines: readonly ChartLine[], limit: XyChartProps['limit'], zero: boolean): Generator<number> {
  for (const { points } of series) for (const { y, low, high } of points) yield* [y, low ?? y, high ?? y];
  for (const { from, to } of lines) yield* [from.y, to.y];
  if (limit !== undefined) yield* [limit.low, limit.high];
  if (zero) yield 0;
}
