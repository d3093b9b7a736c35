import { expect, test } from 'vitest';
import { runConformance } from '../../firmware-protocol/conformance/suite.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { VirtualClock, wait, WallClock } from '../clock/clock.ts';
import { SerialChannel } from '../link/serial-channel.ts';
import { SimulatedChannel } from './simulated-channel.ts';
import { openControllerPort } from './conformance.ts';
import { servePtyBench } from './pty-bench.ts';
import { RunningBench } from './running-bench.ts';

const scenario = scenarioSchema.parse({ scenarioVersion: 1 });

test('the simulated bench keeps every rule over a channel in process', async () => {
  const clock = new VirtualClock(0);
  const running = new RunningBench(scenario, clock);
  const channel = new SimulatedChannel(running);
  const opened = await openControllerPort(channel, clock);
  if (!opened.ok) throw new Error(opened.text);
  const results = await runConformance(opened.port, { energise: true });
  running.switchOff();
  clock.stop();
  expect(results.filter(({ result }) => result === 'fail')).toEqual([]);
  expect(results.filter(({ result }) => result === 'pass').length).toBeGreaterThan(30);
});

/**
 * Rules on time: where the machine is busy with other things they fail for its sake and not for the bench's (a dead-man
 * of 100 ms). On the virtual clock above they are held to.
 */
const timed: ReadonlySet<string> = new Set(['LINE-28', 'LINE-55', 'LINE-56', 'LINE-103', 'LINE-106']);

test.skipIf(process.platform === 'win32')('what needs no energy holds over a pseudo-terminal and a real port driver', async () => {
  const clock = new WallClock();
  const pty = await servePtyBench(scenario, clock);
  const channel = new SerialChannel(pty.path, clock);
  const opened = await openControllerPort(channel, clock);
  if (!opened.ok) throw new Error(opened.text);
  const results = await runConformance(opened.port, { energise: false });
  expect(results.filter(({ rule, result }) => result === 'fail' && !timed.has(rule))).toEqual([]);
  expect(results.filter(({ result }) => result === 'pass').length).toBeGreaterThan(20);
  expect(opened.closed()).toBeNull();
  pty.close();
  for (let i = 0; i < 500 && opened.closed() === null; i += 1) {
    opened.port.send('\n');
    await wait(clock, 10);
  }
  expect(opened.closed()).toContain(pty.path);
});

test('a port that cannot be opened says so', async () => {
  expect(await openControllerPort(new SerialChannel('/dev/no-such-port', new WallClock()), new WallClock())).toMatchObject({ ok: false, code: 'absent' });
});
