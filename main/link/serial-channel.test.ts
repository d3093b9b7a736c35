/** Real operating system, real serialport, a pseudo-terminal in place of the cable: Linux and macOS. */
import { once } from 'node:events';
import { spawnSync } from 'node:child_process';
import { closeSync, constants, mkdtempSync, openSync, rmSync, symlinkSync, writeFileSync, writeSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { ReadStream } from 'node:tty';
import { SerialPort } from 'serialport';
import { afterEach, describe, expect, test, vi } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { milliseconds, volts } from '../../app/quantities/quantity.ts';
import { scenarioSchema, type Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { connectBench, type Bench, type BenchLinkEvent } from '../bench/driver.ts';
import { servePtyBench, type PtyBench } from '../bench/pty-bench.ts';
import { RunningBench } from '../bench/running-bench.ts';
import { VirtualClock, wait, WallClock } from '../clock/clock.ts';
import { machineEntropy } from '../clock/machine.ts';
import { explainOpenFailure, SerialChannel } from './serial-channel.ts';
import { serialPortSource, type PortInfo } from './serial-ports.ts';

const clock = new WallClock();
const undo: (() => void | Promise<void>)[] = [];
afterEach(async () => {
  for (const step of undo.splice(0).reverse()) await step();
});

async function serve(scenario: Partial<Scenario> = {}): Promise<PtyBench> {
  const pty = await servePtyBench(scenarioSchema.parse({ scenarioVersion: 1, ...scenario }), clock);
  let open = true;
  const served = {
    path: pty.path,
    close: () => {
      if (open) pty.close();
      open = false;
    },
  };
  undo.push(served.close);
  return served;
}

async function connect(path: string, list: () => Promise<readonly PortInfo[]> = () => Promise.resolve([]), deadManMs = 500) {
  const frames: BenchFrame[] = [];
  const events: BenchLinkEvent[] = [];
  const result = await connectBench({
    channels: serialPortSource(path, clock, list),
    clock,
    entropy: machineEntropy,
    deadManMs,
    telemetryHz: 100,
    onFrame: (frame) => frames.push(frame),
    onLink: (event) => events.push(event),
  });
  if (result.ok) undo.push(() => result.bench.close());
  return { result, frames, events };
}

function benchOf(connected: Awaited<ReturnType<typeof connect>>): Bench {
  if (!connected.result.ok) throw new Error(connected.result.text);
  return connected.result.bench;
}

async function until(condition: () => boolean): Promise<void> {
  for (let i = 0; i < 1000; i += 1) {
    if (condition()) return;
    await wait(clock, 10);
  }
  throw new Error('it did not come about within 10 s');
}

test.skipIf(process.platform === 'win32')('a bench behind a terminal is a bench: a burst from beginning to end, then safe', async () => {
  const pty = await serve();
  const connected = await connect(pty.path);
  const bench = benchOf(connected);
  expect(bench.link).toContain(pty.path);
  expect(await bench.perform({ kind: 'arm' })).toEqual({ kind: 'done' });
  expect(await bench.perform({ kind: 'set-supply', supply: volts(12) })).toEqual({ kind: 'done' });
  expect(
    await bench.perform({ kind: 'burst', channel: 2, width: milliseconds(2), period: milliseconds(10), count: 7 }),
  ).toMatchObject({ kind: 'done' });
  await until(() => connected.frames.at(-1)?.burst.done === 7);
  expect(await bench.perform({ kind: 'make-safe' })).toEqual({ kind: 'done' });
  expect(connected.events).toEqual([]);
});

test.skipIf(process.platform === 'win32')('what the bench said before a host came is not heard by the bench as an echo, and the next host begins cleanly', async () => {
  const pty = await serve();
  await wait(clock, 500);
  const first = await connect(pty.path);
  const bench = benchOf(first);
  await until(() => first.frames.length > 20);
  await bench.perform({ kind: 'arm' });
  await bench.close();
  // Nobody reads for a while: more than the terminal holds. The bench goes on, and its dead-man acts.
  await wait(clock, 1500);
  const second = await connect(pty.path);
  benchOf(second);
  await until(() => second.frames.length > 20);
  expect(second.frames.at(-1)).toMatchObject({ armed: false, fault: { code: 'dead-man' }, bootId: bench.bootId });
});

test.skipIf(process.platform === 'win32')('a port that another program has open is busy', async () => {
  const pty = await serve();
  const first = await connect(pty.path);
  benchOf(first);
  const { result } = await connect(pty.path);
  expect(result).toMatchObject({ ok: false, code: 'busy' });
  if (!result.ok) expect(result.text).toBe(`The port ${pty.path} is in use by another program. Close that program, then try again.`);
  await until(() => first.frames.length > 20);
  expect(first.events).toEqual([]);
});

test.skipIf(process.platform === 'win32')('a port that is not there, and a file that is no port, are told apart', async () => {
  expect((await connect('/dev/no-such-port')).result).toMatchObject({ ok: false, code: 'absent' });
  expect((await connect(import.meta.filename)).result).toMatchObject({ ok: false, code: 'not-a-port' });
});

test.skipIf(process.platform === 'win32')('HOST-8 only a device is opened: no file, folder, socket or link to one, and no name that is none', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-port-'));
  undo.push(() => rmSync(folder, { recursive: true, force: true }));
  const file = join(folder, 'file');
  writeFileSync(file, '');
  const link = join(folder, 'link');
  symlinkSync(file, link);
  const socket = join(folder, 'socket');
  const listening = createServer().listen(socket);
  await once(listening, 'listening');
  undo.push(() => void listening.close());
  for (const path of [file, folder, link, socket]) expect((await connect(path)).result).toMatchObject({ ok: false, code: 'not-a-port' });
  for (const path of ['', 'a\0b', join(file, 'below')]) expect((await connect(path)).result).toMatchObject({ ok: false });
  const pty = await serve();
  const device = join(folder, 'device');
  symlinkSync(pty.path, device);
  benchOf(await connect(device));
});

// As root everything may be opened, so the texts of the operating system stand in for it. Source: strerror(3) of glibc
// and the error texts of @serialport/bindings-cpp 13 for Linux, macOS and Windows.
test.each([
  ['Error: Permission denied, cannot open /dev/ttyUSB0', 'permission'],
  ['Error: Device or resource busy, cannot open /dev/ttyUSB0', 'busy'],
  ['Error Resource temporarily unavailable Cannot lock port', 'busy'],
  ['Opening COM7: Access denied', 'busy'],
  ['Opening COM7: File not found', 'absent'],
  ['Error: No such file or directory, cannot open /dev/ttyUSB0', 'absent'],
  ['Error: Inappropriate ioctl for device setting custom baud rate of 115200', 'not-a-port'],
  ['Error: Input/output error, cannot open /dev/ttyUSB0', 'failed'],
] as const)('"%s" is told as %s, with what to do', (message, code) => {
  const failure = explainOpenFailure('/dev/ttyUSB0', message);
  expect(failure.code).toBe(code);
  expect(failure.text).toContain('/dev/ttyUSB0');
  expect(failure.text.split('. ').length).toBeGreaterThanOrEqual(2);
});

test.skipIf(process.platform === 'win32')('a port that vanishes is told, requests end, and the bench is found under the name with which it comes back', async () => {
  const first = await serve();
  const adapter = { vendorId: '1209', productId: '0001' };
  let ports: PortInfo[] = [{ path: first.path, ...adapter }];
  const connected = await connect(first.path, () => Promise.resolve(ports));
  const bench = benchOf(connected);
  const stranger = await serve({ seed: 3 });
  const elsewhere = await serve();
  ports = [];
  first.close();
  await until(() => connected.events.length > 0);
  expect(connected.events[0]?.state).toBe('down');
  expect(await bench.perform({ kind: 'arm' })).toMatchObject({ kind: 'no-answer' });
  // A port of another kind is not spoken to; one of the same kind with another bench is left alone.
  ports = [{ path: '/dev/ttyS0' }, { path: stranger.path, ...adapter }, { path: elsewhere.path, ...adapter }];
  await until(() => connected.events.at(-1)?.state === 'up');
  expect(bench.link).toContain(elsewhere.path);
  expect(bench.identity.serialNumber).toBe('SIM-0001');
});

/** A terminal with a bench behind it that hears nothing any more after `stopReading`; the terminal's own side is full then. */
async function deafBench() {
  const { open } = (await import('@lydell/node-pty')) as unknown as { readonly open: (options: object) => { readonly ptsName: string; readonly fd: number; readonly master: ReadStream; readonly slave: ReadStream } };
  const terminal = open({ cols: 80, rows: 25, encoding: null });
  terminal.slave.pause();
  const other = openSync(terminal.ptsName, constants.O_RDWR | constants.O_NOCTTY | constants.O_NONBLOCK);
  terminal.slave.destroy();
  spawnSync('stty', ['-F', terminal.ptsName, 'raw', '-echo']);
  const bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1 }), clock);
  const heard: string[] = [];
  terminal.master.on('data', (bytes: Buffer) => {
    heard.push(bytes.toString('latin1'));
    bench.receive(bytes);
  });
  bench.attach((bytes) => {
    tryWrite(terminal.fd, bytes);
  });
  undo.push(() => {
    bench.switchOff();
    terminal.master.destroy();
    closeSync(other);
  });
  return {
    path: terminal.ptsName,
    bench,
    say: (bytes: Uint8Array) => tryWrite(terminal.fd, bytes),
    heard: () => heard.join(''),
    stopReading: () => {
      terminal.master.pause();
      // The stream may have had a reading under way, which takes some of it.
      for (let full = 0; full < 3; full += 1) while (tryWrite(other, Buffer.from(`${'x'.repeat(63)}\n`)) > 0);
    },
    readAgain: () => {
      heard.length = 0;
      terminal.master.resume();
    },
  };
}

