/** What is said of one cell's line. */
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { briefShown as brief, signShown as withSign } from '../../components/figures.ts';

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
    case 'bent-elsewhere':
      return `${begins} At ${msText(stop.width)} ms the mass is off the line by ${percentText(stop.deviationPercent)}: little, but the needle has been open for no longer than where other voltages show a bend.${oneMore}`;
    case 'bent-itself':
      return `${begins} At ${msText(stop.width)} ms the mass is off the line by ${percentText(stop.deviationPercent)}: this injector bends longer than others of its type, as its voltages show together.`;
    case 'bent-within':
      return `${begins} It may still bend at ${msText(stop.width)} ms, as this injector does at other voltages, but too few longer widths were measured to do without that one. Measure longer widths.`;
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
