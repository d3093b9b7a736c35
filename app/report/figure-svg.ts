/** A figure as SVG that stands in the page itself. Series are told apart by mark and dash, so that grey paper shows them too. */
import { trueMinus } from '../quantities/figures.ts';
import type { FigureSeries, ReportFigure } from './document.ts';
import { escaped } from './markup.ts';

const WIDTH = 440;
const HEIGHT = 300;
const LEFT = 58;
const RIGHT = 12;
const TOP = 10;
const BOTTOM = 46;
const LEGEND_LINE = 17;

const dashes = ['', '6 3', '2 3', '8 3 2 3', '12 4', '1 2', '4 2 1 2', '10 2'];
const inks = ['#12324f', '#5b6f82', '#12324f', '#5b6f82', '#12324f', '#5b6f82', '#12324f', '#5b6f82'];

/** One shape after another, filled and open in turn. */
function mark(index: number, x: number, y: number, ink: string): string {
  const r = 3.4;
  const style = index % 2 === 0 ? `fill="${ink}"` : `fill="#fff" stroke="${ink}" stroke-width="1.3"`;
  const polygon = (points: readonly (readonly [number, number])[]): string => `<polygon points="${points.map(([dx, dy]) => `${two(x + dx * r)},${two(y + dy * r)}`).join(' ')}" ${style}/>`;
  switch (Math.floor(index / 2) % 4) {
    case 0:
      return `<circle cx="${two(x)}" cy="${two(y)}" r="${r}" ${style}/>`;
    case 1:
      return polygon([[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]]);
    case 2:
      return polygon([[0, -1.2], [1.1, 0.9], [-1.1, 0.9]]);
    default:
      return polygon([[0, -1.3], [1.3, 0], [0, 1.3], [-1.3, 0]]);
  }
}

const two = (value: number): string => String(Number(value.toFixed(2)));

/** Round numbers that span `low` to `high`; at least two. */
export function ticksOf(low: number, high: number): readonly number[] {
  const span = high > low ? high - low : Math.max(Math.abs(high), 1) * 0.1;
  const raw = span / 5;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = power * ([1, 2, 2.5, 5, 10].find((m) => m * power >= raw) ?? 10);
  const first = Math.floor(low / step + 1e-9);
  const last = Math.max(Math.ceil(high / step - 1e-9), first + 1);
  return Array.from({ length: last - first + 1 }, (_, i) => Number(((first + i) * step).toPrecision(12)));
}

interface Scale {
  readonly ticks: readonly number[];
  readonly at: (value: number) => number;
}

function scaleOf(values: readonly number[], from: number, to: number): Scale {
  const ticks = ticksOf(values.reduce((a, b) => Math.min(a, b), Infinity), values.reduce((a, b) => Math.max(a, b), -Infinity));
  const [low, high] = [ticks[0] ?? 0, ticks.at(-1) ?? 1];
  return { ticks, at: (value) => from + ((value - low) / (high - low)) * (to - from) };
}

/** Names along the axis of places, not of numbers. */
function namedScale(names: readonly string[], from: number, to: number): Scale {
  return { ticks: names.map((_, i) => i), at: (value) => from + ((value + 0.5) / names.length) * (to - from) };
}