/** How many bytes the system took at once. */
function tryWrite(file: number, bytes: Uint8Array): number {
  try {
    return writeSync(file, bytes);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EAGAIN') return 0;
    throw error;
  }
}

describe.skipIf(process.platform !== 'linux')('HOST-30 a port that takes nothing', () => {
  test('is a lost link although telemetry still comes, and what was said meanwhile is not said later', async () => {
    const far = await deafBench();
    const connected = await connect(far.path, undefined, 1000);
    const bench = benchOf(connected);
    await bench.perform({ kind: 'arm' });
    far.stopReading();
    await wait(clock, 50);
    far.stopReading();
    const supply = bench.perform({ kind: 'set-supply', supply: volts(11) });
    await until(() => connected.events.length > 0);
    expect(connected.events[0]).toMatchObject({ state: 'down', reason: expect.stringContaining('is not said later; the controller hears nothing now. What is left is the watchdog of its controller') as string });
    expect(await supply).toMatchObject({ kind: 'no-answer' });
    // Only now does it hear again.
    const frames = connected.frames.length;
    expect(frames).toBeGreaterThan(0);
    far.readAgain();
    await until(() => connected.events.at(-1)?.state === 'up');
    expect(far.heard()).toContain('x'.repeat(63));
    expect(far.heard()).toContain(' hello ');
    expect(far.heard().slice(0, far.heard().indexOf(' hello '))).not.toMatch(/alive|supply/);
    expect(far.heard()).not.toContain('supply mv=11000');
    await until(() => connected.frames.at(-1)?.armed === false && connected.frames.at(-1)?.fault?.code === 'dead-man');
  });

  test('also one that has taken a line and does not let it leave: it is thrown away before the port is closed, with all behind it', async () => {
    const far = await deafBench();
    const said: string[] = [];
    const port = vi.spyOn(SerialPort.prototype, 'write').mockImplementation(function (this: SerialPort, bytes: Uint8Array, taken: (error: Error | null) => void) {
      said.push(Buffer.from(bytes).toString('latin1'));
      taken(null);
      return true;
    } as never);
    const drain = vi.spyOn(SerialPort.prototype, 'drain').mockImplementation(() => undefined);
    const flush = vi.spyOn(SerialPort.prototype, 'flush');
    const close = vi.spyOn(SerialPort.prototype, 'close');
    undo.push(() => void vi.restoreAllMocks());
    const channel = new SerialChannel(far.path, clock);
    let why = '';
    expect(await channel.open({ onBytes: () => undefined, onClosed: (reason) => (why = reason) })).toEqual({ ok: true });
    for (const line of ['one', 'two', 'three']) channel.write(Buffer.from(`${line}\n`));
    await until(() => why !== '' && close.mock.calls.length > 0);
    expect(said).toEqual(['one\n']);
    expect(drain).toHaveBeenCalledTimes(1);
    expect(flush.mock.invocationCallOrder[0]).toBeLessThan(close.mock.invocationCallOrder[0] ?? 0);
    expect(port).toHaveBeenCalledTimes(1);
    channel.write(Buffer.from('four\n'));
    expect(port).toHaveBeenCalledTimes(1);
  });

  test('lines leave in the order in which they were said, also the last before the close', async () => {
    const far = await deafBench();
    const channel = new SerialChannel(far.path, clock);
    await channel.open({ onBytes: () => undefined, onClosed: () => undefined });
    for (let i = 0; i < 20; i += 1) channel.write(Buffer.from(`line ${i}\n`));
    await until(() => far.heard().includes('line 19'));
    expect(far.heard().trimEnd().split('\n')).toEqual(Array.from({ length: 20 }, (_, i) => `line ${i}`));
    channel.write(Buffer.from('last\n'));
    await channel.close();
    await until(() => far.heard().includes('last'));
  });
});

