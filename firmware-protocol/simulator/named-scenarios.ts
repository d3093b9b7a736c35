/** Simulated benches that can be chosen by name (SCN-4): what goes wrong on them, in the words of the trade, and the scenario itself. */
import type { z } from 'zod';
import type { scenarioSchema } from './plant/scenario.ts';

export interface NamedScenario {
  readonly name: string;
  /** What happens and when, in a sentence or two. */
  readonly text: string;
  readonly document: Omit<z.input<typeof scenarioSchema>, 'scenarioVersion' | 'name'>;
}

export const namedScenarios: readonly NamedScenario[] = [
  { name: 'A sound bench', text: 'Everything works. Instruments and injectors scatter as their certificates and tolerances allow.', document: {} },
  {
    name: 'An injector that does not open',
    text: 'The injector on channel 2 is stuck shut from the beginning. The first look sets it aside and the others go on.',
    document: { faults: [{ begins: { atS: 0 }, fault: { kind: 'injector-stuck-shut', channel: 2 } }] },
  },
  {
    name: 'A clogged injector',
    text: 'The injector on channel 1 passes 60 % of its flow from the beginning.',
    document: { faults: [{ begins: { atS: 0 }, fault: { kind: 'injector-clogged', channel: 1, flowPercent: 60 } }] },
  },
  {
    name: 'A leaking injector',
    text: 'The injector on channel 1 drips 0.5 mL/min through its seat while it is shut, at 400 kPa.',
    document: { faults: [{ begins: { atS: 0 }, fault: { kind: 'injector-leaking', channel: 1, mlPerMin: 0.5 } }] },
  },
  {
    name: 'Rail pressure lost for a while',
    text: 'With the twelfth burst the rail is 9 kPa short of 400 kPa for 15 s: what is measured meanwhile is rejected. With the 30th it falls to 330 kPa for 20 s: a guard of the rail pressure holds the run, which goes on by itself.',
    document: {
      faults: [
        { begins: { atBurst: 12 }, forS: 15, fault: { kind: 'pressure-loss', toKpa: 391 } },
        { begins: { atBurst: 30 }, forS: 20, fault: { kind: 'pressure-loss', toKpa: 330 } },
      ],
    },
  },
  {
    name: 'Emergency stop pressed',
    text: 'With the tenth burst somebody presses the emergency stop for 4 s. The run trips and waits for a person.',
    document: { faults: [{ begins: { atBurst: 10 }, forS: 4, fault: { kind: 'emergency-stop' } }] },
  },
  {
    name: 'A controller that restarts',
    text: 'With the tenth burst the controller is reset. The attempt is cut short, and the run goes on once its watchdog is proved again.',
    document: { faults: [{ begins: { atBurst: 10 }, fault: { kind: 'controller-reset' } }] },
  },
  {
    name: 'A bad line',
    text: 'One line in 200 is lost or garbled, both ways. Requests are repeated; no result may differ.',
    document: {
      faults: [
        { begins: { atS: 0 }, fault: { kind: 'lines-garbled', direction: 'both', probability: 0.005 } },
        { begins: { atS: 0 }, fault: { kind: 'lines-lost', direction: 'to-host', probability: 0.005 } },
      ],
    },
  },
  {
    name: 'A meter that drifts, coils that warm',
    text: 'The flow reading grows by 0.5 % in an hour, and coils warm by 0.5 K for each watt. What no certificate says.',
    document: { imperfections: { driftPercentPerH: 0.5, coil: { kelvinPerWatt: 0.5, tauS: 1 } } },
  },
];

/** Numbers of `imperfections` that can be chosen one by one, with what they are called and their unit. Each absent: as the scenario has it. */
export const imperfectionFields = [
  { path: 'driftPercentPerH', label: 'Drift of the flow reading', unit: '% in an hour', max: 20 },
  { path: 'walkPercentPerRootH', label: 'Random walk of the flow reading', unit: '% after an hour', max: 20 },
  { path: 'meterCurvePercent', label: 'Wave of the meter curve', unit: '%', max: 20 },
  { path: 'inRotationPercent', label: 'Uneven turn of the meter', unit: '%', max: 10 },
  { path: 'sagOhm', label: 'Supply resistance inside a pulse', unit: 'ohm', max: 5 },
  { path: 'curvaturePercent', label: 'Growth of the flow to 12 ms', unit: '%', max: 20 },
] as const satisfies readonly { readonly path: keyof NonNullable<z.input<typeof scenarioSchema>['imperfections']>; readonly label: string; readonly unit: string; readonly max: number }[];
