/**
 * The local web host: the built window over HTTP and the contract over a WebSocket, on the loopback interface only.
 *
 * Another page in the same browser can reach loopback addresses too. So every request must name this address as its host
 * (a name that an attacker's server resolves to 127.0.0.1 does not), a WebSocket must come from a page of this address, and
 * it must bring the token that was printed when the host was started. What a browser is opened at is a code that stands for the token once, because
 * every account of the machine can read with which words a program was started.
 */
import { createHash, timingSafeEqual } from 'node:crypto';
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo, Socket } from 'node:net';
import type { Duplex } from 'node:stream';
import { WebSocketServer, type WebSocket } from 'ws';
import type { Clock } from '../clock/clock.ts';
import { newSecret, type Entropy } from '../clock/entropy.ts';
import type { Host } from './host.ts';
import { securityHeaders, WindowFiles } from './window-files.ts';
import { windowLine } from './window-line.ts';

export interface WebHostOptions {
  readonly host: Host;
  readonly clock: Clock;
  /** Where the token comes from: nobody may be able to guess what it gives. */
  readonly entropy: Entropy;
  /** Folder of the built window. */
  readonly windowFolder: string;
  /** 0: any free one. */
  readonly port: number;
  /** Where that port is taken: one of the next, or any free one. */
  readonly orNextPort?: boolean;
  /** Of an earlier start, so that its windows come back by themselves; null and absent: a new one. */
  readonly token?: string | null;
  /** How often a window is asked whether it is still there; after three unanswered times it is not. */
  readonly pingMs?: number;
}

export interface WebHost {
  /** What a person opens; the token is in it. */
  readonly address: string;
  readonly port: number;
  readonly token: string;
  /** As `address`, without the token: it is answered once, within a minute, with the way there (HOST-106). */
  addressOnce(): string;
  close(): Promise<void>;
}

export type WebHostResult = { readonly ok: true; readonly web: WebHost } | { readonly ok: false; readonly text: string };

const LOOPBACK = '127.0.0.1';
/** Where the window connects its WebSocket to. */
const SOCKET_PATH = '/host';
/** Where a window asks whether its token is that of this start: a browser does not tell a page why its WebSocket was refused. */
const KEY_PATH = '/key';
const PORTS_TRIED = 20;
/** ms. A browser that starts cold on a slow machine. */
const ONCE_FOR_MS = 60_000;
/** A plan with every axis full stays far below this. */
const MAX_MESSAGE_BYTES = 4 * 2 ** 20;
const MOST_WINDOWS = 64;
/** Connections that are no windows (yet). One more, and the oldest of them goes: silent ones keep nobody out (HOST-12). */
const MOST_STRANGERS = 64;

/** Serves `host` until it is closed; a port that cannot be had is a typed failure. */
export async function serveOnLoopback(options: WebHostOptions): Promise<WebHostResult> {
  const server = createServer({ maxHeaderSize: 16_384, headersTimeout: 10_000, requestTimeout: 10_000, keepAliveTimeout: 5000, connectionsCheckingInterval: 2000 });
  const ports = options.orNextPort === true && options.port !== 0 ? [...Array.from({ length: PORTS_TRIED }, (_, i) => options.port + i).filter((port) => port <= 65_535), 0] : [options.port];
  let listening: string | null = null;
  for (const port of ports) {
    listening = await listen(server, port);
    if (listening === null) break;
  }
  if (listening !== null) return { ok: false, text: listening };
  const { port } = server.address() as AddressInfo;
  const serving = new Serving(server, port, options);
  return { ok: true, web: serving };
}

function listen(server: Server, port: number): Promise<string | null> {
  return new Promise((resolve) => {
    const refused = (error: NodeJS.ErrnoException): void => {
      const why = error.code === 'EADDRINUSE' ? 'another program uses it' : error.code === 'EACCES' ? 'this account may not use it' : error.message;
      resolve(`The window cannot be served on port ${port} of this machine, because ${why}. Choose another with --listen, or leave it out for that of the last start, or a free one.`);
    };
    server.once('error', refused);
    server.listen(port, LOOPBACK, () => {
      server.off('error', refused);
      resolve(null);
    });
  });
}

class Serving implements WebHost {
  readonly port: number;
  readonly token: string;
  readonly address: string;
  readonly #server: Server;
  readonly #host: Host;
  readonly #clock: Clock;
  readonly #files: WindowFiles;
  readonly #pingMs: number | undefined;
  readonly #sockets: WebSocketServer;
  readonly #names: ReadonlySet<string>;
  readonly #origins: ReadonlySet<string>;
  /** The oldest first. */
  readonly #strangers = new Set<Socket>();
  readonly #entropy: Entropy;
  /** Code, and until when it counts. */
  #once: { readonly code: string; readonly until: number } | null = null;

