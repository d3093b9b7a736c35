/**
 * The desktop shell: one window, its protocol, and the life of the program. It knows nothing of benches and runs; the host has
 * a process of its own (host-process.ts). Everything of Electron that it uses comes in as a parameter.
 */
import { join } from 'node:path';
import type * as Electron from 'electron';
import type { BrowserWindow, Event, MessageBoxOptions, MessageBoxReturnValue, UtilityProcess, WebContents, WebFrameMain } from 'electron';
import { deadManText, safeSentence } from '../../app/run/safe-words.ts';
import { machineClock } from '../clock/machine.ts';
import { securityHeaders, WindowFiles } from '../host/window-files.ts';
import { toPrint, type PrintedByShell } from '../report/pdf-by-shell.ts';
import { givenPlaces } from './given-places.ts';
import { NativeStop, stopKeys, stopShortcut } from './native-stop.ts';
import { PageWatch, type PageEvent } from './page-watch.ts';
import { printPage } from './print.ts';
import { endSwitch, portComes, portWanted, toShell, type HostArguments, type ToHostProcess } from './messages.ts';

export type ElectronCalls = Pick<
  typeof Electron,
  | 'app' | 'BrowserWindow' | 'dialog' | 'globalShortcut' | 'ipcMain' | 'Menu' | 'MessageChannelMain' | 'powerMonitor' | 'powerSaveBlocker' | 'protocol' | 'session'
  | 'utilityProcess'
>;

export interface ShellPlaces {
  /** Folder of the built host: preload and host process. */
  readonly hostFolder: string;
  /** Folder of the built window. */
  readonly windowFolder: string;
  readonly archivePath: string;
  /** Where heads of the archive are kept beside it (ARC-14), and the key that signs them. */
  readonly heads?: string | undefined;
  readonly headsKey?: string | undefined;
  /** Started in order to end the program that is open (CLI-32). */
  readonly end?: boolean;
  /** Absent: of this machine. */
  readonly platform?: NodeJS.Platform;
}

/** As in electron-builder.yml: the installer gives it to the shortcuts of the packaged program. */
const appId = 'org.railhouse.bench';
const scheme = 'railhouse';
/** The page, and the origin that everything of it has. */
const pageUrl = `${scheme}://window/`;
/** The host pauses within 20 s or its controller makes the bench safe by itself. */
const END_DEADLINE_MS = 30_000;
const MOST_HOST_STARTS = 5;

/** Whether a URL is the window's own; anything that does not parse is not. */
export function isOwn(url: string): boolean {
  try {
    const { protocol, host, username, port } = new URL(url);
    return protocol === `${scheme}:` && host === 'window' && username === '' && port === '';
  } catch {
    return false;
  }
}

/** Before the program is ready: what cannot be changed afterwards. Then everything else, once it is. */
export function startShell(electron: ElectronCalls, places: ShellPlaces): void {
  const { app, protocol } = electron;
  // A second program would find the archive locked; it brings the first to the front in place of that.
  if (!app.requestSingleInstanceLock() || places.end === true) {
    app.quit();
    return;
  }
  // Windows shows notifications (WIN-22) only of a program whose shortcut it knows by the same name.
  if ((places.platform ?? process.platform) === 'win32') app.setAppUserModelId(app.isPackaged ? appId : process.execPath);
  app.enableSandbox();
  protocol.registerSchemesAsPrivileged([{ scheme, privileges: { standard: true, secure: true, supportFetchAPI: true } }]);
  const shell = new Shell(electron, places);
  app.on('web-contents-created', (_event, contents) => shell.confine(contents));
  app.on('second-instance', (_event, given, folder) => shell.startedAgain(given, folder));
  app.on('activate', () => shell.toFront());
  app.on('window-all-closed', () => app.quit());
  app.on('before-quit', (event) => shell.beforeQuit(event));
  void app.whenReady().then(() => shell.open());
}

