/** A command as a person can copy it into a shell: how this program was called, and words quoted where the shell would take them apart (CLI-4). */
const quoted = (word: string): string => (/^[\w@%+=:,./-]+$/u.test(word) ? word : process.platform === 'win32' ? `"${word.replaceAll('"', '""')}"` : `'${word.replaceAll("'", "'\\''")}'`);

/** `words`: what follows the program's name; what is undefined is left out with the option before it. */
export function commandLine(...words: readonly (string | readonly [string, string | number | undefined])[]): string {
  // In PowerShell the script of npm may take the two dashes for itself.
  const called = process.env['RAILHOUSE_CALLED'] ?? (process.platform === 'win32' ? 'npx railhouse' : 'npm run cli --');
  const said = words.flatMap((word) => (typeof word === 'string' ? [quoted(word)] : word[1] === undefined ? [] : [word[0], quoted(String(word[1]))]));
  return [called, ...said].join(' ');
}
