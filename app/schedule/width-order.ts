/** In which order the widths of a cell are measured (SCH-46). */
import type { Seconds } from '../quantities/quantity.ts';

/** So many orders are drawn. */
const draws = 12;

/** Of some orders that `draw` draws (whole numbers, 32 bit) the one that tells best whether windows after a shorter width differ from those after a longer one; the first of equals. */
export function widthOrder(widths: readonly Seconds[], draw: () => number): readonly Seconds[] {
  let best = widths;
  let most = -1;
  for (let i = 0; i < draws; i += 1) {
    const order = widths.map((width) => ({ width, draw: draw() })).sort((a, b) => a.draw - b.draw).map(({ width }) => width);
    const told = precisionOfDirection(order);
    if (told > most * (1 + 1e-9)) [best, most] = [order, told];
  }
  return best;
}

/**
 * Precision with which windows in this order tell the direction in which their width was come to, beside height and slope of their line (RED-84): the squares of the direction that a straight line over the widths leaves,
 * where windows scatter in proportion to their width. 0: it is not told, so by fewer than four windows.
 */
export function precisionOfDirection(order: readonly number[]): number {
  let [weights, x, y, xx, xy, yy] = [0, 0, 0, 0, 0, 0];
  order.forEach((width, i) => {
    const direction = Math.sign(width - (order[i - 1] ?? width));
    if (direction === 0) return;
    const weight = 1 / width ** 2;
    weights += weight;
    x += weight * width;
    y += weight * direction;
    xx += weight * width ** 2;
    xy += weight * width * direction;
    yy += weight * direction ** 2;
  });
  const spread = xx - x ** 2 / weights;
  if (!(spread > 1e-12 * xx)) return 0;
  const left = yy - y ** 2 / weights - (xy - (x * y) / weights) ** 2 / spread;
  return left > 1e-9 * yy ? left : 0;
}
