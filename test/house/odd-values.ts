/**
 * `npm run show -- odd-values`: every command with what people mistype and what scripts leave empty, each as a process of its own: exit
 * code, time and first line. A stack trace, silence with an error, the code of a defect or ten seconds are wrong (CLI-2).
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { makeProgram } from '../../main/cli/program.ts';
import { scratchFolder } from '../builders/in-process.ts';

const LIMIT_MS = 10_000;
/** On a machine that does much else a command may need longer once: one that hangs does not end in this time either. */
const SURELY_MS = 60_000;
/** They go on until they are ended: what is odd about them must end them before. */
const stays: ReadonlySet<string> = new Set(['start', 'window', 'serve-bench']);
/** They do their work with whatever they are given, for longer than ten seconds. */
const works: ReadonlySet<string> = new Set(['sample', 'build', 'check-controller']);

interface Tried {
  readonly command: string;
  readonly odd: string;
  readonly args: readonly string[];
  readonly input?: string;
}

const leaves = (command: Command, path: readonly string[] = []): readonly (readonly [readonly string[], Command])[] =>
  command.commands.flatMap((one) => (one.commands.length > 0 ? leaves(one, [...path, one.name()]) : [[[...path, one.name()], one] as const]));

function oddities(path: readonly string[], command: Command, folder: string): readonly Tried[] {
  const name = path.join(' ');
  const tried = (odd: string, more: readonly string[], input?: string): Tried => ({ command: name, odd, args: [...path, ...more], ...(input === undefined ? {} : { input }) });
  const given = command.registeredArguments.filter(({ required }) => required).map(() => join(folder, 'none.json'));
  const has = (long: string): boolean => command.options.some((option) => option.long === long);
  const named = has('--operator') ? ['--operator', 'A. Tester'] : [];
  return [
    tried('an option that is not', [...given, '--nonsense']),
    tried('one word too many', [...command.registeredArguments.map(() => 'x'), 'x', 'x']),
    ...command.options.filter(({ required, optional }) => required || optional).map(({ long }) => tried(`${long ?? ''} ""`, [...given, ...named, long ?? '', ''])),
    ...command.options.filter(({ flags }) => /<(seconds|factor|numbers?|points?|port|date|head|V|kPa|ms|kg)\b/u.test(flags)).flatMap(({ long }) => ['0x10', '1e999', '-1'].map((value) => tried(`${long ?? ''} ${value}`, [...given, ...named, `${long ?? ''}=${value}`]))),
    ...command.registeredArguments.map((argument, i) => tried(`<${argument.name()}> ""`, [...given.slice(0, i), '', ...named])),
    ...(given.length > 0 && !stays.has(name) ? [tried('a file that is not there', [...given, ...named])] : []),
    ...(given.length > 0 ? [tried('a folder for a file', [folder, ...named]), tried('- with nothing in it', ['-', ...named], ''), tried('a file that is no JSON', [join(folder, 'text.json'), ...named])] : []),
    ...(has('--archive') && !works.has(name) ? [tried('--archive that is a folder', [...given, ...named, '--archive', folder]), tried('--archive that is a text', [...given, ...named, '--archive', join(folder, 'text.json')])] : []),
    ...(has('--archive') && !works.has(name) && !stays.has(name) ? [tried('--archive that is not there', [...given, ...named, '--archive', join(folder, 'none.sqlite')])] : []),
    ...(has('--port') && !stays.has(name) ? [tried('--port that is not there', [...given, ...named, '--port', '/dev/none', ...(has('--equipment') ? ['--equipment', join(folder, 'text.json')] : [])])] : []),
  ];
}

function outcome(tried: Tried, folder: string): ReturnType<typeof attempt> {
  const first = attempt(tried, folder, LIMIT_MS);
  return first.wrong === 'hangs' ? attempt(tried, folder, SURELY_MS) : first;
}

function attempt({ args, input = '' }: Tried, folder: string, limitMs: number) {
  const began = performance.now();
  const env = Object.fromEntries(Object.entries(process.env).filter(([name]) => !name.startsWith('RAILHOUSE')));
  const { status, signal, stdout, stderr } = spawnSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), ...args], { cwd: join(folder, 'here'), env: { ...env, XDG_CONFIG_HOME: folder }, input, encoding: 'utf8', timeout: limitMs });
  const said = `${stderr}${stdout}`;
  const wrong =
    status === null ? (signal === 'SIGTERM' ? 'hangs' : 'killed') : status === 1 ? 'a defect' : /\n\s+at .*:\d+:\d+/u.test(said) ? 'a stack trace' : status !== 0 && said.trim() === '' ? 'says nothing' : null;
  return { code: status, ms: Math.round(performance.now() - began), line: said.trim().split('\n')[0] ?? '', wrong };
}

export function showOddValues([only = '']: readonly string[]): Promise<boolean> {
  const folder = scratchFolder();
  let wrong = 0;
  try {
    mkdirSync(join(folder, 'here'));
    writeFileSync(join(folder, 'text.json'), 'this is a text\n');
    const all = leaves(makeProgram()).filter(([path]) => !works.has(path.join(' ')) || only !== '').flatMap(([path, command]) => oddities(path, command, folder)).filter(({ command }) => command.includes(only));
    process.stdout.write(`| command | given | code | ms | first line |\n|---|---|---|---|---|\n`);
    for (const one of all) {
      const { code, ms, line, wrong: why } = outcome(one, folder);
      if (why !== null) wrong += 1;
      const short = line.replaceAll(folder, '.').replaceAll('|', '/');
      process.stdout.write(`| ${one.command} | ${one.odd} | ${code ?? '-'} | ${ms} | ${why === null ? '' : `WRONG (${why}): `}${short.length > 110 ? `${short.slice(0, 107)}...` : short} |\n`);
    }
    const left = readdirSync(join(folder, 'here'));
    process.stdout.write(`${all.length} tried, ${wrong} wrong; left in the folder where they were called: ${left.length === 0 ? 'nothing' : left.join(', ')}\n`);
    return Promise.resolve(wrong === 0 && left.length === 0);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
