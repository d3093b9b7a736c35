/** How series are told apart: colour, shape of marker and dash, so that no one of them is needed alone. */

export interface ChartPoint {
  readonly x: number;
  readonly y: number;
  /** Ends of its 95 % interval; null: not known. */
  readonly low: number | null;
  readonly high: number | null;
}

export interface Series {
  readonly id: string;
  readonly title: string;
  /** Its place among all of its kind: keeps its look when others are switched off. */
  readonly look: number;
  readonly points: readonly ChartPoint[];
}

/** recharts draws no more than this well. */
export const mostPoints = 300;

const looks = 8;

export function colourOf(look: number): string {
  return `var(--series-${(look % looks) + 1})`;
}

/** One dash for each round of the eight colours and shapes, so that the ninth is not the first again. */
const dashes = [undefined, '6 3', '2 3', '8 3 2 3'];

export function dashOf(look: number): string | undefined {
  return dashes[Math.floor(look / looks) % dashes.length];
}

/** Outline of the marker of a look about (0, 0), as the path of an SVG, `r` in pixels. */
export function markerPath(look: number, r: number): string {
  const polygon = (corners: readonly (readonly [number, number])[]): string => `M${corners.map(([x, y]) => `${(x * r).toFixed(2)},${(y * r).toFixed(2)}`).join('L')}Z`;
  switch (look % looks) {
    case 0:
      return `M${-r},0A${r},${r} 0 1,0 ${r},0A${r},${r} 0 1,0 ${-r},0Z`;
    case 1:
      return polygon([[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]]);
    case 2:
      return polygon([[0, -1.2], [1.1, 0.8], [-1.1, 0.8]]);
    case 3:
      return polygon([[0, -1.3], [1.1, 0], [0, 1.3], [-1.1, 0]]);
    case 4:
      return polygon([[0, 1.2], [1.1, -0.8], [-1.1, -0.8]]);
    case 5:
      return polygon([[-0.4, -1.2], [0.4, -1.2], [0.4, -0.4], [1.2, -0.4], [1.2, 0.4], [0.4, 0.4], [0.4, 1.2], [-0.4, 1.2], [-0.4, 0.4], [-1.2, 0.4], [-1.2, -0.4], [-0.4, -0.4]]);
    case 6:
      return polygon([[-1.2, -0.8], [-0.8, -1.2], [0, -0.4], [0.8, -1.2], [1.2, -0.8], [0.4, 0], [1.2, 0.8], [0.8, 1.2], [0, 0.4], [-0.8, 1.2], [-1.2, 0.8], [-0.4, 0]]);
    default:
      return polygon([[-1.3, -0.5], [1.3, -0.5], [1.3, 0.5], [-1.3, 0.5]]);
  }
}

/** Ids of the series that are on at first: in their order, as many as the chart can draw. */
function seriesThatFit(series: readonly Pick<Series, 'id' | 'points'>[], most = mostPoints): ReadonlySet<string> {
  const on = new Set<string>();
  let points = 0;
  for (const one of series) {
    points += one.points.length;
    if (points > most && on.size > 0) break;
    on.add(one.id);
  }
  return on;
}

/** The series that are switched off by `off`, or would be more than the chart can draw, are left out. */
export function drawn(series: readonly Series[], off: ReadonlySet<string>): readonly Series[] {
  const on = series.filter((one) => !off.has(one.id));
  const fit = seriesThatFit(on);
  return on.filter((one) => fit.has(one.id)).map((one) => (one.points.length > mostPoints ? { ...one, points: thinned(one.points, mostPoints) } : one));
}

/** Every n-th, first and last kept. */
function thinned<T>(points: readonly T[], most: number): readonly T[] {
  return Array.from({ length: most }, (_, i) => points[Math.round((i * (points.length - 1)) / (most - 1))] as T);
}
