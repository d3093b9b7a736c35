import { useMemo } from 'react';
import { briefShown as brief, plainShown as plain } from '../../components/figures.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { findOutliers } from '../../../app/results/outliers.ts';
import type { OutlierReport } from '../../../app/results/outliers.ts';
import { lowestWidthText, repeatabilityByWidth } from '../../../app/results/repeatability-by-width.ts';
import type { RepeatabilityByWidth } from '../../../app/results/repeatability-by-width.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import { pathTo } from '../../address/route.ts';
import { Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { FigureTable, Missing } from './figure-table.tsx';
import type { Series } from './series.ts';
import { XyChart } from './xy-chart.tsx';
import { quantityText } from '../../settings/quantities.ts';

/** Replicates that do not belong together, and from which pulse width on injectors can be used: as the command `outliers` says it. WIN-61 */
export function RepeatabilityPanel({ id, results }: { readonly id: string; readonly results: RunResults }) {
  const { masses, reduction, plan } = results;
  const limit = plan.reduction.repeatabilityPercent;
  const report = useMemo(() => findOutliers(masses, reduction.scatter, plan), [masses, reduction, plan]);
  const conditions = useMemo(() => repeatabilityByWidth(masses, limit), [masses, limit]);
  return (
    <>
      <Section title="Outliers" wide>
        <OutliersOf id={id} report={report} />
      </Section>
      {conditions.map((one) => (
        <WidthsOf key={`${one.pressure}|${one.period}`} of={one} limit={limit} />
      ))}
      {conditions.length === 0 && <Notice tone="off">No point of this run has a mass yet, so nothing can be said of how well widths repeat.</Notice>}
    </>
  );
}

function OutliersOf({ id, report: { outliers, text } }: { readonly id: string; readonly report: OutlierReport }) {
  return (
    <>
      <Notice tone={outliers.length === 0 ? 'off' : 'note'}>{text}</Notice>
      {outliers.length > 0 && (
        <FigureTable
          caption="Windows that stand out among their replicates; nothing is left out of the results by that"
          columns={['Injector and place', 'Points', 'Standard deviations', 'What was found']}
          words={[0, 2]}
          rows={outliers.map((outlier) => ({
            key: outlier.windows.map((w) => `${w.point}.${w.attempt}`).join(' '),
            head: outlier.text.slice(0, outlier.text.indexOf(':')),
            cells: [outlier.windows.map((w) => `${shownPoint(w.point)}, attempt ${w.attempt}`).join('; '), outlier.g.toFixed(1), outlier.text.slice(outlier.text.indexOf(':') + 2)],
          }))}
        />
      )}
      {outliers.length > 0 && (
        <p className="small">
          Whether a window is left out is decided by a person, with a reason, in <a href={pathTo('results', id, 'attempts')}>Attempts</a>.
        </p>
      )}
    </>
  );
}

const percent = (of: number): string => brief(100 * of, 3);

function WidthsOf({ of: { pressure, period, widths, lowest }, limit }: { readonly of: RepeatabilityByWidth; readonly limit: number }) {
  const where = `${quantityText(pressure / 1e3, 'kPa')}, period ${plain(period * 1e3)} ms`;
  const series = useMemo((): readonly Series[] => {
    const stated = widths.flatMap(({ width, repeatability: r }) => (r.kind === 'repeatability' ? [{ width, r }] : []));
    return [
      { id: 'pooled', title: 'Pooled, with its 95 % interval', look: 0, points: stated.map(({ width, r }) => ({ x: width * 1e3, y: 100 * r.sd, low: 100 * r.interval.low, high: 100 * r.interval.high })) },
      { id: 'robust', title: 'Robust (algorithm S)', look: 1, points: stated.flatMap(({ width, r }) => (r.robustSd === null ? [] : [{ x: width * 1e3, y: 100 * r.robustSd, low: null, high: null }])) },
    ].filter((s) => s.points.length > 0);
  }, [widths]);
  return (
    <Section title={`Usable pulse widths, ${where}`} wide>
      <dl className="headline">
        <div>
          <dt>Smallest usable width</dt>
          <dd>{lowest.kind === 'width' ? <>{plain(lowest.width * 1e3)} <span>ms</span></> : '–'}</dd>
        </div>
        <div>
          <dt>Proved from</dt>
          <dd>{lowest.kind === 'width' && lowest.proved !== null ? <>{plain(lowest.proved * 1e3)} <span>ms</span></> : '–'}</dd>
        </div>
        <div>
          <dt>Limit of the plan</dt>
          <dd>{plain(limit)} <span>%</span></dd>
        </div>
      </dl>
      <p>{lowestWidthText(lowest, limit)} Over all injectors and voltages.</p>
      {series.length > 0 && (
        <XyChart label={`repeatability against pulse width at ${where}`} xTitle="Pulse width, ms" yTitle="Standard deviation, %" series={series} zero limit={{ title: `Limit ${plain(limit)} %`, low: 0, high: limit }} />
      )}
      <FigureTable
        caption={`Repeatability over pulse width at ${where}, relative to the mass: standard deviation s_r with its 95 % interval, and the difference of two single results that one case in twenty exceeds`}
        columns={['Pulse width, ms', 's_r, %', '95 % interval, %', 'Limit r = 2.77 s_r, %', 'Robust s_r, %', 'Degrees of freedom', 'Within the limit']}
        words={[5]}
        rows={widths.map(({ width, repeatability: r }) => ({
          key: String(width),
          head: plain(width * 1e3),
          cells:
            r.kind === 'repeatability'
              ? [
                  percent(r.sd), `${percent(r.interval.low)} to ${percent(r.interval.high)}`, percent(r.limit), r.robustSd === null ? '–' : percent(r.robustSd), r.dof,
                  <Status key="in" tone={100 * r.interval.high <= limit ? 'good' : 100 * r.sd <= limit ? 'off' : 'note'}>
                    {100 * r.interval.high <= limit ? 'yes, proved' : 100 * r.sd <= limit ? 'yes, not proved' : 'no'}
                  </Status>,
                ]
              : [<Missing key="sd" why={r.text} />, '', '', '', '', r.text],
        }))}
      />
    </Section>
  );
}
