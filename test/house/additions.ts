/**
 * What is still missing of something that was added to the program, each as a sentence that says what to write where. Pure: the tree is handed
 * in, so that an addition that is made up shows each sentence (additions.test.ts). "Adding things" in DEVELOPERS.md is the guide to it.
 */

/** A file of the tree. */
export interface TreeFile {
  readonly path: string;
  readonly text: string;
}

/** The names in code letters that the first column of a table lists; `heading`: of that column. */
function listedNames(text: string, heading: string): readonly string[] {
  const at = text.indexOf(`| ${heading} |`);
  if (at < 0) return [];
  const rows = text.slice(at).split('\n');
  const end = rows.findIndex((row) => !row.startsWith('|'));
  return rows.slice(2, end < 0 ? undefined : end).flatMap((row) => [...(row.split(' | ')[0] ?? '').matchAll(/`([^`]+)`/g)].map(([, name = '']) => name));
}

const isLiteral = (text: string, name: string): boolean => [`'${name}'`, `"${name}"`, `\`${name}\``].some((literal) => text.includes(literal));

const usedIn = (files: readonly TreeFile[], name: string): boolean => files.some(({ text }) => isLiteral(text, name));

interface Kind {
  /** As a person calls it, with its article. */
  readonly what: string;
  readonly names: readonly string[];
  readonly table: TreeFile;
  readonly heading: string;
  /** The numbered rule that asks for it. */
  readonly rule: string;
  /** Where a test or the storm may use it; null: nothing asks for that here. */
  readonly users: readonly TreeFile[] | null;
  /** What such a test shows. */
  readonly shows: string;
}

/** Of a kind of thing that has a table and is used by tests: what has no row, what no test uses, and rows of nothing. */
export function unfinished({ what, names, table, heading, rule, users, shows }: Kind): readonly string[] {
  const listed = listedNames(table.text, heading);
  return names
    .filter((name) => !listed.includes(name))
    .map((name) => `${what} \`${name}\` has no row in the table "${heading}" of ${table.path}: write there what it is (${rule}).`)
    .concat(
      names.filter((name) => users !== null && !usedIn(users, name)).map((name) => `${what} \`${name}\` is in no test: write one that names '${name}' and shows ${shows} (${rule}).`),
      listed.filter((name) => !names.includes(name)).map((name) => `The table "${heading}" of ${table.path} has a row \`${name}\`, and there is none of that name any more: take it out (${rule}).`),
    );
}

interface Columns {
  /** Of the export. */
  readonly file: string;
  /** As they stand in the file, without those that every file ends with. */
  readonly columns: readonly string[];
  /** As the README lists them for it. */
  readonly listed: readonly string[];
  /** Those that a test holds to a value. */
  readonly held: readonly string[];
}

/** Of a file of an export: columns without a row in the README, without a test, gone, or moved. */
export function unfinishedColumns({ file, columns, listed, held }: Columns): readonly string[] {
  const added = columns.filter((name) => !listed.includes(name));
  const gone = listed.filter((name) => !columns.includes(name));
  const moved = added.length + gone.length === 0 && columns.join() !== listed.join();
  return [
    ...added.map((name) => `${file} has the column \`${name}\`, and main/export/README.md does not say what it is: write its row there, in the order of the file (EXP-1).`),
    ...gone.map((name) => `main/export/README.md lists the column \`${name}\` for ${file}, and the file has it no more. Somebody's spreadsheet reads it by name: put it back (EXP-1).`),
    ...(moved ? [`The columns of ${file} stand in another order than main/export/README.md lists them: put them in that order (EXP-1).`] : []),
    ...columns.filter((name) => !held.includes(name)).map((name) => `${file} has the column \`${name}\`, and no test says what must stand in it: write that into test/house/export-columns.ts (EXP-6).`),
    ...held.filter((name) => !columns.includes(name)).map((name) => `test/house/export-columns.ts says what must stand in the column \`${name}\` of ${file}, which does not have it: take it out there (EXP-6).`),
  ];
}

interface Commands {
  /** With the words before it: "meter-check add". */
  readonly names: readonly string[];
  readonly readme: TreeFile;
  /** The README of the commands, with the table of their exit codes. */
  readonly rules: TreeFile;
  /** Tests that carry commands out. */
  readonly users: readonly TreeFile[];
  /** Every exit code that the program has. */
  readonly codes: readonly number[];
}

/** Of the commands: those without a row in the README, without their exit codes, without a test. */
export function unfinishedCommands({ names, readme, rules, users, codes }: Commands): readonly string[] {
  const inReadme = new Set(readme.text.split('\n').filter((line) => line.startsWith('| `')).flatMap((row) => [...(row.split(' | ')[0] ?? '').matchAll(/`([a-z-]+)[^`]*`/g)].map(([, name = '']) => name)));
  const withCodes = listedNames(rules.text, 'command');
  const row = (name: string): string => rules.text.split('\n').find((line) => line.startsWith('|') && line.includes(`\`${name}\``)) ?? '';
  return names.flatMap((name) => {
    const [group = ''] = name.split(' ');
    const last = name.split(' ').at(-1) ?? '';
    const named = [...(row(name).split(' | ')[1] ?? '').matchAll(/\d+/g)].map(([code]) => Number(code));
    return [
      ...(inReadme.has(group) ? [] : [`The command \`${name}\` has no row in the table of commands of ${readme.path}: write there what it does (CLI-9).`]),
      ...(withCodes.includes(name) ? [] : [`The command \`${name}\` has no row in the table "command" of ${rules.path}: write there with which exit codes it ends beside 0, 1 and 2, and the rules it is held to (CLI-35).`]),
      ...named.filter((code) => !codes.includes(code)).map((code) => `The command \`${name}\` is said to end with ${code} in ${rules.path}, and main/cli/exit-codes.ts has no such code (CLI-35).`),
      ...(usedIn(users, last) ? [] : [`The command \`${name}\` is carried out by no test: write one that names '${last}', in a file that runs main/cli, and says its exit code (CLI-35).`]),
    ];
  });
}

interface ExitCodes {
  readonly codes: readonly number[];
  /** What stands in the README and in --help about them. */
  readonly texts: readonly TreeFile[];
}

/** Exit codes that are not explained where scripts' writers look. */
export const unfinishedExitCodes = ({ codes, texts }: ExitCodes): readonly string[] =>
  texts.flatMap(({ path, text }) => {
    const from = text.indexOf('Exit codes:');
    // They go up to the first empty line.
    const said = from < 0 ? '' : text.slice(from).split(/\n\s*\n/)[0] ?? '';
    return codes.filter((code) => !new RegExp(`[:;]\\s+${code}\\s`).test(said)).map((code) => `The exit code ${code} is not explained behind "Exit codes:" in ${path}: say in a few words when it is given (CLI-36).`);
  });

interface Samples {
  /** Names of the files of main/samples. */
  readonly files: readonly string[];
  readonly readmes: readonly TreeFile[];
  readonly users: readonly TreeFile[];
}

/** Samples that nobody is told of, or that no test reads. */
export const unfinishedSamples = ({ files, readmes, users }: Samples): readonly string[] =>
  files.flatMap((file) => [
    ...(readmes.some(({ text }) => text.includes(`samples/${file}`)) ? [] : [`The sample main/samples/${file} is named in no README: say there what it shows (CLI-37).`]),
    ...(users.some(({ text }) => text.includes(`'${file.replace(/\.json$/, '')}'`) || text.includes(`samples/${file}`)) ? [] : [`The sample main/samples/${file} is read by no test: read it in test/house/samples.test.ts (CLI-37).`]),
  ]);
