import { cellShown } from '../../components/decimals.ts';
import type { RecordChange } from './fields.ts';

/** Field by field, what it was and what it is. */
export function ChangeList({ changes }: { readonly changes: readonly RecordChange[] }) {
  return (
    <table className="plain record-changes">
      <thead>
        <tr>
          <th>Field</th>
          <th>Before</th>
          <th>After</th>
        </tr>
      </thead>
      <tbody>
        {changes.map(({ label, before, after }) => (
          <tr key={label}>
            <th scope="row">{label}</th>
            <td>{before === '' ? <span className="quiet">not stated</span> : cellShown(before)}</td>
            <td>{after === '' ? <span className="quiet">not stated</span> : cellShown(after)}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
