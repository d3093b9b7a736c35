import { resolve } from 'node:path';
import type { Command } from 'commander';
import { exitCode } from './exit-codes.ts';
import { archiveOption, archivePlace } from './places.ts';
import { Stop } from './stop.ts';

export function addArchiveCommands(program: Command): void {
  program
    .command('verify')
    .description('prove an archive whole: structure, hash chain, replay of every journal, every window from raw telemetry')
    .argument('[archive]', 'archive file; without it the one of --archive')
    .addOption(archiveOption())
    .action((file: string | undefined, options: { archive: string }) => {
      const archive = archivePlace(file ?? options.archive, 'read');
      try {
        const { checks, passed } = archive.verify();
        for (const check of checks) process.stdout.write(`${check.passed ? 'whole ' : 'BROKEN'}  ${check.name}: ${check.text}\n`);
        process.stdout.write(passed ? `The archive ${archive.path} is whole.\n` : `The archive ${archive.path} is NOT whole. Keep it unchanged and compare it with a backup.\n`);
        process.exitCode = passed ? exitCode.done : exitCode.checkFailed;
      } finally {
        archive.close();
      }
    });

  program
    .command('backup')
    .description('copy an archive while it may be in use, and check the copy')
    .argument('<file>', 'the copy; it must not exist yet')
    .addOption(archiveOption())
    .action(async (file: string, options: { archive: string }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const copied = await archive.backup(resolve(file));
        if (!copied.ok) throw new Stop(exitCode.archive, copied.text);
        process.stdout.write(`${copied.path}, ${copied.bytes} bytes\n`);
      } finally {
        archive.close();
      }
    });
}
