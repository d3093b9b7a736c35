import { quantityFigure, quantityText, unitShown } from '../../settings/quantities.ts';
import { useMemo, useRef, useState, useSyncExternalStore } from 'react';
import type { KeyboardEvent, PointerEvent } from 'react';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { chartPage, mostShown, pagesOf, stretches } from './plan-chart.ts';
import type { ShownPoint, Stretch } from './plan-chart.ts';
import { decimals } from '../../components/decimals.ts';

const left = 48;
const right = 12;
const widthHeight = 190;
const laneHeight = 40;
const gap = 24;

/** A still picture of the sequence, at the size at which it stands: text in it is as large as text beside it. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function PointsChart({ plan, points }: { readonly plan: Plan; readonly points: readonly Point[] }) {
  const [wantedPage, setPage] = useState(0);
  const pages = pagesOf(points.length);
  const page = Math.min(wantedPage, pages - 1);
  const columns = useMemo(columnsNow, []);
  const data = useMemo(() => chartPage(plan, points, page), [plan, points, page]);
  const [at, setAt] = useState(0);
  const box = useRef<HTMLDivElement>(null);
  const width = useWidth(box);
  const shown = data.points;
  const current = shown[Math.min(at, shown.length - 1)];
  if (current === undefined) return null;

  const first = shown[0]?.number ?? 1;
  const last = shown.at(-1)?.number ?? first;
  const x = (number: number) => left + ((number - first + 0.5) / Math.max(1, last - first + 1)) * Math.max(1, width - left - right);
  const y = (widthMs: number) => gap + widthHeight - (widthMs / data.topWidthMs) * widthHeight;
  const lanes: readonly { readonly label: string; readonly runs: readonly Stretch[] }[] = [
    { label: 'Supply, V', runs: data.voltage },
    ...(plan.axes.pressureKpa.length > 1 || data.pressure.length > 1 ? [{ label: `Rail, ${unitShown('kPa')}`, runs: data.pressure }] : []),
    { label: 'Channel', runs: stretches(shown, ({ channel }) => channel) },
  ];
  const height = gap + widthHeight + lanes.length * (laneHeight + gap) + 22;
  const go = (index: number): void => {
    if (index < 0 && page > 0) {
      setPage(page - 1);
      setAt(mostShown - 1);
    } else if (index >= shown.length && page < pages - 1) {
      setPage(page + 1);
      setAt(0);
    } else setAt(Math.min(Math.max(index, 0), shown.length - 1));
  };
  const onKeyDown = (event: KeyboardEvent): void => {
    const index = Math.min(at, shown.length - 1);
    const to: Readonly<Record<string, number>> = {
      ArrowLeft: index - 1, ArrowDown: index - 1, ArrowRight: index + 1, ArrowUp: index + 1, PageUp: index - 10, PageDown: index + 10, Home: 0, End: shown.length - 1,
    };
    const next = to[event.key];
    if (next === undefined) return;
    event.preventDefault();
    go(next);
  };
  const onPointer = (event: PointerEvent<HTMLDivElement>): void => {
    const place = event.clientX - event.currentTarget.getBoundingClientRect().left;
    const index = Math.floor(((place - left) / Math.max(1, width - left - right)) * shown.length);
    setAt(Math.min(Math.max(index, 0), shown.length - 1));
  };
  const roles = (['measure', 'reference', 'static', 'pair', 'invariance', 'blind', 'zero', 'look'] as const).flatMap((role) => {
    const count = shown.filter((point) => point.role === role).length;
    return count === 0 ? [] : [`${roleWords[role].shape} ${roleWords[role].text} (${count})`];
  });

  return (
    <>
      <div className="plan-chart-head">
        <p className="small">
          {roles.join(', ')}
        </p>
        {pages > 1 && (
          <div className="button-row">
            <Button onPress={() => setPage(page - 1)} against={page === 0 ? 'This is the beginning.' : ''}>
              Earlier points
            </Button>
            <span className="plan-chart-page">
              Points {first} to {last} of {points.length}
            </span>
            <Button onPress={() => setPage(page + 1)} against={page === pages - 1 ? 'This is the end.' : ''}>
              Later points
            </Button>
          </div>
        )}
      </div>
      <div
        ref={box}
        className="plan-chart"
        role="slider"
        tabIndex={0}
        aria-label="Points in the order in which they are measured"
        aria-valuemin={1}
        aria-valuemax={points.length}
        aria-valuenow={current.number}
        aria-valuetext={pointText(current, points.length)}
        onKeyDown={onKeyDown}
        onPointerMove={onPointer}
        onPointerDown={onPointer}
      >
        {width > 0 && (
          <svg width={width} height={height} aria-hidden="true" focusable="false">
            {data.widthTicks.map((tick) => (
              <g key={tick}>
                <line x1={left} x2={width - right} y1={y(tick)} y2={y(tick)} className="plan-chart-grid" />
                <text x={left - 6} y={y(tick)} className="plan-chart-text" textAnchor="end" dominantBaseline="middle">
                  {tick}
                </text>
              </g>
            ))}
            <text x={left} y={gap - 8} className="plan-chart-text">
              Width, ms
            </text>
            <line x1={x(current.number)} x2={x(current.number)} y1={gap} y2={height - 22} className="plan-chart-cursor" />
            {shown.map((point) => (
              <Mark key={point.number} point={point} x={x(point.number)} y={y(point.widthMs)} big={point === current} />
            ))}
            {lanes.map((lane, index) => (
              <Lane key={lane.label} label={lane.label} runs={lane.runs} top={gap + widthHeight + gap + index * (laneHeight + gap)} x={x} width={width} />
            ))}
            <text x={left} y={height - 5} className="plan-chart-text">
              {first}
            </text>
            <text x={width - right} y={height - 5} className="plan-chart-text" textAnchor="end">
              number in the sequence, to {last}
            </text>
          </svg>
        )}
      </div>
      <p className="plan-chart-reading">{pointText(current, points.length)}</p>
      <details>
        <summary>The same points as a table</summary>
        <DataTable label={`Points ${first} to ${last}`} columns={columns} rows={shown} rowKey={keyOf} empty="No points." maxHeight="20rem" />
      </details>
    </>
  );
}

const roleWords: Readonly<Record<ShownPoint['role'], { readonly shape: string; readonly text: string }>> = {
  measure: { shape: '●', text: 'measured' },
  reference: { shape: '◇', text: 'reference' },
  static: { shape: '□', text: 'static flow' },
  pair: { shape: '△', text: 'period pair' },
  invariance: { shape: '×', text: 'invariance set' },
  blind: { shape: '○', text: 'blind window' },
  zero: { shape: '+', text: 'zero flow' },
  look: { shape: '▽', text: 'first look' },
};

const keyOf = (point: ShownPoint): string => String(point.number);

const columnsNow = (): readonly Column<ShownPoint>[] => [
  { key: 'number', title: 'No.', cell: (p) => p.number, sortBy: (p) => p.number, numeric: true, width: '4rem' },
  { key: 'role', title: 'Role', cell: (p) => `${roleWords[p.role].shape} ${roleWords[p.role].text}`, sortBy: (p) => p.role, width: '7rem' },
  { key: 'serial', title: 'Injector', cell: (p) => p.serialNumber, sortBy: (p) => p.serialNumber },
  { key: 'channel', title: 'Channel', cell: (p) => p.channel, sortBy: (p) => p.channel, numeric: true, width: '5rem' },
  { key: 'voltage', title: 'Supply, V', cell: (p) => p.voltageV, sortBy: (p) => p.voltageV, numeric: true, width: '5.5rem' },
  { key: 'pressure', title: `Rail, ${unitShown('kPa')}`, cell: (p) => decimals(quantityFigure(p.pressureKpa, 'kPa')), sortBy: (p) => p.pressureKpa, numeric: true, width: '5.5rem' },
  { key: 'width', title: 'Width, ms', cell: (p) => p.widthMs, sortBy: (p) => p.widthMs, numeric: true, width: '5.5rem' },
  { key: 'period', title: 'Period, ms', cell: (p) => p.periodMs, sortBy: (p) => p.periodMs, numeric: true, width: '5.5rem' },
  { key: 'replicate', title: 'Replicate', cell: (p) => p.replicate, sortBy: (p) => p.replicate, numeric: true, width: '5.5rem' },
];

function pointText(p: ShownPoint, total: number): string {
  if (p.role === 'zero') return `Point ${p.number} of ${total}: ${roleWords.zero.text}, all injectors shut, ${p.voltageV} V, ${quantityText(p.pressureKpa, 'kPa')}, no. ${p.replicate}.`;
  return `Point ${p.number} of ${total}: ${p.role === 'measure' ? '' : `${roleWords[p.role].text}, `}${p.serialNumber} on channel ${p.channel}, ${p.voltageV} V, ${quantityText(p.pressureKpa, 'kPa')}, ${p.widthMs} ms every ${p.periodMs} ms, ${p.role === 'reference' ? 'no.' : 'replicate'} ${p.replicate}.`;
}

function Mark({ point, x, y, big }: { readonly point: ShownPoint; readonly x: number; readonly y: number; readonly big: boolean }) {
  const r = big ? 8 : 5;
  switch (point.role) {
    case 'reference':
      return <path d={`M${x} ${y - r - 1}L${x + r + 1} ${y}L${x} ${y + r + 1}L${x - r - 1} ${y}Z`} className="plan-chart-hollow" />;
    case 'static':
      return <rect x={x - r + 1} y={y - r + 1} width={2 * r - 2} height={2 * r - 2} className="plan-chart-hollow" />;
    case 'pair':
      return <path d={`M${x} ${y - r}L${x + r} ${y + r}L${x - r} ${y + r}Z`} className="plan-chart-hollow" />;
    case 'invariance':
      return <path d={`M${x - r} ${y - r}L${x + r} ${y + r}M${x - r} ${y + r}L${x + r} ${y - r}`} className="plan-chart-hollow" />;
    case 'blind':
      return <circle cx={x} cy={y} r={r} className="plan-chart-hollow" />;
    case 'look':
      return <path d={`M${x} ${y + r}L${x + r} ${y - r}L${x - r} ${y - r}Z`} className="plan-chart-hollow" />;
    case 'zero':
      return <path d={`M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}`} className="plan-chart-hollow" />;
    case 'measure':
      return <circle cx={x} cy={y} r={r / 2} className="plan-chart-point" />;
  }
}

/** A value that holds for stretches, as steps between its least and its greatest. */
function Lane({ label, runs, top, x, width }: { readonly label: string; readonly runs: readonly Stretch[]; readonly top: number; readonly x: (number: number) => number; readonly width: number }) {
  const values = runs.map(({ value }) => value);
  const low = Math.min(...values);
  const high = Math.max(...values);
  const y = (value: number) => (high === low ? top + laneHeight / 2 : top + laneHeight - ((value - low) / (high - low)) * laneHeight);
  const path = runs.map((run, index) => `${index === 0 ? 'M' : 'L'}${x(run.from - 0.5)} ${y(run.value)}H${x(run.to + 0.5)}`).join('');
  return (
    <g>
      <text x={left} y={top - 6} className="plan-chart-text">
        {label}
      </text>
      {[...new Set([low, high])].map((value) => (
        <g key={value}>
          <line x1={left} x2={width - right} y1={y(value)} y2={y(value)} className="plan-chart-grid" />
          <text x={left - 6} y={y(value)} className="plan-chart-text" textAnchor="end" dominantBaseline="middle">
            {value}
          </text>
        </g>
      ))}
      <path d={path} className="plan-chart-lane" />
    </g>
  );
}

/** Width of the element in pixels; 0 before it stands. */
function useWidth(box: React.RefObject<HTMLElement | null>): number {
  const [listen] = useState(() => (changed: () => void) => {
    const element = box.current;
    if (element === null) return () => undefined;
    const observer = new ResizeObserver(changed);
    observer.observe(element);
    return () => observer.disconnect();
  });
  return useSyncExternalStore(listen, () => box.current?.clientWidth ?? 0);
}