class Shell {
  readonly #electron: ElectronCalls;
  readonly #places: ShellPlaces;
  #window: BrowserWindow | null = null;
  #host: UtilityProcess | null = null;
  /** Of the present host, by its numbers (HOST-51). */
  #desks = new Map<number, UtilityProcess>();
  #hostStarts = 0;
  /** A run is going on. */
  #active = false;
  #blocker: number | null = null;
  /** `ending`: asked or making safe; `over`: nothing is in the way of the end any more. */
  #end: 'no' | 'ending' | 'over' = 'no';
  #onEnded: (() => void) | null = null;
  readonly #stop: NativeStop;
  readonly #page = new PageWatch();
  #cancelPageWait: () => void = () => undefined;

  constructor(electron: ElectronCalls, places: ShellPlaces) {
    this.#electron = electron;
    this.#places = places;
    const { globalShortcut } = electron;
    this.#stop = new NativeStop({
      clock: machineClock,
      register: (keys, pressed) => globalShortcut.register(keys, pressed),
      unregister: (keys) => globalShortcut.unregister(keys),
      send: (id, origin) => {
        this.#say({ kind: 'stop', id, origin });
        return this.#host !== null;
      },
      say: (message, detail) => void this.#ask({ type: 'warning', message, detail, buttons: ['OK'], noLink: true }),
      toFront: () => this.toFront(),
    });
  }

  open(): void {
    const { ipcMain, Menu } = this.#electron;
    this.#setSession();
    Menu.setApplicationMenu(Menu.buildFromTemplate([
      { role: 'fileMenu' },
      { role: 'editMenu' },
      // The key is shown here and registered while a bench is connected.
      { label: 'Bench', submenu: [{ label: 'STOP', accelerator: stopShortcut, registerAccelerator: false, click: () => this.#stop.press('menu') }] },
      { label: 'View', submenu: [{ role: 'resetZoom' }, { role: 'zoomIn' }, { role: 'zoomOut' }, { role: 'togglefullscreen' }, { label: 'Load the page again', click: () => this.#takePage({ kind: 'shown-again' }) }] },
      { role: 'windowMenu' },
    ]));
    this.#startHost();
    ipcMain.on(portWanted, (event) => {
      if (this.#isOurPage(event.sender, event.senderFrame)) this.#connect(event.sender);
    });
    this.#watchPower();
    this.#window = this.#openWindow();
  }

  /** By a second start: asked to end, or to show itself. Its places are not taken over, which is said where they are others. */
  startedAgain(given: readonly string[], folder: string): void {
    if (given.includes(endSwitch)) {
      this.#goWithoutAsking();
      return;
    }
    this.toFront();
    const { archivePath, heads, headsKey } = this.#places;
    const asked = givenPlaces(given, folder);
    const places = [['archive', asked.archive, archivePath], ['heads', asked.heads, heads], ['heads-key', asked.headsKey, headsKey]] as const;
    const others = places.flatMap(([name, wanted, mine]) => (wanted === undefined || wanted === mine ? [] : [`--${name}=${wanted}`]));
    if (others.length > 0) void this.#ask({ type: 'info', message: 'Railhouse is open already.', detail: `It goes on with the archive ${archivePath}. What was asked for now was not taken: ${others.join(' ')}. Quit it first to use that.`, buttons: ['OK'], noLink: true });
  }

  toFront(): void {
    if (this.#window === null) return;
    if (this.#window.isMinimized()) this.#window.restore();
    this.#window.focus();
  }

  /** No page of this program goes anywhere else, opens another, or holds one inside. */
  confine(contents: WebContents): void {
    const refuse = (event: Event & { readonly url?: string }, url = event.url ?? ''): void => {
      if (!isOwn(url)) event.preventDefault();
    };
    contents.on('will-navigate', (event) => refuse(event));
    contents.on('will-frame-navigate', (event) => refuse(event));
    contents.on('will-redirect', (event) => refuse(event));
    contents.on('will-attach-webview', (event) => event.preventDefault());
    contents.setWindowOpenHandler(() => ({ action: 'deny' }));
  }

  /** The one place where a sender is looked at: the top frame of our window, showing our page. */
  #isOurPage(sender: WebContents, frame: WebFrameMain | null): boolean {
    return sender === this.#window?.webContents && frame?.parent === null && isOwn(frame.url);
  }

  #setSession(): void {
    const { protocol, session } = this.#electron;
    const files = new WindowFiles(this.#places.windowFolder, securityHeaders("'self'"));
    protocol.handle(scheme, (request) => {
      if (!isOwn(request.url) || request.method !== 'GET') return new Response(null, { status: 403 });
      const { status, headers, body } = files.get(new URL(request.url).pathname);
      return new Response(new Uint8Array(body), { status, headers });
    });
    const own = session.defaultSession;
    // Our own page may call a person by a notification of the system (WIN-22), and nothing else. A check for notifications names no contents, whoever asks: its origin does.
    const may = (permission: string, origin: string): boolean => permission === 'notifications' && isOwn(origin);
    own.setPermissionRequestHandler((contents: WebContents | null, permission, answer) => answer(contents !== null && contents === this.#window?.webContents && may(permission, contents.getURL())));
    own.setPermissionCheckHandler((_contents, permission, origin) => may(permission, origin));
    own.setDevicePermissionHandler(() => false);
    // Nothing is loaded from anywhere else; blob: is a file that the page made and offers to save.
    own.webRequest.onBeforeRequest(({ url }, answer) => answer({ cancel: !isOwn(url) && !url.startsWith(`blob:${scheme}://window/`) && !url.startsWith('devtools:') }));
  }

  #openWindow(): BrowserWindow {
    const { app, BrowserWindow: Window } = this.#electron;
    const window = new Window({
      title: 'Railhouse',
      width: 1440,
      height: 900,
      minWidth: 640,
      minHeight: 480,
      show: false,
      webPreferences: {
        preload: join(this.#places.hostFolder, 'preload.cjs'),
        sandbox: true,
        contextIsolation: true,
        nodeIntegration: false,
        nodeIntegrationInWorker: false,
        nodeIntegrationInSubFrames: false,
        webSecurity: true,
        allowRunningInsecureContent: false,
        experimentalFeatures: false,
        webviewTag: false,
        navigateOnDragDrop: false,
        spellcheck: false,
        devTools: !app.isPackaged,
        // A window behind others still shows the bench as it is.
        backgroundThrottling: false,
      },
    });
    window.once('ready-to-show', () => window.show());
    this.#watchPage(window);
    // A page with unsaved work asks before it goes, which Electron shows to nobody and takes for a refusal. What is typed is kept (WIN-28), so nothing is lost:
    // no page may hold up a reload after a fault, or the end of the program (HOST-124).
    window.webContents.on('will-prevent-unload', (event) => event.preventDefault());
    window.on('close', (event) => {
      if (this.#end === 'over') return;
      event.preventDefault();
      app.quit();
    });
    // Windows tells a window, the others tell the power monitor.
    window.on('query-session-end', (event) => {
      if (this.#active) event.preventDefault();
      this.#goWithoutAsking();
    });
    window.on('session-end', () => this.#say({ kind: 'end' }));
    void window.loadURL(pageUrl);
    return window;
  }

  /** A page whose process dies or hangs is shown by a new one; the host and the run do not notice (HOST-32). */
  #watchPage(window: BrowserWindow): void {
    window.webContents.on('render-process-gone', () => this.#takePage({ kind: 'gone' }));
    window.on('unresponsive', () => this.#takePage({ kind: 'unresponsive' }));
    window.on('responsive', () => this.#takePage({ kind: 'responsive' }));
  }

  #takePage(event: PageEvent): void {
    const contents = this.#window?.webContents;
    if (this.#end === 'over' || contents === undefined) return;
    const action = this.#page.take(event, machineClock.now());
    if (action.kind !== 'nothing') this.#cancelPageWait();
    switch (action.kind) {
      case 'nothing':
        return;
      case 'wait':
      case 'end-process':
        this.#cancelPageWait = machineClock.after(action.ms, () => this.#takePage({ kind: 'waited' }));
        if (action.kind === 'end-process') contents.forcefullyCrashRenderer();
        return;
      case 'load-anew':
        contents.reload();
        return;
      case 'give-up':
        void this.#afterPage(action.times).then((again) => {
          if (again) this.#takePage({ kind: 'shown-again' });
          else this.#electron.app.quit();
        });
    }
  }

  /** true: show it once more. */
  async #afterPage(times: number): Promise<boolean> {
    const run = this.#active ? 'The run goes on without it, and nobody sees it.' : 'No run is going on.';
    const { response } = await this.#ask({
      type: 'error',
      message: 'The window has failed again and again.',
      detail: `What shows the page has ended or hung ${times} times within 10 minutes. ${run} The host and the archive are not concerned. STOP is in the menu Bench${this.#stop.hasKey ? ` and on ${stopKeys}` : ''}; the emergency stop of the bench always works.`,
      buttons: ['Show the window again', 'Quit'],
      defaultId: 0,
      cancelId: 0,
      noLink: true,
    });
    return response === 0;
  }

  #ask(question: MessageBoxOptions): Promise<MessageBoxReturnValue> {
    const { dialog } = this.#electron;
    return this.#window === null ? dialog.showMessageBox(question) : dialog.showMessageBox(this.#window, question);
  }

  #watchPower(): void {
    const { powerMonitor } = this.#electron;
    powerMonitor.on('suspend', () => this.#say({ kind: 'rest', why: 'The machine went to sleep.' }));
    // Nothing goes on by itself after a sleep: the run is paused and a person resumes it.
    const onShutdown = (event: Event): void => {
      event.preventDefault();
      this.#goWithoutAsking();
    };
    // Electron's documentation gives this listener an event, its types do not.
    powerMonitor.on('shutdown', onShutdown as () => void);
  }

  // ---------------------------------------------------------------- the host's process

  #startHost(): void {
    this.#hostStarts += 1;
    const { hostFolder, archivePath, heads, headsKey } = this.#places;
    const host = this.#electron.utilityProcess.fork(join(hostFolder, 'host-process.js'), [JSON.stringify({ archivePath, heads, headsKey } satisfies HostArguments)], { serviceName: 'Railhouse host' });
    this.#host = host;
    // Those of a host that has died end by themselves, when they have removed its exports.
    this.#desks = new Map();
    host.on('message', (message: unknown) => this.#hear(message));
    host.on('exit', (code) => {
      if (this.#host !== host) return;
      this.#host = null;
      this.#setActive(false);
      this.#stop.benchConnected(false);
      this.#onEnded?.();
      if (this.#end !== 'no') return;
      if (this.#hostStarts < MOST_HOST_STARTS) {
        // The page asks for a port again by itself.
        this.#startHost();
        return;
      }
      this.#fail(`The host of the window has ended ${this.#hostStarts} times (code ${code}). ${safeSentence(false)}. ${deadManText()} Everything that was committed is in the archive. Start Railhouse again.`);
    });
  }

  #hear(message: unknown): void {
    const parsed = toShell.safeParse(message);
    if (!parsed.success) return;
    switch (parsed.data.kind) {
      case 'activity':
        this.#setActive(parsed.data.active);
        return;
      case 'bench':
        this.#stop.benchConnected(parsed.data.connected);
        return;
      case 'desk-wanted':
        this.#startDesk(parsed.data.desk, parsed.data.args);
        return;
      case 'desk-torn-down':
        this.#desks.get(parsed.data.desk)?.kill();
        return;
      case 'stopped':
        this.#stop.answered(parsed.data);
        return;
      case 'defect':
        process.stderr.write(`This is a defect of the program:\n${parsed.data.text}\n`);
        return;
      case 'failed':
        this.#fail(parsed.data.text);
        return;
      case 'ended':
        if (!parsed.data.safe) this.#electron.dialog.showErrorBox('Look at the bench', parsed.data.text);
        this.#onEnded?.();
    }
  }

  #startDesk(desk: number, args: readonly string[]): void {
    const host = this.#host;
    if (host === null) return;
    const { port1, port2 } = new this.#electron.MessageChannelMain();
    const started = this.#electron.utilityProcess.fork(join(this.#places.hostFolder, 'desk-worker.js'), [...args], { serviceName: 'Railhouse desk' });
    const desks = this.#desks;
    desks.set(desk, started);
    let pid = 0;
    started.on('spawn', () => {
      pid = started.pid ?? 0;
    });
    started.on('message', (message: unknown) => {
      const wanted = toPrint.safeParse(message);
      if (!wanted.success) return;
      const { id } = wanted.data;
      void printPage(this.#electron, wanted.data).then((text) => started.postMessage({ kind: 'printed', id, text } satisfies PrintedByShell));
    });
    started.on('exit', (code) => {
      desks.delete(desk);
      if (this.#host === host) this.#say({ kind: 'desk-ended', desk, code, pid });
    });
    started.postMessage(null, [port1]);
    host.postMessage({ kind: 'desk', desk } satisfies ToHostProcess, [port2]);
  }

  #say(message: ToHostProcess): void {
    this.#host?.postMessage(message);
  }

  #connect(contents: WebContents): void {
    if (this.#host === null) return;
    const { port1, port2 } = new this.#electron.MessageChannelMain();
    this.#host.postMessage({ kind: 'window' } satisfies ToHostProcess, [port1]);
    contents.postMessage(portComes, null, [port2]);
  }

  #setActive(active: boolean): void {
    const { powerSaveBlocker } = this.#electron;
    this.#active = active;
    if (active) {
      this.#blocker ??= powerSaveBlocker.start('prevent-app-suspension');
    } else if (this.#blocker !== null) {
      powerSaveBlocker.stop(this.#blocker);
      this.#blocker = null;
    }
  }

  #fail(text: string): void {
    this.#end = 'over';
    this.#electron.dialog.showErrorBox('Railhouse cannot go on', text);
    this.#electron.app.exit(1);
  }

  // ---------------------------------------------------------------- the end

  beforeQuit(event: Event): void {
    if (this.#end === 'over') return;
    event.preventDefault();
    if (this.#end === 'ending') return;
    this.#end = 'ending';
    void this.#mayEnd().then(async (may) => {
      if (may) await this.#endAll();
      else this.#end = 'no';
    });
  }

  async #mayEnd(): Promise<boolean> {
    if (!this.#active) return true;
    const question = {
      type: 'warning' as const,
      message: 'A run is going on.',
      detail: 'Quitting pauses the run, makes the bench safe and commits everything. The run can be continued later.',
      buttons: ['Keep the run going', 'Pause the run and quit'],
      defaultId: 0,
      cancelId: 0,
      noLink: true,
    };
    return (await this.#ask(question)).response === 1;
  }

  /** The machine is ending: there is nobody to ask. */
  #goWithoutAsking(): void {
    if (this.#end === 'over') return;
    this.#end = 'ending';
    void this.#endAll();
  }

  async #endAll(): Promise<void> {
    if (this.#host !== null) {
      await new Promise<void>((resolve) => {
        const inTime = machineClock.after(END_DEADLINE_MS, resolve);
        this.#onEnded = () => {
          inTime();
          resolve();
        };
        this.#say({ kind: 'end' });
      });
      // It may have ended by itself meanwhile.
      (this.#host as UtilityProcess | null)?.kill();
    }
    this.#end = 'over';
    this.#setActive(false);
    this.#stop.benchConnected(false);
    this.#electron.app.quit();
  }
}
