/** The targets of a run: a row for each injector, a column for each voltage, each cell with how far it is. It has its places from the beginning (WIN-23). */
import { SerialLink } from '../../components/serial-link.tsx';
import { memo, useState } from 'react';
import type { RunState } from '../../../app/journal/state.ts';
import { targetPlace } from '../../../app/plan/wanted.ts';
import type { TargetChange } from '../../../app/plan/wanted.ts';
import { handling } from '../../../app/run/machine.ts';
import { weighsAlike } from '../../../app/schedule/cells.ts';
import type { CellProgress } from '../../../app/schedule/progress.ts';
import { Button } from '../../components/button.tsx';
import { shownText } from '../../components/shown-text.ts';
import type { LastDecision } from './log.ts';
import { amountText, cellSentences, cellText, decisionText, inTheWay, standingOf, standings, tableText } from './target-words.ts';
import type { RunCommands } from './use-commands.ts';
import type { TargetsView } from './use-targets.ts';
import { quantityText } from '../../settings/quantities.ts';
import { numberIn } from '../../settings/read-number.ts';
import { useTyped } from '../../typed/typed.ts';
import { decimals } from '../../components/decimals.ts';

interface TargetsPartProps {
  readonly targets: TargetsView;
  readonly state: RunState;
  readonly commands: RunCommands;
  /** Shows the points of a cell. */
  readonly onGo: (cell: CellProgress) => void;
}

/** What was decided last, and why, on one line; all reasons when it is pointed at. */
export function LastDecisionLine({ decision }: { readonly decision: LastDecision | null }) {
  return (
    <p className="run-targets-why" title={decision === null ? undefined : shownText([...new Set(decision.reasons)].join('\n'))}>
      <strong>Last decision: </strong>
      {decision === null ? 'none yet.' : shownText(decisionText(decision))}
    </p>
  );
}

export const TargetsPart = memo(function TargetsPart({ targets: { outlook, problem }, state, commands, onGo }: TargetsPartProps) {
  if (outlook === null) return <p className="run-targets-none quiet">{problem === '' ? 'How far each cell is, is being worked out.' : `How far each cell is could not be worked out. ${problem}`}</p>;
  const blocks = Map.groupBy(outlook.cells, ({ of, pressure, period }) => decimals(`${tableText(of)} at ${quantityText(pressure / 1e3, 'kPa')}, period ${Number((period * 1e3).toPrecision(6))} ms`));
  const { targets } = state.plan;
  const alike = targets !== undefined && weighsAlike(targets);
  return (
    <div className="run-targets">
      <div className="run-grid">
        {[...blocks].map(([where, cells]) => (
          <Block key={where} where={where} cells={cells} alike={alike} onGo={onGo} />
        ))}
      </div>
      <div className="run-targets-foot">
        <p className="run-targets-way" title={shownText(inTheWay(outlook.cells))}>{shownText(inTheWay(outlook.cells)) || (outlook.cells.some((c) => c.weighed) ? `The ${targets?.hours ?? 0} h of the plan are spent where the worst cell gains most.` : 'Every target can be reached with the instruments as they are, as far as is known.')}</p>
        <ChangeTarget state={state} commands={commands} />
      </div>
    </div>
  );
});

