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

/**
 * The token comes with the address once; it is taken out of the address so that it does not get into pictures and bookmarks. It is kept for all tabs of this
 * address, so that a link that was copied opens in another (WIN-56).
 */
function tokenOf(page: Window): string {
  const address = new URL(page.location.href);
  const given = address.searchParams.get(tokenName);
  if (given === null) return page.localStorage.getItem(tokenName) ?? '';
  page.localStorage.setItem(tokenName, given);
  address.searchParams.delete(tokenName);
  page.history.replaceState(null, '', address);
  return given;
}

const triesOn = 'This window keeps trying, and comes back by itself.';
const notRunning = 'Railhouse is not running on this machine, or was just ended. This window keeps trying, and comes back by itself when it is started again.';
/** ms. A host that stands still answers this no more than anything else. */
const askedFor = 3000;
const oldKey =
  'This tab is of an earlier start of Railhouse. Railhouse is running, but takes only tabs that were opened with the address of its last start. Open that address: it stands in the window where Railhouse was started. Then close this tab.';
const another = 'Something else than Railhouse answers at this address now. Open the address that Railhouse printed when it was started, and close this tab.';

/** A browser does not say why a WebSocket was refused, so the host is asked. */
async function whyClosed(page: Window, token: string): Promise<readonly [why: string, refused: boolean]> {
  const address = new URL('key', page.location.href);
  address.search = '';
  address.hash = '';
  address.searchParams.set(tokenName, token);
  try {
    const { status } = await page.fetch(address, { cache: 'no-store', signal: AbortSignal.timeout(askedFor) });
    if (status === 204) return [triesOn, false];
    return [status === 403 ? oldKey : another, true];
  } catch {
    return [notRunning, false];
  }
}

function overWebSocket(page: Window, token: string): OpenCarrier {
  return (ears: Ears): Carrier => {
    const address = new URL('host', page.location.href);
    address.protocol = page.location.protocol === 'https:' ? 'wss:' : 'ws:';
    address.search = '';
    address.hash = '';
    address.searchParams.set(tokenName, token);
    const socket = new WebSocket(address);
    let opened = false;
    socket.onopen = () => {
      opened = true;
      ears.onOpen();
    };
    socket.onmessage = ({ data }) => {
      ears.onMessage(typeof data === 'string' ? parsed(data) : null);
    };
    socket.onclose = () => {
      // Who had a line knows at once that it has none any more; who never had one wants to know why.
      if (opened) ears.onClose(triesOn);
      else void whyClosed(page, token).then(([why, refused]) => ears.onClose(why, refused));
    };
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
