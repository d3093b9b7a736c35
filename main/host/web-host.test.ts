import { request as httpRequest } from 'node:http';
import { connect } from 'node:net';
import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { WebSocket } from 'ws';
import { toWindow, type ToWindow } from '../../app/contract/contract.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { archiveFolder, removeFolder, testHost, type TestHost } from './host.test-helper.ts';
import { serveOnLoopback, type WebHost } from './web-host.ts';

let folder: string;
let windowFolder: string;
let house: TestHost;
let web: WebHost;
/** A slow machine may take longer over a test than a window may be silent. */
const pingMs = 60_000;

beforeEach(async () => {
  folder = archiveFolder();
  windowFolder = join(folder, 'window');
  mkdirSync(join(windowFolder, 'assets'), { recursive: true });
  writeFileSync(join(windowFolder, 'index.html'), '<!doctype html><title>window</title>');
  writeFileSync(join(windowFolder, 'assets', 'main-1a2b.js'), 'console.log(1)');
  writeFileSync(join(folder, 'secret.txt'), 'secret');
  // There a link takes a right of its own.
  if (process.platform !== 'win32') symlinkSync(join(folder, 'secret.txt'), join(windowFolder, 'linked.txt'));
  house = testHost(folder);
  const served = await serveOnLoopback({ host: house.host, clock: machineClock, entropy: machineEntropy, windowFolder, port: 0, pingMs });
  if (!served.ok) throw new Error(served.text);
  web = served.web;
});

afterEach(async () => {
  await web.close();
  await house.end();
  removeFolder(folder);
});

interface Answer {
  readonly status: number;
  readonly headers: Readonly<Record<string, string | string[] | undefined>>;
  readonly body: string;
}

/** The path goes out as it is: fetch and URL would tidy it up first. */
function get(path: string, more: { readonly method?: string; readonly headers?: Record<string, string> } = {}): Promise<Answer> {
  return new Promise((resolve, reject) => {
    const request = httpRequest({ host: '127.0.0.1', port: web.port, path, method: more.method ?? 'GET', ...(more.headers ? { headers: more.headers } : {}) }, (response) => {
      const pieces: Buffer[] = [];
      response.on('data', (piece: Buffer) => pieces.push(piece));
      response.on('end', () => resolve({ status: response.statusCode ?? 0, headers: response.headers, body: Buffer.concat(pieces).toString() }));
    });
    request.on('error', reject);
    request.end();
  });
}

interface Dial {
  readonly path?: string;
  readonly token?: string;
  readonly origin?: string;
  readonly host?: string;
}

const dial = ({ path = '/host', token = web.token, origin = `http://127.0.0.1:${web.port}`, host }: Dial = {}): WebSocket =>
  new WebSocket(`ws://127.0.0.1:${web.port}${path}?token=${encodeURIComponent(token)}`, {
    ...(origin === '' ? {} : { origin }),
    ...(host === undefined ? {} : { headers: { host } }),
  });

/** The status of a refused upgrade, or 101. */
function upgraded(to: Dial): Promise<number> {
  return new Promise((resolve) => {
    const socket = dial(to);
    socket.on('open', () => {
      socket.terminate();
      resolve(101);
    });
    socket.on('unexpected-response', (_request, response) => {
      socket.terminate();
      resolve(response.statusCode ?? 0);
    });
    socket.on('error', () => undefined);
  });
}

function open(): Promise<{ socket: WebSocket; heard: ToWindow[]; closed: Promise<number> }> {
  return new Promise((resolve, reject) => {
    const socket = dial();
    const heard: ToWindow[] = [];
    const closed = new Promise<number>((ended) => socket.on('close', ended));
    socket.on('message', (data: Buffer) => heard.push(toWindow.parse(JSON.parse(data.toString()))));
    socket.on('open', () => resolve({ socket, heard, closed }));
    socket.on('error', reject);
  });
}

const until = async (condition: () => boolean): Promise<void> => {
  while (!condition()) await new Promise((resolve) => setTimeout(resolve, 10));
};

