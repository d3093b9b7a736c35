import { useEffect, useMemo, useRef, useState } from 'react';
import type { KeyboardEvent } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { Alarm } from '../../../app/results/alarms.ts';
import { alarmWords } from '../../../app/results/alarms.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { Button } from '../../components/button.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { PictureButtons } from '../../components/picture-buttons.tsx';
import { ask } from '../../host/host.ts';
import { decimals } from '../../components/decimals.ts';
import { decimalsShown, shownIn, unitShown } from '../../settings/quantities.ts';
import { scaleOver } from '../results/scale.ts';
import { timeMarks, spanInside } from './time-scale.ts';
import { instantText } from './words.ts';

export interface TimeSpan {
  readonly from: number;
  readonly to: number;
}

export interface AttemptSpan extends TimeSpan {
  readonly point: number;
  readonly attempt: number;
  readonly verdict: 'accepted' | 'rejected' | 'cut' | null;
}

interface StripsPartProps {
  readonly id: string;
  /** What is shown; null: the whole run. */
  readonly span: TimeSpan | null;
  readonly onSpan: (span: TimeSpan | null) => void;
  /** The instant that is looked at; null: none. */
  readonly cursor: number | null;
  readonly onCursor: (at: number | null) => void;
  readonly attempts: readonly AttemptSpan[];
  readonly alarms: readonly Alarm[];
  /** Changes when there is more to read. */
  readonly revision: number;
  readonly name: string;
}

const strips = [
  { key: 'pressure', title: 'Pressure', unit: 'kPa', leastSpan: 4, digits: 2 },
  { key: 'temperature', title: 'Rail temperature', unit: '°C', leastSpan: 1, digits: 2 },
  { key: 'supply', title: 'Supply', unit: 'V', leastSpan: 1, digits: 3 },
  { key: 'flow', title: 'Flow at the meter', unit: 'mL/min', leastSpan: 10, digits: 1 },
] as const;

type Signals = AnswerTo<'run.signals'>;
type Part = Signals['parts'][number];

const left = 64;
const stripHeight = 94;
const titleHeight = 18;
const markHeight = 22;
const verdictMarks = { accepted: '✓', rejected: '✕', cut: '–' } as const;

