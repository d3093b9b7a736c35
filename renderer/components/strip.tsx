/** A signal over time. React draws the frame once; the line is drawn by uPlot straight from the trend's arrays. */
import { useEffect, useRef } from 'react';
import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import type { TrendView } from '../live/trend.ts';
import { decimals } from './decimals.ts';
import { paintNever, paintSoon } from './strip-paint.ts';
import { scaleFor } from './strip-scale.ts';
import type { StripScale } from './strip-scale.ts';
import { themeColours, onThemeChange } from '../style/theme.ts';

/** Where a strip gets its line from; `LiveBench` has one, a stored run's frames make another. Must be stable. */
export interface StripSource {
  view(): TrendView;
  /** Time of the right edge, s. */
  now(): number;
  /** Time of the left edge at the earliest, s: the same for strips that stand beside each other. Absent: the first value. */
  start?(): number;
  onChange(listener: () => void): () => void;
}

export interface StripProps {
  /** Said to readers of the screen; the numbers themselves stand in words beside it. */
  readonly label: string;
  readonly source: StripSource;
  /** From the trend's unit to the shown one; it must keep the order of values. Must be stable. */
  readonly toShown: (value: number) => number;
  readonly unit: string;
  /** s shown; null: all there is. */
  readonly seconds: number | null;
  /** In the shown unit. */
  readonly setPoint?: number | null;
  readonly band?: { readonly low: number; readonly high: number } | null;
  /** The axis spans at least this much, so that noise does not fill it. */
  readonly leastRange: number;
  /** Pixels; default 96. `fill`: what the place around it gives, which must not depend on the strip. */
  readonly height?: number | 'fill';
  /** Whether the times stand under it; of strips one above the other, the lowest has them. Default true. */
  readonly times?: boolean;
}

const redrawEvery = 200;
/** s; shorter than this no strip is. */
const leastSpan = 30;
/** A band this many times wider than the line's own range is not made to fit: the line would become flat. */
const widestBand = 6;
const axisFont = '11px system-ui, sans-serif';

export function Strip({ label, source, toShown, unit, seconds, setPoint = null, band = null, leastRange, height = 96, times = true }: StripProps) {
  const box = useRef<HTMLDivElement>(null);
  const marks = useRef({ setPoint, band });
  const redraw = useRef<() => void>(() => undefined);
  useEffect(() => {
    marks.current = { setPoint, band };
    redraw.current();
  }, [setPoint, band]);

  useEffect(() => {
    const element = box.current;
    if (element === null) return undefined;
    const strip = new StripChart(element, { source, toShown, seconds, leastRange, height, times, marks: () => marks.current });
    redraw.current = strip.soon;
    return () => {
      redraw.current = () => undefined;
      strip.destroy();
    };
  }, [source, toShown, seconds, leastRange, height, times]);

  return <div className="strip" ref={box} role="img" aria-label={`${label} in ${unit} over ${seconds === null ? 'the time since the start' : `the last ${Math.round(seconds / 60)} minutes`}`} style={{ height: height === 'fill' ? '100%' : height }} />;
}

interface ChartOptions {
  readonly source: StripSource;
  readonly toShown: (value: number) => number;
  readonly seconds: number | null;
  readonly leastRange: number;
  readonly height: number | 'fill';
  readonly times: boolean;
  readonly marks: () => { readonly setPoint: number | null; readonly band: { readonly low: number; readonly high: number } | null };
}

/** Room for the points, used again at each drawing. */
class Points {
  times = new Float64Array(0);
  values = new Float64Array(0);

  fit(count: number): void {
    if (this.times.length >= count) return;
    this.times = new Float64Array(2 * count);
    this.values = new Float64Array(2 * count);
  }
}

class StripChart {
  readonly #options: ChartOptions;
  readonly #chart: uPlot;
  readonly #points = new Points();
  readonly #stop: (() => void)[];
  #visible = false;
  #lastDrawn = Number.NEGATIVE_INFINITY;
  #slot = 1;
  #scale: StripScale = scaleFor(0, 1);

  constructor(element: HTMLElement, options: ChartOptions) {
    this.#options = options;
    this.#chart = new uPlot(this.#chartOptions(sizeOf(element, options.height)), [[], []], element);
    const resize = new ResizeObserver(() => {
      if (element.clientWidth > 0) this.#chart.setSize(sizeOf(element, options.height));
      this.soon();
    });
    resize.observe(element);
    const sight = new IntersectionObserver((entries) => {
      this.#visible = entries.some((entry) => entry.isIntersecting);
      this.soon();
    });
    sight.observe(element);
    this.#stop = [
      () => resize.disconnect(),
      () => sight.disconnect(),
      options.source.onChange(() => {
        if (performance.now() - this.#lastDrawn >= redrawEvery) this.soon();
      }),
      onThemeChange(() => {
        this.#chart.redraw(false, true);
        this.soon();
      }),
    ];
  }

