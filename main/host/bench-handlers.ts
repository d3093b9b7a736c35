/** A window itself, the bench, and work by hand. */
import type { benchRequests } from '../../app/contract/bench-requests.ts';
import { imperfectionFields, namedScenarios } from '../../firmware-protocol/simulator/named-scenarios.ts';
import { Failed, noBench } from './outcome.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const benchHandlers = ({ parts, keeping, changes, sessions, bench, runs, hand, stop, noteStop, connect }: HostRoom): HandlersOf<typeof benchRequests> => ({
  hello: ({ name }, window) => {
    sessions.greet(window, name);
    return {
      software: parts.software,
      archivePath: parts.archive.path,
      bench: bench.view(),
      control: sessions.controlView(window),
      openRun: runs.run?.id ?? null,
      manual: hand.view(),
      now: parts.clock.unixNow(),
      archiveProblems: [...keeping.problems],
    };
  },
  'control.take': (_params, window) => {
    if (window.name === null) return new Failed('bad-request', 'A window says hello before it takes control.');
    sessions.giveControl(window);
    return sessions.controlView(window);
  },
  stop: (_params, window) => stop(window.name ?? 'a window'),
  'bench.ports': async () => (await parts.serialPorts()).map(({ path, manufacturer }) => ({ path, description: manufacturer ?? '' })),
  'bench.scenarios': () => ({ scenarios: [...namedScenarios], imperfections: [...imperfectionFields] }),
  'bench.speed': ({ speed }) => bench.setSpeed(speed),
  'bench.connect': ({ bench: choice }) => changes.make('A bench is being connected', () => connect(choice)),
  'bench.disconnect': () => {
    // Somebody may be tired of waiting for a bench that does not answer.
    if (bench.stopConnecting('disconnected')) return { state: 'absent', why: 'Connecting was cancelled.' };
    return changes.make('The bench is being disconnected', async () => {
      const inTheWay = await runs.closeEnded();
      if (inTheWay !== null) return inTheWay;
      await bench.disconnect('The bench was disconnected.');
      return bench.view();
    });
  },
  'manual.supply': ({ volts }) => hand.do((manual) => manual.supply(volts)),
  'manual.pressure': ({ kpa }) => hand.do((manual) => manual.pressure(kpa)),
  'manual.burst': (burst) => hand.do((manual) => manual.burst(burst)),
  'manual.safe': async () => {
    const { connected } = bench;
    if (connected === null) return noBench();
    if (runs.isActive) return new Failed('refused', 'A run is going on. Pause or abort it, or press stop; each of them makes the bench safe.');
    // A run that is just taking the bench over would drive it in the next moment.
    noteStop();
    const answer = await connected.manual.makeSafe('Make safe was asked for.');
    runs.handOver();
    return answer;
  },
  'manual.clear-faults': () => hand.clearFaults(),
});