/** Stored readings of a run, one cursor over all strips, with its points and alarms. WIN-46 */
// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
export function StripsPart({ id, span, onSpan, cursor, onCursor, attempts, alarms, revision, name }: StripsPartProps) {
  const [signals, setSignals] = useState<Signals | null>(null);
  const [problem, setProblem] = useState('');
  const frame = useRef<HTMLDivElement>(null);
  const [width, setWidth] = useState(1000);
  const [drag, setDrag] = useState<{ readonly from: number; readonly to: number } | null>(null);
  useEffect(() => {
    const element = frame.current;
    if (element === null) return undefined;
    const watch = new ResizeObserver(() => setWidth(Math.max(320, element.clientWidth)));
    watch.observe(element);
    return () => watch.disconnect();
  }, []);
  const parts = Math.min(2000, Math.max(200, width - left));
  useEffect(() => {
    let wanted = true;
    void ask('run.signals', { id, parts, ...(span === null ? {} : span) }).then((reply) => {
      if (!wanted) return;
      if (reply.ok) setSignals(reply.value);
      setProblem(reply.ok ? '' : reply.failure.text);
    });
    return () => {
      wanted = false;
    };
  }, [id, span, parts, revision]);
  const whole = signals?.whole ?? null;
  const shown: TimeSpan = span ?? whole ?? { from: 0, to: 1 };
  const x = (at: number): number => left + ((at - shown.from) / Math.max(1, shown.to - shown.from)) * (width - left - 8);
  const instantAt = (clientX: number): number => {
    const box = frame.current?.getBoundingClientRect();
    const share = box === undefined ? 0 : (clientX - box.left - left) / (width - left - 8);
    return shown.from + Math.min(1, Math.max(0, share)) * (shown.to - shown.from);
  };
  const zoom = (factor: number, about = cursor ?? (shown.from + shown.to) / 2): void => {
    if (whole === null) return;
    const next = spanInside(whole, about - (about - shown.from) * factor, about + (shown.to - about) * factor);
    onSpan(next.from <= whole.from && next.to >= whole.to ? null : next);
  };
  const pan = (share: number): void => {
    if (whole === null || span === null) return;
    const by = share * (shown.to - shown.from);
    onSpan(spanInside(whole, shown.from + by, shown.to + by));
  };
  const move = (by: number): void => {
    const next = Math.min(shown.to, Math.max(shown.from, (cursor ?? (shown.from + shown.to) / 2) + by));
    onCursor(next);
  };
  const onKeyDown = (event: KeyboardEvent): void => {
    const step = (shown.to - shown.from) / 200;
    const actions: Readonly<Record<string, () => void>> = {
      ArrowLeft: () => (event.shiftKey ? pan(-0.25) : move(-step)), ArrowRight: () => (event.shiftKey ? pan(0.25) : move(step)),
      PageUp: () => pan(-0.5), PageDown: () => pan(0.5), Home: () => onCursor(shown.from), End: () => onCursor(shown.to),
      '+': () => zoom(0.5), '-': () => zoom(2), '0': () => onSpan(null),
    };
    const action = event.altKey || event.ctrlKey || event.metaKey ? undefined : actions[event.key];
    if (action === undefined) return;
    event.preventDefault();
    action();
  };
  const inSight = useMemo(() => attempts.filter((a) => a.to >= shown.from && a.from <= shown.to), [attempts, shown.from, shown.to]);
  const marked = useMemo(() => alarms.filter((a) => a.at >= shown.from && a.at <= shown.to), [alarms, shown.from, shown.to]);
  const marks = useMemo(() => timeMarks(shown.from, shown.to, Math.max(3, Math.floor((width - left) / 110))), [shown.from, shown.to, width]);
  const height = markHeight + strips.length * stripHeight + 22;
  const at = cursor === null || cursor < shown.from || cursor > shown.to ? null : cursor;
  const reading = at === null || signals === null ? null : nearest(signals.parts, at, (shown.to - shown.from) / parts);
  const pointAt = at === null ? undefined : attempts.findLast((a) => a.from <= at && at <= a.to);
  if (problem !== '') return <Notice tone="bad">The readings of this run could not be read. {problem}</Notice>;
  return (
    <Section
      title="Readings"
      wide
      aside={
        <div className="button-row">
          <Button label="Zoom in" onPress={() => zoom(0.5)}>
            +
          </Button>
          <Button label="Zoom out" against={span === null ? 'The whole run is shown.' : ''} showAgainst={false} onPress={() => zoom(2)}>
            −
          </Button>
          <Button label="Earlier" against={span === null ? 'The whole run is shown.' : ''} showAgainst={false} onPress={() => pan(-0.5)}>
            ◂
          </Button>
          <Button label="Later" against={span === null ? 'The whole run is shown.' : ''} showAgainst={false} onPress={() => pan(0.5)}>
            ▸
          </Button>
          <Button against={span === null ? 'The whole run is shown.' : ''} showAgainst={false} onPress={() => onSpan(null)}>
            Whole run
          </Button>
          <PictureButtons of={frame} name={`${name} readings`} />
        </div>
      }
    >
      <div
        ref={frame}
        className="strips"
        role="slider"
        tabIndex={0}
        aria-label="Instant of the run. Arrows move the cursor, plus and minus zoom, Page Up and Page Down go on, 0 shows the whole run"
        aria-valuemin={Math.round(shown.from / 1000)}
        aria-valuemax={Math.round(shown.to / 1000)}
        aria-valuenow={Math.round((at ?? shown.from) / 1000)}
        aria-valuetext={at === null ? 'no instant is chosen' : `${instantText(at)}${reading === null ? '' : `, ${readingText(reading)}`}`}
        onKeyDown={onKeyDown}
        onPointerDown={(event) => {
          if (event.button !== 0 || whole === null) return;
          const from = instantAt(event.clientX);
          setDrag({ from, to: from });
          event.currentTarget.setPointerCapture(event.pointerId);
        }}
        onPointerMove={(event) => {
          if (drag !== null) setDrag({ ...drag, to: instantAt(event.clientX) });
        }}
        onPointerUp={(event) => {
          if (drag === null || whole === null) return;
          const to = instantAt(event.clientX);
          const [low, high] = [Math.min(drag.from, to), Math.max(drag.from, to)];
          // A drag of some width chooses a stretch, a click an instant.
          if (x(high) - x(low) > 8) onSpan(spanInside(whole, low, high));
          else onCursor(to);
          setDrag(null);
        }}
      >
        <svg width={width} height={height} aria-hidden="true" className="strips-drawing">
          {inSight.map((a) => {
            const [begin, end] = [Math.max(left, x(a.from)), Math.min(width - 8, x(a.to))];
            return (
              <g key={`${a.point}/${a.attempt}`}>
                <rect x={begin} y={0} width={Math.max(1, end - begin)} height={markHeight - 4} fill={a.verdict === 'accepted' ? 'var(--band)' : 'var(--note-ground)'} stroke="var(--edge)" />
                {end - begin > 26 && (
                  <text x={(begin + end) / 2} y={13} textAnchor="middle" fontSize={11} fill="var(--ink)">
                    {end - begin > 44 && a.verdict !== null ? `${shownPoint(a.point)} ${verdictMarks[a.verdict]}` : shownPoint(a.point)}
                  </text>
                )}
              </g>
            );
          })}
          <text x={4} y={13} fontSize={12} fill="var(--ink-quiet)">
            Points
          </text>
          {strips.map((strip, index) => (
            <Strip key={strip.key} strip={strip} top={markHeight + index * stripHeight} width={width} x={x} marks={marks} parts={signals?.parts ?? []} partMs={(shown.to - shown.from) / parts} />
          ))}
          {marks.map(({ at: mark, text }) => (
            <text key={mark} x={x(mark)} y={height - 6} textAnchor="middle" fontSize={11} fill="var(--ink-quiet)">
              {text}
            </text>
          ))}
          {marked.map((alarm) => (
            <g key={alarm.seq}>
              <line x1={x(alarm.at)} x2={x(alarm.at)} y1={markHeight} y2={height - 20} stroke="var(--note)" strokeWidth={1.5} strokeDasharray="3 3" />
              <text x={x(alarm.at) + 3} y={markHeight + 11} fontSize={11} fontWeight={700} fill="var(--note)">
                {alarmWords[alarm.kind].glyph}
              </text>
            </g>
          ))}
          {drag !== null && <rect x={Math.min(x(drag.from), x(drag.to))} y={0} width={Math.abs(x(drag.to) - x(drag.from))} height={height - 20} fill="var(--focus)" fillOpacity={0.2} />}
          {at !== null && <line x1={x(at)} x2={x(at)} y1={0} y2={height - 20} stroke="var(--focus)" strokeWidth={2} />}
        </svg>
      </div>
      <p className="strips-reading" role="status">
        {signals === null
          ? 'The readings are being read.'
          : whole === null
            ? 'No readings are stored with this run yet.'
            : at === null
              ? `${instantText(shown.from)} to ${instantText(shown.to)}. Press into the strips to read an instant, drag over a stretch to see it larger.`
              : `${instantText(at)}: ${reading === null ? 'nothing was read here' : readingText(reading)}${pointAt === undefined ? '' : `. Point ${shownPoint(pointAt.point)}, attempt ${pointAt.attempt}`}`}
      </p>
    </Section>
  );
}

