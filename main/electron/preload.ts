/**
 * What the page gets of the desktop: a way to its host, and nothing else. No Electron object and no port reaches the page;
 * messages are copied at the border (context isolation).
 */
import { contextBridge, ipcRenderer } from 'electron';

/** As in messages.ts; a preload in the sandbox loads no other file. */
const portWanted = 'host-port-wanted';
const portComes = 'host-port';
const mostWaiting = 100;

/** What is used of a MessagePort. The close event is Electron's addition to it. */
interface Port {
  postMessage(message: unknown): void;
  addEventListener(type: 'message' | 'close', listener: (event: { readonly data?: unknown }) => void): void;
  start(): void;
  close(): void;
}

interface Ears {
  readonly onMessage: (message: unknown) => void;
  readonly onClose: (why: string) => void;
}

let ears: Ears | null = null;
let port: Port | null = null;
/** Said before the port was there. */
let waiting: unknown[] = [];

function hangUp(): void {
  port?.close();
  port = null;
  waiting = [];
}

ipcRenderer.on(portComes, (event) => {
  const [mine] = event.ports as readonly Port[];
  if (mine === undefined || ears === null) return;
  port?.close();
  port = mine;
  mine.addEventListener('message', ({ data }) => {
    if (port === mine) ears?.onMessage(data);
  });
  mine.addEventListener('close', () => {
    if (port !== mine) return;
    hangUp();
    ears?.onClose('It has ended. This window looks for it again.');
  });
  mine.start();
  for (const message of waiting) mine.postMessage(message);
  waiting = [];
});

contextBridge.exposeInMainWorld('railhouseHost', {
  post(message: unknown): void {
    if (port !== null) port.postMessage(message);
    else if (waiting.length < mostWaiting) waiting.push(message);
  },
  listen(onMessage: Ears['onMessage'], onClose: Ears['onClose']): () => void {
    hangUp();
    const mine = { onMessage, onClose };
    ears = mine;
    ipcRenderer.send(portWanted);
    return () => {
      if (ears !== mine) return;
      ears = null;
      hangUp();
    };
  },
});
