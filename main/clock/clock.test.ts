import { expect, test } from 'vitest';
import { VirtualClock, wait, WallClock } from './clock.ts';

test('virtual time jumps from timer to timer, in the order of their time and then of their setting', async () => {
  const clock = new VirtualClock(1_000_000);
  const seen: string[] = [];
  clock.after(20, () => seen.push(`c@${clock.now()}`));
  clock.after(10, () => seen.push(`a@${clock.now()}`));
  clock.after(10, () => seen.push(`b@${clock.now()}`));
  await wait(clock, 30);
  expect(seen).toEqual(['a@10', 'b@10', 'c@20']);
  expect(clock.now()).toBe(30);
  expect(clock.unixNow()).toBe(1_000_030);
});

test('everything that one timer sets off has run before the next fires', async () => {
  const clock = new VirtualClock(0);
  const seen: string[] = [];
  const chain = async (name: string, links: number) => {
    for (let i = 0; i < links; i += 1) await Promise.resolve();
    seen.push(name);
  };
  clock.after(1, () => void chain('long chain of the first', 200));
  clock.after(1, () => seen.push('second'));
  await wait(clock, 2);
  expect(seen).toEqual(['long chain of the first', 'second']);
});

test('a clock that is held stands still until what it is held for is over, and goes on in order', async () => {
  const clock = new VirtualClock(0);
  const seen: string[] = [];
  clock.after(1, () => {
    clock.holdFor(new Promise<void>((resolve) => setTimeout(resolve, 20)).then(() => seen.push(`work@${clock.now()}`)));
    clock.holdFor(Promise.resolve());
  });
  for (const ms of [1.5, 2, 3]) clock.after(ms, () => seen.push(`timer@${clock.now()}`));
  await wait(clock, 4);
  expect(seen).toEqual(['work@1', 'timer@1.5', 'timer@2', 'timer@3']);
});

test('a thousand timers in scrambled order fire in order', async () => {
  const clock = new VirtualClock(0);
  const seen: number[] = [];
  for (let i = 0; i < 1000; i += 1) clock.after((i * 7919) % 1009, () => seen.push(clock.now()));
  await wait(clock, 2000);
  expect(seen).toHaveLength(1000);
  expect(seen).toEqual(seen.toSorted((a, b) => a - b));
});

test('a cancelled timer does not fire and does not move the time', async () => {
  const clock = new VirtualClock(0);
  let fired = false;
  const cancel = clock.after(5, () => {
    fired = true;
  });
  cancel();
  await wait(clock, 3);
  await new Promise((resolve) => setImmediate(resolve));
  expect(fired).toBe(false);
  expect(clock.now()).toBe(3);
});

test('a stopped virtual clock fires nothing any more', async () => {
  const clock = new VirtualClock(0);
  let fired = 0;
  const again = () => {
    fired += 1;
    if (fired === 3) clock.stop();
    clock.after(1, again);
  };
  clock.after(1, again);
  for (let i = 0; i < 20; i += 1) await new Promise((resolve) => setImmediate(resolve));
  expect(fired).toBe(3);
});

test.each([['virtual', () => new VirtualClock(0)], ['wall', () => new WallClock()]] as const)(
  'a wait on the %s clock ends at once when its signal is aborted, with the reason',
  async (_, make) => {
    const clock = make();
    const abort = new AbortController();
    const waiting = wait(clock, 1e9, abort.signal);
    abort.abort(new Error('enough'));
    await expect(waiting).rejects.toThrow('enough');
    await expect(wait(clock, 1, abort.signal)).rejects.toThrow('enough');
    if (clock instanceof VirtualClock) {
      // Nothing is left that would hurl the time a million seconds on.
      await wait(clock, 1);
      expect(clock.now()).toBe(1);
    }
  },
);

test('a wall clock with a speed waits that much shorter and tells time that much faster', async () => {
  const clock = new WallClock(50);
  const [from, fromUnix] = [clock.now(), clock.unixNow()];
  await wait(clock, 500);
  // Timers of the machine may be a millisecond early, which is 50 ms here.
  expect(clock.now() - from).toBeGreaterThanOrEqual(450);
  expect(clock.unixNow() - fromUnix).toBeGreaterThanOrEqual(449);
});

test('a paced clock keeps to its speed, in the order of its timers', async () => {
  const clock = new VirtualClock(0, 20);
  const started = performance.now();
  const seen: number[] = [];
  clock.after(2000, () => seen.push(clock.now()));
  clock.after(1000, () => seen.push(clock.now()));
  await wait(clock, 2500);
  // Not early; how late it may be is the machine's affair.
  expect(performance.now() - started).toBeGreaterThan(2500 / 20 - 5);
  expect(seen).toEqual([1000, 2000]);
  clock.stop();
});

test('SCN-5 a paced clock whose speed is changed keeps its times and their order, wakes for them, and is never early', async () => {
  const clock = new VirtualClock(0, 1);
  const seen: number[] = [];
  for (const due of [60_000, 1000, 30_000]) clock.after(due, () => seen.push(clock.now()));
  await wait(new WallClock(), 10);
  // As it was, it would sleep for a second, and then for a minute.
  clock.setSpeed(10_000);
  await wait(clock, 61_000);
  expect(seen).toEqual([1000, 30_000, 60_000]);
  // Hours at a high speed are behind it when it is slowed down: it must not wait until they have passed at the lower one.
  clock.setSpeed(1e7);
  await wait(clock, 50_000_000);
  clock.setSpeed(10);
  const started = performance.now();
  await wait(clock, 1000);
  expect(performance.now() - started).toBeGreaterThan(1000 / 10 - 5);
  clock.stop();
});

test('a timer that is set while a paced clock sleeps is not overslept', async () => {
  const clock = new VirtualClock(0, 1);
  let slept = false;
  clock.after(60_000, () => {
    slept = true;
  });
  await new Promise((resolve) => setTimeout(resolve, 5));
  await wait(clock, 10);
  expect(slept).toBe(false);
  clock.stop();
});

test('a paced clock stands still while the process is busy: a heartbeat comes before what it should prevent', async () => {
  const clock = new VirtualClock(0, 20);
  const seen: string[] = [];
  const beat = (left: number): void => {
    seen.push('beat');
    if (left > 0) clock.after(250, () => beat(left - 1));
  };
  clock.after(250, () => beat(3));
  clock.after(1100, () => seen.push('dead-man'));
  const busyUntil = performance.now() + 300;
  while (performance.now() < busyUntil);
  await wait(clock, 1200);
  expect(seen).toEqual(['beat', 'beat', 'beat', 'beat', 'dead-man']);
  clock.stop();
});

test('RUN-164 time that the machine was awake does not count as suspended, and a clock that goes faster than the machine cannot tell', async () => {
  const clock = new WallClock();
  const before = clock.suspended();
  const from = clock.now();
  await wait(clock, 400);
  const after = clock.suspended();
  // /proc/uptime has hundredths of a second, and the machine may be busy between the two readings.
  if (before !== null && after !== null) expect(Math.abs(after - before)).toBeLessThan((clock.now() - from) / 2);
  expect(after === null).toBe(process.platform !== 'linux' && process.platform !== 'win32');
  expect(new WallClock(50).suspended()).toBeNull();
});