function Block({ where, cells, alike, onGo }: { readonly where: string; readonly cells: readonly CellProgress[]; readonly alike: boolean; readonly onGo: (cell: CellProgress) => void }) {
  const voltages = [...new Set(cells.map((c) => c.voltage))];
  const rows = [...Map.groupBy(cells, (c) => c.serialNumber)];
  return (
    <table className="plain run-targets-table">
      <caption>{where}</caption>
      <thead>
        <tr>
          <th scope="col">Injector</th>
          {voltages.map((voltage) => (
            <th key={voltage} scope="col">
              {voltage} V {!alike && <span className="quiet">{amountText(cells[0]?.of ?? 'line', cells.find((c) => c.voltage === voltage)?.wanted ?? 0)} wanted</span>}
            </th>
          ))}
        </tr>
      </thead>
      <tbody>
        {rows.map(([serial, own]) => (
          <tr key={serial}>
            <th scope="row">
              <SerialLink of={serial} />
            </th>
            {voltages.map((voltage) => {
              const cell = own.find((c) => c.voltage === voltage);
              return <td key={voltage}>{cell !== undefined && <Cell cell={cell} onGo={onGo} />}</td>;
            })}
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function Cell({ cell, onGo }: { readonly cell: CellProgress; readonly onGo: (cell: CellProgress) => void }) {
  const part = cell.expanded === null ? 0 : Math.min(1, (cell.weighed ? (cell.least ?? 0) : cell.wanted) / cell.expanded);
  const text = shownText(cellSentences(cell));
  return (
    <button type="button" className={`run-target run-target-${standingOf(cell)}`} title={text} aria-label={text} onClick={() => onGo(cell)}>
      <span className="run-target-fill" style={{ width: `${100 * part}%` }} aria-hidden="true" />
      <span className="run-target-text">{cellText(cell)}</span>
    </button>
  );
}

/** Where a target can be changed: at every voltage and at each, of what the plan wants. */
function changeablePlaces(targets: RunState['plan']['targets'], { voltageV }: RunState['plan']['axes']): readonly Pick<TargetChange, 'voltageV' | 'ofMap'>[] {
  const map = targets?.map;
  const ofMap = map === undefined ? [] : [null, ...map.voltageV].map((v) => ({ voltageV: v, ofMap: true as const }));
  const wantsOwn = map === undefined || targets?.deadTimeUs !== undefined || (targets?.atVoltage.length ?? 0) > 0;
  return wantsOwn ? [...[null, ...voltageV].map((v) => ({ voltageV: v })), ...ofMap] : ofMap;
}

/** Raises or lowers what is wanted while the run goes on (WIN-27). It has its place at all times. */
function ChangeTarget({ state, commands }: { readonly state: RunState; readonly commands: RunCommands }) {
  const { targets, axes } = state.plan;
  const places = changeablePlaces(targets, axes);
  const [place, setPlace] = useState(0);
  const where = places[place] ?? places[0];
  const [wanted, setWanted] = useTyped(`run/target/${commands.id}`, '', { title: 'Another target, not asked for yet', work: true });
  const deadTimeUs = numberIn(wanted);
  const isNumber = deadTimeUs > 0 && deadTimeUs <= 1000;
  const ended = handling[state.mode]['change-target'];
  const against = ended.kind === 'refused' ? ended.why : commands.against;
  const change = (): void => {
    if (!isNumber) {
      commands.refuse('points', 'Change the target', 'Say what is wanted in microseconds, more than 0 and at most 1000.');
      return;
    }
    if (where === undefined) return;
    const { voltageV, ofMap } = where;
    void commands.send('points', `${wanted.trim()}\u00a0µs ${targetPlace(where)}`, [{ kind: 'change-target', voltageV, deadTimeUs, ...(ofMap === undefined ? {} : { ofMap }) }]).then((accepted) => {
      if (accepted) setWanted('');
    });
  };
  return (
    <form
      className="run-targets-change"
      aria-label="Change a target"
      onSubmit={(event) => {
        event.preventDefault();
        if (against === '') change();
      }}
    >
      <select aria-label="Voltage of the target" value={place} onChange={(event) => setPlace(Number(event.target.value))}>
        {places.map(({ voltageV, ofMap }, i) => (
          <option key={`${ofMap ?? false} ${voltageV ?? ''}`} value={i}>
            {voltageV === null ? 'every voltage' : `${voltageV} V`}
            {ofMap === true ? ' of the map' : ''}
          </option>
        ))}
      </select>
      <input aria-label="U95 of the dead time that is wanted, µs" inputMode="decimal" size={5} value={wanted} onChange={(event) => setWanted(event.target.value)} />
      <span>µs</span>
      <Button against={against} showAgainst={false} onPress={change}>
        Change the target
      </Button>
    </form>
  );
}

export function TargetsLegend() {
  return (
    <ul className="run-legend" aria-label="What the signs of targets mean">
      {standings.map(({ standing, glyph, word, meaning }) => (
        <li key={standing} title={meaning}>
          <span className={`run-key run-target run-target-${standing}`} aria-hidden="true">
            {glyph}
          </span>{' '}
          {word}
        </li>
      ))}
    </ul>
  );
}
