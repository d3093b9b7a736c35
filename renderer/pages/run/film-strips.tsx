import { useEffect, useReducer } from 'react';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { shownIn, unitShown, decimalsShown } from '../../settings/quantities.ts';
import type { FilmReadings, FilmSignal } from './film-readings.ts';
import { BenchStrip, setPointsOf } from './strips.tsx';

const none = { setPoint: null, band: null };

/** In the order in which the live page has them. */
const shown: readonly { readonly signal: FilmSignal; readonly label: string; readonly unit: string; readonly decimals: number; readonly leastSpan: number; readonly wanted: 'pressure' | 'supply' | 'temperature' | null }[] = [
  { signal: 'pressure', label: 'Rail pressure', unit: 'kPa', decimals: 1, leastSpan: 8, wanted: 'pressure' },
  { signal: 'supply', label: 'Supply', unit: 'V', decimals: 2, leastSpan: 0.4, wanted: 'supply' },
  { signal: 'flow', label: 'Flow at the meter', unit: 'mL/min', decimals: 1, leastSpan: 10, wanted: null },
  { signal: 'temperature', label: 'Rail temperature', unit: '°C', decimals: 1, leastSpan: 2, wanted: 'temperature' },
];
const toShown: Readonly<Record<FilmSignal, (value: number) => number>> = {
  pressure: (value) => shownIn('kPa', value),
  supply: (value) => value,
  flow: (value) => value,
  temperature: (value) => shownIn('°C', value),
};

/** The bench in the five minutes before the instant of a film, with what the plan wanted of it. */
export function FilmStrips({ readings, plan, point }: { readonly readings: FilmReadings; readonly plan: Plan; readonly point: Point | null }) {
  const [, draw] = useReducer((n: number) => n + 1, 0);
  useEffect(() => readings.onChange(draw), [readings]);
  const wanted = setPointsOf(plan, point);
  return (
    <section className="section run-strips" aria-label="The five minutes before the instant of the film">
      {shown.map(({ signal, label, unit, decimals, leastSpan, wanted: of }, index) => {
        const value = readings.valueOf(signal);
        return (
          <BenchStrip
            key={signal} label={label} unit={unitShown(unit)} decimals={decimalsShown(unit, decimals)} leastRange={shownIn(unit, leastSpan, true)} {...(of === null ? none : wanted[of])}
            value={value === null ? null : toShown[signal]((value[0] + value[1]) / 2)} stale={false} source={readings.source(signal)} toShown={toShown[signal]} times={index === shown.length - 1}
          />
        );
      })}
    </section>
  );
}
