/** The window's host as a command: serves the built window on this machine. */
import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { Option, type Command } from 'commander';
import { WallClock } from '../clock/clock.ts';
import { Host } from '../host/host.ts';
import { serveOnLoopback } from '../host/web-host.ts';
import { serialPorts } from '../link/serial-ports.ts';
import { software } from '../service/software.ts';
import { exitCode } from './exit-codes.ts';
import { archiveOption, archivePlace, freeDiskBytes } from './places.ts';
import { Stop } from './stop.ts';

interface WindowOptions {
  readonly archive: string;
  readonly listen: number;
}

const windowFolder = join(import.meta.dirname, '..', '..', 'dist', 'window');

function port(text: string): number {
  const value = Number(text);
  if (!Number.isInteger(value) || value < 0 || value > 65_535) throw new Stop(exitCode.badInput, '--listen is a port number, 0 to 65535; 0 is any free one.');
  return value;
}

/** Serves until the process is asked to end; then the bench is made safe and everything is committed. */
async function serve(options: WindowOptions): Promise<void> {
  const archive = archivePlace(options.archive, 'write');
  try {
    const host = new Host({
      archive,
      software,
      newId: randomUUID,
      freeDiskBytes: () => freeDiskBytes(archive.path),
      serialPorts: () => serialPorts(new WallClock()),
      deskWorker: new URL('../host/desk-worker.ts', import.meta.url),
      onDefect: (error) => process.stderr.write(`This is a defect of the program:\n${(error as Error).stack ?? String(error)}\n`),
    });
    const served = await serveOnLoopback({ host, windowFolder, port: options.listen });
    if (!served.ok) throw new Stop(exitCode.badInput, served.text);
    process.stdout.write(`The window is served at ${served.web.address}\nArchive: ${archive.path}. Ctrl-C ends the host and makes the bench safe.\n`);
    await new Promise<void>((resolve) => {
      process.once('SIGINT', () => resolve());
      process.once('SIGTERM', () => resolve());
    });
    process.stderr.write('Ending: the bench is made safe and everything is committed ...\n');
    await host.close();
    await served.web.close();
  } finally {
    archive.close();
  }
}

export function addWindowCommands(program: Command): void {
  program
    .command('window')
    .description('serve the window on this machine, for a browser; only programs of this machine can reach it')
    .addOption(archiveOption())
    .addOption(new Option('--listen <port>', 'port on 127.0.0.1; 0 is any free one').default(0).argParser(port))
    .action(serve);
}
