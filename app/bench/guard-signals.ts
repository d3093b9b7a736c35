/** What guards watch: readings as they come, and what depends on what is being done on the bench. RUN-20 */
import { signals } from './readings.ts';
import type { GuardedReading, Signal } from './readings.ts';

/** Not a reading by itself: what it is at the moment, `app/run/guards.ts` works out. */
const derived = {
  /** kPa from the pressure that was set, only while a point is being measured, or a burst is driven by hand. */
  'pressure-deviation-kpa': {
    label: 'Pressure off its set point', text: 'Rail pressure off its set point by', subject: 'The rail pressure', shown: 'kPa', plain: 'kPa', digits: 1,
    check: 'Check pump, regulator, filter and the fluid in the tank.',
  },
  /** V from the voltage that was set, only once the supply was steady. */
  'supply-deviation-v': {
    label: 'Supply off its set point', text: 'Supply off its set point by', subject: 'The supply', shown: 'V', plain: 'V', digits: 3,
    check: 'Check the supply and its leads to the driver.',
  },
  /** Flow in mL/min while no burst is active: a leak. */
  'idle-flow-ml-min': {
    label: 'Flow with injectors shut', text: 'Flow while no injector is driven', subject: 'The flow while no injector is driven', shown: 'mL/min', plain: 'mL/min', digits: 2,
    check: 'Look for a leak and for an injector that does not shut. The fluid is flammable.',
  },
} as const;

export type DerivedSignal = keyof typeof derived;
export type GuardSignal = GuardedReading | DerivedSignal;

interface GuardSignalWords {
  readonly label: string;
  /** Begins a sentence that goes on with the reading. */
  readonly text: string;
  readonly subject: string;
  /** The unit of the guard's limits, as pages show it and in plain letters. */
  readonly shown: string;
  readonly plain: string;
  readonly digits: number;
  /** What to look at when it is out of its limits. */
  readonly check: string;
}

const ofReading = ({ label, name, shown, plain, digits, check }: Signal): GuardSignalWords => ({
  label, text: `${name.slice(0, 1).toUpperCase()}${name.slice(1)}`, subject: `The ${name}`, shown, plain, digits, check,
});

const guarded = signals.flatMap((signal) => (signal.guard === null ? [] : [[signal.guard, signal] as const]));
const byGuard: ReadonlyMap<string, Signal> = new Map(guarded);

export const guardSignals = {
  ...Object.fromEntries(guarded.map(([guard, signal]) => [guard, ofReading(signal)])),
  ...derived,
} as Readonly<Record<GuardSignal, GuardSignalWords>>;

export const guardSignalNames = Object.keys(guardSignals) as readonly GuardSignal[];

/** The reading that a guard's signal is; null: it depends on what is being done. */
export const guardedReading = (signal: GuardSignal): Signal | null => byGuard.get(signal) ?? null;
