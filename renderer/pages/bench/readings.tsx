import { decimalsShown, shownIn, unitShown } from '../../settings/quantities.ts';
import { useMemo, useState } from 'react';
import { frameSignals, readingOf, toShown, windowSignals } from '../../../app/bench/readings.ts';
import type { SignalId } from '../../../app/bench/readings.ts';
import type { BenchView } from '../../../app/contract/bench-requests.ts';
import { Choice } from '../../components/field.tsx';
import { useFlowShown } from '../../components/flow-shown.ts';
import type { ShownSignal } from '../../components/flow-shown.ts';
import { Section } from '../../components/page.tsx';
import { Strip } from '../../components/strip.tsx';
import { Value } from '../../components/value.tsx';
import { useHost, useCondensedRun } from '../../host/host.ts';
import { densityAtMeter } from '../../live/flow.ts';
import type { Latest, LiveSignal, Span } from '../../live/live-bench.ts';
import { liveSource, useLatest } from '../../host/use-latest.ts';
import { useUnits } from '../../settings/units.ts';
import { expectationsOf, isInside } from './expectations.ts';
import type { Expectation } from './expectations.ts';

const shownNow = (): readonly { readonly id: SignalId; readonly how: ShownSignal }[] =>
  windowSignals.map((signal) => ({
    id: signal.id,
    how: {
      label: signal.label, unit: unitShown(signal.shown), decimals: decimalsShown(signal.shown, signal.digits), toShown: (si) => shownIn(signal.shown, toShown(signal, si)),
      leastRange: shownIn(signal.shown, signal.leastSpan, true),
    },
  }));
/** What is set on the bench stands before the flow that comes of it. */
const beforeFlow: ReadonlySet<SignalId> = new Set(['pressure', 'supply']);

const spans: readonly { readonly value: Span; readonly text: string }[] = [
  { value: 'ten-minutes', text: 'Last 10 minutes' },
  { value: 'since-start', text: 'Whole run, or since connected' },
];

/** Every live value with set point, band and age, and its strip. */
// eslint-disable-next-line complexity -- a reading for each signal, each there or not
export function BenchReadings({ bench }: { readonly bench: Extract<BenchView, { state: 'connected' }> }) {
  const { latest, age } = useLatest();
  const { openRun, status, equipment, manual } = useHost();
  const run = useCondensedRun(openRun);
  const [span, setSpan] = useState<Span>('ten-minutes');
  // Stable, so that the strips are not made anew; another unit draws the page anew.
  const shown = useMemo(shownNow, []);
  const measuring = openRun !== null && status?.id === openRun ? status.status : null;
  const frame = latest?.frame ?? null;
  const expected = expectationsOf({
    frame,
    capabilities: bench.capabilities,
    run: run.state === null || measuring === null ? null : { plan: run.state.plan, point: measuring.point },
    set: manual?.set ?? null,
  });
  const density = frame === null || equipment === null ? null : densityAtMeter(equipment, frame);
  const flow = useFlowShown(density);
  const statement = useUnits(density).statement;
  const stale = bench.up ? age : Infinity;

  const of = (id: SignalId): number | null => (frame === null ? null : (readingOf(frame, id) ?? null));
  /** A bench may lack what LINE-41 does not name. */
  const isRead = (id: SignalId): boolean => frameSignals.some((signal) => signal.id === id) || of(id) !== null;
  const tile = (signal: LiveSignal, how: ShownSignal, value: number | null, missing?: string, extra?: string) => (
    <Reading key={signal} signal={signal} how={how} value={value} age={latest === null ? null : stale} expected={expected[signal]} span={span} {...(missing === undefined ? {} : { missing })} {...(extra === undefined ? {} : { extra })} />
  );
  return (
    <Section wide title="Readings" aside={<div className="readings-span"><Choice label="Strips show" value={span} options={spans} onChange={setSpan} /></div>}>
      <div className="readings">
        {shown.map(({ id, how }) => beforeFlow.has(id) && tile(id, how, of(id)))}
        {tile('flow', flow, latest?.flow ?? null, frame === null ? 'not known' : equipment === null ? 'the equipment record with the K-factor has not been read' : 'too few meter edges yet', perPulse(latest, measuring?.point?.period ?? (manual?.set.periodMs == null ? null : manual.set.periodMs / 1e3)))}
        {shown.map(({ id, how }) => !beforeFlow.has(id) && isRead(id) && tile(id, how, of(id)))}
      </div>
      <p className="small quiet">
        Flow is counted from the edges of the meter over two seconds, for looking at; a run measures its own windows. Rail pressure is gauge pressure. {statement}
      </p>
    </Section>
  );
}

/** The flow as one pulse, where the period is known. */
function perPulse(latest: Latest | null, period: number | null): string | undefined {
  if (latest?.flow == null || !latest.frame.burst.active || period === null || latest.flow === 0) return undefined;
  return `about ${(latest.flow * period * 1e6).toFixed(1)} mg per pulse`;
}

interface ReadingProps {
  readonly signal: LiveSignal;
  readonly how: ShownSignal;
  readonly value: number | null;
  readonly missing?: string;
  readonly extra?: string;
  readonly age: number | null;
  readonly expected: Expectation;
  readonly span: Span;
}

function Reading({ signal, how, value, missing, extra, age, expected, span }: ReadingProps) {
  const { toShown, decimals, unit } = how;
  const low = expected.low === null ? null : toShown(expected.low);
  const high = expected.high === null ? null : toShown(expected.high);
  const setPoint = expected.setPoint === null ? null : toShown(expected.setPoint);
  const band = useMemo(() => (low === null || high === null ? null : { low, high }), [low, high]);
  const digits = (number: number): string => Number(number.toFixed(decimals)).toString();
  const bandText = low !== null && high !== null ? `${digits(low)} to ${digits(high)} ${unit}` : high !== null ? `up to ${digits(high)} ${unit}` : low !== null ? `from ${digits(low)} ${unit}` : null;
  const text = value === null || !Number.isFinite(toShown(value)) ? null : toShown(value).toFixed(decimals).replace(/^-(?=0\.?0*$)/, '');
  return (
    <div className="reading">
      <Value
        label={how.label}
        text={text}
        unit={unit}
        setPoint={setPoint === null ? 'none' : `${digits(setPoint)} ${unit}`}
        band={bandText === null || value === null ? { text: bandText ?? 'none', inside: null } : { text: bandText, inside: isInside(value, expected) }}
        age={age}
        {...(missing === undefined ? {} : { missing })}
      >
        {extra !== undefined && <div className="small quiet">{extra}</div>}
      </Value>
      <Strip label={how.label} source={liveSource(signal, span)} toShown={toShown} unit={unit} seconds={span === 'ten-minutes' ? 600 : null} setPoint={setPoint} band={band} leastRange={how.leastRange} />
    </div>
  );
}
