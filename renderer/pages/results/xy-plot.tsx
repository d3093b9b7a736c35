/**
 * The drawing of a chart of points, by the chart library: axes, grid, points and what the pointer is at. Whatever is a component of it is entered into its store when it changes, and all others
 * are asked again for each entry; so all points are one of them, what lies behind them is drawn by its scales in plain elements, and an axis that stays the same is the same object.
 * Labels that fit are chosen here, so that it measures none. WIN-170
 */
import { memo, useCallback, useMemo } from 'react';
import type { ReactElement } from 'react';
import { CartesianGrid, ResponsiveContainer, Scatter, ScatterChart, Tooltip, usePlotArea, useXAxisScale, useYAxisScale, XAxis, YAxis } from 'recharts';
import type { ScatterShapeProps, TooltipContentProps } from 'recharts';
import { briefShown as brief, plainShown as plain } from '../../components/figures.ts';
import { labelsThatFit } from './scale.ts';
import type { AxisScale } from './scale.ts';
import { colourOf, dashOf, markerPath } from './series.ts';
import type { ChartPoint, Series } from './series.ts';

export interface ChartLine {
  readonly title: string;
  readonly from: { readonly x: number; readonly y: number };
  readonly to: { readonly x: number; readonly y: number };
}

interface XyPlotProps {
  readonly height: number;
  readonly x: AxisScale;
  readonly y: AxisScale;
  /** The places on x have names. */
  readonly named: boolean;
  readonly xTitle: string;
  readonly yTitle: string;
  readonly series: readonly Series[];
  readonly joined: boolean;
  readonly lines: readonly ChartLine[];
  readonly band: { readonly from: number; readonly to: number } | undefined;
  readonly limit: { readonly low: number; readonly high: number } | undefined;
  readonly zero: boolean;
}

// What is the same in every chart is the same object, so that the library sees that nothing changed.
const margin = { top: 10, right: 16, bottom: 24, left: 14 };
const xLabel = { position: 'insideBottom', offset: -14, fill: 'var(--ink)', fontSize: 13 } as const;
const yLabel = { angle: -90, position: 'insideLeft', offset: -4, fill: 'var(--ink)', fontSize: 13, textAnchor: 'middle' } as const;

export const XyPlot = memo(function XyPlot({ height, x, y, named, xTitle, yTitle, series, joined, lines, band, limit, zero }: XyPlotProps) {
  const [xAxis, yAxis] = [useAxis(x, xTick), useAxis(y, yTick)];
  const [below, beside] = [useMemo(() => ({ ...xLabel, value: xTitle }), [xTitle]), useMemo(() => ({ ...yLabel, value: yTitle }), [yTitle])];
  const points = useMemo(() => series.flatMap(({ title, look, points: of }) => of.map((point): PointDrawn => ({ ...point, title, look }))), [series]);
  const told = useCallback(({ active, payload }: TooltipContentProps) => (active ? <Hovered point={payload[0]?.payload as PointDrawn | undefined} xTitle={xTitle} yTitle={yTitle} xText={named ? x.label : plain} /> : null), [xTitle, yTitle, named, x]);
  return (
    <ResponsiveContainer width="100%" height={height} minWidth={0}>
      <ScatterChart accessibilityLayer={false} margin={margin}>
        <CartesianGrid stroke="var(--grid)" />
        <XAxis type="number" dataKey="x" {...xAxis} stroke="var(--edge-strong)" label={below} />
        <YAxis type="number" dataKey="y" {...yAxis} width={58} stroke="var(--edge-strong)" label={beside} />
        <Ground x={x} series={series} joined={joined} lines={lines} band={band} limit={limit} zero={zero} />
        <Tooltip isAnimationActive={false} cursor={false} content={told} />
        <Scatter data={points} shape={marker} isAnimationActive={false} />
      </ScatterChart>
    </ResponsiveContainer>
  );
});

/** What the library asks of an axis, the same as long as the scale is. */
function useAxis(scale: AxisScale, tickOf: (scale: AxisScale) => (props: TickProps) => ReactElement) {
  return useMemo(() => ({ scale: scale.kind ?? ('auto' as const), domain: [scale.from, scale.to], ticks: [...scale.ticks], tick: tickOf(scale), interval: 0 as const, niceTicks: 'none' as const }), [scale, tickOf]);
}

interface TickProps {
  readonly x: number | string;
  readonly y: number | string;
  /** Of the axis. */
  readonly width?: number | string | undefined;
  readonly payload: { readonly value: number };
}

