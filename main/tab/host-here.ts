/** The bench of a tab: host, simulated bench and an archive in memory, in a worker of its own, so that the page never holds up the bench. */
import { requests, toWindow, type AnswerTo, type Params, type RequestName, type ToWindow } from '../../app/contract/contract.ts';
import { newId } from '../clock/entropy.ts';
import { messageText } from '../host/outcome.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { openArchive } from '../archive/archive.ts';
import { benchPlaces } from '../host/bench-place.ts';
import { Desk } from '../host/desk.ts';
import { Host } from '../host/host.ts';
import { software } from '../service/software.ts';
import planSample from '../samples/small-plan.json' with { type: 'json' };
import { deskHere } from './desk.ts';
import { mkdirSync } from './node/fs.ts';
import { fromPage, type FromWorker } from './messages.ts';
import { seededRun } from './seeded-run.ts';

/** What is used of the worker's own scope. */
const scope = globalThis as unknown as { postMessage: (message: FromWorker) => void; onmessage: ((event: { readonly data: unknown }) => void) | null };

for (const folder of ['/tmp', '/archive']) mkdirSync(folder, { recursive: true });
const path = '/archive/archive.sqlite';
const opened = openArchive(path, { now: () => machineClock.unixNow(), entropy: machineEntropy });
if (!opened.ok) throw new Error(opened.text);

const desk = deskHere(() => openArchive(path, { readOnly: true, checked: true }));
const host = new Host({
  archive: opened.archive,
  software,
  clock: machineClock,
  entropy: machineEntropy,
  places: benchPlaces(machineClock, machineEntropy, null),
  freeDiskBytes: () => null,
  serialPorts: () => Promise.resolve([]),
  desk: new Desk(desk, machineClock),
  onDefect: (error) => scope.postMessage({ kind: 'defect', text: error instanceof Error ? (error.stack ?? error.message) : String(error) }),
});

const operator = 'Nobody (this tab)';

/** The small sample sweep, twenty times as fast as a bench: so that there is something to look at when the window comes (HOST-121). Throws what went wrong. */
async function beginSweep(): Promise<void> {
  const waiting = new Map<number, (said: ToWindow) => void>();
  const client = host.attach((message) => {
    if (!('event' in message)) waiting.get(message.id)?.(toWindow.parse(JSON.parse(messageText(message))));
  });
  const ask = async <N extends RequestName>(name: N, params: Params<N>): Promise<AnswerTo<N>> => {
    const id = waiting.size;
    const said = await new Promise<ToWindow>((resolve) => {
      waiting.set(id, resolve);
      client.receive({ id, name, params });
    });
    if (!('result' in said)) throw new Error(`${name}: ${JSON.stringify(said)}`);
    return requests[name].result.parse(said.result) as AnswerTo<N>;
  };
  try {
    await ask('hello', { name: operator });
    await ask('bench.connect', { bench: { kind: 'simulated', speed: 20 } });
    const run = await ask('run.open', { document: planSample, operator });
    await ask('run.command', { id: run.id, command: { kind: 'start' }, by: operator, commandId: newId(machineEntropy) });
  } finally {
    client.close();
  }
}

const window = host.attach((message) => scope.postMessage({ kind: 'to-window', message: JSON.parse(messageText(message)) as unknown }));
let runs = 0;

scope.onmessage = ({ data }) => {
  const message = fromPage.parse(data);
  if (message.kind === 'to-host') window.receive(message.message);
  else {
    seededRun(`/tmp/seeded-${++runs}.sqlite`, message.seed).then(
      (run) => scope.postMessage({ kind: 'seeded-run', run }),
      (error: unknown) => scope.postMessage({ kind: 'defect', text: String(error) }),
    );
  }
};
try {
  await beginSweep();
} catch (error) {
  // The window comes all the same, and a sweep can be started there.
  scope.postMessage({ kind: 'defect', text: String(error) });
}
scope.postMessage({ kind: 'ready' });
