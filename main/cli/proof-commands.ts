/** Proofs that can be checked without the archive, and the key that heads are signed with. */
import { readFileSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { makeHeadKey } from '../archive/heads-file.ts';
import { headText, parseHead, type Head } from '../archive/ledger.ts';
import { checkProof, continuation, placeOfRun, type CheckedProof } from '../archive/proof.ts';
import { checkExport } from '../export/manifest.ts';
import { chosenRun } from './chosen-run.ts';
import { commandLine } from './command-line.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption } from './places.ts';
import { withArchive } from './result-commands.ts';
import { jsonText, say, sayJson } from './say.ts';
import { Stop } from './stop.ts';
import { newFile } from './values.ts';

/** A head as a person gives it on the command line. */
export function givenHead(text: string): Head {
  const head = parseHead(text);
  if (head === null) throw new InvalidArgumentError('A head is a number of entries, a colon and 64 hexadecimal digits, as verify, runs and exports print it.');
  return head;
}

interface ProveOptions {
  readonly archive: string;
  readonly json?: true;
  readonly since?: Head;
  readonly head?: Head;
  readonly to?: string;
}

interface CheckOptions {
  readonly head?: Head;
  readonly json?: true;
}

/** Whether another head was kept than the one that was found. */
const isOther = (kept: Head | undefined, found: string): boolean => kept !== undefined && headText(kept) !== found;

const differentHead = (head: Head): string => `The archive has no such history: its first ${head.n} entries do not have the head ${headText(head)}. Nothing was proved. Run verify with --head ${headText(head)}.`;

function prove(named: string | undefined, options: ProveOptions): Promise<void> {
  return withArchive(options.archive, (archive) => {
    const under = options.head ?? archive.head();
    let proof;
    if (options.since === undefined) {
      const run = chosenRun(archive, named);
      proof = placeOfRun(archive.ledger, run, under);
      if (proof === null) throw new Stop(exitCode.badInput, `Run ${run} is not among the first ${under.n} entries of this archive. Nothing was proved.`);
      if (proof.head !== headText(under)) throw new Stop(exitCode.checkFailed, differentHead(under));
    } else {
      proof = continuation(archive.ledger, options.since, under);
      if (proof === null) throw new Stop(exitCode.checkFailed, differentHead(options.since));
      if (proof.head !== headText(under)) throw new Stop(exitCode.checkFailed, differentHead(under));
    }
    const text = `${jsonText(proof, 1)}\n`;
    if (options.to === undefined) {
      if (options.json === true) printJson('prove', { kind: proof.kind, head: proof.head, to: null, proof });
      else sayJson(proof, 1);
      return;
    }
    try {
      writeFileSync(resolve(options.to), text);
    } catch (error) {
      throw new Stop(exitCode.badInput, `The proof cannot be written (${(error as Error).message}). Choose another file.`);
    }
    if (options.json === true) printJson('prove', { kind: proof.kind, head: proof.head, to: resolve(options.to), proof });
    else say(`${resolve(options.to)}, ${text.length} bytes, under the head ${proof.head}`);
  });
}

function words({ proof, entry, head }: Extract<CheckedProof, { holds: true }>): string {
  if (proof.kind === 'continuation') return `The history with the head ${headText(head)} goes on from the one with the head ${proof.earlier}: nothing before that was changed or taken out.`;
  if (entry?.kind !== 'events') return `Entry ${proof.n} lies in the history with the head ${headText(head)}. It says: ${proof.text}`;
  return `Run ${entry.run}, events ${entry.seq + 1} to ${entry.seq + entry.events} (entry ${proof.n}), lies in the history with the head ${headText(head)}. The hash of its journal up to there is ${entry.head}.`;
}

export function addProofCommands(program: Command): void {
  withJsonOption(program.command('prove'))
    .description('a proof of a few hundred bytes, for somebody without the archive: that a run lies at its place in its history, or (--since) that this history goes on from an earlier head')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--since <head>', 'instead: the history with this head was only added to').argParser(givenHead))
    .addOption(new Option('--head <head>', 'under this head, which somebody kept; without it under the present one').argParser(givenHead))
    .addOption(new Option('--to <file>', 'write it to this file'))
    .action(prove);

  withJsonOption(program.command('check-proof'))
    .description('check such a proof, without the archive')
    .argument('<file>', 'the proof')
    .addOption(new Option('--head <head>', 'the head that it must be under: one that was kept').argParser(givenHead))
    .addHelpText('after', '\nA proof holds under its own head. It is worth what that head is worth: compare it with one that was kept elsewhere or is signed.')
    .action((file: string, options: CheckOptions) => {
      let document: unknown;
      try {
        document = JSON.parse(readFileSync(resolve(file), 'utf8'));
      } catch (error) {
        throw new Stop(exitCode.badInput, `The proof ${file} cannot be read (${(error as Error).message}).`);
      }
      const checked = checkProof(document);
      const head = checked.holds ? headText(checked.head) : null;
      const text = checked.holds ? words(checked) : checked.text;
      const fault = !checked.holds ? text : head !== null && isOther(options.head, head) ? `The proof holds, but under another head: ${head}. Ask for one under the head that was kept.` : null;
      if (options.json === true) printJson('check-proof', { passed: fault === null, holds: checked.holds, head, text: fault ?? text });
      if (fault !== null) throw new Stop(exitCode.checkFailed, fault);
      if (options.json === true) return;
      say(text, ...(options.head === undefined ? ['Compare this head with one that was kept elsewhere (--head).'] : []));
    });

  withJsonOption(program.command('check-export'))
    .description('hold the files of an export against its manifest, and the manifest against its proof, without the archive')
    .argument('<folder>', 'folder of the export')
    .addOption(new Option('--head <head>', 'the head that the export must be under: one that was kept').argParser(givenHead))
    .action(async (folder: string, options: CheckOptions) => {
      let checked;
      try {
        checked = await checkExport(resolve(folder));
      } catch (error) {
        throw new Stop(exitCode.badInput, `The manifest of ${resolve(folder)} cannot be read (${(error as Error).message}).`);
      }
      const fault = !checked.whole
        ? `The export in ${resolve(folder)} is NOT as it was written. ${checked.problems.join(' ')}`
        : isOther(options.head, checked.archiveHead) ? `The export is as it was written, but under another head: ${checked.archiveHead}.` : null;
      if (options.json === true) {
        const of = checked.whole ? { run: checked.runId, archiveId: checked.archiveId, head: checked.archiveHead, files: checked.files } : { run: null, archiveId: null, head: null, files: null };
        printJson('check-export', { passed: fault === null, ...of, problems: checked.whole ? [] : [...checked.problems] });
      }
      if (fault !== null || !checked.whole) throw new Stop(exitCode.checkFailed, fault ?? '');
      if (options.json === true) return;
      say(
        `All ${checked.files} files are as they were written. Run ${checked.runId} lies in archive ${checked.archiveId} under the head ${checked.archiveHead}.`,
        `To hold the archive against it: ${commandLine('verify', ['--head', checked.archiveHead])}`,
      );
    });

  withJsonOption(program.command('make-head-key'))
    .description('make an Ed25519 key to sign heads of archives with (--heads-key), and print its public part')
    .argument('<file>', 'the private key; keep it away from the archive. The file must not exist yet', newFile)
    .action((file: string, options: { json?: true }) => {
      const made = makeHeadKey(resolve(file));
      if (!made.ok) throw new Stop(exitCode.badInput, made.text);
      if (options.json === true) printJson('make-head-key', { file: resolve(file), publicKey: made.publicKey });
      else say(resolve(file), `public key ${made.publicKey}`);
    });
}
