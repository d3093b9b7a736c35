/** The window as a command: on the desktop where Electron can run, else served to a browser of this machine. */
import { spawn, type ChildProcess } from 'node:child_process';
import { join, resolve } from 'node:path';
import { Option, type Command } from 'commander';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { canRunElectron } from '../electron/can-run.ts';
import { endSwitch } from '../electron/messages.ts';
import { ending } from '../ending/ending.ts';
import { benchPlaces } from '../host/bench-place.ts';
import { Desk } from '../host/desk.ts';
import { deskProcess } from '../host/desk-process.ts';
import { Host } from '../host/host.ts';
import { serveOnLoopback } from '../host/web-host.ts';
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
import { say, tell } from './say.ts';
import { Stop } from './stop.ts';
import { decimal } from './values.ts';

interface WindowOptions extends HeadOptions {
  readonly archive: string;
  readonly listen: number;
  readonly scenario?: string;
  readonly port?: readonly string[];
  readonly json?: true;
}

function port(text: string): number {
  const value = decimal(text);
  if (!Number.isInteger(value) || value < 0 || value > 65_535) throw new Stop(exitCode.badInput, '--listen is a port number, 0 to 65535; 0 is any free one.');
  return value;
}

const deskWorker = new URL('../host/desk-worker.ts', import.meta.url);

/** Serves until the process is asked to end; then the bench is made safe and everything is committed. */
async function serve(options: WindowOptions): Promise<void> {
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
    const served = await serveOnLoopback({ host, clock: machineClock, entropy: machineEntropy, windowFolder, port: options.listen });
    if (!served.ok) throw new Stop(exitCode.badInput, served.text);
    if (options.json === true) printJson('window', { address: served.web.address, archive: archive.path });
    else say(`The window is served at ${served.web.address}`, `Archive: ${archive.path}. Ctrl-C ends the host and makes the bench safe.`);
    const asked = await new Promise<string>((resolve) => {
      ending.hold({ onAsked: ({ why }) => resolve(why), makeSafe: () => host.makeSafeNow() });
    });
    tell(`${asked} Ending: the bench is being made safe and everything committed ...`);
    const { accepted, reason } = await host.close();
    tell(reason);
    if (!accepted) process.exitCode = exitCode.bench;
    await served.web.close();
  } finally {
    archive.close();
  }
}

/** The desktop window; where there can be none, the reason in one line and the same window for a browser. */
async function start(options: WindowOptions): Promise<void> {
  const electron = canRunElectron({
    platform: process.platform,
    env: process.env,
    userId: process.getuid?.() ?? null,
    electronFolder: join(houseFolder, 'node_modules', 'electron'),
  });
  if (!electron.can) {
    tell(`railhouse: no desktop window here, because ${electron.why}; the window is served to a browser of this machine.`);
    await serve(options);
    return;
  }
  buildDesktop();
  const desktop = spawn(electron.executable, [houseFolder, ...desktopSwitches(options)], { stdio: 'inherit' });
  // The bench is in the hand of the desktop's own processes; the window ends as it does when it is closed.
  const letGo = ending.hold({
    onAsked: ({ interrupts }) => {
      endDesktop({ desktop, interrupts, platform: process.platform, startAgain: (args) => void spawn(electron.executable, [houseFolder, ...args], { stdio: 'ignore' }) });
    },
    makeSafe: () => Promise.resolve({ kind: 'no-answer', text: 'The desktop window goes on without this program; end it there.' }),
  });
  process.exitCode = await new Promise<number>((resolveCode, reject) => {
    desktop.on('error', reject);
    desktop.on('exit', (code) => resolveCode(code ?? exitCode.defect));
  }).finally(letGo);
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

const listenOption = (): Option => new Option('--listen <port>', 'port on 127.0.0.1; 0 is any free one').default(0).argParser(port);

export function addWindowCommands(program: Command): void {
  withEndByInput(withHeadOptions(program.command('start')))
    .description('open the window: on the desktop where that is possible, else in a browser of this machine')
    .addOption(archiveOption())
    .addOption(listenOption())
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
    .action(serve);
}
