/** `npm run bench [name ...]`: measures and prints; asserts nothing. Each bench module exports `bench()`. */
import { cpus } from 'node:os';
import type { BenchReport } from './report.ts';

const modules: Readonly<Record<string, () => Promise<{ bench: () => Promise<BenchReport> }>>> = {
  line: () => import('./line.ts'),
  engine: () => import('./engine.ts'),
  archive: () => import('./archive.ts'),
  reduce: () => import('./reduce.ts'),
  decide: () => import('./decide.ts'),
  host: () => import('./host.ts'),
  sample: () => import('./sample.ts'),
  window: () => import('./window.ts'),
  response: () => import('./response.ts'),
  firmware: () => import('./firmware.ts'),
};

const wanted = process.argv.slice(2);
process.stdout.write(`Node ${process.versions.node}, ${cpus().length} x ${cpus()[0]?.model ?? 'unknown processor'}\n`);
for (const [name, load] of Object.entries(modules)) {
  if (wanted.length > 0 && !wanted.includes(name)) continue;
  const report = await (await load()).bench();
  process.stdout.write(`\n${report.name}\n`);
  for (const { label, value, unit } of report.figures) {
    process.stdout.write(`  ${label.padEnd(72)} ${value.toPrecision(4).padStart(10)} ${unit}\n`);
  }
}