describe('files', () => {
  test('the page comes with a policy without inline code and eval, and is not kept; hashed files are', async () => {
    const page = await get('/?token=whatever');
    expect(page).toMatchObject({ status: 200, body: '<!doctype html><title>window</title>' });
    const policy = String(page.headers['content-security-policy']);
    expect(policy).toContain("default-src 'none'");
    expect(policy).toContain("script-src 'self'");
    expect(policy).toContain("frame-ancestors 'none'");
    expect(policy).not.toMatch(/unsafe|\*|https?:|blob:/);
    expect(page.headers).toMatchObject({
      'x-content-type-options': 'nosniff', 'x-frame-options': 'DENY', 'referrer-policy': 'no-referrer', 'cross-origin-resource-policy': 'same-origin', 'cache-control': 'no-store',
    });
    expect(page.headers['access-control-allow-origin']).toBeUndefined();
    const script = await get('/assets/main-1a2b.js');
    expect(script.headers).toMatchObject({ 'content-type': 'text/javascript; charset=utf-8', 'x-content-type-options': 'nosniff' });
    expect(script.headers['cache-control']).toContain('immutable');
  });

  test.each([
    '/../secret.txt', '/assets/../../secret.txt', '/%2e%2e/secret.txt', '/..%2fsecret.txt', '/..%5csecret.txt', '/..\\secret.txt', '//etc/passwd', '/./../secret.txt',
    '/assets/%2e%2e%2f%2e%2e%2fsecret.txt', '/linked.txt', '/index.html%00.js', '/assets', '/assets/', '/.git/config', 'http://127.0.0.1/../secret.txt', '/....//secret.txt',
  ])('%s leads nowhere', async (path) => {
    const answer = await get(path);
    expect([400, 404]).toContain(answer.status);
    expect(answer.body).not.toContain('secret\n');
    expect(answer.body).not.toBe('secret');
  });

  test('only reading is possible', async () => {
    for (const method of ['POST', 'PUT', 'DELETE', 'OPTIONS', 'PATCH']) expect((await get('/', { method })).status).toBe(405);
    expect(await get('/', { method: 'HEAD' })).toMatchObject({ status: 200, body: '' });
  });

  test('a window that has not been built is said so', async () => {
    removeFolder(windowFolder);
    expect(await get('/')).toMatchObject({ status: 503, body: expect.stringContaining('npm run build') as string });
  });
});

describe('who is let in', () => {
  test('nobody under another name: a name that was pointed at this address is not served', async () => {
    for (const host of ['evil.example', `evil.example:${web.port}`, '127.0.0.1', `127.0.0.1:${web.port + 1}`, `127.0.0.1.evil.example:${web.port}`, `localhost:${web.port}.evil.example`]) {
      expect((await get('/', { headers: { host } })).status).toBe(421);
      expect(await upgraded({ host })).toBe(421);
    }
    expect((await get('/', { headers: { host: `localhost:${web.port}` } })).status).toBe(200);
  });

  test('no page of another origin, and nobody who names none', async () => {
    for (const origin of ['http://evil.example', 'null', '', `https://127.0.0.1:${web.port}`, `http://127.0.0.1:${web.port + 1}`, 'http://127.0.0.1', `http://localhost:${web.port}.evil.example`, 'file://']) {
      expect(await upgraded({ origin })).toBe(403);
    }
    expect(await upgraded({ origin: `http://localhost:${web.port}` })).toBe(101);
  });

  test('nobody without the token that was printed', async () => {
    for (const token of ['', 'x', web.token.slice(1), `${web.token}x`, web.token.toLowerCase()]) expect(await upgraded({ token })).toBe(403);
    expect(await upgraded({})).toBe(101);
    expect(new URL(web.address).searchParams.get('token')).toBe(web.token);
    expect(web.token.length).toBeGreaterThanOrEqual(32);
  });

  test('no other path', async () => {
    for (const path of ['/', '/host/', '/hosts', '/%68ost']) expect(await upgraded({ path })).toBe(404);
  });

  test('the server listens on the loopback interface only', async () => {
    const { networkInterfaces } = await import('node:os');
    const others = Object.values(networkInterfaces()).flatMap((all) => all ?? []).filter((one) => !one.internal && one.family === 'IPv4');
    for (const { address } of others) {
      await expect(new Promise((resolve, reject) => {
        const socket = connect({ host: address, port: web.port }, () => resolve('connected'));
        socket.on('error', reject);
      })).rejects.toThrow(/ECONNREFUSED/);
    }
  });

  test('a port that is taken is a sentence', async () => {
    expect(await serveOnLoopback({ host: house.host, clock: machineClock, entropy: machineEntropy, windowFolder, port: web.port })).toMatchObject({ ok: false, text: expect.stringContaining(`port ${web.port}`) as string });
  });
});