export function figureSvg(figure: ReportFigure): string {
  const points = figure.series.flatMap((s) => s.points);
  const legend = figure.series.length > 1 ? Math.ceil(figure.series.length / 4) * LEGEND_LINE : 0;
  const names = figure.x.names;
  const slanted = names !== undefined && names.length > 5;
  const height = HEIGHT + legend + (slanted ? 22 : 0);
  const floor = height - BOTTOM - legend - (slanted ? 22 : 0);
  const x = names === undefined ? scaleOf(points.map((p) => p.x), LEFT, WIDTH - RIGHT) : namedScale(names, LEFT, WIDTH - RIGHT);
  const y = scaleOf(figure.y.within ?? [...points.flatMap((p) => [p.y - (p.u ?? 0), p.y + (p.u ?? 0)]), ...(figure.y.zero ? [0] : [])], floor, TOP);
  const clip = `${figure.id}-clip`;
  const every = names === undefined ? 1 : Math.ceil(names.length / 20);
  const shownTick = (value: number, all: readonly number[]): string => trueMinus(value.toFixed(Math.max(0, ...all.map((t) => (String(t).split('.')[1] ?? '').length))));
  const grid = y.ticks.map((t) => `<line x1="${LEFT}" x2="${WIDTH - RIGHT}" y1="${two(y.at(t))}" y2="${two(y.at(t))}" stroke="${figure.y.zero && t === 0 ? '#444' : '#d5d9de'}" stroke-width="${figure.y.zero && t === 0 ? 1.2 : 0.8}"/><text x="${LEFT - 6}" y="${two(y.at(t) + 4)}" text-anchor="end">${shownTick(t, y.ticks)}</text>`);
  const across = x.ticks.map((t, i) => {
    if (i % every !== 0) return '';
    const at = two(x.at(t));
    if (names === undefined) return `<line x1="${at}" x2="${at}" y1="${two(floor)}" y2="${two(floor + 4)}" stroke="#444"/><text x="${at}" y="${two(floor + 17)}" text-anchor="middle">${shownTick(t, x.ticks)}</text>`;
    const name = escaped(names[i] ?? '');
    return slanted ? `<text transform="translate(${two(x.at(t) + 4)} ${two(floor + 14)}) rotate(-35)" text-anchor="end">${name}</text>` : `<text x="${at}" y="${two(floor + 17)}" text-anchor="middle">${name}</text>`;
  });
  return [
    `<svg viewBox="0 0 ${WIDTH} ${two(height)}" role="img" aria-labelledby="${figure.id}-title">`,
    `<title id="${figure.id}-title">${escaped(figure.title)}</title>`,
    ...grid,
    `<line x1="${LEFT}" x2="${WIDTH - RIGHT}" y1="${two(floor)}" y2="${two(floor)}" stroke="#444"/>`,
    ...across,
    `<text x="${two((LEFT + WIDTH - RIGHT) / 2)}" y="${two(floor + 35)}" text-anchor="middle">${escaped(figure.x.title)}</text>`,
    `<text transform="translate(13 ${two((TOP + floor) / 2)}) rotate(-90)" text-anchor="middle">${escaped(figure.y.title)}</text>`,
    `<clipPath id="${clip}"><rect x="0" y="${TOP - 5}" width="${WIDTH}" height="${two(floor - TOP + 10)}"/></clipPath>`,
    `<g clip-path="url(#${clip})">`,
    ...figure.series.map((series, i) => seriesSvg(series, i, x, y)),
    '</g>',
    ...(legend === 0 ? [] : figure.series.map((series, i) => legendSvg(series, i, height - legend + 4))),
    '</svg>',
  ].join('\n');
}

function seriesSvg(series: FigureSeries, index: number, x: Scale, y: Scale): string {
  const ink = inks[index % inks.length] ?? '#12324f';
  const line = series.joined && series.points.length > 1
    ? `<polyline points="${series.points.map((p) => `${two(x.at(p.x))},${two(y.at(p.y))}`).join(' ')}" fill="none" stroke="${ink}" stroke-width="1.2"${dashOf(index)}/>`
    : '';
  const bars = series.points.flatMap((p) => {
    if (p.u === null || p.u === 0) return [];
    const [at, low, high] = [x.at(p.x), y.at(p.y - p.u), y.at(p.y + p.u)];
    return [`<path d="M${two(at)} ${two(low)}V${two(high)}M${two(at - 3)} ${two(low)}h6M${two(at - 3)} ${two(high)}h6" stroke="${ink}" fill="none"/>`];
  });
  return [line, ...bars, ...series.points.map((p) => mark(index, x.at(p.x), y.at(p.y), ink))].join('');
}

const dashOf = (index: number): string => {
  const dash = dashes[index % dashes.length] ?? '';
  return dash === '' ? '' : ` stroke-dasharray="${dash}"`;
};

function legendSvg({ name, joined }: FigureSeries, index: number, top: number): string {
  const left = LEFT - 40 + (index % 4) * 104;
  const y = top + Math.floor(index / 4) * LEGEND_LINE;
  const ink = inks[index % inks.length] ?? '#12324f';
  return `${joined ? `<line x1="${left}" x2="${left + 26}" y1="${two(y)}" y2="${two(y)}" stroke="${ink}" stroke-width="1.2"${dashOf(index)}/>` : ''}${mark(index, left + 13, y, ink)}<text x="${left + 32}" y="${two(y + 4)}">${escaped(name)}</text>`;
}
