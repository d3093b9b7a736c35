/** The two ways to a host: the desktop shell's bridge where the preload put one, else a WebSocket to where the page came from. */
import type { ToHost } from '../../app/contract/contract.ts';
import type { Carrier, Ears, OpenCarrier } from './connection.ts';

/** What the preload puts into the page. It passes messages on and knows nothing of them. */
interface HostBridge {
  post(message: ToHost): void;
  /** `onMessage` for everything that the host says, `onClose` when the host has gone; returns how to stop listening. */
  listen(onMessage: (message: unknown) => void, onClose: (why: string) => void): () => void;
}

declare global {
  interface Window {
    readonly railhouseHost?: HostBridge;
  }
}

const tokenName = 'token';

export function carrierOfThisPage(page: Window): OpenCarrier {
  const bridge = page.railhouseHost;
  return bridge === undefined ? overWebSocket(page, tokenOf(page)) : overBridge(bridge);
}

/** The token comes with the address once; it is taken out of the address so that it does not get into pictures and bookmarks. */
function tokenOf(page: Window): string {
  const address = new URL(page.location.href);
  const given = address.searchParams.get(tokenName);
  if (given === null) return page.sessionStorage.getItem(tokenName) ?? '';
  page.sessionStorage.setItem(tokenName, given);
  address.searchParams.delete(tokenName);
  page.history.replaceState(null, '', address);
  return given;
}

function overWebSocket(page: Window, token: string): OpenCarrier {
  return (ears: Ears): Carrier => {
    const address = new URL('host', page.location.href);
    address.protocol = page.location.protocol === 'https:' ? 'wss:' : 'ws:';
    address.search = '';
    address.hash = '';
    address.searchParams.set(tokenName, token);
    const socket = new WebSocket(address);
    socket.onopen = () => ears.onOpen();
    socket.onmessage = ({ data }) => {
      ears.onMessage(typeof data === 'string' ? parsed(data) : null);
    };
    socket.onclose = () => ears.onClose('This window keeps trying. If Railhouse was started again, open the address that it printed.');
    return { send: (message) => socket.send(JSON.stringify(message)), close: () => socket.close() };
  };
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text) as unknown;
  } catch {
    return null;
  }
}

function overBridge(bridge: HostBridge): OpenCarrier {
  return (ears) => {
    const stop = bridge.listen((message) => ears.onMessage(message), (why) => ears.onClose(why));
    queueMicrotask(() => ears.onOpen());
    return {
      send: (message) => bridge.post(message),
      close: () => {
        stop();
        ears.onClose('The window let go of it.');
      },
    };
  };
}
