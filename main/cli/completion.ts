/** What a shell completes of this program, made from the program itself (CLI-10). */
import { Argument, type Command } from 'commander';
import { sayScript } from './say.ts';

const shells = ['bash', 'zsh', 'fish'] as const;
type Shell = (typeof shells)[number];

interface Place {
  /** The words that lead there, without the program's name. */
  readonly path: string;
  readonly commands: readonly Command[];
  readonly options: readonly { readonly long: string; readonly takesValue: boolean; readonly choices: readonly string[]; readonly text: string }[];
}

function placesOf(command: Command, path: readonly string[] = []): readonly Place[] {
  const options = command.createHelp().visibleOptions(command).flatMap(({ long, required, optional, argChoices, description }) =>
    long == null ? [] : [{ long, takesValue: required || optional, choices: argChoices ?? [], text: description }],
  );
  return [{ path: path.join(' '), commands: command.commands, options }, ...command.commands.flatMap((one) => placesOf(one, [...path, one.name()]))];
}

/** For zsh too, which can read it. Where nothing of the program fits, the shell goes on with names of files. */
function bash(places: readonly Place[]): string {
  const cases = places.flatMap(({ path, commands, options }) => [
    ...options.filter(({ choices }) => choices.length > 0).map(({ long, choices }) => `    '${path}|${long}') words='${choices.join(' ')}' ;;`),
    ...options.filter(({ takesValue, choices }) => takesValue && choices.length === 0).map(({ long }) => `    '${path}|${long}') return ;;`),
    `    '${path}|'*) words='${[...commands.map((one) => one.name()), ...options.map(({ long }) => long)].join(' ')}' ;;`,
  ]);
  const paths = places.filter(({ path }) => path !== '').map(({ path }) => `'${path}'`).join('|');
  return `_railhouse() {
  local word="\${COMP_WORDS[COMP_CWORD]}" before="\${COMP_WORDS[COMP_CWORD-1]}" at='' next='' words='' i
  for ((i = 1; i < COMP_CWORD; i++)); do
    next="\${at:+$at }\${COMP_WORDS[i]}"
    case "$next" in ${paths}) at="$next" ;; esac
  done
  case "$at|$before" in
${cases.join('\n')}
  esac
  COMPREPLY=($(compgen -W "$words" -- "$word"))
}
complete -o default -F _railhouse railhouse
`;
}

const quoted = (text: string): string => `'${text.replaceAll('\\', '\\\\').replaceAll("'", "\\'")}'`;

function fish(places: readonly Place[]): string {
  const lines = places.flatMap(({ path, commands, options }) => {
    const at = path === '' ? '__fish_use_subcommand' : path.split(' ').map((word) => `__fish_seen_subcommand_from ${word}`).join('; and ');
    const rule = (rest: string, text: string): string => `complete -c railhouse -n ${quoted(at)} ${rest} -d ${quoted(text.split('\n')[0] ?? '')}`;
    return [
      ...commands.map((one) => rule(`-f -a ${one.name()}`, one.description())),
      ...options.map(({ long, takesValue, choices, text }) => rule(`-l ${long.slice(2)}${takesValue ? ' -r' : ''}${choices.length > 0 ? ` -f -a ${quoted(choices.join(' '))}` : ''}`, text)),
    ];
  });
  return `${lines.join('\n')}\n`;
}

function completionScript(program: Command, shell: Shell): string {
  const places = placesOf(program);
  switch (shell) {
    case 'bash':
      return bash(places);
    case 'zsh':
      return `autoload -U +X compinit bashcompinit && compinit && bashcompinit\n${bash(places)}`;
    case 'fish':
      return fish(places);
  }
}

export function addCompletionCommand(program: Command): void {
  program
    .command('completion')
    .description('prints what a shell needs to complete commands and options: for bash, eval "$(railhouse completion bash)" in ~/.bashrc')
    .addArgument(new Argument('<shell>', 'whose').choices(shells))
    .action((shell: Shell) => {
      sayScript(completionScript(program, shell));
    });
}
