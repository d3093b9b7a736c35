/** That the tree works on systems other than the one it is written on (CLI-33, CLI-34). */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '../..');
const git = (...args: readonly string[]): string => execFileSync('git', args, { cwd: root, encoding: 'utf8' });
const tree = git('ls-files', '-z', '-o', '-c', '--exclude-standard').split('\0').filter((path) => path !== '');

describe('CLI-33 the files of this tree', () => {
  it('have the same bytes on every system, whatever git is set to there', () => {
    const attributes = git('check-attr', 'eol', 'text', '--', 'package-lock.json', 'main/launch/launch.mjs', 'main/samples/plan.json', 'test/house/fixtures/archive-version-1.sqlite');
    expect(attributes.split('\n').filter((line) => line.includes(': eol: ')).map((line) => line.replace(/^.*: /, ''))).toEqual(['lf', 'lf', 'lf', 'lf']);
    expect(attributes).toContain('archive-version-1.sqlite: text: unset');
    // What has been stored: "i/crlf" would be changed by the next checkout on another system.
    expect(git('ls-files', '--eol').split('\n').filter((line) => /^i\/(crlf|mixed)/.test(line))).toEqual([]);
  });

  it('have names that every system takes, and no two that differ in capitals only', () => {
    // Microsoft, "Naming Files, Paths, and Namespaces": reserved characters and names.
    const refused = /[<>:"\\|?*]|[. ](\/|$)|(^|\/)(con|prn|aux|nul|com\d|lpt\d)(\.|\/|$)/i;
    expect(tree.filter((path) => refused.test(path))).toEqual([]);
    expect(tree.filter((path, i) => tree.findIndex((other) => other.toLowerCase() === path.toLowerCase()) !== i)).toEqual([]);
  });
});

describe('CLI-34 tests that need what Windows has not', () => {
  const lacking: readonly (readonly [RegExp, string])[] = [
    [/servePtyBench|listeningBench|@lydell\/node-pty|from '\.\/(kills|frozen)\.ts'/, 'a pseudo-terminal'],
    [/spawn(?:Sync)?\('(?:sh|bash|unshare|mount|umount|dd)'/, 'a POSIX shell or its programs'],
    [/\bkill\('SIG(?:INT|TERM|HUP|QUIT|STOP|TSTP|CONT|USR2)'|\bsignal\('SIG/, 'a signal that asks'],
    [/\bsymlinkSync\(|\bsymlink\(/, 'links that anybody may make'],
    [/['"`]\/dev\/full|['"`]\/proc\//, 'files of Linux'],
  ];
  // What ends its own helpers in any way, and a link of the kind that Windows lets anybody make.
  const fine: ReadonlySet<string> = new Set(['test/house/systems.test.ts']);

  it('are skipped there by their names', () => {
    const forgotten = tree.filter((path) => /\.test\.tsx?$/.test(path) && !fine.has(path)).flatMap((path) => {
      const text = readFileSync(join(root, path), 'utf8');
      if (/onWindows|process\.platform|'junction'/.test(text)) return [];
      return lacking.filter(([pattern]) => pattern.test(text)).map(([, what]) => `${path} uses ${what}, which Windows has not: skip those tests there by .skipIf(onWindows) (test/builders/systems.ts)`);
    });
    expect(forgotten).toEqual([]);
  });
});
