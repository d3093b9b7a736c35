import type { KeyObject } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import type { Archive } from '../archive/archive.ts';
import { keptHeads, publicHeadKey } from '../archive/heads-file.ts';
import type { Verification } from '../archive/verify.ts';
import { headText, type Head } from '../archive/ledger.ts';
import { currentVersion } from '../archive/migrations.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, quietOption, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { givenHead } from './proof-commands.ts';
import { LiveLine, say } from './say.ts';
import { Stop } from './stop.ts';
import { newFile } from './values.ts';

/** ARC-10. */
const whatVerifyShows = `
What it shows: damage, and every change that was made to the file without writing all of its hashes anew.
What it cannot show by itself: somebody who writes the whole file anew, every hash included, or who cuts off its end and
everything that belongs to it. That is found only by a head that was kept elsewhere: noted (--head), or in a file on another
disk (--heads), where a signature shows that the heads themselves were not made by somebody without the key (--public-key).
It also cannot tell who wrote an entry, nor whether its times are true: who may write to the file may add to it.`;

function givenPublicKey(text: string): KeyObject {
  const key = publicHeadKey(text);
  if (key === null) throw new InvalidArgumentError('A public key is 43 characters, as make-head-key and the commands that sign print it.');
  return key;
}

function keptIn(archive: Archive, file: string, key: KeyObject | null): { readonly heads: readonly Head[]; readonly check: Verification['checks'][number] } {
  let text: string;
  try {
    text = readFileSync(resolve(file), 'utf8');
  } catch (error) {
    throw new Stop(exitCode.badInput, `The heads in ${file} cannot be read (${(error as Error).message}).`);
  }
  const { heads, problems, torn } = keptHeads(text, archive.archiveId(), key);
  const cut = torn === 0 ? '' : ` ${torn} lines were never finished and say nothing.`;
  const fine = `The file ${file} holds ${heads.length} heads of this archive${key === null ? '; whether they are signed was not looked at (--public-key)' : ', each signed by that key'}.`;
  return { heads: heads.map((one) => one.head), check: { name: 'kept heads', passed: problems.length === 0, text: (problems.length === 0 ? fine : `In ${file}: ${problems.slice(0, 5).join(' ')}`) + cut } };
}

export function addArchiveCommands(program: Command): void {
  withJsonOption(program.command('verify'))
    .description('hold an archive against everything that it promises: structure, ledger and hash chains over every row, replay of every journal, every window from raw telemetry')
    .argument('[archive]', 'archive file; without it the one of --archive')
    .addOption(archiveOption())
    .addOption(
      new Option('--head <head>', 'also: this head, noted earlier from a list, an export or an earlier verify, lies in the history of the archive; may be given several times')
        .argParser((text: string, earlier: readonly Head[] | undefined) => [...(earlier ?? []), givenHead(text)]),
    )
    .addOption(new Option('--heads <file>', 'also: so does each head of this archive that was kept in this file (--heads of the commands that measure)'))
    .addOption(new Option('--public-key <key>', 'with --heads: each of them is signed with the key whose public part this is').argParser(givenPublicKey))
    .addHelpText('after', whatVerifyShows)
    .addOption(quietOption())
    .action((file: string | undefined, options: { archive: string; head?: readonly Head[]; heads?: string; publicKey?: KeyObject; json?: true; quiet?: true }) => {
      const archive = archivePlace(file ?? options.archive, 'read');
      try {
        const line = new LiveLine();
        const kept = options.heads === undefined ? null : keptIn(archive, options.heads, options.publicKey ?? null);
        const { checks: ofArchive, passed: whole, archiveId, head } = archive.verify([...(options.head ?? []), ...(kept?.heads ?? [])], (share) => {
          if (options.quiet !== true) line.show(() => [`Checking: ${Math.floor(100 * share)} %`]);
        });
        line.clear();
        const checks = [...ofArchive, ...(kept === null ? [] : [kept.check])];
        const passed = whole && checks.every((check) => check.passed);
        process.exitCode = passed ? exitCode.done : exitCode.checkFailed;
        if (options.json === true) {
          printJson('verify', { archive: archive.path, passed, archiveId, head: head === null ? null : headText(head), checks: checks.map(({ name, passed: fine, text }) => ({ name, passed: fine, text })) });
          return;
        }
        say(...checks.map((check) => `${check.passed ? 'whole ' : 'BROKEN'}  ${check.name}: ${check.text}`));
        if (archiveId !== null && head !== null) say(`Archive ${archiveId}, head ${headText(head)}`);
        say(passed ? `The archive ${archive.path} is whole.` : `The archive ${archive.path} is NOT whole. Keep it unchanged and compare it with a backup.`);
      } finally {
        archive.close();
      }
    });

  withJsonOption(program.command('backup'))
    .description('copy an archive while it may be in use, and check the copy')
    .argument('<file>', 'the copy; it must not exist yet', newFile)
    .addOption(archiveOption())
    .action(async (file: string, options: { archive: string; json?: true }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const copied = await archive.backup(resolve(file));
        if (!copied.ok) throw new Stop(exitCode.archive, copied.text);
        if (options.json === true) printJson('backup', { path: copied.path, bytes: copied.bytes });
        else say(`${copied.path}, ${copied.bytes} bytes`);
      } finally {
        archive.close();
      }
    });

  withJsonOption(program.command('bring-up-to-date'))
    .description('bring an archive of an earlier version up to that of this program; a copy as it was stays beside it, and no run is changed')
    .argument('[archive]', 'archive file; without it the one of --archive')
    .addOption(archiveOption())
    .action((file: string | undefined, options: { archive: string; json?: true }) => {
      const path = resolve(file ?? options.archive);
      if (!existsSync(path)) throw new Stop(exitCode.archive, `There is no archive at ${path}. Nothing was made. Name another file.`);
      // Opening it for writing is what does it (ARC-50).
      archivePlace(path, 'write').close();
      if (options.json === true) printJson('bring-up-to-date', { archive: path, version: currentVersion });
      else say(`The archive ${path} is of version ${currentVersion}, that of this program.`);
    });
}
