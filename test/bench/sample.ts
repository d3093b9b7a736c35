/** The sample sweep as a user runs it: wall time, and what it did in it. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { spawnSync } from 'node:child_process';
import { scratchFolder } from '../builders/in-process.ts';
import type { BenchReport } from './report.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');

export function bench(): Promise<BenchReport> {
  const folder = scratchFolder();
  try {
    const started = performance.now();
    const swept = spawnSync(process.execPath, [command, 'sample', '--archive', join(folder, 'archive.sqlite')], { encoding: 'utf8' });
    const sweep = (performance.now() - started) / 1000;
    if (swept.status !== 0) throw new Error(`the sample sweep ended with code ${swept.status ?? 'none'}: ${swept.stderr}`);
    const verifying = performance.now();
    const verified = spawnSync(process.execPath, [command, 'verify', join(folder, 'archive.sqlite')], { encoding: 'utf8' });
    if (verified.status !== 0) throw new Error(verified.stdout);
    return Promise.resolve({
      name: 'The sample sweep: 8 injectors x 5 voltages x 12 widths x 3 replicates',
      figures: [
        { label: 'wall time of the command, table printed', value: sweep, unit: 's' },
        { label: 'wall time to verify its archive', value: (performance.now() - verifying) / 1000, unit: 's' },
      ],
    });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
