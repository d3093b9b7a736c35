/** The window as a command: on the desktop where Electron can run, else served to a browser of this machine. */
import { spawn, type ChildProcess } from 'node:child_process';
import { join, resolve } from 'node:path';
import { Option, type Command } from 'commander';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { canRunElectron, type CanRunElectron } from '../electron/can-run.ts';
import { fetchElectron } from '../electron/fetch-electron.ts';
import { endSwitch } from '../electron/messages.ts';
import { openByTheSystem, type OpenAddress } from '../electron/open-address.ts';
import { ending } from '../ending/ending.ts';
import { benchPlaces } from '../host/bench-place.ts';
import { Desk } from '../host/desk.ts';
import { deskProcess } from '../host/desk-process.ts';
import { Host } from '../host/host.ts';
import { keepAddress, readKeptAddress } from '../host/kept-address.ts';
import { serveOnLoopback, type WebHost } from '../host/web-host.ts';
import { onCallWays } from '../host/on-call-ways.ts';
import { keepHeapSmall } from '../host/small-heap.ts';
import { serialPorts, serialPortSource } from '../link/serial-ports.ts';
import { software } from '../service/software.ts';
import { scenarioFile } from './documents.ts';
import { buildDesktop, buildTab, buildWindow, houseFolder, windowFolder } from './build.ts';
import { withEndByInput } from './end-with-input.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace, freeDiskBytes, withHeadOptions, type HeadOptions } from './places.ts';
import { LiveLine, say, tell } from './say.ts';
import { Stop } from './stop.ts';
import { decimal } from './values.ts';

interface WindowOptions extends HeadOptions {
  readonly archive: string;
  /** Absent: that of the last start. */
  readonly listen?: number;
  /** Of `start`: no desktop window. */
  readonly browser?: true;
  readonly scenario?: string;
  readonly port?: readonly string[];
  readonly json?: true;
}

function port(text: string): number {
  const value = decimal(text);
  if (!Number.isInteger(value) || value < 0 || value > 65_535) throw new Stop(exitCode.badInput, '--listen is a port number, 0 to 65535; 0 is any free one.');
  return value;
}

const electronFolder = join(houseFolder, 'node_modules', 'electron');
const deskWorker = new URL('../host/desk-worker.ts', import.meta.url);

/** At the port and with the key of the last start (HOST-107); where another was asked for, there, and with a key of its own. */
async function serveKept(host: Host, archivePath: string, listen: number | undefined): Promise<WebHost> {
  const kept = listen === 0 ? null : readKeptAddress(archivePath);
  const served = await serveOnLoopback({
    host, clock: machineClock, entropy: machineEntropy, windowFolder,
    port: listen ?? kept?.port ?? 0,
    orNextPort: listen === undefined,
    token: kept?.key ?? null,
  });
  if (!served.ok) throw new Stop(exitCode.badInput, served.text);
  const { web } = served;
  if (listen !== 0) keepAddress(archivePath, { port: web.port, key: web.token });
  if (listen === undefined && kept !== null && kept.port !== web.port) {
    tell(`railhouse: port ${kept.port} of the last start is used by another program, so the window is on port ${web.port} now. Close tabs of the old address.`);
  }
  return web;
}

async function openBrowser(web: WebHost, open: OpenAddress): Promise<void> {
  const why = await open(web.addressOnce());
  tell(why === null ? 'railhouse: the browser was asked to open it.' : `railhouse: no browser was opened, because ${why}. Open the address above.`);
}

/** Serves until the process is asked to end; then the bench is made safe and everything is committed. `open`: opens a browser at the address. */
async function serve(options: WindowOptions, open: OpenAddress | null): Promise<void> {
  buildWindow();
  keepHeapSmall();
  const scenario = options.scenario === undefined ? undefined : scenarioFile(options.scenario);
  let tellWindows: (text: string) => void = () => undefined;
  const archive = archivePlace(options.archive, 'write', machineClock, options, (text) => {
    tell(text);
    tellWindows(text);
  });
  try {
    const host = new Host({
      archive,
      software,
      clock: machineClock,
      entropy: machineEntropy,
      places: benchPlaces(machineClock, machineEntropy, serialPortSource, scenario),
      freeDiskBytes: () => freeDiskBytes(archive.path),
      serialPorts: async () => [...(options.port ?? []).map((path) => ({ path })), ...(await serialPorts(machineClock))],
      desk: new Desk(deskProcess(archive.path, deskWorker, 'like-the-host'), machineClock, deskProcess(archive.path, deskWorker, 'gives-way')),
      onCallWays: onCallWays(machineClock),
      onDefect: (error) => tell('This is a defect of the program:', ...((error as Error).stack ?? String(error)).split('\n')),
    });
    tellWindows = (text) => host.noteKeeping(text);
    const web = await serveKept(host, archive.path, options.listen);
    if (options.json === true) printJson('window', { address: web.address, archive: archive.path });
    else say(`The window is served at ${web.address}`, `Archive: ${archive.path}. Ctrl-C ends the host and makes the bench safe.`);
    if (open !== null) void openBrowser(web, open);
    const asked = await new Promise<string>((resolve) => {
      ending.hold({ onAsked: ({ why }) => resolve(why), makeSafe: () => host.makeSafeNow() });
    });
    tell(`${asked} Ending: the bench is being made safe and everything committed ...`);
    const { accepted, reason } = await host.close();
    tell(reason);
    if (!accepted) process.exitCode = exitCode.bench;
    await web.close();
  } finally {
    archive.close();
  }
}

