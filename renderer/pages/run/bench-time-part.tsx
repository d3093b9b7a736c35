import { decimals } from '../../components/decimals.ts';
import { memo } from 'react';
import { TimeKeeper, timeKinds } from '../../../app/results/bench-time.ts';
import type { RunEvent } from '../../../app/journal/events.ts';
import { durationText } from '../../components/durations.ts';

const keepers = new WeakMap<readonly RunEvent[], TimeKeeper>();

/** Of a journal that grows in place: each event is followed once. */
function benchTimeOf(events: readonly RunEvent[]): TimeKeeper {
  let keeper = keepers.get(events);
  if (keeper === undefined) keepers.set(events, (keeper = new TimeKeeper()));
  for (let index = keeper.events; index < events.length; index += 1) {
    const event = events[index];
    if (event !== undefined) keeper.follow(event);
  }
  return keeper;
}

/** Where the time of a run went: from its journal alone, so of a stored run too (WIN-26). `revision`: changes with the journal, which grows in place. */
export const BenchTimePart = memo(function BenchTimePart({ events }: { readonly events: readonly RunEvent[]; readonly revision: number }) {
  const { bench: sums, sums: byClock } = benchTimeOf(events);
  const total = timeKinds.reduce((sum, { kind }) => sum + sums[kind], 0);
  const clock = timeKinds.reduce((sum, { kind }) => sum + byClock[kind], 0);
  const shown = timeKinds.filter(({ kind }) => sums[kind] > 0);
  return (
    <section className="section" aria-label="Where the time went">
      <header className="section-head">
        <h2>Where the time went</h2>
        <p className="quiet small">{total === 0 ? 'The run has not been started.' : clock === total ? `${durationText(clock)} by the clock since the start` : `${durationText(total)} of bench time since the start, ${durationText(clock)} by the clock: a simulated bench that goes faster`}</p>
      </header>
      {shown.length > 0 && (
        <table className="plain run-times">
          <caption className="unseen">Time of each kind, and its part of the whole</caption>
          <tbody>
            {shown.map(({ kind, word, meaning }) => (
              <tr key={kind} title={meaning}>
                <th scope="row">{word}</th>
                <td className="numeric">{durationText(sums[kind])}</td>
                <td className="numeric">{decimals(((100 * sums[kind]) / total).toFixed(1))} %</td>
                <td className="run-times-bar" aria-hidden="true">
                  <span style={{ width: `${(100 * sums[kind]) / total}%` }} />
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
    </section>
  );
});
