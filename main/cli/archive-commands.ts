import { resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { headText, parseHead, type Head } from '../archive/ledger.ts';
import { exitCode } from './exit-codes.ts';
import { archiveOption, archivePlace } from './places.ts';
import { Stop } from './stop.ts';

/** ARC-10. */
const whatVerifyShows = `
What it shows: damage, and every change that was made to the file without writing all of its hashes anew.
What it cannot show by itself: somebody who writes the whole file anew, every hash included, or who cuts off its end and
everything that belongs to it. That is found only by a head that was kept elsewhere (--head). It also cannot tell who wrote
an entry: who may write to the file may add to it.`;

function givenHead(text: string): Head {
  const head = parseHead(text);
  if (head === null) throw new InvalidArgumentError('A head is a number of entries, a colon and 64 hexadecimal digits, as verify, runs and exports print it.');
  return head;
}

export function addArchiveCommands(program: Command): void {
  program
    .command('verify')
    .description('hold an archive against everything that it promises: structure, ledger and hash chains over every row, replay of every journal, every window from raw telemetry')
    .argument('[archive]', 'archive file; without it the one of --archive')
    .addOption(archiveOption())
    .addOption(
      new Option('--head <head>', 'also: this head, noted earlier from a list, an export or an earlier verify, lies in the history of the archive; may be given several times')
        .argParser((text: string, earlier: readonly Head[] | undefined) => [...(earlier ?? []), givenHead(text)]),
    )
    .addHelpText('after', whatVerifyShows)
    .action((file: string | undefined, options: { archive: string; head?: readonly Head[] }) => {
      const archive = archivePlace(file ?? options.archive, 'read');
      try {
        const { checks, passed, archiveId, head } = archive.verify(options.head);
        for (const check of checks) process.stdout.write(`${check.passed ? 'whole ' : 'BROKEN'}  ${check.name}: ${check.text}\n`);
        if (archiveId !== null && head !== null) process.stdout.write(`Archive ${archiveId}, head ${headText(head)}\n`);
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
