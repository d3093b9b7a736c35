import { shownText } from '../../components/shown-text.ts';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { PreflightLine } from '../../../app/plan/preflight-line.ts';
import { gravestFirst, preflightTones } from '../../components/preflight.ts';
import { Notice, Status } from '../../components/status.tsx';
import { roughDuration } from '../../components/durations.ts';
import { withFieldNames } from '../plans/fields.ts';
import { inThrees } from '../../components/figures.ts';
import { plural } from './words.ts';

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
  const { totals, lines } = sheet;
  const remarkable = gravestFirst(lines).filter((line) => line.result !== 'pass');
  return (
    <div className="run-preflight">
      <dl className="run-totals">
        <Total name="Points" value={String(totals.points)} />
        <Total name="About, without repeats" value={roughDuration(totals.durationS)} />
        <Total name="Pulses" value={inThrees(totals.pulses)} />
        <Total name="Fluid" value={`about ${(totals.fluidMl / 1e3).toPrecision(2)} L`} />
      </dl>
      {!bench && <p className="small quiet">Worked out without a bench: what depends on one is looked at when one is connected.</p>}
      {remarkable.length > 0 && <Lines lines={remarkable} />}
    </div>
  );
}

export function PreflightPassed({ check }: { readonly check: AnswerTo<'plan.check'> }) {
  const passed = check.sheet?.lines.filter((line) => line.result === 'pass') ?? [];
  if (passed.length === 0) return null;
  return (
    <details open className="run-preflight">
      <summary>
        <Status tone="good">{plural(passed.length, 'line')} of the pre-flight sheet passed</Status>
      </summary>
      <Lines lines={passed} />
    </details>
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

function Lines({ lines }: { readonly lines: readonly PreflightLine[] }) {
  return (
    <table className="plain run-lines">
      <thead>
        <tr>
          <th scope="col">Rule</th>
          <th scope="col">Result</th>
          <th scope="col">What was found</th>
        </tr>
      </thead>
      <tbody>
        {lines.map((line) => (
          <tr key={line.rule}>
            <th scope="row">{line.rule}</th>
            <td>
              <Status tone={preflightTones[line.result]}>{line.result}</Status>
            </td>
            <td>{shownText(withFieldNames(line.text))}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