const tickText = { fill: 'var(--ink-quiet)', fontSize: 12 } as const;

function xTick({ ticks, label }: AxisScale) {
  return ({ x, y, width, payload: { value } }: TickProps) => (
    <text {...tickText} x={x} y={y} dy="0.71em" textAnchor="middle">
      {labelsThatFit(ticks, label, Number(width)).includes(value) ? label(value) : ''}
    </text>
  );
}

function yTick({ label }: AxisScale) {
  return ({ x, y, payload: { value } }: TickProps) => (
    <text {...tickText} x={x} y={y} dy="0.355em" textAnchor="end">
      {label(value)}
    </text>
  );
}

/** Half the width of the end of an interval, px. */
const cap = 4;

type Place = (value: number) => number;

const placeBy = (scale: (value: unknown) => number | undefined): Place => (value) => Math.round((scale(value) ?? 0) * 100) / 100;

function intervals(points: readonly ChartPoint[], toX: Place, toY: Place): string {
  return points.map(({ x, low, high }) => (low === null || high === null ? '' : `M${toX(x) - cap},${toY(low)}h${2 * cap}M${toX(x)},${toY(low)}V${toY(high)}M${toX(x) - cap},${toY(high)}h${2 * cap}`)).join('');
}

/** All that lies behind the points, by the scales of the chart: band, limits, zero, lines, what joins the points of a series, and their 95 % intervals. */
function Ground({ x, series, joined, lines, band, limit, zero }: Pick<XyPlotProps, 'x' | 'series' | 'joined' | 'lines' | 'band' | 'limit' | 'zero'>) {
  const [byX, byY, area] = [useXAxisScale(), useYAxisScale(), usePlotArea()];
  if (byX === undefined || byY === undefined || area === undefined) return null;
  const [toX, toY] = [placeBy(byX), placeBy(byY)];
  const [begin, end] = band === undefined ? [0, 0] : [toX(Math.max(band.from, x.from)), toX(Math.min(band.to, x.to))];
  const across = (value: number): string => `M${area.x},${toY(value)}h${area.width}`;
  return (
    <g>
      {end > begin && <rect x={begin} y={area.y} width={end - begin} height={area.height} fill="var(--band)" />}
      {limit !== undefined && <path d={across(limit.low) + across(limit.high)} stroke="var(--edge-strong)" strokeDasharray="7 4" />}
      {zero && <path d={across(0)} stroke="var(--ink-quiet)" />}
      {lines.map(({ title, from, to }) => (
        <path key={title} d={`M${toX(from.x)},${toY(from.y)}L${toX(to.x)},${toY(to.y)}`} stroke="var(--ink)" strokeWidth={1.5} />
      ))}
      {series.map(({ id, look, points }) => (
        <g key={id} stroke={colourOf(look)} fill="none">
          {joined && points.length > 1 && <path d={`M${points.map((point) => `${toX(point.x)},${toY(point.y)}`).join('L')}`} strokeWidth={1.5} strokeDasharray={dashOf(look)} />}
          <path className="chart-intervals" d={intervals(points, toX, toY)} strokeWidth={1.25} />
        </g>
      ))}
    </g>
  );
}

interface PointDrawn extends ChartPoint {
  /** Of its series. */
  readonly title: string;
  readonly look: number;
}

/** Filled in its colour, with an edge of the ground so that neighbours that overlap stay apart. */
function marker({ cx = 0, cy = 0, payload }: ScatterShapeProps) {
  const { look } = payload as PointDrawn;
  return <path className="chart-point" d={markerPath(look, 4.5)} transform={`translate(${cx},${cy})`} fill={colourOf(look)} stroke="var(--surface)" strokeWidth={1} />;
}

/** Significant digits of what is hovered: more than any chart can be read to. */
const digits = 5;

interface HoveredProps {
  readonly point: PointDrawn | undefined;
  readonly xTitle: string;
  readonly yTitle: string;
  readonly xText: (at: number) => string;
}

function Hovered({ point, xTitle, yTitle, xText }: HoveredProps) {
  if (point === undefined) return null;
  return (
    <div className="chart-hover">
      <strong>{point.title}</strong>
      <div>
        {xTitle}: {xText(point.x)}
      </div>
      <div>
        {yTitle}: {brief(point.y, digits)}
      </div>
      {point.low !== null && point.high !== null && (
        <div>
          95 %: {brief(point.low, digits)} to {brief(point.high, digits)}
        </div>
      )}
    </div>
  );
}