test.skipIf(process.platform !== 'linux')('HOST-31 a port that says more than any controller is read at a bounded rate, and again as ever afterwards', async () => {
  const far = await deafBench();
  far.bench.switchOff();
  const channel = new SerialChannel(far.path, clock);
  undo.push(() => channel.close());
  let heard = 0;
  let latest = '';
  await channel.open({
    onBytes: (bytes) => {
      heard += bytes.length;
      latest = (latest + Buffer.from(bytes).toString('latin1')).slice(-16);
    },
    onClosed: () => undefined,
  });
  const junk = Buffer.alloc(65_536, 'y');
  const began = clock.now();
  let offered = 0;
  while (offered < 4e6 && clock.now() - began < 2000) {
    offered += far.say(junk);
    await new Promise((resolve) => setImmediate(resolve));
  }
  const s = (clock.now() - began) / 1000;
  expect(heard / s).toBeLessThan(800_000);
  expect(heard).toBeGreaterThan(8192);
  // It goes on where it was, once nothing is left of the flood.
  await until(() => far.say(Buffer.from('END')) === 3);
  await until(() => latest.endsWith('END'));
});

test.skipIf(process.platform === 'win32')('an outside program that lists ports and fails or hangs is no hindrance', async () => {
  const pty = await serve();
  benchOf(await connect(pty.path, () => Promise.reject(new Error('udevadm is missing'))));
  await undo.pop()?.();
  benchOf(await connect(pty.path, () => new Promise(() => undefined)));
});

