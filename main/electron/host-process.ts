/** The host in a process of its own: a page that hangs or a shell that asks something never holds up the bench. */
import { statfsSync } from 'node:fs';
import { dirname } from 'node:path';
import type { MessagePortMain } from 'electron';
import { openArchive } from '../archive/archive.ts';
import { headsFileAt } from '../archive/heads-file.ts';
import { makeFolder } from '../archive/make-folder.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { benchPlaces } from '../host/bench-place.ts';
import { Desk } from '../host/desk.ts';
import { Host } from '../host/host.ts';
import { onCallWays } from '../host/on-call-ways.ts';
import { keepHeapSmall } from '../host/small-heap.ts';
import { serialPorts, serialPortSource } from '../link/serial-ports.ts';
import { software } from '../service/software.ts';
import { DeskProcesses } from './desk-processes.ts';
import { hostArguments, toHostProcess, type ToShell } from './messages.ts';
import { stopKeys } from './native-stop.ts';

/** As the journal names who pressed it. */
const stoppedBy = { menu: 'STOP in the menu of the desktop window', shortcut: `STOP by the key ${stopKeys}, heard by the desktop program` } as const;

const shell = process.parentPort;
const tell = (message: ToShell): void => {
  shell.postMessage(message);
};

ending.watch(machineClock, { defect: 1, bench: 1, output: 1 });

keepHeapSmall();
const { archivePath, ...headPlaces } = hostArguments.parse(JSON.parse(process.argv[2] ?? ''));
try {
  makeFolder(dirname(archivePath));
} catch {
  // What is in the way is said by the opening.
}
let tellWindows: (text: string) => void = () => undefined;
const heads = headsFileAt(headPlaces, archivePath, { now: () => machineClock.unixNow(), onProblem: (text) => tellWindows(text) });
const opened = heads.ok ? openArchive(archivePath, { now: () => machineClock.unixNow(), entropy: machineEntropy, ...(heads.file === null ? {} : { heads: heads.file }) }) : heads;

if (!opened.ok) {
  tell({ kind: 'failed', text: opened.text });
} else {
  const { archive } = opened;
  const desks = new DeskProcesses(tell);
  const host = new Host({
    archive,
    software,
    clock: machineClock,
    entropy: machineEntropy,
    places: benchPlaces(machineClock, machineEntropy, serialPortSource),
    freeDiskBytes: () => {
      try {
        const { bavail, bsize } = statfsSync(dirname(archive.path));
        return bavail * bsize;
      } catch {
        return null;
      }
    },
    serialPorts: () => serialPorts(machineClock),
    desk: new Desk(desks.start(archive.path, 'like-the-host'), machineClock, desks.start(archive.path, 'gives-way')),
    onCallWays: onCallWays(machineClock),
    onDefect: (error) => {
      tell({ kind: 'defect', text: error instanceof Error ? (error.stack ?? error.message) : String(error) });
    },
    onActivity: (active) => {
      tell({ kind: 'activity', active });
    },
    onBench: (connected) => {
      tell({ kind: 'bench', connected });
    },
  });

  if (heads.ok && heads.publicKey !== null) process.stderr.write(`Heads are signed; the public key is ${heads.publicKey}\n`);
  tellWindows = (text) => {
    host.noteKeeping(text);
  };

  // The shell says when this process ends; whoever else asks gets a bench that is safe until then.
  ending.hold({ onAsked: ({ why }) => void host.rest(why), makeSafe: () => host.makeSafeNow() });

  const serve = (port: MessagePortMain): void => {
    const client = host.attach((message) => {
      port.postMessage('json' in message ? { id: message.id, result: JSON.parse(message.json) as unknown } : message);
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
      case 'desk':
        if (ports[0] !== undefined) desks.came(message.data.desk, ports[0]);
        return;
      case 'desk-ended':
        desks.ended(message.data.desk, message.data.code, message.data.pid);
        return;
      case 'rest':
        void host.rest(message.data.why);
        return;
      case 'stop': {
        const { accepted, reason } = host.stop(stoppedBy[message.data.origin]);
        tell({ kind: 'stopped', id: message.data.id, accepted, text: reason });
        return;
      }
      case 'end':
        void host.close().then(({ accepted, reason }) => {
          archive.close();
          tell({ kind: 'ended', safe: accepted, text: reason });
        });
    }
  });
}
