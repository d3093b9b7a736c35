/** The dozen Electron calls of the shell, as small as they can be and still behave. */
import { EventEmitter } from 'node:events';
import { MessageChannel, Worker, type MessagePort } from 'node:worker_threads';
import type { CustomScheme, MenuItemConstructorOptions, MessageBoxOptions, WebPreferences } from 'electron';
import type { ElectronCalls } from './shell.ts';

/** An event that a listener may prevent. */
export class Preventable {
  prevented = false;
  readonly url: string;

  constructor(url = '') {
    this.url = url;
  }

  preventDefault(): void {
    this.prevented = true;
  }
}

/** What Electron makes of a port: `{ data }` events, and a close that is told. */
export class PortDouble extends EventEmitter {
  readonly inner: MessagePort;

  constructor(inner: MessagePort) {
    super();
    this.inner = inner;
    inner.on('message', (data) => this.emit('message', { data: data as unknown }));
    inner.on('close', () => this.emit('close'));
  }

  start(): void {
    this.inner.start();
  }

  postMessage(message: unknown): void {
    this.inner.postMessage(message);
  }

  close(): void {
    this.inner.close();
  }
}

export class HostProcessDouble extends EventEmitter {
  readonly said: unknown[] = [];
  readonly ports: PortDouble[] = [];
  readonly args: readonly string[];
  killed = false;

  constructor(args: readonly string[] = []) {
    super();
    this.args = args;
  }

  postMessage(message: unknown, ports: readonly PortDouble[] = []): void {
    this.said.push(message);
    this.ports.push(...ports);
  }

  kill(): boolean {
    this.killed = true;
    return true;
  }
}

/** The real host process, or the real one of a desk, in a thread that looks to it like a utility process. */
export class HostThread extends HostProcessDouble {
  readonly #worker: Worker;

  constructor(file: string, args: readonly string[]) {
    super(args);
    const asUtilityProcess = `
      const { parentPort, workerData } = require('node:worker_threads');
      const { EventEmitter } = require('node:events');
      const wrap = (inner) => {
        const port = new EventEmitter();
        port.start = () => inner.start();
        port.postMessage = (message) => inner.postMessage(message);
        inner.on('message', (data) => port.emit('message', { data }));
        inner.on('close', () => port.emit('close'));
        return port;
      };
      process.argv.splice(2, process.argv.length, ...workerData.args);
      process.parentPort = new EventEmitter();
      process.parentPort.postMessage = (message) => parentPort.postMessage(message);
      parentPort.on('message', ({ message, ports }) => process.parentPort.emit('message', { data: message, ports: ports.map(wrap) }));
      import(workerData.file).then(() => parentPort.postMessage({ kind: 'loaded' }));
    `;
    this.#worker = new Worker(asUtilityProcess, { eval: true, workerData: { file, args } });
    this.#worker.on('message', (message) => this.emit('message', message));
    this.#worker.on('error', (error) => this.emit('trouble', error));
    this.#worker.on('exit', (code) => this.emit('exit', code));
  }

  override postMessage(message: unknown, ports: readonly PortDouble[] = []): void {
    super.postMessage(message, ports);
    const inner = ports.map((port) => port.inner);
    this.#worker.postMessage({ message, ports: inner }, inner);
  }

  override kill(): boolean {
    void this.#worker.terminate();
    return super.kill();
  }
}

interface FrameDouble {
  url: string;
  readonly parent: FrameDouble | null;
}

class ContentsDouble extends EventEmitter {
  readonly mainFrame: FrameDouble = { url: '', parent: null };
  openHandler: (details: { url: string }) => { action: string } = () => ({ action: 'allow' });
  readonly posted: { readonly channel: string; readonly ports: readonly PortDouble[] }[] = [];
  onPosted: (ports: readonly PortDouble[]) => void = () => undefined;

  getURL(): string {
    return this.mainFrame.url;
  }

  setWindowOpenHandler(handler: ContentsDouble['openHandler']): void {
    this.openHandler = handler;
  }

  postMessage(channel: string, _message: unknown, ports: readonly PortDouble[]): void {
    this.posted.push({ channel, ports });
    this.onPosted(ports);
  }

  readonly prints: unknown[] = [];
  printingFails = (): string => '';

  printToPDF(options: unknown): Promise<Buffer> {
    this.prints.push(options);
    return this.printingFails() === '' ? Promise.resolve(Buffer.from('%PDF-1.7 of a test')) : Promise.reject(new Error(this.printingFails()));
  }

  reloads = 0;
  endedProcesses = 0;

  reload(): void {
    this.reloads += 1;
  }

  forcefullyCrashRenderer(): void {
    this.endedProcesses += 1;
  }
}

export interface WindowOptions {
  readonly show: boolean;
  readonly webPreferences: WebPreferences;
}