test.skipIf(process.platform === 'win32')('a host that stood still for longer than a silence allows reads what waits before it judges', async () => {
  const pty = await serve();
  const connected = await connect(pty.path);
  benchOf(connected);
  await until(() => connected.frames.length > 20);
  const standStill = performance.now() + 1500;
  while (performance.now() < standStill);
  await until(() => (connected.frames.at(-1)?.number ?? 0) > 100);
  expect(connected.events).toEqual([]);
});

/**
 * A port of which the test says what the system does with it, on a clock that jumps. /dev/null is a device, so it may be opened
 * as far as the name goes; nothing is opened.
 */
function portInHand({ opens = true, path = '/dev/null' }: { readonly opens?: boolean; readonly path?: string } = {}) {
  const jumping = new VirtualClock(0);
  let open = false;
  const ports: SerialPort[] = [];
  let answerOpen: (error: Error | null) => void = () => undefined;
  let leave: () => void = () => undefined;
  const did: string[] = [];
  const failing = { write: null as Error | null, close: false };
  undo.push(() => jumping.stop(), () => void vi.restoreAllMocks());
  vi.spyOn(SerialPort.prototype, 'open').mockImplementation(function (this: SerialPort, done: (error: Error | null) => void) {
    ports.push(this);
    Object.defineProperty(this, 'isOpen', { get: () => open });
    answerOpen = (error) => {
      open = error === null;
      done(error);
    };
    if (opens) answerOpen(null);
  } as never);
  vi.spyOn(SerialPort.prototype, 'write').mockImplementation(((bytes: Uint8Array, taken: (error: Error | null) => void) => {
    did.push(`write ${Buffer.from(bytes).toString('latin1').trimEnd()}`);
    taken(failing.write);
    return true;
  }) as never);
  const drained = vi.spyOn(SerialPort.prototype, 'drain').mockImplementation(((left: () => void) => {
    leave = left;
  }) as never);
  vi.spyOn(SerialPort.prototype, 'flush').mockImplementation(((done: () => void) => {
    did.push('flush');
    done();
  }) as never);
  vi.spyOn(SerialPort.prototype, 'close').mockImplementation(((done: () => void) => {
    did.push(`close at ${jumping.now()}`);
    if (failing.close) return;
    open = false;
    done();
  }) as never);
  const channel = new SerialChannel(path, jumping);
  const closed: string[] = [];
  const heard: string[] = [];
  return {
    clock: jumping,
    channel,
    did,
    closed,
    failing,
    drained,
    heard,
    opened: channel.open({ onBytes: (bytes) => heard.push(Buffer.from(bytes).toString('latin1')), onClosed: (reason) => closed.push(reason) }),
    ports,
    answerOpen: (error: Error | null) => { answerOpen(error); },
    leave: () => { leave(); },
    unplug: () => { open = false; },
  };
}

