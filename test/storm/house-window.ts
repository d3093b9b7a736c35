/**
 * A window of the storm: the real connection and the real journal feed of the window, in a process of its own, and its line to
 * the host, which carries text as a WebSocket does. The host's end of it is the product's own (`main/host/window-line.ts`).
 */
import type { ControlView } from '../../app/contract/bench-requests.ts';
import type { Params, RequestName, AnswerTo } from '../../app/contract/contract.ts';
import type { VirtualClock } from '../../main/clock/clock.ts';
import { windowLine, type WindowLine } from '../../main/host/window-line.ts';
import type { Host } from '../../main/host/host.ts';
import { Connection, type Carrier, type Ears, type HostReply } from '../../renderer/host/connection.ts';
import { JournalFeed } from '../../renderer/host/journal-feed.ts';
import { HostClock } from './machine.ts';

/** One way between two processes of a machine, ms. */
const LATENCY_MS = 0.3;
/** Small, so that a window which does not read comes to both within the storm. */
const slowBytes = 30_000;
export const stuckBytes = 150_000;
const pingMs = 2000;

/** The process that a window is connected to. */
export interface Serving {
  readonly host: Host;
  readonly clock: HostClock;
  readonly sockets: Set<Socket>;
  alive: boolean;
}

/** Told of what passes at the host's end, when it passes. */
export interface SocketEvents {
  readonly came: (socket: Socket) => void;
  readonly closed: (socket: Socket, by: 'window' | 'host') => void;
  /** Before the host takes it. */
  readonly heard: (socket: Socket, text: string) => void;
  readonly said: (socket: Socket, text: string) => void;
  /** Of what waits for a window that does not read. */
  readonly unsent: (socket: Socket, bytes: number) => void;
}

export class Socket {
  readonly number: number;
  readonly window: StormWindow;
  readonly #serving: Serving;
  readonly #ears: Ears;
  readonly #events: SocketEvents;
  #line: WindowLine | null = null;
  /** As its host sees it, and as its window does. */
  #open = true;
  #known = true;
  #unsent = 0;
  readonly #toWindow: (() => void)[] = [];
  readonly #toHost: (() => void)[] = [];

  constructor(number: number, window: StormWindow, serving: Serving, ears: Ears, events: SocketEvents) {
    this.number = number;
    this.window = window;
    this.#serving = serving;
    this.#ears = ears;
    this.#events = events;
    serving.sockets.add(this);
    this.#passToHost(() => {
      this.#accept();
    });
  }

  get isOpen(): boolean {
    return this.#open && this.#line !== null;
  }

  #accept(): void {
    const { host, clock } = this.#serving;
    this.#events.came(this);
    this.#line = windowLine(host, clock, {
      isOpen: () => this.#open,
      unsentBytes: () => this.#unsent,
      send: (text) => {
        if (!this.#open || !this.#serving.alive) return;
        this.#events.said(this, text);
        this.#unsent += text.length;
        this.#events.unsent(this, this.#unsent);
        this.#passToWindow(() => {
          this.#unsent -= text.length;
          if (this.#known) this.#ears.onMessage(JSON.parse(text) as unknown);
        });
      },
      ping: () => {
        if (this.window.isSilent) return;
        clock.after(2 * LATENCY_MS, () => this.#line?.onPong());
      },
      cut: () => {
        this.#cut();
      },
    }, { slowBytes, stuckBytes, pingMs });
    this.#passToWindow(() => {
      if (this.#known) this.#ears.onOpen();
    });
  }

  /** What the window says; nothing gets lost, and nothing overtakes. */
  say(text: string): void {
    this.#passToHost(() => {
      if (!this.#open || this.#line === null) return;
      this.#events.heard(this, text);
      if (!this.#line.onText(text)) this.#cut();
    });
  }

  /** The window lets go of it, or is gone. */
  hangUp(): void {
    if (!this.#known) return;
    this.#lostToWindow('The window let go of it.');
    this.#passToHost(() => {
      this.#closed('window');
    });
  }

  /** The host's process has died: its machine closes what it had open. */
  died(): void {
    this.#open = false;
    this.#passToWindow(() => {
      this.#lostToWindow('The host went away.');
    });
  }

  #cut(): void {
    if (!this.#open) return;
    this.#open = false;
    // As with a real socket: not within the call that cuts it.
    this.#serving.clock.after(0, () => {
      this.#events.closed(this, 'host');
      this.#serving.sockets.delete(this);
      this.#line?.onClosed();
    });
    this.#passToWindow(() => {
      this.#lostToWindow('The host hung up.');
    });
  }

  #closed(by: 'window' | 'host'): void {
    if (!this.#open) return;
    this.#open = false;
    this.#events.closed(this, by);
    this.#serving.sockets.delete(this);
    this.#line?.onClosed();
  }

  #lostToWindow(why: string): void {
    if (!this.#known) return;
    this.#known = false;
    this.window.lost(this);
    this.#ears.onClose(why);
  }

  #passToWindow(what: () => void): void {
    this.#toWindow.push(what);
    this.window.clock.after(LATENCY_MS, () => {
      if (this.window.isSilent) this.window.later(() => this.#toWindow.shift()?.());
      else this.#toWindow.shift()?.();
    });
  }

  #passToHost(what: () => void): void {
    this.#toHost.push(what);
    const pass = (): void => {
      this.#serving.clock.after(LATENCY_MS, () => this.#toHost.shift()?.());
    };
    if (this.window.isSilent) this.window.later(pass);
    else pass();
  }
}

