/** One cell's line to look at: mass over width, the line, and what is left of the masses beside it. SI units. */
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { expandedRandom, expandedWith, randomOfWidth } from './estimate.ts';
import { brief, withSign } from './figures.ts';
import type { RunResults } from './results.ts';
import { conditionKey } from './results.ts';

export interface WidthRow {
  /** s */
  readonly width: number;
  readonly windows: number;
  /** kg, and its U95 with all parts. */
  readonly mass: number;
  readonly massU95: number | null;
  /** Of the line at this width, kg. */
  readonly line: number;
  /** Mass less line, kg; `residualU95` holds the random part only: instruments move masses and line alike. */
  readonly residual: number;
  readonly residualU95: number | null;
  readonly deviationPercent: number | null;
  readonly deviationU95Percent: number | null;
  readonly inRegion: boolean;
}

/** Shortest width first. */
export function widthRows(cell: LineCell, masses: RunResults['masses']): readonly WidthRow[] {
  return cell.widths
    .map((width): WidthRow => {
      const random = randomOfWidth(cell, width);
      const line = cell.slope.value * (width.width - cell.deadTime.value);
      const residualU95 = expandedRandom([random]);
      return {
        width: width.width,
        windows: width.windows,
        mass: width.mass,
        massU95: expandedWith(random, width.mass * sharedAt(cell, width.width, masses)),
        line,
        residual: width.mass - line,
        residualU95,
        deviationPercent: width.deviationPercent,
        deviationU95Percent: residualU95 === null || line <= 0 ? null : (100 * residualU95) / line,
        inRegion: width.inRegion,
      };
    })
    .sort((a, b) => a.width - b.width);
}

/** Mean relative shared uncertainty of the windows of a width. */
function sharedAt(cell: LineCell, width: number, masses: RunResults['masses']): number {
  let sum = 0;
  let n = 0;
  for (const { at, mass, uShared } of masses) {
    if (mass === null || at.role !== 'measure' || at.injector !== cell.injector || at.voltage !== cell.voltage || at.width !== width) continue;
    if (conditionKey(at) !== conditionKey(cell)) continue;
    sum += uShared;
    n += 1;
  }
  return n === 0 ? 0 : sum / n;
}

const oneMore = ' A bend fades over several widths, so one more was left out.';

/** Why the line begins where it begins, as a sentence. */
export function regionSentence({ region: { from, stop } }: LineCell): string {
  const begins = `The line holds from ${msText(from)} ms up.`;
  switch (stop.kind) {
    case 'given':
      return `${begins} The plan says so.`;
    case 'all-widths-fit':
      return `${begins} All widths that were measured lie on it.`;
    case 'beyond-limit':
      return `${begins} At ${msText(stop.width)} ms the mass is off the line through the longer widths by ${percentText(stop.deviationPercent)}, which is more than the plan's limit.${oneMore}`;
    case 'significant':
      return `${begins} At ${msText(stop.width)} ms the mass is off the line through the longer widths by ${percentText(stop.deviationPercent)}, which is inside the plan's limit but more than noise explains.${oneMore}`;
    case 'family-significant':
      return `${begins} At ${msText(stop.width)} ms the mass is off the line by ${percentText(stop.deviationPercent)}: little, but all injectors of the type bend the same way there.${oneMore}`;
  }
}

function msText(seconds: number): string {
  return String(Number((seconds * 1e3).toPrecision(6)));
}

function percentText(percent: number): string {
  return `${withSign(brief(percent))} %`;
}

/** What the scatter of the widths about the line says of it. */
export function fitSentence({ lackOfFit }: LineCell): string {
  if (lackOfFit.ofReplicatesDof === 0) return 'Each width was measured once, so what the line leaves over cannot be told from scatter.';
  return lackOfFit.significant
    ? 'The widths scatter about the line by more than their replicates explain, so the uncertainty was taken from the widths.'
    : 'The widths scatter about the line no more than their replicates explain.';
}
