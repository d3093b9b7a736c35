import { shownText } from '../../components/shown-text.ts';
import type { PlanSheet } from '../../../app/contract/library-requests.ts';
import type { PreflightLine } from '../../../app/plan/preflight-line.ts';
import { preflightTones, sheetLinesOf } from '../../components/preflight.ts';
import { Status } from '../../components/status.tsx';
import { plural } from '../../components/plural.ts';
import { withFieldNames } from './fields.ts';

/** What stands against the start, then what is to be looked at; folded what waits for a bench and what passed. WIN-205 */
export function SheetPart({ sheet }: { readonly sheet: PlanSheet }) {
  const { refused, warned, passed } = sheetLinesOf(sheet);
  return (
    <>
      {refused.length + warned.length > 0 && <SheetTable lines={[...refused, ...warned]} />}
      <AwaitingBench sheet={sheet} />
      <Folded lines={passed}>
        <Status tone="good">{plural(passed.length, 'line')} of the pre-flight sheet passed</Status>
      </Folded>
    </>
  );
}

/** Everything that only a bench can tell, in one line until somebody opens it. */
export function AwaitingBench({ sheet }: { readonly sheet: Pick<PlanSheet, 'lines'> }) {
  const { awaiting } = sheetLinesOf(sheet);
  return (
    <Folded lines={awaiting}>
      <Status tone="off">{plural(awaiting.length, 'line')} will be looked at when a bench is connected</Status>
    </Folded>
  );
}

export function Folded({ lines, open, children }: { readonly lines: readonly PreflightLine[]; readonly open?: boolean; readonly children: React.ReactNode }) {
  if (lines.length === 0) return null;
  return (
    <details open={open} className="sheet-fold">
      <summary>{children}</summary>
      <SheetTable lines={lines} />
    </details>
  );
}

export function SheetTable({ lines }: { readonly lines: readonly PreflightLine[] }) {
  return (
    <table className="plain sheet-lines">
      <thead>
        <tr>
          <th scope="col">Result</th>
          <th scope="col">What was found</th>
        </tr>
      </thead>
      <tbody>
        {lines.map((line) => (
          <tr key={line.rule}>
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