export interface WindowWorld {
  readonly world: VirtualClock;
  readonly stepMs: () => number;
  /** null: nobody listens there. */
  readonly serving: () => Serving | null;
  readonly events: SocketEvents;
  readonly nextSocket: () => number;
}

export class StormWindow {
  readonly name: string;
  readonly clock: HostClock;
  readonly connection: Connection;
  control: ControlView = { mine: false, holder: null, windows: 0 };
  bench: AnswerTo<'hello'>['bench'] = { state: 'absent', why: '' };
  openRun: string | null = null;
  /** Of the last run that a status was told of. */
  status = '';
  /** Since when the line is up, s of the world; null: it is not. */
  upSince: number | null = null;
  readonly feeds = new Map<string, JournalFeed>();
  readonly #world: WindowWorld;
  #socket: Socket | null = null;
  #gone = true;
  #silences = 0;
  #later: (() => void)[] = [];

  constructor(name: string, world: WindowWorld) {
    this.name = name;
    this.#world = world;
    this.clock = new HostClock(world.world, world.stepMs);
    this.connection = new Connection({ name: () => name, timers: this.clock, open: (ears) => this.#dial(ears) });
    this.connection.onLine(() => {
      this.upSince = this.connection.line.state === 'up' ? world.world.now() / 1e3 : null;
    });
    this.connection.onHello((hello) => {
      this.control = hello.control;
      this.bench = hello.bench;
      this.#follow(hello.openRun);
      for (const feed of this.feeds.values()) void feed.fill();
    });
    this.connection.on('control', (control) => {
      this.control = control;
    });
    this.connection.on('bench', (bench) => {
      this.bench = bench;
    });
    this.connection.on('run.opened', ({ id }) => {
      this.#follow(id);
    });
    this.connection.on('run.events', ({ id, events }) => this.feeds.get(id)?.hear(events));
    this.connection.on('run.status', ({ status }) => {
      this.status = `${status.doing} ${status.advice}`;
    });
  }

  get isUp(): boolean {
    return this.connection.line.state === 'up' && !this.#gone;
  }

  /** s of the world. */
  silentSince = 0;
  /** Until then something keeps it from hearing, s of the world. */
  deafUntil = Number.NEGATIVE_INFINITY;

  get isSilent(): boolean {
    return this.#silences > 0;
  }

  ask<N extends RequestName>(name: N, params: Params<N>): Promise<HostReply<N>> {
    return this.connection.request(name, params);
  }

  /** Past the connection, as no window of ours would say it. */
  say(text: string): void {
    this.#socket?.say(text);
  }

  comes(): void {
    if (!this.#gone) return;
    this.#gone = false;
    this.connection.start();
  }

  /** Its page is closed for a while. The connection of a page that is loaded again is another; here it is the same, which asks the more of it. */
  goes(): void {
    this.#gone = true;
    this.#socket?.hangUp();
  }

  isBack(): void {
    this.#gone = false;
  }

  /** Nothing comes out of it or gets into it, and it does not know. */
  fallsSilent(): void {
    if (this.#silences === 0) this.silentSince = this.#world.world.now() / 1e3;
    this.#silences += 1;
  }

  speaksAgain(): void {
    this.#silences -= 1;
    if (this.#silences > 0) return;
    for (const what of this.#later.splice(0)) what();
  }

  later(what: () => void): void {
    this.#later.push(what);
  }

  lost(socket: Socket): void {
    if (this.#socket === socket) this.#socket = null;
  }

  end(): void {
    this.connection.close();
    this.clock.die();
  }

  #follow(id: string | null): void {
    this.openRun = id;
    if (id === null || this.feeds.has(id)) return;
    const feed = new JournalFeed((fromSeq) => this.connection.request('run.journal', { id, fromSeq, limit: 5000 }), () => undefined);
    this.feeds.set(id, feed);
    void feed.fill();
  }

  #dial(ears: Ears): Carrier {
    const serving = this.#gone ? null : this.#world.serving();
    if (serving === null) {
      this.clock.after(LATENCY_MS, () => {
        ears.onClose('Nobody answers there.');
      });
      return { send: () => undefined, close: () => undefined };
    }
    const socket = new Socket(this.#world.nextSocket(), this, serving, ears, this.#world.events);
    this.#socket = socket;
    return {
      send: (message) => {
        socket.say(JSON.stringify(message));
      },
      close: () => {
        this.clock.after(0, () => {
          socket.hangUp();
        });
      },
    };
  }
}
