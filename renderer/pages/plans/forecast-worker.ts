/** Works out beside the window what a plan will come to, and what hours buy on its axes, so that the page never stands still for it (WIN-162). */
import type { Equipment } from '../../../app/equipment/equipment.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import { forecastOf, planByHours, whatHoursBuy } from '../../../app/schedule/forecast.ts';
import type { Bought, Forecast } from '../../../app/schedule/forecast.ts';
import { budgetsAround } from './forecast-view.ts';

export interface ForecastAsked {
  readonly plan: Plan;
  readonly equipment: Equipment;
}

export type ForecastAnswer =
  | { readonly kind: 'forecast'; readonly forecast: Forecast }
  /** One more budget of the curve. */
  | { readonly kind: 'bought'; readonly bought: Bought }
  /** `why` the curve is not there; empty: it is whole. */
  | { readonly kind: 'done'; readonly why: string }
  | { readonly kind: 'failed'; readonly text: string };

const answer = (said: ForecastAnswer): void => postMessage(said);

addEventListener('message', ({ data: { plan, equipment } }: MessageEvent<ForecastAsked>) => {
  try {
    const forecast = forecastOf(plan, equipment);
    answer({ kind: 'forecast', forecast });
    const byHours = planByHours(plan);
    if (byHours.ok) for (const hours of budgetsAround(forecast.hours)) for (const bought of whatHoursBuy(plan, equipment, [hours])) answer({ kind: 'bought', bought });
    answer({ kind: 'done', why: byHours.ok ? '' : byHours.problems.map(({ text }) => text).join(' ') });
  } catch (error) {
    answer({ kind: 'failed', text: error instanceof Error ? error.message : String(error) });
  }
});
