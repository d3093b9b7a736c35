/** The first sweep step by step (WIN-53): what each step does, and which is next, from what there really is. */

export const steps = ['connect', 'injectors', 'plan', 'start', 'result'] as const;
export type GuideStep = (typeof steps)[number];

export interface GuideFacts {
  /** A bench is connected. */
  readonly connected: boolean;
  /** Injectors that are recorded as mounted. */
  readonly mounted: number;
  /** The plan of the guide is saved. */
  readonly planSaved: boolean;
  /** The run of the guide: not begun, going on, resting before its end, or ended. */
  readonly run: 'none' | 'going-on' | 'rests' | 'ended';
}

/** The first step that is not done. What somebody did without the guide counts as done. */
export function nextStep({ connected, mounted, planSaved, run }: GuideFacts): GuideStep {
  if (run === 'ended') return 'result';
  if (run !== 'none') return 'start';
  if (!connected) return 'connect';
  if (mounted < 2) return 'injectors';
  return planSaved ? 'start' : 'plan';
}

interface Words {
  readonly title: string;
  readonly text: string;
  readonly button: string;
  /** Where it is seen. */
  readonly page: string;
}

export const stepWords: Readonly<Record<GuideStep, Words>> = {
  connect: {
    title: 'Connect the simulated bench',
    text: 'It behaves like a real bench and needs no hardware. Here its time passes twenty times as fast as the clock.',
    button: 'Connect it',
    page: 'bench',
  },
  injectors: {
    title: 'Two injectors',
    text: 'Each injector has a serial number, a type and the channel where it is mounted on the rail. These two are examples, on channels 1 and 2.',
    button: 'Record two examples',
    page: 'injectors',
  },
  plan: {
    title: 'A small plan',
    text: 'Both injectors at 10 V and 14 V, four pulse widths, 400 kPa: some twenty points, and less than a minute at this speed.',
    button: 'Save the plan',
    page: 'plans',
  },
  start: {
    title: 'Start the run',
    text: 'The run first proves that the controller switches off by itself when this program falls silent, then measures point after point and judges each. Look at the grid as it fills; STOP is at the top right.',
    button: 'Start it',
    page: 'run',
  },
  result: {
    title: 'See a result',
    text: 'The line of each injector gives its dead time and its flow per millisecond, each with its uncertainty.',
    button: 'Show the results',
    page: 'results',
  },
};

export const guidePlanName = 'First sweep';

interface Mounted {
  readonly serialNumber: string;
  readonly type: string;
  readonly channel: number | null;
}

export const exampleParts = [
  { order: 'Example', type: 'Example type', serialNumber: 'EXAMPLE-1', coilResistanceOhm: null, condition: '', channel: 1 },
  { order: 'Example', type: 'Example type', serialNumber: 'EXAMPLE-2', coilResistanceOhm: null, condition: '', channel: 2 },
] as const;

/** A document of a plan for the first two injectors that are mounted. */
export function guidePlan(parts: readonly Mounted[]): Record<string, unknown> {
  const injectors = parts.filter(({ channel }) => channel !== null).toSorted((a, b) => (a.channel ?? 0) - (b.channel ?? 0)).slice(0, 2);
  return {
    planVersion: 1,
    name: guidePlanName,
    injectors: injectors.map(({ serialNumber, type, channel }) => ({ serialNumber, type, channel })),
    axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2.5, 3, 5, 8], periodMs: [20], replicates: 1 },
    sequence: { kind: 'nested' },
    look: { windowS: 0 },
    zero: { windowS: 4, settleS: 2, deadTimeUs: 20 },
    supply: { steadyS: 0.2 },
    condition: { steadyS: 0.2 },
    purge: { pulses: 10 },
    settleS: 0.4,
    window: { minEdges: 96, minS: 0.8, maxS: 10 },
    guards: [{ id: 'rail-pressure', signal: 'pressure-deviation-kpa', low: -12, high: 12, hysteresis: 4, dwellS: 0.5, level: 'hold', maxResumes: 3, clearS: 5 }],
    reduction: { linearFromMs: 3 },
  };
}
