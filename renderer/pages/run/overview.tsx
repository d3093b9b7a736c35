import { SerialLink } from '../../components/serial-link.tsx';
import type { RunState } from '../../../app/journal/state.ts';
import { tallyOf } from './cells.ts';
import type { Sheet } from './sheets.ts';
import type { GridPlace } from './walk.ts';

interface OverviewProps {
  readonly sheets: readonly Sheet[];
  readonly state: RunState;
  readonly shown: Sheet;
  readonly onGo: (sheet: Sheet, place: GridPlace) => void;
}

/** All sheets at once: for each and each injector how many points are accepted, failed, running; each count leads there. */
export function Overview({ sheets, state, shown, onGo }: OverviewProps) {
  const injectors = state.plan.injectors.map(({ serialNumber }) => serialNumber);
  return (
    <div className="run-grid run-overview">
      <table className="plain">
        <caption className="unseen">Accepted points of each sheet and injector; a cross stands before those that failed</caption>
        <thead>
          <tr>
            <th scope="col">Sheet</th>
            <th scope="col">All</th>
            {injectors.map((serial) => (
              <th key={serial} scope="col">
                <SerialLink of={serial} />
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {sheets.map((sheet) => (
            <tr key={sheet.key}>
              <th scope="row">{sheet.label}</th>
              <td>
                <Count state={state} points={sheet.points} label={sheet.label} current={sheet === shown} onGo={() => onGo(sheet, { row: 0, column: 0 })} />
              </td>
              {injectors.map((serial) => {
                const row = sheet.rows.findIndex((one) => one.group === serial);
                const points = sheet.rows.filter((one) => one.group === serial).flatMap((one) => one.points.filter((point) => point !== null));
                return <td key={serial}>{row >= 0 && <Count state={state} points={points} label={`${serial}, ${sheet.label}`} current={false} onGo={() => onGo(sheet, { row, column: 0 })} />}</td>;
              })}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Count({ state, points, label, current, onGo }: { readonly state: RunState; readonly points: readonly number[]; readonly label: string; readonly current: boolean; readonly onGo: () => void }) {
  const { accepted, failed, running } = tallyOf(state, points);
  return (
    <button type="button" className={failed > 0 ? 'run-count run-count-failed' : 'run-count'} aria-current={current ? 'true' : undefined} onClick={onGo}>
      <span className="unseen">{label}: </span>
      {running > 0 && <span aria-hidden="true">▶ </span>}
      {accepted} of {points.length}
      <span className="unseen"> accepted</span>
      {failed > 0 && (
        <strong>
          {' '}
          × {failed}
          <span className="unseen"> failed</span>
        </strong>
      )}
    </button>
  );
}
