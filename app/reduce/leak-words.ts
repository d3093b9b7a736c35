/** What was found of leaks, in sentences that say what it means and what to do. */
import { contradicts } from './period-pair.ts';
import type { LeakBlock } from './leak-block.ts';
import type { Leak, LineCell, NoLineCell, PeriodPair } from './reduction.ts';

/** Standard uncertainties from which on two blocks are said to differ. RED-48. */
const differs = 3;

export function millilitresPerMinute(flow: number): string {
  const value = flow * 6e7;
  return `${Math.abs(value) < 0.0005 ? '0' : Number(value.toPrecision(2)).toString()} mL/min`;
}

/** Standard uncertainty of the leak of a block, all in all, m3/s. */
export function uncertaintyOfLeak({ uFlow, uMeter, change, uChange }: LeakBlock): number {
  return Math.hypot(uFlow, uMeter, Math.hypot(change, uChange) / Math.sqrt(12));
}

/** First what was found, then each change, then what the period pair says, then what has to be measured again. */
export function leakSentences(leak: Leak, pair: PeriodPair, cells: readonly (LineCell | NoLineCell)[]): readonly string[] {
  const found = leak.kind === 'not-looked-at' ? [leak.text] : foundSentences(leak);
  const refused = cells.filter((c) => c.kind === 'no-line' && c.reason === 'leak').length;
  const again = cells.filter((c) => c.kind === 'line' && c.leak !== null && c.leak.again !== null).length;
  return [
    ...found,
    pairSentence(pair),
    ...(refused > 0 ? [`${refused} of ${cells.length} lines are refused because of the leak; each cell says why. Find the leak, shut it, and measure those blocks again.`] : []),
    ...(again > 0 ? [`${again} of ${cells.length} lines stand with an uncertainty that the leak makes much larger: measure them again with longer zero points.`] : []),
  ];
}

function foundSentences({ blocks, edges, time, decays }: Extract<Leak, { kind: 'leak' }>): readonly string[] {
  const byFlow = blocks.toSorted((a, b) => a.flow - b.flow);
  const [least, most] = [byFlow[0], byFlow.at(-1)];
  if (least === undefined || most === undefined) return ['Nothing was measured that a leak could have moved.'];
  const one = (b: LeakBlock): string => `${millilitresPerMinute(b.flow)} ± ${millilitresPerMinute(2 * uncertaintyOfLeak(b))}`;
  const counted = decays > 0 ? `${decays} pressure decays, because the meter may stand still` : time > 0 ? `${edges} meter edges in ${time.toFixed(0)} s without pulses` : 'windows at twice the period alone';
  const seen = Math.max(...blocks.map((b) => b.flow / uncertaintyOfLeak(b))) > 2;
  const spread = most.flow - least.flow > 2 * Math.hypot(uncertaintyOfLeak(least), uncertaintyOfLeak(most));
  const blind = Math.max(...blocks.map((b) => b.below ?? 0));
  if (blind > 0) {
    return [
      `The meter stands still below ${millilitresPerMinute(blind)} and saw nothing in ${time.toFixed(0)} s without pulses: what leaks past the injectors is taken as ${one(most)} (k = 2). A period pair, or a bench that can shut its rail off, tells it better.`,
    ];
  }
  const first = !seen
    ? `No leak past the injectors is seen: ${one(most)} (k = 2), from ${counted}. That is subtracted from every mass, with its uncertainty.`
    : spread
      ? `Fluid leaked past the injectors under test: ${one(least)} to ${one(most)} (k = 2), from ${counted}. It is subtracted from every mass.`
      : `Fluid leaked past the injectors under test: about ${one(most)} (k = 2), from ${counted}. It is subtracted from every mass.`;
  const changes = blocks.slice(1).flatMap((b, i): string[] => {
    const before = blocks[i];
    if (before === undefined || b.pressure !== before.pressure) return [];
    const change = b.flow - before.flow;
    if (Math.abs(change) <= differs * Math.hypot(b.uFlow, before.uFlow)) return [];
    return [`The leak ${change > 0 ? 'grew' : 'fell'} by ${millilitresPerMinute(Math.abs(change))} from block ${before.block + 1} (${before.voltage} V, ${before.pressure / 1e3} kPa) to block ${b.block + 1} (${b.voltage} V).`];
  });
  return [first, ...changes];
}

function pairSentence(pair: PeriodPair): string {
  if (pair.kind === 'no-period-pair') return pair.text;
  const u = Math.hypot(pair.uRandom, pair.uShared);
  if (!pair.beside) {
    return `${pair.injectors.length} injectors at twice the period: ${millilitresPerMinute(pair.flow)} ± ${millilitresPerMinute(2 * u)} (k = 2) leak, ${pair.z.toFixed(1)} standard uncertainties from nothing. Nothing else tells of the leak: zero flow was not watched, or not long enough.`;
  }
  const all = pair.flow + pair.takenOff;
  const what = `${pair.injectors.length} injectors at twice the period: ${millilitresPerMinute(all)} ± ${millilitresPerMinute(2 * u)} (k = 2) leak while pulses flow, ${(all / u).toFixed(1)} standard uncertainties from none; against the ${millilitresPerMinute(pair.takenOff)} that are subtracted`;
  return pair.agrees
    ? `${what} they differ by ${Math.abs(pair.z).toFixed(1)} standard uncertainties, within the ${contradicts} that are allowed: zero points and pulses do not contradict each other.`
    : `${what} they differ by ${Math.abs(pair.z).toFixed(1)} standard uncertainties: zero points and pulses contradict each other. The meter may stand still at so small a flow, or something else changes with the period.`;
}
