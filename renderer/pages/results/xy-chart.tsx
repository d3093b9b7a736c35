/**
 * A still chart of points with their 95 % intervals. Readers of the screen get its name and are sent to the table that
 * stands beside every chart; each series is switched on and off by a button of the legend.
 */
import { decimals } from '../../components/decimals.ts';
import { useMemo, useRef, useState } from 'react';
import { CartesianGrid, ErrorBar, ReferenceArea, ReferenceLine, ResponsiveContainer, Scatter, ScatterChart, Tooltip, XAxis, YAxis } from 'recharts';
import type { ScatterShapeProps, TooltipContentProps } from 'recharts';
import { PictureButtons } from '../../components/picture-buttons.tsx';
import { logarithmicScale, scaleOver, type AxisScale } from './scale.ts';
import { colourOf, dashOf, drawn, markerPath } from './series.ts';
import type { ChartPoint, Series } from './series.ts';

interface ChartLine {
  readonly title: string;
  readonly from: { readonly x: number; readonly y: number };
  readonly to: { readonly x: number; readonly y: number };
}

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

interface Drawn extends ChartPoint {
  readonly error: readonly [number, number];
}

const pixels = { low: 260, tall: 380 };

// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function XyChart({ label, xTitle, yTitle, series, joined = false, lines = [], band, limit, zero = false, xNames, tall = false, logarithmic = false }: XyChartProps) {
  const figure = useRef<HTMLElement>(null);
  const [off, setOff] = useState<ReadonlySet<string>>(new Set());
  const shown = useMemo(() => drawn(series, off), [series, off]);
  const x = useMemo(() => scaleOver(xNames === undefined ? xValues(shown, lines, band) : [-0.5, xNames.length - 0.5], 7), [shown, lines, band, xNames]);
  const y = useMemo(() => scaleOfY(yValues(shown, lines, limit, zero), logarithmic), [shown, lines, limit, zero, logarithmic]);
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
        <ResponsiveContainer width="100%" height={tall ? pixels.tall : pixels.low} minWidth={0}>
          <ScatterChart accessibilityLayer={false} margin={{ top: 10, right: 16, bottom: 24, left: 14 }}>
            <CartesianGrid stroke="var(--grid)" />
            <XAxis
              type="number"
              dataKey="x"
              domain={xNames === undefined ? [x.from, x.to] : [-0.5, xNames.length - 0.5]}
              ticks={xNames === undefined ? [...x.ticks] : xNames.map((_, i) => i)}
              tickFormatter={(tick: number) => (xNames === undefined ? x.label(tick) : (xNames[tick] ?? ''))}
              interval={xNames === undefined ? 'equidistantPreserveStart' : 0}
              stroke="var(--edge-strong)"
              tick={{ fill: 'var(--ink-quiet)', fontSize: 12 }}
              label={{ value: xTitle, position: 'insideBottom', offset: -14, fill: 'var(--ink)', fontSize: 13 }}
            />
            <YAxis
              type="number"
              dataKey="y"
              scale={y.kind}
              domain={[y.from, y.to]}
              ticks={[...y.ticks]}
              tickFormatter={(tick: number) => y.label(tick)}
              width={58}
              stroke="var(--edge-strong)"
              tick={{ fill: 'var(--ink-quiet)', fontSize: 12 }}
              label={{ value: yTitle, angle: -90, position: 'insideLeft', offset: -4, fill: 'var(--ink)', fontSize: 13, textAnchor: 'middle' }}
            />
            {band !== undefined && <ReferenceArea x1={Math.max(band.from, x.from)} x2={Math.min(band.to, x.to)} fill="var(--band)" fillOpacity={1} stroke="none" />}
            {limit !== undefined && <ReferenceLine y={limit.high} stroke="var(--edge-strong)" strokeDasharray="7 4" />}
            {limit !== undefined && <ReferenceLine y={limit.low} stroke="var(--edge-strong)" strokeDasharray="7 4" />}
            {zero && <ReferenceLine y={0} stroke="var(--ink-quiet)" />}
            {lines.map((line) => (
              <ReferenceLine key={line.title} segment={[line.from, line.to]} stroke="var(--ink)" strokeWidth={1.5} ifOverflow="extendDomain" />
            ))}
            <Tooltip
              isAnimationActive={false}
              cursor={false}
              content={(props: TooltipContentProps) => <Hovered {...props} x={xTitle} y={yTitle} xText={xNames === undefined ? x.label : (at) => xNames[at] ?? ''} series={shown} />}
            />
            {shown.map((one) => (
              <Scatter
                key={one.id}
                name={one.title}
                data={one.points.map((point): Drawn & { readonly series: string } => ({ ...point, series: one.id, error: [point.low === null ? 0 : point.y - point.low, point.high === null ? 0 : point.high - point.y] }))}
                fill={colourOf(one.look)}
                line={joined ? { stroke: colourOf(one.look), strokeWidth: 1.5, strokeDasharray: dashOf(one.look) ?? '0' } : false}
                shape={({ cx, cy }: ScatterShapeProps) => <Marker look={one.look} at={{ x: cx ?? 0, y: cy ?? 0 }} />}
                isAnimationActive={false}
              >
                <ErrorBar dataKey="error" direction="y" width={4} stroke={colourOf(one.look)} strokeWidth={1.25} isAnimationActive={false} />
              </Scatter>
            ))}
          </ScatterChart>
        </ResponsiveContainer>
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
}

/** Filled in its colour, with an edge of the ground so that neighbours that overlap stay apart. */
function Marker({ look, at }: { readonly look: number; readonly at: { readonly x: number; readonly y: number } }) {
  return <path d={markerPath(look, 4.5)} transform={`translate(${at.x},${at.y})`} fill={colourOf(look)} stroke="var(--surface)" strokeWidth={1} />;
}

function Sample({ look, joined }: { readonly look: number; readonly joined: boolean }) {
  return (
    <svg width="26" height="14" aria-hidden="true">
      {joined && <line x1="0" y1="7" x2="26" y2="7" stroke={colourOf(look)} strokeWidth="1.5" strokeDasharray={dashOf(look)} />}
      <path d={markerPath(look, 4.5)} transform="translate(13,7)" fill={colourOf(look)} />
    </svg>
  );
}

interface HoveredProps extends TooltipContentProps {
  readonly x: string;
  readonly y: string;
  readonly xText: (at: number) => string;
  readonly series: readonly Series[];
}

function Hovered({ active, payload, x, y, xText, series }: HoveredProps) {
  const point = payload[0]?.payload as (Drawn & { readonly series: string }) | undefined;
  if (!active || point === undefined) return null;
  return (
    <div className="chart-hover">
      <strong>{series.find((one) => one.id === point.series)?.title}</strong>
      <div>
        {x}: {xText(point.x)}
      </div>
      <div>
        {y}: {decimals(String(Number(point.y.toPrecision(5))))}
      </div>
    </div>
  );
}

function scaleOfY(values: Iterable<number>, logarithmic: boolean): AxisScale & { readonly kind: 'log' | 'auto' } {
  return logarithmic ? { ...logarithmicScale(values), kind: 'log' } : { ...scaleOver(values, 5), kind: 'auto' };
}

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