  constructor(server: Server, port: number, { host, clock, entropy, windowFolder, pingMs, token }: WebHostOptions) {
    this.port = port;
    this.token = token ?? newSecret(entropy);
    this.#entropy = entropy;
    this.address = `http://${LOOPBACK}:${port}/?token=${this.token}`;
    this.#server = server;
    this.#host = host;
    this.#clock = clock;
    this.#pingMs = pingMs;
    const names = [`${LOOPBACK}:${port}`, `localhost:${port}`];
    this.#names = new Set(names);
    this.#origins = new Set(names.map((name) => `http://${name}`));
    this.#files = new WindowFiles(windowFolder, securityHeaders(["'self'", ...names.map((name) => `ws://${name}`)].join(' ')));
    this.#sockets = new WebSocketServer({ noServer: true, maxPayload: MAX_MESSAGE_BYTES, perMessageDeflate: false });
    server.on('connection', (socket) => this.#greet(socket));
    server.on('request', (request, response) => this.#answer(request, response));
    server.on('upgrade', (request, socket, head) => this.#upgrade(request, socket, head));
    server.on('clientError', (_error, socket) => socket.destroy());
  }

  addressOnce(): string {
    this.#once = { code: newSecret(this.#entropy), until: this.#clock.now() + ONCE_FOR_MS };
    return `http://${LOOPBACK}:${this.port}/?once=${this.#once.code}`;
  }

  async close(): Promise<void> {
    for (const socket of this.#sockets.clients) socket.terminate();
    this.#sockets.close();
    const closed = new Promise((resolve) => this.#server.close(resolve));
    this.#server.closeAllConnections();
    await closed;
  }

  #greet(socket: Socket): void {
    this.#strangers.add(socket);
    socket.on('close', () => this.#strangers.delete(socket));
    for (const oldest of this.#strangers) {
      if (this.#strangers.size <= MOST_STRANGERS) break;
      this.#strangers.delete(oldest);
      oldest.destroy();
    }
  }

  #answer(request: IncomingMessage, response: ServerResponse): void {
    const refuse = (status: number, text: string): void => {
      response.writeHead(status, { ...securityHeaders("'none'"), 'content-type': 'text/plain; charset=utf-8', connection: 'close' }).end(`${text}\n`);
    };
    if (hostsNamed(request) > 1) {
      refuse(400, 'A request names one host.');
      return;
    }
    if (!this.#names.has(request.headers.host ?? '')) {
      refuse(421, 'This address is not served here. Open the address that the program printed.');
      return;
    }
    if (request.method !== 'GET' && request.method !== 'HEAD') {
      refuse(405, 'Only reading is possible here.');
      return;
    }
    const path = pathOf(request.url);
    if (path === null) {
      refuse(400, 'This is not an address.');
      return;
    }
    const given = new URL(request.url ?? '', `http://${LOOPBACK}`).searchParams;
    if (path === KEY_PATH) {
      if (!sameToken(given.get('token') ?? '', this.token)) refuse(403, 'This key is not that of this start.');
      else response.writeHead(204, { ...securityHeaders("'none'"), 'cache-control': 'no-store' }).end();
      return;
    }
    if (path === '/' && this.#isOnce(given.get('once'))) {
      response.writeHead(302, { ...securityHeaders("'none'"), 'cache-control': 'no-store', location: `/?token=${this.token}`, 'content-length': 0 }).end();
      return;
    }
    const { status, headers, body } = this.#files.get(path);
    response.writeHead(status, { ...headers, 'content-length': body.length }).end(request.method === 'HEAD' ? undefined : body);
  }

  #isOnce(code: string | null): boolean {
    if (code === null || this.#once === null || !sameToken(code, this.#once.code)) return false;
    const inTime = this.#clock.now() <= this.#once.until;
    this.#once = null;
    return inTime;
  }

  #upgrade(request: IncomingMessage, socket: Duplex, head: Buffer): void {
    socket.on('error', () => socket.destroy());
    const refusal = this.#upgradeRefusal(request);
    if (refusal !== null) {
      socket.end(`HTTP/1.1 ${refusal}\r\nconnection: close\r\ncontent-length: 0\r\n\r\n`);
      return;
    }
    this.#strangers.delete(request.socket);
    this.#sockets.handleUpgrade(request, socket, head, (webSocket) => this.#serveWindow(webSocket));
  }

  #upgradeRefusal(request: IncomingMessage): string | null {
    if (hostsNamed(request) > 1) return '400 Bad Request';
    if (!this.#names.has(request.headers.host ?? '')) return '421 Misdirected Request';
    if (!this.#origins.has(request.headers.origin ?? '')) return '403 Forbidden';
    const url = pathOf(request.url) === SOCKET_PATH ? new URL(request.url ?? '', `http://${LOOPBACK}`) : null;
    if (url === null) return '404 Not Found';
    if (!sameToken(url.searchParams.get('token') ?? '', this.token)) return '403 Forbidden';
    return this.#sockets.clients.size >= MOST_WINDOWS ? '503 Service Unavailable' : null;
  }

  #serveWindow(socket: WebSocket): void {
    const line = windowLine(this.#host, this.#clock, {
      isOpen: () => socket.readyState === socket.OPEN,
      unsentBytes: () => socket.bufferedAmount,
      send: (text) => socket.send(text),
      ping: () => socket.ping(),
      cut: () => socket.terminate(),
    }, { pingMs: this.#pingMs });
    socket.on('pong', () => line.onPong());
    socket.on('message', (data: Buffer, isBinary) => {
      if (isBinary) socket.close(1003, 'text only');
      else if (!line.onText(data.toString('utf8'))) socket.close(1007, 'no JSON of this contract');
    });
    // A message over the limit ends the socket with an error first.
    socket.on('error', () => socket.terminate());
    socket.on('close', () => line.onClosed());
  }
}

/** Node takes the first of several; RFC 9112, section 3.2, has such a request refused. */
const hostsNamed = ({ rawHeaders }: IncomingMessage): number => rawHeaders.filter((name, i) => i % 2 === 0 && name.toLowerCase() === 'host').length;

/** The path as it was sent, without a query; null when it is not one. It is not decoded: no file of the window needs that. */
function pathOf(url: string | undefined): string | null {
  const path = (url ?? '').split('?', 1)[0] ?? '';
  return /^\/[\w./-]*$/.test(path) ? path : null;
}

/** In a time that does not depend on where the two differ. */
function sameToken(given: string, token: string): boolean {
  const hash = (text: string): Buffer => createHash('sha256').update(text).digest();
  return timingSafeEqual(hash(given), hash(token));
}
