import type { Sheet } from '../../../app/contract/contract.ts';
import { Status } from '../../components/status.tsx';
import type { Tone } from '../../components/status.tsx';

const tones: Readonly<Record<Sheet['lines'][number]['result'], Tone>> = { pass: 'good', warn: 'note', refuse: 'bad' };
const order: Readonly<Record<Sheet['lines'][number]['result'], number>> = { refuse: 0, warn: 1, pass: 2 };

export function sheetCounts(sheet: Sheet): Readonly<Record<Sheet['lines'][number]['result'], number>> {
  const counts = { pass: 0, warn: 0, refuse: 0 };
  for (const { result } of sheet.lines) counts[result] += 1;
  return counts;
}

/** Every rule with what was found; what stands against the start comes first. */
export function SheetPart({ sheet }: { readonly sheet: Sheet }) {
  const lines = sheet.lines.toSorted((a, b) => order[a.result] - order[b.result]);
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
        {lines.map((line) => (
          <tr key={line.rule}>
            <td>
              <Status tone={tones[line.result]}>{line.result}</Status>
            </td>
            <td className="plan-rule">{line.rule}</td>
            <td>{line.text}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
