/**
 * A host that stands still, a bench that goes away and comes back: really done, with processes. The command line runs a small plan on a
 * simulated bench behind a pseudo-terminal, as on a real port, is stopped (SIGSTOP) in the middle of a measurement and goes on later
 * (SIGCONT), or the bench is killed under it. Each ends at rest, with a person to resume it, and says of the bench's safety what is so.
 */
import { spawn } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { openArchive } from '../../main/archive/archive.ts';
import { servePtyBench } from '../../main/bench/pty-bench.ts';
import { exitCode } from '../../main/cli/exit-codes.ts';
import { WallClock } from '../../main/clock/clock.ts';
import { sampleEquipment, samplePlan, scenario, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');

interface Case {
  readonly name: string;
  /** What happens to host and bench; resolves when it is over. */
  readonly happens: (host: { stop: () => void; goOn: () => void }, bench: { close: () => void }) => Promise<void>;
  readonly ends: { readonly code: number; readonly says: RegExp; readonly never: RegExp };
}

const seconds = (s: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, s * 1000));

const stopped = (s: number): Case => ({
  name: `host stopped for ${s} s`,
  happens: async (host) => {
    host.stop();
    await seconds(s);
    host.goOn();
  },
  ends: { code: exitCode.unfinished, says: /The run is paused; the bench is safe\./, never: /Resumed by itself/ },
});

const cases: readonly Case[] = [
  stopped(5),
  stopped(180),
  {
    name: 'bench killed',
    happens: async (_, bench) => {
      bench.close();
      await seconds(0);
    },
    ends: { code: exitCode.bench, says: /the bench has NOT confirmed that it is safe: press its emergency stop/, never: /the bench is safe|Resumed by itself/ },
  },
  {
    name: 'host stopped for 8 s, bench killed meanwhile',
    happens: async (host, bench) => {
      host.stop();
      await seconds(4);
      bench.close();
      await seconds(4);
      host.goOn();
    },
    ends: { code: exitCode.bench, says: /the bench has NOT confirmed that it is safe: press its emergency stop/, never: /the bench is safe|Resumed by itself/ },
  },
];

/** null: it ended as it must; otherwise what was otherwise. */
async function proved({ happens, ends }: Case): Promise<string | null> {
  const folder = scratchFolder();
  const archive = join(folder, 'archive.sqlite');
  const planFile = join(folder, 'plan.json');
  const equipmentFile = join(folder, 'equipment.json');
  writeFileSync(planFile, JSON.stringify(samplePlan('small-plan', withoutLeakChecks)));
  writeFileSync(equipmentFile, JSON.stringify({ ...sampleEquipment(), controller: { model: 'simulated-bench', serialNumber: 'SIM-0001' } }));
  const bench = await servePtyBench(scenario({ seed: 1 }), new WallClock());
  const host = spawn(
    process.execPath,
    [command, 'sweep', planFile, '--archive', archive, '--port', bench.path, '--equipment', equipmentFile, '--operator', 'A. Tester', '--every-point', '--wait-for-bench', '10'],
    { stdio: ['ignore', 'ignore', 'pipe'] },
  );
  const lines: string[] = [];
  const ended = new Promise<number | null>((resolve) => host.on('close', resolve));
  const measured = new Promise<void>((resolve) => {
    createInterface({ input: host.stderr }).on('line', (line) => {
      lines.push(line);
      if (/^Point \d+, attempt \d+, accepted/.test(line)) resolve();
    });
  });
  try {
    await Promise.race([measured, ended]);
    await seconds(1);
    await happens({ stop: () => host.kill('SIGSTOP'), goOn: () => host.kill('SIGCONT') }, bench);
    const code = await ended;
    const said = lines.join('\n');
    const problems = [
      ...(code === ends.code ? [] : [`it ended with code ${code ?? 'none'} and not ${ends.code}`]),
      ...(ends.says.test(said) ? [] : [`it did not say ${String(ends.says)}`]),
      ...(ends.never.test(said) ? [`it said ${String(ends.never)}`] : []),
    ];
    const opened = openArchive(archive, { readOnly: true });
    if (!opened.ok) problems.push(opened.text);
    else {
      const announced = lines.filter((line) => /, accepted\.$/.test(line)).length;
      const run = opened.archive.latestRun();
      const accepted = run === null ? 0 : opened.archive.attempts(run.id, { limit: 1000 }).filter((attempt) => attempt.counts).length;
      if (accepted < announced) problems.push(`${announced} acceptances were announced and ${accepted} are in the archive`);
      if (!opened.archive.verify().passed) problems.push('the archive is not whole');
      opened.archive.close();
    }
    return problems.length === 0 ? null : `${problems.join('; ')}: ${lines.slice(-6).join(' / ')}`;
  } finally {
    host.kill('SIGKILL');
    bench.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

/** `most`: cases with a longer standstill are left out, s. */
export async function freezeMany(most: number): Promise<readonly { readonly name: string; readonly problem: string | null }[]> {
  const found: { name: string; problem: string | null }[] = [];
  for (const one of cases) {
    if (most < 180 && one.name.includes('180 s')) continue;
    found.push({ name: one.name, problem: await proved(one) });
  }
  return found;
}

export async function showFrozen([most = '180']: readonly string[]): Promise<boolean> {
  const found = await freezeMany(Number(most));
  for (const { name, problem } of found) process.stdout.write(`${name}: ${problem ?? 'ends at rest, what it says is so, nothing is lost'}\n`);
  return found.every(({ problem }) => problem === null);
}
