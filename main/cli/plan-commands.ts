import { existsSync } from 'node:fs';
import type { Command } from 'commander';
import type { BenchIdentity } from '../../app/bench/port.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { expectedPoints } from '../../app/plan/expand.ts';
import { preflight } from '../../app/plan/preflight.ts';
import type { PreflightContext } from '../../app/plan/preflight.ts';
import type { PreflightLine } from '../../app/plan/preflight-line.ts';
import { meterStandingIn } from '../archive/meter-standing.ts';
import { qualificationIn } from '../archive/qualification-standing.ts';
import { connectBench } from '../bench/driver.ts';
import type { Clock } from '../clock/clock.ts';
import { today } from '../clock/dating.ts';
import { machineEntropy } from '../clock/machine.ts';
import { equipmentFor, planFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace, commandBench, equipmentOption, freeDiskBytes, withBenchOptions, type BenchOptions } from './places.ts';
import { say } from './say.ts';
import { Stop } from './stop.ts';

/** A pre-flight sheet, a line for each rule. */
export const sheetLines = (lines: readonly PreflightLine[]): readonly string[] => lines.map(({ rule, result, text }) => `${rule.padEnd(7)} ${result.padEnd(7)} ${text}`);

const isRefusal = ({ result }: PreflightLine): boolean => result === 'refuse';

/** The same for a program (CLI-5). */
export const sheetForPrograms = (lines: readonly PreflightLine[]): Parameters<typeof printJson<'sheet'>>[1] => ({ kind: 'sheet', lines: lines.map(({ rule, result, text }) => ({ rule, result, text })), refused: lines.some(isRefusal) });

export function addPlanCommands(program: Command): void {
  withJsonOption(
    withBenchOptions(program.command('check-plan').description('say what is wrong with a plan, or print its pre-flight sheet for a bench').argument('<plan>', 'plan file; - is standard input')),
  )
    .addOption(archiveOption())
    .addOption(equipmentOption())
    .action(async (path: string, options: BenchOptions & { equipment?: string; archive: string; json?: true }) => {
      const plan = planFile(path);
      const equipment = equipmentFor(options);
      const place = commandBench(options);
      try {
        // Only the capabilities are asked for; nothing is armed.
        const connected = await connectBench({
          channels: place.channels, clock: place.clock, entropy: machineEntropy, deadManMs: plan.link.deadManMs, telemetryHz: plan.link.telemetryHz,
          onFrame: () => undefined, onLink: () => undefined,
        });
        if (!connected.ok) throw new Stop(exitCode.bench, connected.text);
        const sheet = preflight(plan, expectedPoints(plan), {
          capabilities: connected.bench.capabilities, equipment, controller: { ...connected.bench.identity, simulated: place.simulated },
          freeDiskBytes: freeDiskBytes(options.archive),
          ...standingsIn(options.archive, equipment, connected.bench.identity, place.clock),
          today: today(place.clock),
        });
        await connected.bench.close();
        if (options.json === true) printJson('sheet', sheetForPrograms(sheet.lines));
        else say(...sheetLines(sheet.lines));
        if (sheet.lines.some(isRefusal)) process.exitCode = exitCode.refused;
      } finally {
        place.close();
      }
    });
}

/** Of an archive that is there already. */
function standingsIn(path: string, equipment: Equipment, bench: BenchIdentity, clock: Clock): Pick<PreflightContext, 'meterChecks' | 'qualification'> {
  if (!existsSync(path)) return { meterChecks: null, qualification: null };
  const archive = archivePlace(path, 'read');
  try {
    return { meterChecks: meterStandingIn(archive, equipment, today(clock)), qualification: qualificationIn(archive, bench, clock.unixNow()) };
  } finally {
    archive.close();
  }
}
