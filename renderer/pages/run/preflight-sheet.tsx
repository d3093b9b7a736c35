import type { AnswerTo } from '../../../app/contract/contract.ts';
import { Notice, Status } from '../../components/status.tsx';
import { roughDuration } from '../../components/durations.ts';
import { sheetLinesOf } from '../../components/preflight.ts';
import { AwaitingBench, Folded, SheetTable } from '../plans/sheet-part.tsx';
import { inThrees } from '../../components/figures.ts';
import { plural } from '../../components/plural.ts';

/** What plan and bench say to each other before a start. What stands against it; what passed is in `PreflightPassed`. */
export function PreflightRemarks({ check, bench }: { readonly check: AnswerTo<'plan.check'>; readonly bench: boolean }) {
  if (check.problems.length > 0) {
    return (
      <Notice tone="bad">
        The plan cannot be run as it is. {check.problems.map(({ path, text }) => (path === '' ? text : `${path}: ${text}`)).join(' ')}
      </Notice>
    );
  }
  const { sheet } = check;
  if (sheet === null) return <p>{plural(check.points, 'point')}. The pre-flight sheet is made when a bench is connected.</p>;
  const { totals } = sheet;
  const { refused, warned } = sheetLinesOf(sheet);
  const remarkable = [...refused, ...warned];
  return (
    <div className="run-preflight">
      <dl className="run-totals">
        <Total name="Points" value={String(totals.points)} />
        <Total name="About, without repeats" value={roughDuration(totals.durationS)} />
        <Total name="Pulses" value={inThrees(totals.pulses)} />
        <Total name="Fluid" value={`about ${(totals.fluidMl / 1e3).toPrecision(2)} L`} />
      </dl>
      {!bench && <p className="small quiet">Worked out without a bench: what depends on one is looked at when one is connected.</p>}
      {remarkable.length > 0 && <SheetTable lines={remarkable} />}
      <AwaitingBench sheet={sheet} />
    </div>
  );
}

export function PreflightPassed({ check }: { readonly check: AnswerTo<'plan.check'> }) {
  const passed = check.sheet === null ? [] : sheetLinesOf(check.sheet).passed;
  return (
    <Folded open lines={passed}>
      <Status tone="good">{plural(passed.length, 'line')} of the pre-flight sheet passed</Status>
    </Folded>
  );
}

function Total({ name, value }: { readonly name: string; readonly value: string }) {
  return (
    <div>
      <dt>{name}</dt>
      <dd>{value}</dd>
    </div>
  );
}
