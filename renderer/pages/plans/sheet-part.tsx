import { shownText } from '../../components/shown-text.ts';
import type { PlanSheet } from '../../../app/contract/library-requests.ts';
import { gravestFirst, preflightTones } from '../../components/preflight.ts';
import { Status } from '../../components/status.tsx';
import { withFieldNames } from './fields.ts';

export function sheetCounts(sheet: PlanSheet): Readonly<Record<PlanSheet['lines'][number]['result'], number>> {
  const counts = { pass: 0, warn: 0, refuse: 0 };
  for (const { result } of sheet.lines) counts[result] += 1;
  return counts;
}

/** Every rule with what was found; what stands against the start comes first. */
export function SheetPart({ sheet }: { readonly sheet: PlanSheet }) {
  return (
    <table className="plain plan-sheet">
      <caption className="unseen">Pre-flight sheet, what stands against the start first</caption>
      <thead>
        <tr>
          <th scope="col">Result</th>
          <th scope="col">Rule</th>
          <th scope="col">What was found</th>
        </tr>
      </thead>
      <tbody>
        {gravestFirst(sheet.lines).map((line) => (
          <tr key={line.rule}>
            <td>
              <Status tone={preflightTones[line.result]}>{line.result}</Status>
            </td>
            <td className="plan-rule">{line.rule}</td>
            <td>{shownText(withFieldNames(line.text))}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