function nearest(parts: readonly Part[], at: number, partMs: number): Part | null {
  let best: Part | null = null;
  for (const part of parts) if (best === null || Math.abs(part.at - at) < Math.abs(best.at - at)) best = part;
  return best !== null && Math.abs(best.at - at) <= Math.max(partMs, 1000) ? best : null;
}

const readingText = (part: Part): string =>
  strips.map(({ key, title, unit, digits }) => {
    const extent = part[key];
    if (extent === null) return `${title.toLowerCase()} –`;
    const [low, high] = extent.map((v) => shownIn(unit, v).toFixed(decimalsShown(unit, digits)));
    return decimals(`${title.toLowerCase()} ${low === high ? low : `${low} to ${high}`} ${unitShown(unit)}`);
  }).join(', ');

interface StripProps {
  readonly strip: (typeof strips)[number];
  readonly top: number;
  readonly width: number;
  readonly x: (at: number) => number;
  readonly marks: readonly { readonly at: number }[];
  readonly parts: readonly Part[];
  readonly partMs: number;
}

function Strip({ strip, top, width, x, marks, parts, partMs }: StripProps) {
  const shown = parts.map((part) => ({ at: part.at, extent: part[strip.key]?.map((value) => shownIn(strip.unit, value)) ?? null }));
  const values = shown.flatMap(({ extent }) => extent ?? []);
  const leastSpan = shownIn(strip.unit, strip.leastSpan, true);
  const [low, high] = values.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [Infinity, -Infinity]);
  const middle = (low + high) / 2;
  const scale = scaleOver(values.length === 0 ? [0, 1] : [Math.min(low, middle - leastSpan / 2), Math.max(high, middle + leastSpan / 2)], 3);
  // The title has its own line, so that it lies over no reading.
  const [above, inner] = [top + titleHeight, stripHeight - titleHeight - 8];
  const y = (value: number): number => above + (1 - (value - scale.from) / (scale.to - scale.from)) * inner;
  return (
    <g>
      {marks.map(({ at }) => (
        <line key={at} x1={x(at)} x2={x(at)} y1={above} y2={above + inner} stroke="var(--grid)" />
      ))}
      {scale.ticks.map((tick) => (
        <g key={tick}>
          <line x1={left} x2={width - 8} y1={y(tick)} y2={y(tick)} stroke="var(--grid)" />
          <text x={left - 6} y={y(tick) + 4} textAnchor="end" fontSize={11} fill="var(--ink-quiet)">
            {scale.label(tick)}
          </text>
        </g>
      ))}
      <path d={bandPath(shown, x, y, partMs)} fill="var(--line)" stroke="var(--line)" strokeWidth={1} strokeLinejoin="round" />
      <text x={left} y={top + 12} fontSize={12} fontWeight={600} fill="var(--ink)">
        {strip.title}, {unitShown(strip.unit)}
      </text>
    </g>
  );
}

/** From the least to the most of each part, joined where parts follow each other. */
function bandPath(parts: readonly { readonly at: number; readonly extent: readonly number[] | null }[], x: (at: number) => number, y: (value: number) => number, partMs: number): string {
  const paths: string[] = [];
  let stretch: { readonly at: number; readonly low: number; readonly high: number }[] = [];
  const close = (): void => {
    if (stretch.length > 0) paths.push(`M${[...stretch.map((p) => `${x(p.at).toFixed(1)},${y(p.high).toFixed(1)}`), ...stretch.toReversed().map((p) => `${x(p.at).toFixed(1)},${y(p.low).toFixed(1)}`)].join('L')}Z`);
    stretch = [];
  };
  for (const { at, extent } of parts) {
    if (extent === null) continue;
    const [low = 0, high = low] = extent;
    if (at - (stretch.at(-1)?.at ?? at) > Math.max(3 * partMs, 2500)) close();
    stretch.push({ at, low, high });
  }
  close();
  return paths.join('');
}
