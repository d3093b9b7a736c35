/** Where a bench is to be found, with the clock that it lives by. */
import { problemsOf } from '../../app/boundary/problems.ts';
import type { ParsedParams } from '../../app/contract/contract.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { connectBench, type Bench, type ConnectFailure, type ConnectOptions } from '../bench/driver.ts';
import { RunningBench } from '../bench/running-bench.ts';
import { VirtualClock, type Clock } from '../clock/clock.ts';
import type { Entropy } from '../clock/entropy.ts';
import type { ChannelSource } from '../link/channel.ts';
import { SimulatedChannel } from '../bench/simulated-channel.ts';
import sampleScenario from '../samples/scenario.json' with { type: 'json' };

export interface BenchPlace {
  readonly simulated: boolean;
  /** Of `clock` against the time of the wall; absent: the same. */
  readonly speed?: number;
  /** Of a simulated bench: from now on its time passes so many times as fast. */
  readonly setSpeed?: (speed: number) => void;
  /** Name of the scenario of a simulated bench. */
  readonly scenario?: string;
  /** For people. */
  readonly description: string;
  readonly clock: Clock;
  readonly connect: (options: Pick<ConnectOptions, 'deadManMs' | 'telemetryHz' | 'signal'>) => Promise<{ readonly ok: true; readonly bench: Bench } | ConnectFailure>;
  /** Switches a simulated bench off. */
  close(): void;
}

/** The place of a bench that somebody chose, or what is wrong with the choice. Nothing is opened yet. */
export type BenchPlaces = (choice: ParsedParams<'bench.connect'>['bench']) => BenchPlace | { readonly problem: string };

/** What leads to a bench on a port. */
type PortSource = (path: string, clock: Clock) => ChannelSource;

/**
 * A port lives by `clock`, a simulated bench by a clock of its own that goes at the speed that was chosen. `ports` null: there are none. `scenario` is the
 * simulated bench that stands there when the choice names none; undefined: the sample bench.
 */
export const benchPlaces =
  (clock: Clock, entropy: Entropy, ports: PortSource | null, scenario?: unknown): BenchPlaces =>
  (choice) => {
    const over =
      (channels: ChannelSource, at: Clock): BenchPlace['connect'] =>
      (options) =>
        connectBench({ channels, clock: at, entropy, ...options });
    switch (choice.kind) {
      case 'port':
        if (ports === null) return { problem: 'Here are no serial ports. A bench on a port needs the program itself.' };
        return { simulated: false, description: `the port ${choice.path}`, clock, connect: over(ports(choice.path, clock), clock), close: () => undefined };
      case 'simulated': {
        const document = choice.scenario ?? scenario ?? sampleScenario;
        const parsed = scenarioSchema.safeParse(document);
        if (!parsed.success) {
          const [first] = problemsOf(parsed.error, document);
          return { problem: `The scenario of the simulated bench cannot be used. ${first?.path ?? ''}: ${first?.text ?? ''}` };
        }
        const own = new VirtualClock(clock.unixNow(), choice.speed);
        const bench = new RunningBench(parsed.data, own);
        let { speed } = choice;
        return {
          simulated: true,
          get speed() {
            return speed;
          },
          setSpeed: (wanted) => {
            speed = wanted;
            own.setSpeed(wanted);
          },
          scenario: parsed.data.name,
          description: 'the simulated bench',
          clock: own,
          connect: over(() => Promise.resolve([new SimulatedChannel(bench)]), own),
          close: () => {
            bench.switchOff();
            own.stop();
          },
        };
      }
    }
  };
