/** How help is laid out: to the width of the terminal, however narrow (CLI-14). */
import type { Command, Help } from 'commander';
import { unconfirmedWords } from '../../app/run/safe-words.ts';
import { exitCode } from './exit-codes.ts';
import { tell, widthOf, wrapped } from './say.ts';

/** A description beside its term needs as much room; else it stands below it. */
const BESIDE = 40;
const BELOW = 6;

function item(term: string, termWidth: number, description: string, helper: Help): string {
  if (description === '') return `  ${term}`;
  const width = helper.helpWidth ?? 80;
  const room = width - termWidth - 4;
  if (room >= BESIDE) return wrapped(description, room).map((line, i) => `  ${(i === 0 ? term : '').padEnd(termWidth)}  ${line}`).join('\n');
  return [...wrapped(term, width - 4).map((line, i) => `${i === 0 ? '  ' : '    '}${line}`), ...wrapped(description, width - BELOW).map((line) => `${' '.repeat(BELOW)}${line}`)].join('\n');
}

/** What each exit code means, for people; `exit-codes.ts` has the reasons. */
const codeWords: Readonly<Record<keyof typeof exitCode, string>> = {
  done: 'done',
  defect: 'defect of this program',
  badInput: 'bad command line or file',
  refused: 'start refused, nothing energised',
  pointsFailed: 'ended with points that have no accepted attempt',
  unfinished: 'resting unfinished, can be continued',
  bench: `bench not reached, lost, or ${unconfirmedWords}`,
  archive: 'archive busy, newer, damaged or disk full',
  checkFailed: 'a check found something wrong',
};

const exitCodes = (Object.keys(codeWords) as (keyof typeof exitCode)[]).map((name) => `${exitCode[name]} ${codeWords[name]}`).join('; ');

/** For a program and the commands that are made of it afterwards. */
export const laidOut = (program: Command): Command =>
  program
    .configureHelp({ formatItem: item, boxWrap: (text, width) => text.split('\n').flatMap((line) => wrapped(line, width)).join('\n') })
    .configureOutput({ getOutHelpWidth: () => widthOf(process.stdout), getErrHelpWidth: () => widthOf(process.stderr), writeErr: (text) => tell(...text.replace(/\n$/u, '').split('\n')) })
    .addHelpText('after', () => `\n${wrapped(`Exit codes: ${exitCodes}.`, widthOf(process.stdout)).join('\n')}`);
