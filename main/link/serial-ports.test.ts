import { SerialPort } from 'serialport';
import { afterEach, expect, test, vi } from 'vitest';
import { VirtualClock, type Clock } from '../clock/clock.ts';
import { serialPorts, serialPortSource, type PortInfo } from './serial-ports.ts';

const clock = new VirtualClock(0);
afterEach(() => clock.stop());

/** The ports that are tried after the bench was lost, when `before` were there at the connecting and `after` are there now. */
async function triedAgain(before: readonly PortInfo[], after: readonly PortInfo[]): Promise<readonly string[]> {
  let ports = before;
  const source = serialPortSource('/dev/a', clock, () => Promise.resolve(ports));
  expect((await source('connect')).map(({ description }) => description.replace('serial port ', ''))).toEqual(['/dev/a']);
  ports = after;
  return (await source('again')).map(({ description }) => description.replace('serial port ', ''));
}

const adapter = { vendorId: '10c4', productId: 'ea60' };

test('a bench that was lost is looked for on its port, and where the same kind of adapter has come back', async () => {
  const there = [{ path: '/dev/a', ...adapter }];
  expect(await triedAgain(there, there)).toEqual(['/dev/a']);
  expect(await triedAgain(there, [{ path: '/dev/b', ...adapter }])).toEqual(['/dev/a', '/dev/b']);
  expect(await triedAgain(there, [{ path: '/dev/b', ...adapter, vendorId: '0403' }, { path: '/dev/c', ...adapter, productId: '6001' }, { path: '/dev/d' }])).toEqual(['/dev/a']);
});

test('a port that is no adapter on USB is looked for nowhere else, and neither is one that was not listed', async () => {
  expect(await triedAgain([{ path: '/dev/a' }], [{ path: '/dev/b' }])).toEqual(['/dev/a']);
  expect(await triedAgain([], [{ path: '/dev/b', ...adapter }, { path: '/dev/c' }])).toEqual(['/dev/a']);
});

test('a list that fails or never comes is no list: the port is tried all the same', async () => {
  const failing = serialPortSource('/dev/a', clock, () => Promise.reject(new Error('no udevadm')));
  expect(await failing('connect')).toHaveLength(1);
  expect(await failing('again')).toHaveLength(1);
  const hanging = new VirtualClock(0);
  const source = serialPortSource('/dev/a', hanging, () => new Promise(() => undefined));
  expect(await source('again')).toHaveLength(1);
  expect(hanging.now()).toBe(3000);
  hanging.stop();
});

test('the ports are those that the system tells of, and whoever has its answer waits for no deadline', async () => {
  const list = vi.spyOn(SerialPort, 'list').mockResolvedValue([{ path: '/dev/a', ...adapter }] as never);
  let waiting = 0;
  const counting: Clock = {
    now: () => 0,
    unixNow: () => clock.unixNow(),
    suspended: () => null,
    after: () => {
      waiting += 1;
      return () => {
        waiting -= 1;
      };
    },
  };
  expect(await serialPorts(counting)).toEqual([{ path: '/dev/a', ...adapter }]);
  expect(waiting).toBe(0);
  const source = serialPortSource('/dev/a', counting);
  await source('connect');
  list.mockResolvedValue([{ path: '/dev/b', ...adapter }] as never);
  expect((await source('again')).map(({ description }) => description)).toEqual(['serial port /dev/a', 'serial port /dev/b']);
  expect(waiting).toBe(0);
  list.mockRestore();
});
