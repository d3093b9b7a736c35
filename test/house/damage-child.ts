/** A process for damage.ts to kill: says "begin", does one thing to the archive of its first argument, says "done". */
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type OpenOptions } from '../../main/archive/archive.ts';
import { exportRun } from '../../main/export/export-run.ts';
import { loadRun } from '../../main/service/run-service.ts';

export type Deed = 'migrate' | 'backup' | 'export';

const [path = '', deed = '', to = ''] = process.argv.slice(2) as [string?, Deed?, string?];
const options: OpenOptions = deed === 'migrate' ? { now: () => machineClock.unixNow(), entropy: machineEntropy } : { readOnly: true };

const say = (text: string): void => void process.stdout.write(`${text}\n`);

if (deed === 'migrate') say('begin');
const opened = openArchive(path, options);
if (!opened.ok) throw new Error(opened.text);
const { archive } = opened;
if (deed === 'backup') {
  say('begin');
  const copied = await archive.backup(to);
  if (!copied.ok) throw new Error(copied.text);
}
if (deed === 'export') {
  const runId = archive.latestRun()?.id ?? '';
  const loaded = loadRun(archive, runId);
  if (!loaded.ok) throw new Error(loaded.text);
  say('begin');
  const written = await exportRun(to, { archive, runId, state: loaded.state, software: 'second' });
  if (written.kind === 'failed') throw new Error(written.text);
}
archive.close();
say('done');