export function electronDouble(fork: (file: string, args: readonly string[]) => HostProcessDouble = () => new HostProcessDouble(), isFirst = true) {
  const state = {
    quits: 0,
    over: false,
    exitCode: null as number | null,
    sandboxed: false,
    /** By which Windows knows whose notifications, windows and shortcuts belong together. */
    appId: null as string | null,
    schemes: [] as readonly CustomScheme[],
    windows: [] as { readonly options: WindowOptions; readonly contents: ContentsDouble; readonly emitter: EventEmitter; focused: number; loaded: string; destroyed: boolean }[],
    hosts: [] as HostProcessDouble[],
    /** Processes of desks. */
    desks: [] as HostProcessDouble[],
    errors: [] as string[],
    /** Why; empty: it does not. */
    printingFails: '',
    questions: [] as MessageBoxOptions[],
    answer: 0,
    menu: [] as readonly MenuItemConstructorOptions[],
    /** Keys taken from other programs, and what they do. */
    keys: new Map<string, () => void>(),
    keysAreTaken: false,
    blockers: new Set<number>(),
    serve: (() => Promise.reject(new Error('no handler'))) as (request: Request) => Response | Promise<Response>,
    permissionRequest: null as ((contents: unknown, permission: string, answer: (may: boolean) => void) => void) | null,
    /** Of a check for notifications Electron hands over no contents, whoever asks: `origin` says who does. */
    permissionCheck: null as ((contents: null, permission: string, origin: string) => boolean) | null,
    devicePermission: null as ((details: object) => boolean) | null,
    /** Of the session that prints. */
    beforeRequestOfPrint: null as ((details: { url: string }, answer: (how: { cancel: boolean }) => void) => void) | null,
    beforeRequest: null as ((details: { url: string }, answer: (how: { cancel: boolean }) => void) => void) | null,
  };

  const app = Object.assign(new EventEmitter(), {
    isPackaged: true,
    requestSingleInstanceLock: () => isFirst,
    enableSandbox: () => {
      state.sandboxed = true;
    },
    setAppUserModelId: (id: string) => {
      state.appId = id;
    },
    whenReady: () => Promise.resolve(),
    quit: () => {
      state.quits += 1;
      const event = new Preventable();
      app.emit('before-quit', event);
      if (!event.prevented) state.over = true;
    },
    exit: (code: number) => {
      state.exitCode = code;
      state.over = true;
    },
  });

  class Window extends EventEmitter {
    readonly webContents = new ContentsDouble();
    readonly #record;

    constructor(options: WindowOptions) {
      super();
      this.#record = { options, contents: this.webContents, emitter: this as EventEmitter, focused: 0, loaded: '', destroyed: false };
      this.webContents.printingFails = () => state.printingFails;
      state.windows.push(this.#record);
      app.emit('web-contents-created', {}, this.webContents);
    }

    loadURL(url: string): Promise<void> {
      this.#record.loaded = url;
      this.webContents.mainFrame.url = url;
      return Promise.resolve();
    }

    destroy(): void {
      this.#record.destroyed = true;
    }

    isMinimized(): boolean {
      return false;
    }

    focus(): void {
      this.#record.focused += 1;
    }

    show(): void {
      // Nothing is to be seen here.
    }
  }

  class Channel {
    readonly port1: PortDouble;
    readonly port2: PortDouble;

    constructor() {
      const { port1, port2 } = new MessageChannel();
      this.port1 = new PortDouble(port1);
      this.port2 = new PortDouble(port2);
    }
  }

  let blockers = 0;
  const double = {
    app,
    BrowserWindow: Window,
    MessageChannelMain: Channel,
    dialog: {
      showErrorBox: (_title: string, text: string) => state.errors.push(text),
      showMessageBox: (_window: unknown, question: MessageBoxOptions) => {
        state.questions.push(question);
        return Promise.resolve({ response: state.answer });
      },
    },
    ipcMain: new EventEmitter(),
    Menu: {
      buildFromTemplate: (template: unknown) => template,
      setApplicationMenu: (template: typeof state.menu) => {
        state.menu = template;
      },
    },
    globalShortcut: {
      register: (keys: string, pressed: () => void) => {
        if (!state.keysAreTaken) state.keys.set(keys, pressed);
        return !state.keysAreTaken;
      },
      unregister: (keys: string) => state.keys.delete(keys),
    },
    powerMonitor: new EventEmitter(),
    powerSaveBlocker: {
      start: () => {
        blockers += 1;
        state.blockers.add(blockers);
        return blockers;
      },
      stop: (id: number) => state.blockers.delete(id),
    },
    protocol: {
      registerSchemesAsPrivileged: (schemes: readonly CustomScheme[]) => {
        state.schemes = schemes;
      },
      handle: (_scheme: string, handler: typeof state.serve) => {
        state.serve = handler;
      },
    },
    session: {
      fromPartition: (name: string) => ({
        name,
        setPermissionRequestHandler: () => undefined,
        webRequest: {
          onBeforeRequest: (handler: typeof state.beforeRequest) => {
            state.beforeRequestOfPrint = handler;
          },
        },
      }),
      defaultSession: {
        setPermissionRequestHandler: (handler: typeof state.permissionRequest) => {
          state.permissionRequest = handler;
        },
        setPermissionCheckHandler: (handler: typeof state.permissionCheck) => {
          state.permissionCheck = handler;
        },
        setDevicePermissionHandler: (handler: typeof state.devicePermission) => {
          state.devicePermission = handler;
        },
        webRequest: {
          onBeforeRequest: (handler: typeof state.beforeRequest) => {
            state.beforeRequest = handler;
          },
        },
      },
    },
    utilityProcess: {
      fork: (file: string, args: readonly string[]) => {
        const started = fork(file, args);
        (file.endsWith('desk-worker.js') ? state.desks : state.hosts).push(started);
        return started;
      },
    },
  };
  return { electron: double as unknown as ElectronCalls, double, state };
}
