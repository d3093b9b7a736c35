import { shownText } from '../../components/shown-text.ts';
import { blindVerdict, blindTally } from '../../../app/charts/blind-history.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { briefShown as brief, plainShown as plain, plusMinusShown as plusMinus, minusShown as trueMinus } from '../../components/figures.ts';
import { blindSentences, invarianceSentences, memberTitles, memberVerdict } from '../../../app/reduce/invariance-words.ts';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { FigureTable } from './figure-table.tsx';
import type { ViewProps } from './view-props.ts';

const us = (s: number): number => s * 1e6;

/** What the run found by itself of its own numbers: the invariance set and the blind windows. */
export function SelfChecksPanel({ results }: Pick<ViewProps, 'results'>) {
  const { invariance, blind } = results.reduction;
  const [meaning] = invarianceSentences(invariance);
  const tally = blindTally(blind);
  return (
    <>
      <Section title="The same quantity with one condition changed" wide>
        <Notice tone={invariance.members.length === 0 ? 'note' : invariance.members.some((m) => m.called) ? 'bad' : 'good'}>{shownText(meaning ?? '')}</Notice>
        {invariance.members.length > 0 && (
          <FigureTable
            caption="Invariance set: differences in pulse width; ± is k = 2"
            columns={['What is compared', 'Difference, µs', 'Of the mass, %', 'Standard uncertainties', 'Chance over the whole set', 'Verdict']}
            words={[4]}
            rows={invariance.members.map((m) => ({
              key: m.of,
              head: memberTitles[m.of],
              cells: [plusMinus(us(m.difference), us(2 * Math.hypot(m.uRandom, m.uShared)), true), trueMinus(m.percent.toFixed(3)), trueMinus(m.z.toFixed(1)), m.p >= 0.995 ? '1' : m.p < 1e-4 ? 'under 0.0001' : brief(m.p), memberVerdict(m)],
            }))}
          />
        )}
      </Section>
      <Section title="Blind windows" wide>
        <Notice tone={blind.length === 0 || tally.told === 0 ? 'note' : tally.called === null ? 'good' : 'bad'}>{tally.told === 0 ? blindSentences(blind).join(' ') : blindVerdict(tally)}</Notice>
        {blind.length > 0 && (
          <FigureTable
            caption="Blind windows: the shift of the pulse width as the line tells it; ± is 95 %"
            columns={['Point, attempt', 'Injector', 'Supply, V', 'Width, ms', 'Found, µs', 'Driven, µs', 'Verdict']}
            words={[0, 5]}
            rows={blind.map((b) => ({
              key: `${b.point}/${b.attempt}`,
              head: `${shownPoint(b.point)}, ${b.attempt}`,
              cells: [
                results.plan.injectors[b.injector]?.serialNumber ?? '',
                plain(b.voltage),
                plain(b.width * 1e3),
                plusMinus(us(b.found), us(b.expanded), true),
                b.truth === null ? 'sealed' : trueMinus(us(b.truth).toFixed(1)),
                b.truth === null ? '' : Math.abs(b.found - b.truth) <= b.expanded ? 'inside' : 'outside',
              ],
            }))}
          />
        )}
      </Section>
    </>
  );
}
