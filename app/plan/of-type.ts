import type { Plan } from './plan.ts';

export type TypeOfPlan = NonNullable<Plan['types']>[number];

/** What a plan states of a type of injector; undefined: nothing. */
export const ofType = ({ types = [] }: Pick<Plan, 'types'>, type: string): TypeOfPlan | undefined => types.find((one) => one.type === type);
