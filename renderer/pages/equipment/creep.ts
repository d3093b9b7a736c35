/** The checks of a meter as series over the years, one for each rate of flow. */
import type { MeterCheckRow } from '../../../app/contract/meter-check-row.ts';
import type { Series } from '../results/series.ts';

/** Rates of two checks closer than this are one rate, as inside a check (MC-7). */
const sameRate = 0.1;

/** `checks`: the latest first. `names`: the checks from the oldest on, the places of the series on x. */
export function creepSeries(checks: readonly MeterCheckRow[]): { readonly series: readonly Series[]; readonly names: readonly string[] } {
  const old = checks.filter((c) => c.rates.length > 0).toReversed();
  const anchors: number[] = [];
  const points = new Map<number, { readonly x: number; readonly y: number; readonly low: number; readonly high: number }[]>();
  old.forEach((check, x) => {
    for (const { hertz, fromCertificatePercent: y, expandedPercent } of check.rates) {
      let anchor = anchors.find((a) => Math.abs(a / hertz - 1) < sameRate);
      if (anchor === undefined) anchors.push((anchor = hertz));
      points.set(anchor, [...(points.get(anchor) ?? []), { x, y, low: y - expandedPercent, high: y + expandedPercent }]);
    }
  });
  const sorted = anchors.toSorted((a, b) => a - b);
  return { names: old.map(({ date, no }) => `${date} (${no})`), series: sorted.map((hertz, look) => ({ id: String(hertz), title: `about ${Number(hertz.toPrecision(3))} Hz`, look, points: points.get(hertz) ?? [] })) };
}