describe.skipIf(process.platform === 'win32')('a port on which the system takes its time', () => {
  test('that does not open is told after so many seconds as the words say; one that opens later all the same is closed again', async () => {
    const { opened, clock: at, answerOpen, did } = portInHand({ opens: false });
    const result = await opened;
    expect(result).toMatchObject({ ok: false, code: 'failed' });
    if (!result.ok) expect(Number(/within ([\d.]+) s/.exec(result.text)?.[1]) * 1000).toBe(at.now());
    expect(did).toEqual([]);
    // Else it is held by nobody, and no other program and no second try gets it.
    answerOpen(null);
    expect(did).toEqual([`close at ${at.now()}`]);
  });

  test('that is refused after nobody waits for it any more is not open, so it is not closed', async () => {
    const { opened, answerOpen, did } = portInHand({ opens: false });
    await opened;
    answerOpen(new Error('Error: Permission denied, cannot open /dev/null'));
    expect(did).toEqual([]);
  });

  test('that fails to open is told with what the system says, and takes nothing', async () => {
    const { opened, answerOpen, did, channel, clock: at } = portInHand({ opens: false });
    answerOpen(new Error('Error: Permission denied, cannot open /dev/null'));
    expect(await opened).toMatchObject({ ok: false, code: 'permission' });
    channel.write(Buffer.from('said\n'));
    await channel.close();
    expect([did, at.now()]).toEqual([[], 0]);
  });

  test('is closed at once where nothing waits to leave', async () => {
    const { opened, channel, did, leave } = portInHand();
    await opened;
    channel.write(Buffer.from('said\n'));
    leave();
    await channel.close();
    expect(did).toEqual(['write said', 'close at 0']);
  });

  test('is closed as soon as its last line has left, which then is not taken back', async () => {
    const { opened, channel, did, leave, clock: at } = portInHand();
    await opened;
    channel.write(Buffer.from('last\n'));
    at.after(35, leave);
    await channel.close();
    expect(did).toEqual(['write last', `close at ${at.now()}`]);
    expect(at.now()).toBeGreaterThanOrEqual(35);
    expect(at.now()).toBeLessThan(70);
  });

  test('HOST-30 whose last line does not leave is closed all the same, and the line is taken back first', async () => {
    const { opened, channel, did, clock: at } = portInHand();
    await opened;
    channel.write(Buffer.from('last\n'));
    await channel.close();
    expect(did).toEqual(['write last', 'flush', `close at ${at.now()}`]);
    expect(at.now()).toBeGreaterThan(0);
    // And before the half second is over after which that line would be a lost link: whoever closes a port does not wait for that verdict.
    expect(at.now()).toBe(100);
  });

  test('is closed within two seconds as far as anybody waits for it, also where the system never says that it did', async () => {
    const { opened, channel, failing, clock: at } = portInHand();
    await opened;
    failing.close = true;
    await channel.close();
    expect(at.now()).toBe(2000);
  });

  test('that is closed is not heard any more, tells nothing more, and may be closed again', async () => {
    const { opened, channel, ports: [port], closed, heard, did } = portInHand();
    await opened;
    port?.emit('data', Buffer.from('before'));
    await channel.close();
    port?.emit('data', Buffer.from('after'));
    port?.emit('close', null);
    port?.emit('error', new Error('EIO'));
    await channel.close();
    expect([heard, closed, did]).toEqual([['before'], [], ['close at 0']]);
  });

  test('that goes away is told once, with why if the system says why', async () => {
    const told = async (event: string, error: Error | null): Promise<readonly string[]> => {
      const { opened, ports: [port], closed } = portInHand();
      await opened;
      port?.emit(event, error);
      port?.emit('close', null);
      vi.restoreAllMocks();
      return closed;
    };
    expect(await told('close', new Error('bad file descriptor'))).toEqual([expect.stringContaining('/dev/null went away (bad file descriptor)')]);
    expect(await told('error', new Error('EIO'))).toEqual([expect.stringContaining('/dev/null went away (EIO)')]);
    expect(await told('close', null)).toEqual([expect.stringContaining('/dev/null went away (closed by the operating system)')]);
  });

  test('HOST-30 of which the cable is pulled while a line leaves says nothing more into it', async () => {
    const { opened, channel, did, unplug, leave } = portInHand();
    await opened;
    for (const line of ['one', 'two']) channel.write(Buffer.from(`${line}\n`));
    unplug();
    leave();
    expect(did).toEqual(['write one']);
  });

  test('HOST-30 of which the cable is pulled while the system takes a line is not asked when that will have left', async () => {
    const { opened, channel, unplug, drained } = portInHand();
    await opened;
    unplug();
    channel.write(Buffer.from('one\n'));
    expect(drained).not.toHaveBeenCalled();
  });

  test('lets 4096 bytes wait behind the line that is on its way, and drops a line that would be more', async () => {
    const { opened, channel, did, leave } = portInHand();
    await opened;
    channel.write(Buffer.from('first\n'));
    for (const line of ['a', 'b']) channel.write(Buffer.from(line.repeat(2048)));
    channel.write(Buffer.from('c'));
    for (let i = 0; i < 4; i += 1) leave();
    expect(did.map((line) => line.slice(0, 8))).toEqual(['write fi', 'write aa', 'write bb']);
    // What was dropped leaves no place taken.
    channel.write(Buffer.from('d\n'));
    expect(did.at(-1)).toBe('write d');
  });

  test('that goes away while it is being closed is not waited for, nor closed', async () => {
    const { opened, channel, did, unplug, clock: at } = portInHand();
    await opened;
    channel.write(Buffer.from('last\n'));
    at.after(25, unplug);
    await channel.close();
    expect(at.now()).toBeLessThan(50);
    expect(did).toEqual(['write last']);
  });

  test('HOST-30 on which writing failed is a lost link 0.6 s later, and what waits behind that line is not said', async () => {
    const { opened, channel, did, closed, failing, leave, clock: at } = portInHand();
    await opened;
    failing.write = new Error('EIO');
    for (const line of ['one', 'two']) channel.write(Buffer.from(`${line}\n`));
    leave();
    await wait(at, 599);
    expect(closed).toEqual([]);
    await wait(at, 2);
    expect(closed).toEqual([expect.stringContaining('within 0.6 s')]);
    expect(did).toEqual(['write one', 'close at 600']);
  });

  test('HOST-31 is read no further after two readings in 20 ms (400 kB/s) until these are over, and below that nothing is held back', async () => {
    const { opened, ports: [port], clock: at } = portInHand();
    await opened;
    if (port === undefined) throw new Error('no port');
    const read = (bytes: number): boolean => {
      port.emit('data', Buffer.alloc(bytes));
      return port.isPaused();
    };
    // A reading is 4096 bytes at the most; a third would be half as much again.
    expect([read(4096), read(4095), read(1)]).toEqual([false, false, true]);
    await wait(at, 19);
    expect(port.isPaused()).toBe(true);
    await wait(at, 1);
    expect(port.isPaused()).toBe(false);
    expect([read(4096), read(4096)]).toEqual([false, true]);
  });

  test('HOST-31 has its 20 ms counted from the first reading in them, whatever comes meanwhile', async () => {
    const { opened, ports: [port], clock: at } = portInHand();
    await opened;
    port?.emit('data', Buffer.alloc(1));
    await wait(at, 10);
    port?.emit('data', Buffer.alloc(1));
    await wait(at, 11);
    port?.emit('data', Buffer.alloc(4096));
    await wait(at, 15);
    port?.emit('data', Buffer.alloc(4096));
    expect(port?.isPaused()).toBe(true);
  });
});

/** A system of another name, as far as the program asks for it. */
function onWindows(): void {
  const there = Object.getOwnPropertyDescriptor(process, 'platform') as PropertyDescriptor;
  undo.push(() => void Object.defineProperty(process, 'platform', there));
  Object.defineProperty(process, 'platform', { ...there, value: 'win32' });
}

describe('HOST-8 on Windows', () => {
  test.each(['COM1', 'com12', 'COM256', String.raw`\\.\COM10`])('%s is the name of a port, and is opened', async (path) => {
    onWindows();
    const { opened, ports } = portInHand({ path });
    expect(await opened).toEqual({ ok: true });
    expect(ports.map((port) => port.path)).toEqual([path]);
  });

  test.each(['', 'COM', 'COM1234', 'COMX', 'XCOM1', 'COM1 ', 'COM1:', String.raw`C:\COM1`, String.raw`\\.\C:`, 'NUL', 'run.sqlite'])('"%s" is none, so it is not opened', async (path) => {
    onWindows();
    const { opened, ports } = portInHand({ path });
    expect(await opened).toMatchObject({ ok: false, code: 'not-a-port' });
    expect(ports).toEqual([]);
  });
});