describe('the line to a window', () => {
  test('carries requests, replies and events', async () => {
    const { socket, heard } = await open();
    socket.send(JSON.stringify({ id: 1, name: 'hello', params: { name: 'browser' } }));
    socket.send(JSON.stringify({ id: 2, name: 'bench.connect', params: { bench: { kind: 'simulated', speed: 20 } } }));
    await until(() => heard.some((m) => 'event' in m && m.event === 'frames'));
    expect(heard.find((m) => 'id' in m && m.id === 2)).toMatchObject({ result: { state: 'connected' } });
    socket.close();
  });

  test.each([
    ['not JSON', 'stop!', 1007],
    ['bytes', Buffer.from('{"id":1,"name":"stop","params":{}}'), 1003],
    ['a message over the limit', JSON.stringify({ id: 1, name: 'hello', params: { name: 'x'.repeat(5 * 2 ** 20) } }), 1006],
  ])('is ended by %s', async (_what, message, code) => {
    const { socket, closed } = await open();
    socket.on('error', () => undefined);
    socket.send(message);
    expect([code, 1009]).toContain(await closed);
  });

  test('a window that does not read loses frames, and no event of a journal', async () => {
    const { socket, heard } = await open();
    socket.send(JSON.stringify({ id: 1, name: 'hello', params: { name: 'slow' } }));
    socket.send(JSON.stringify({ id: 2, name: 'bench.connect', params: { bench: { kind: 'simulated', speed: 50 } } }));
    await until(() => heard.some((m) => 'id' in m && m.id === 2));
    // The socket is not read; what the operating system does not take any more lies with the host.
    socket.pause();
    const witness = await house.window('witness');
    await witness.get('control.take', {});
    const { readSample } = await import('../samples/samples.test-helper.ts');
    const plan = { ...(readSample('small-plan') as object), link: { telemetryHz: 200 } };
    const { id } = await witness.get('run.open', { document: plan, operator: 'O' });
    await witness.get('run.command', { id, command: { kind: 'start' }, by: 'O', commandId: 'c1' });
    await witness.until('run.status', ({ status }) => status.mode === 'ended');
    // More than the buffers of any operating system hold.
    const told = (): number => witness.of('frames').reduce((sum, { frames }) => sum + frames.length, 0);
    await until(() => told() > 40_000);
    const before = told();
    const events = witness.of('run.events').length;
    socket.resume();
    const of = (name: string): number => heard.filter((m) => 'event' in m && m.event === name).length;
    // The reply stands behind everything that was kept for this window.
    socket.send(JSON.stringify({ id: 9, name: 'bench.ports', params: {} }));
    await until(() => heard.some((m) => 'id' in m && m.id === 9));
    expect(of('run.events')).toBe(events);
    const got = heard.reduce((sum, m) => sum + ('event' in m && m.event === 'frames' ? (m.data as { frames: unknown[] }).frames.length : 0), 0);
    expect(got).toBeLessThan(before);
    socket.close();
  });

  test('a window that is gone is noticed and gives up control', async () => {
    const { socket, heard } = await open();
    socket.send(JSON.stringify({ id: 1, name: 'hello', params: { name: 'browser' } }));
    await until(() => heard.length > 0);
    const witness = await house.window('witness');
    socket.terminate();
    expect(await witness.until('control', (c) => c.holder === null)).toMatchObject({ windows: 1 });
  });

  test('so is one whose machine has gone without a word: it answers no ping', async () => {
    const impatient = await serveOnLoopback({ host: house.host, clock: machineClock, entropy: machineEntropy, windowFolder, port: 0, pingMs: 20 });
    if (!impatient.ok) throw new Error(impatient.text);
    const { port, token } = impatient.web;
    const socket = new WebSocket(`ws://127.0.0.1:${port}/host?token=${token}`, { origin: `http://127.0.0.1:${port}`, autoPong: false });
    const code = await new Promise<number>((resolve) => socket.on('close', resolve));
    expect(code).toBe(1006);
    await impatient.web.close();
  });
});

describe('a browser is opened', () => {
  const query = (address: string): string => `/${new URL(address).search}`;

  test('HOST-106 at a code that is answered once with the way there, and never again', async () => {
    const address = web.addressOnce();
    expect(address).not.toContain(web.token);
    expect(await get('/?once=guessed')).toMatchObject({ status: 200 });
    const answer = await get(query(address));
    expect(answer).toMatchObject({ status: 302, headers: { location: `/?token=${web.token}`, 'cache-control': 'no-store', 'referrer-policy': 'no-referrer' } });
    expect(await get(query(address))).toMatchObject({ status: 200 });
    const [older, newer] = [web.addressOnce(), web.addressOnce()];
    expect(await get(query(older))).toMatchObject({ status: 200 });
    expect(await get(query(newer))).toMatchObject({ status: 302 });
  });

  test('HOST-106 a code counts for a minute', async () => {
    let now = 0;
    const served = await serveOnLoopback({ host: house.host, clock: clockOf(() => now), entropy: machineEntropy, windowFolder, port: 0, pingMs });
    if (!served.ok) throw new Error(served.text);
    try {
      const answerAfter = async (ms: number): Promise<Response> => {
        const address = served.web.addressOnce();
        now += ms;
        return fetch(address, { redirect: 'manual' });
      };
      expect((await answerAfter(60_000)).status).toBe(302);
      expect((await answerAfter(60_001)).status).toBe(200);
    } finally {
      await served.web.close();
    }
  });
});