/** Electron as it can be run here, fetched where that is all that is missing (HOST-105); or why not. */
async function electronHere(): Promise<CanRunElectron> {
  const look = (): CanRunElectron => canRunElectron({ platform: process.platform, env: process.env, userId: process.getuid?.() ?? null, electronFolder });
  const found = look();
  if (found.can || !found.fetch) return found;
  tell('railhouse: fetching the program of the desktop window (Electron, about 120 MB, once). "start --browser" does without it.');
  const progress = new LiveLine();
  const why = await fetchElectron({
    electronFolder,
    scratchFolder: join(houseFolder, '.cache', 'electron'),
    env: process.env,
    clock: machineClock,
    onProgress: (bytes) => progress.show(() => [`railhouse: ${(bytes / 1e6).toFixed(0)} MB so far`]),
  });
  progress.clear();
  return why === null ? look() : { can: false, why, fetch: false };
}

/** The desktop window; where there can be none, the reason in one line and the same window in a browser. */
async function start(options: WindowOptions): Promise<void> {
  const inBrowser = (): Promise<void> => serve(options, openByTheSystem(process.platform, process.env, (ms, action) => machineClock.after(ms, action)));
  if (options.browser === true) return inBrowser();
  const electron = await electronHere();
  if (electron.can) {
    const died = await runDesktop(electron.executable, options);
    if (died === null) return;
    tell(`railhouse: the desktop window ended as soon as it was begun (${died}); the lines above may say why. The window is served to a browser of this machine.`);
  } else tell(`railhouse: no desktop window here, because ${electron.why}; the window is served to a browser of this machine.`);
  return inBrowser();
}

/** ms. What does not run here (a library is missing, its sandbox is not allowed) ends sooner; before that it has no archive open. */
const BEGUN_AFTER_MS = 3000;

/** Resolves with null when the desktop window has ended as it should or told with its exit code; else what became of a window that never was one. */
async function runDesktop(executable: string, options: WindowOptions): Promise<string | null> {
  buildDesktop();
  const begun = machineClock.now();
  const desktop = spawn(executable, [houseFolder, ...desktopSwitches(options)], { stdio: 'inherit' });
  /** It was asked to end: that it does is no failure. */
  const asked = { to: false };
  // The bench is in the hand of the desktop's own processes; the window ends as it does when it is closed.
  const letGo = ending.hold({
    onAsked: ({ interrupts }) => {
      asked.to = true;
      endDesktop({ desktop, interrupts, platform: process.platform, startAgain: (args) => void spawn(executable, [houseFolder, ...args], { stdio: 'ignore' }) });
    },
    makeSafe: () => Promise.resolve({ kind: 'no-answer', text: 'The desktop window goes on without this program; end it there.' }),
  });
  const [code, how] = await new Promise<readonly [number | null, string]>((resolveEnd) => {
    desktop.on('error', (error) => resolveEnd([null, error.message]));
    desktop.on('exit', (ended, signal) => resolveEnd([ended, ended === null ? String(signal) : `exit code ${ended}`]));
  }).finally(letGo);
  // What its own processes end with when they tell why is an exit code of this program; with 1 Electron ends too, where its display is none.
  const told = code !== null && code !== exitCode.defect && Object.values<number>(exitCode).includes(code);
  if (!asked.to && !told && machineClock.now() - begun < BEGUN_AFTER_MS) return how;
  process.exitCode = code ?? exitCode.defect;
  return null;
}

interface DesktopEnd {
  readonly desktop: Pick<ChildProcess, 'kill'>;
  /** How often Ctrl-C was pressed; 0: it is something else that asks. */
  readonly interrupts: number;
  readonly platform: NodeJS.Platform;
  /** Starts the desktop program once more with these switches. */
  readonly startAgain: (args: readonly string[]) => void;
}

/** Asks the desktop's processes to end in order (CLI-32). On Windows a signal ends a process at once, and Ctrl-C reaches none that has a window. */
export function endDesktop({ desktop, interrupts, platform, startAgain }: DesktopEnd): void {
  if (platform === 'win32') startAgain([endSwitch]);
  // Ctrl-C goes from the terminal to both.
  else if (interrupts === 0) desktop.kill('SIGTERM');
}

/** What the desktop's processes are told of the options, as switches: paths are those of this folder. */
export function desktopSwitches({ archive, heads, headsKey }: Pick<WindowOptions, 'archive' | 'heads' | 'headsKey'>): string[] {
  const places = { archive, heads, 'heads-key': headsKey };
  return Object.entries(places).flatMap(([name, path]) => (path === undefined ? [] : [`--${name}=${resolve(path)}`]));
}

const listenOption = (): Option => new Option('--listen <port>', 'port on 127.0.0.1; without it that of the last start; 0: any free one, with a key for this start alone').argParser(port);

export function addWindowCommands(program: Command): void {
  withEndByInput(withHeadOptions(program.command('start')))
    .description('open the window: on the desktop where that is possible, else in a browser of this machine')
    .addOption(archiveOption())
    .addOption(listenOption())
    .addOption(new Option('--browser', 'in a browser, also where a desktop window is possible'))
    .action(start);

  program
    .command('build')
    .description('build the window, the desktop processes and the bench in a tab into dist/, as far as they are older than their source')
    .action(() => {
      buildDesktop();
      buildTab();
    });

  withEndByInput(withJsonOption(withHeadOptions(program.command('window'))))
    .description('serve the window on this machine, for a browser; only programs of this machine can reach it')
    .addOption(archiveOption())
    .addOption(new Option('--scenario <file>', 'which simulated bench windows connect to, and what goes wrong on it'))
    .addOption(new Option('--port <path...>', 'ports that windows may open although this machine does not list them, as the pseudo-terminal of a served bench'))
    .addOption(listenOption())
    .action((options: WindowOptions) => serve(options, null));
}
