/** A second process for archive.test.ts: opens the archive of its first argument and does what the second one says. */
import { openArchive } from '../../main/archive/archive.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';

export type Order =
  /** Opens for writing, says "open" and stays. */
  | 'hold'
  /** Opens for writing and measures points as fast as it can; says "done N" for each that the archive has confirmed. */
  | 'measure'
  /** Kills itself in the middle of a transaction, after one whole point. */
  | 'die-inside';

const [path = '', order = ''] = process.argv.slice(2) as [string?, Order?];

const say = (text: string): void => {
  process.stdout.write(`${text}\n`);
};

const opened = openArchive(path, { now: () => unixMillis(1_750_000_000_000), entropy: machineEntropy });
if (!opened.ok) {
  say(`${opened.code}: ${opened.text}`);
  process.exit(1);
}
const { archive } = opened;
say('open');
if (order === 'hold') setInterval(() => undefined, 1000);
if (order === 'measure' || order === 'die-inside') {
  const plan = planOf('Child', 'Order C', ['S-1', 'S-2', 'S-3'], 1000);
  const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test 1', simulated: true });
  if (!created.ok) throw new Error(created.text);
  const run = created.id;
  const measure = (point: number, extra: readonly RunEventBody[] = []): void => {
    const frames = framesFrom(1 + 40 * point, 40);
    const result = archive.append(run, [...attemptBodies(point, 1, 'accepted', frames), ...extra], frames);
    if (!result.ok) {
      say(`${result.code}: ${result.text}`);
      process.exit(2);
    }
    say(`done ${point}`);
  };
  const first = archive.append(run, [openedBody(plan)], []);
  if (!first.ok) {
    say(`${first.code}: ${first.text}`);
    process.exit(2);
  }
  if (order === 'die-inside') {
    measure(0);
    // By then the frames and the events before it are written in the open transaction.
    const deadly = { kind: 'paused', toJSON: () => process.kill(process.pid, 'SIGKILL') } as const;
    measure(1, [deadly]);
  }
  for (let point = 0; order === 'measure'; point += 1) {
    measure(point);
    // Lets what was said leave the process.
    await new Promise((resolve) => setImmediate(resolve));
  }
}