const clockOf = (now: () => number): typeof machineClock => Object.assign(Object.create(machineClock) as typeof machineClock, { now });

describe('HOST-107 the address of the last start', () => {
  test('its key is taken on, and a window is told whether its own is that', async () => {
    const served = await serveOnLoopback({ host: house.host, clock: machineClock, entropy: machineEntropy, windowFolder, port: 0, token: 'k'.repeat(32), pingMs });
    if (!served.ok) throw new Error(served.text);
    expect(served.web.address).toContain('k'.repeat(32));
    expect((await fetch(new URL(`/key?token=${'k'.repeat(32)}`, served.web.address))).status).toBe(204);
    await served.web.close();
    expect(await get(`/key?token=${web.token}`)).toMatchObject({ status: 204, body: '' });
    for (const path of ['/key', '/key?token=', `/key?token=${web.token}x`, `/key?token=${'k'.repeat(32)}`]) expect(await get(path)).toMatchObject({ status: 403 });
  });

  test('where another has the port it is one of the next, if that is wanted', async () => {
    const served = await serveOnLoopback({ host: house.host, clock: machineClock, entropy: machineEntropy, windowFolder, port: web.port, orNextPort: true, pingMs });
    if (!served.ok) throw new Error(served.text);
    expect(served.web.port).not.toBe(web.port);
    expect((await fetch(served.web.address)).status).toBe(200);
    await served.web.close();
  });
});

describe('small attacks', () => {
  /** What comes back for bytes as they are. */
  function raw(text: string): Promise<string> {
    return new Promise((resolve, reject) => {
      const socket = connect(web.port, '127.0.0.1');
      let said = '';
      socket.on('data', (bytes: Buffer) => void (said += bytes.toString()));
      socket.on('error', reject);
      socket.on('close', () => resolve(said));
      socket.end(text);
    });
  }

  const opens = (socket: WebSocket): Promise<boolean> =>
    new Promise((resolve) => {
      socket.on('open', () => resolve(true));
      socket.on('error', () => resolve(false));
    });

  test('HOST-12 connections that say nothing keep no window out, and no window that is there', async () => {
    const first = dial();
    expect(await opens(first)).toBe(true);
    const silent = await Promise.all(
      Array.from({ length: 300 }, async () => {
        const socket = connect(web.port, '127.0.0.1');
        socket.on('error', () => undefined);
        await new Promise((resolve) => socket.on('connect', resolve));
        return socket;
      }),
    );
    try {
      expect((await get('/')).status).toBe(200);
      const second = dial();
      expect(await opens(second)).toBe(true);
      expect(first.readyState).toBe(first.OPEN);
      second.terminate();
    } finally {
      for (const socket of silent) socket.destroy();
      first.terminate();
    }
  });

  test('HOST-13 a request that names two hosts is refused, a page and a line alike', async () => {
    const hosts = `host: 127.0.0.1:${web.port}\r\nHost: evil.example\r\n`;
    expect(await raw(`GET / HTTP/1.1\r\n${hosts}\r\n`)).toMatch(/^HTTP\/1\.1 400 /);
    expect(
      await raw(`GET /host?token=${web.token} HTTP/1.1\r\n${hosts}origin: http://127.0.0.1:${web.port}\r\nconnection: upgrade\r\nupgrade: websocket\r\nsec-websocket-version: 13\r\nsec-websocket-key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n`),
    ).toMatch(/^HTTP\/1\.1 400 /);
  });

  test.each([['[', ']'], ['{"a":', '}']])('HOST-13 JSON that is nested deeper than any message closes the line: %s', async (open, shut) => {
    const nested = (depth: number): string => `{"id":1,"name":"plan.check","params":{"document":${open.repeat(depth)}0${shut.repeat(depth)}}}`;
    const socket = dial();
    expect(await opens(socket)).toBe(true);
    const answer = new Promise<ToWindow>((resolve) => socket.on('message', (data: Buffer) => resolve(toWindow.parse(JSON.parse(data.toString())))));
    // Brackets in a text are no nesting.
    socket.send(nested(20).replace('plan.check', `plan.check${'['.repeat(100)}\\"{`));
    expect(await answer).toMatchObject({ id: 1, failure: { code: 'bad-request' } });
    const closed = new Promise<number>((resolve) => socket.on('close', resolve));
    socket.send(nested(20_000));
    expect(await closed).toBe(1007);
    expect(house.defects).toEqual([]);
  });
});
