/** A window without a page, over the socket of a served host, as another program of this machine would be. */
import type { ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { WebSocket } from 'ws';
import { toWindow, type ToWindow } from '../../app/contract/contract.ts';

export interface SocketWindow {
  /** Resolves with the result; rejects with the failure's text. */
  readonly ask: (name: string, params: object) => Promise<unknown>;
  readonly socket: WebSocket;
}

/** Where the host that a process serves is reached, from what it prints. */
export function servedAt(host: ChildProcess): Promise<URL> {
  return new Promise((resolve, reject) => {
    let said = '';
    host.stdout?.on('data', (bytes: Buffer) => {
      said += bytes.toString();
      const found = /http:\S+/.exec(said);
      if (found !== null) resolve(new URL(found[0]));
    });
    host.on('exit', (code) => reject(new Error(`the host ended with code ${String(code)}: ${said}`)));
  });
}

/** A window at the host that a process serves, which has said hello. */
export async function socketWindow(at: ChildProcess | URL, name = 'first'): Promise<SocketWindow> {
  const { host, searchParams } = at instanceof URL ? at : await servedAt(at);
  const socket = new WebSocket(`ws://${host}/host?token=${searchParams.get('token') ?? ''}`, { origin: `http://${host}` });
  const waiting = new Map<number, (message: ToWindow) => void>();
  socket.on('message', (data: Buffer) => {
    const message = toWindow.parse(JSON.parse(data.toString()));
    if (!('id' in message)) return;
    waiting.get(message.id)?.(message);
    waiting.delete(message.id);
  });
  socket.on('error', () => undefined);
  await once(socket, 'open');
  let id = 0;
  const ask = (asked: string, params: object): Promise<unknown> =>
    new Promise((resolve, reject) => {
      const mine = (id += 1);
      waiting.set(mine, (message) => {
        if ('failure' in message) reject(new Error(message.failure.text));
        else resolve('result' in message ? message.result : null);
      });
      socket.send(JSON.stringify({ id: mine, name: asked, params }));
    });
  await ask('hello', { name });
  return { ask, socket };
}
