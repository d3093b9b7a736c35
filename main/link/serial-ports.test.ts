import { afterEach, expect, test } from 'vitest';
import { VirtualClock } from '../clock/clock.ts';
import { serialPortSource, type PortInfo } from './serial-ports.ts';

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
