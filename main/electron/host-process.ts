/** The host in a process of its own: a page that hangs or a shell that asks something never holds up the bench. */
import { mkdirSync, statfsSync } from 'node:fs';
import { dirname } from 'node:path';
import type { MessagePortMain } from 'electron';
import { openArchive } from '../archive/archive.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { benchPlaces } from '../host/bench-place.ts';
import { Desk } from '../host/desk.ts';
import { workerThread } from '../host/desk-thread.ts';
import { Host } from '../host/host.ts';
import { serialPorts } from '../link/serial-ports.ts';
import { software } from '../service/software.ts';
import { toHostProcess, type ToShell } from './messages.ts';

const shell = process.parentPort;
const tell = (message: ToShell): void => {
  shell.postMessage(message);
};

ending.watch(machineClock, { defect: 1, bench: 1, output: 1 });

const archivePath = process.argv[2] ?? '';
try {
  mkdirSync(dirname(archivePath), { recursive: true });
} catch {
  // What is in the way is said by the opening.
}
const opened = openArchive(archivePath, { now: () => machineClock.unixNow(), entropy: machineEntropy });

if (!opened.ok) {
  tell({ kind: 'failed', text: opened.text });
} else {
  const { archive } = opened;
  const host = new Host({
    archive,
    software,
    clock: machineClock,
    entropy: machineEntropy,
    places: benchPlaces(machineClock, machineEntropy),
    freeDiskBytes: () => {
      try {
        const { bavail, bsize } = statfsSync(dirname(archive.path));
        return bavail * bsize;
      } catch {
        return null;
      }
    },
    serialPorts: () => serialPorts(machineClock),
    desk: new Desk(workerThread(archive.path, new URL('desk-worker.js', import.meta.url)), machineClock),
    onDefect: (error) => {
      tell({ kind: 'defect', text: error instanceof Error ? (error.stack ?? error.message) : String(error) });
    },
    onActivity: (active) => {
      tell({ kind: 'activity', active });
    },
  });

  // The shell says when this process ends; whoever else asks gets a bench that is safe until then.
  ending.hold({ onAsked: ({ why }) => void host.rest(why), makeSafe: () => host.makeSafeNow() });

  const serve = (port: MessagePortMain): void => {
    const client = host.attach((message) => {
      port.postMessage(message);
    });
    port.on('message', ({ data }) => {
      client.receive(data);
    });
    port.on('close', () => {
      client.close();
    });
    port.start();
  };

  shell.on('message', ({ data, ports }) => {
    const message = toHostProcess.safeParse(data);
    if (!message.success) return;
    switch (message.data.kind) {
      case 'window':
        if (ports[0] !== undefined) serve(ports[0]);
        return;
      case 'rest':
        void host.rest(message.data.why);
        return;
      case 'end':
        void host.close().then(({ accepted, reason }) => {
          archive.close();
          tell({ kind: 'ended', safe: accepted, text: reason });
        });
    }
  });
}
