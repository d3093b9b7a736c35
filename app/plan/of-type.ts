import type { Problem } from '../boundary/problems.ts';
import type { Plan } from './plan.ts';

export type TypeOfPlan = NonNullable<Plan['types']>[number];

/** What is stated of a type, without its name. */
export type StatedOfType = Omit<TypeOfPlan, 'type'>;

/** What a plan states of a type of injector; undefined: nothing. */
export const ofType = ({ types = [] }: Pick<Plan, 'types'>, type: string): TypeOfPlan | undefined => types.find((one) => one.type === type);

/** Thermal data of a coil, which are stated whole. */
export const heatFields = ['kelvinPerWatt', 'uncertaintyKelvinPerWatt', 'timeConstantS', 'uncertaintyTimeConstantS'] as const;
const heatWords: Readonly<Record<(typeof heatFields)[number], string>> = {
  kelvinPerWatt: 'how much warmer a watt makes it', uncertaintyKelvinPerWatt: 'the uncertainty of that', timeConstantS: 'its time constant', uncertaintyTimeConstantS: 'the uncertainty of the time constant',
};

/** What contradicts itself of a type, each at its field. PLAN-86, PLAN-96 */
export function typeProblems(of: StatedOfType): readonly Problem[] {
  const missing = heatFields.filter((field) => of[field] === undefined);
  const [first] = missing;
  const range = (least: 'minVoltageV' | 'minPressureKpa' | 'minWidthMs', most: 'maxVoltageV' | 'maxPressureKpa' | 'maxWidthMs', unit: string): readonly Problem[] => {
    const [low, high] = [of[least], of[most]];
    return low !== undefined && high !== undefined && low >= high ? [{ path: least, text: `The least (${low} ${unit}) must be below the most (${high} ${unit}).` }] : [];
  };
  const flowless = of.staticFlowGPerMin === undefined && (of.flowPressureKpa !== undefined || of.flowDensityKgPerM3 !== undefined);
  return [
    ...(of.uncertaintyOhm !== undefined && of.resistanceOhm === undefined ? [{ path: 'resistanceOhm', text: 'An uncertainty of the coil resistance is stated, and no resistance. Give the resistance too, or leave the uncertainty out.' }] : []),
    ...(first !== undefined && missing.length < heatFields.length
      ? [{ path: first, text: `What is stated of a coil's heat is stated whole: ${missing.map((field) => heatWords[field]).join(' and ')} ${missing.length === 1 ? 'is' : 'are'} missing. Give all four, or none.` }]
      : []),
    ...(flowless ? [{ path: 'staticFlowGPerMin', text: 'Pressure or density of a static flow is stated, and no flow. Give the flow too, or leave them out.' }] : []),
    ...range('minVoltageV', 'maxVoltageV', 'V'),
    ...range('minPressureKpa', 'maxPressureKpa', 'kPa'),
    ...range('minWidthMs', 'maxWidthMs', 'ms'),
  ];
}