  readonly soon = (): void => {
    if (this.#visible) paintSoon(this.#draw);
  };

  destroy(): void {
    paintNever(this.#draw);
    for (const stop of this.#stop) stop();
    this.#chart.destroy();
  }

  readonly #draw = (): void => {
    const { source, toShown, seconds } = this.#options;
    const view = source.view();
    const now = source.now();
    const count = view.times.length;
    // A strip that has just begun grows until it is as long as it may be.
    const from = Math.max(seconds === null ? Number.NEGATIVE_INFINITY : now - seconds, Math.min(source.start?.() ?? view.times[0] ?? now, now - leastSpan));
    this.#points.fit(2 * count);
    const { times, values } = this.#points;
    let filled = 0;
    let low = Infinity;
    let high = -Infinity;
    // Each slot is drawn as a stroke over all that it held: two points at one time, the one first that is nearer to where
    // the line comes from, so that a rise or fall over several slots stays one.
    let before = Number.NaN;
    for (let i = 0; i < count; i += 1) {
      const time = view.times[i] ?? 0;
      if (time < from) continue;
      const a = toShown(view.low[i] ?? 0);
      const b = toShown(view.high[i] ?? 0);
      if (a < low) low = a;
      if (b > high) high = b;
      const falling = before >= (a + b) / 2;
      before = falling ? a : b;
      times[filled] = time - now;
      values[filled] = falling ? b : a;
      times[filled + 1] = time - now;
      values[filled + 1] = before;
      filled += 2;
    }
    this.#slot = view.slot;
    this.#lastDrawn = performance.now();
    this.#scale = scaleFor(...this.#range(low, high));
    this.#chart.batch(() => {
      this.#chart.setData([times.subarray(0, filled), values.subarray(0, filled)], false);
      this.#chart.setScale('x', { min: from - now, max: 0 });
      this.#chart.setScale('y', { min: this.#scale.bottom, max: this.#scale.top });
    });
  };

  #range(low: number, high: number): [number, number] {
    const { setPoint, band } = this.#options.marks();
    const own = Math.max(high - low, this.#options.leastRange);
    const fits = band !== null && (low > high || band.high - band.low <= widestBand * own);
    for (const mark of [setPoint, ...(fits ? [band.low, band.high] : [])]) {
      if (mark === null || !Number.isFinite(mark)) continue;
      if (mark < low) low = mark;
      if (mark > high) high = mark;
    }
    if (low > high) return [0, this.#options.leastRange];
    const middle = (low + high) / 2;
    const half = Math.max((high - low) * 0.52, this.#options.leastRange / 2);
    // What is never below nothing is not shown with a scale below it.
    return [low >= 0 ? Math.max(0, middle - half) : middle - half, middle + half];
  }

  #chartOptions(size: { readonly width: number; readonly height: number }): uPlot.Options {
    const { times } = this.#options;
    const colours = themeColours;
    const axis = (): uPlot.Axis => ({
      stroke: () => colours().quiet,
      grid: { stroke: () => colours().grid, width: 1 },
      ticks: { show: false },
      font: axisFont,
    });
    return {
      ...size,
      padding: [7, 16, times ? 0 : 7, 0],
      legend: { show: false },
      cursor: { show: false },
      scales: { x: { time: false, auto: false }, y: { auto: false } },
      axes: [
        { ...axis(), size: times ? 20 : 0, space: 70, values: (_, splits) => splits.map((at) => (times ? beforeNow(at) : '')), incrs: [5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 28800, 86400] },
        { ...axis(), size: 48, splits: () => [...this.#scale.ticks], values: (_, splits) => splits.map((tick) => decimals(tick.toFixed(this.#scale.decimals))) },
      ],
      series: [
        {},
        {
          stroke: () => colours().line,
          width: 1.25,
          points: { show: false },
          // Where nothing came for several slots there is no line.
          gaps: (chart, _series, first, last) => {
            const times = chart.data[0];
            const gaps: [number, number][] = [];
            for (let i = Math.max(1, first); i <= last; i += 1) {
              const a = times[i - 1] ?? 0;
              const b = times[i] ?? 0;
              if (b - a > 4 * this.#slot) gaps.push([Math.round(chart.valToPos(a, 'x', true)), Math.round(chart.valToPos(b, 'x', true))]);
            }
            return gaps;
          },
        },
      ],
      hooks: { drawAxes: [(chart) => this.#drawMarks(chart)] },
    };
  }

  #drawMarks(chart: uPlot): void {
    const { setPoint, band } = this.#options.marks();
    const { ctx, bbox } = chart;
    const colours = themeColours();
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    if (band !== null) {
      const top = chart.valToPos(band.high, 'y', true);
      ctx.fillStyle = colours.band;
      ctx.fillRect(bbox.left, top, bbox.width, chart.valToPos(band.low, 'y', true) - top);
    }
    if (setPoint !== null && Number.isFinite(setPoint)) {
      const y = Math.round(chart.valToPos(setPoint, 'y', true)) + 0.5;
      ctx.strokeStyle = colours.quiet;
      ctx.setLineDash([6, 4]);
      ctx.beginPath();
      ctx.moveTo(bbox.left, y);
      ctx.lineTo(bbox.left + bbox.width, y);
      ctx.stroke();
    }
    ctx.restore();
  }
}

const sizeOf = (element: HTMLElement, height: number | 'fill') => ({ width: Math.max(120, element.clientWidth), height: height === 'fill' ? Math.max(40, element.clientHeight) : height });

function beforeNow(offset: number): string {
  const before = Math.round(-offset);
  if (before <= 0) return 'now';
  if (before < 60) return `−${before} s`;
  if (before < 7200) return decimals(`−${Number((before / 60).toFixed(1))} min`);
  return decimals(`−${Number((before / 3600).toFixed(1))} h`);
}
