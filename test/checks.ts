/** What the test command does for what it was asked (CLI-39): the checks of the whole tree, which of them, and which tests. Pure. */

/** Of the whole tree. Types come first: they are quick, and what they find the others find again. */
export const typeChecks = ['types of the whole tree', 'app/ without Node and DOM types', 'types of the window'] as const;
export const otherChecks = ['style (eslint)', 'rooms (dependency-cruiser)', 'unused code (knip)', 'code that only tests use (knip)'] as const;

export type CheckTitle = (typeof typeChecks)[number] | (typeof otherChecks)[number];

/** The rooms whose tests are pure or live on the virtual clock. */
const quick = ['app', 'firmware-protocol/line', 'firmware-protocol/simulator', 'renderer', 'main/link/link.test', 'main/link/lines.test', 'main/link/replay', 'test/outside'];

interface Asked {
  readonly checks: readonly CheckTitle[];
  /** Paths whose tests are run, empty: all; null: none. */
  readonly tests: readonly string[] | null;
}

/** `asked`: nothing (everything), `check` (no test), `quick`, or paths of tests. Types are checked whatever was asked: tests run without them. */
export function whatToDo(asked: readonly string[]): Asked {
  const [only] = asked;
  if (only === undefined) return { checks: [...typeChecks, ...otherChecks], tests: [] };
  if (only === 'check') return { checks: [...typeChecks, ...otherChecks], tests: null };
  return { checks: typeChecks, tests: only === 'quick' ? [...quick, ...asked.slice(1)] : asked };
}

/** The files that a module imports by a path, as they are written in it. */
const importsIn = (text: string): readonly string[] => [...text.matchAll(/(?:from|import)\s*\(?\s*['"](\.[^'"]+)['"]/g)].map(([, path = '']) => path);

/** `./x.ts` in `a/b.ts` is `a/x.ts`. */
function resolved(from: string, path: string): string {
  const parts = from.split('/').slice(0, -1);
  for (const part of path.split('/')) {
    if (part === '..') parts.pop();
    else if (part !== '.') parts.push(part);
  }
  return parts.join('/');
}

/**
 * The files whose style has to be looked at again. What the linter says of a file depends on its text, on those that it imports, on those that they import
 * (it knows types: a switch that lacks a case is found in a file that nobody touched), and on `settings`. `files`: text by path; `known`: what was
 * good before, as it was returned then. `marks` are what is known once all of them are good.
 */
export function toLookAt(
  files: ReadonlyMap<string, string>,
  settings: string,
  known: Readonly<Record<string, string>>,
  hash: (text: string) => string,
): { readonly paths: readonly string[]; readonly marks: Readonly<Record<string, string>> } {
  const imports = new Map([...files].map(([path, text]) => [path, importsIn(text).map((one) => resolved(path, one)).filter((one) => files.has(one))]));
  const own = new Map([...files].map(([path, text]) => [path, hash(text)]));
  const mark = (path: string): string => {
    const reached = new Set<string>();
    const next = [path];
    for (let at = next.pop(); at !== undefined; at = next.pop()) {
      if (reached.has(at)) continue;
      reached.add(at);
      next.push(...(imports.get(at) ?? []));
    }
    return hash([settings, ...[...reached].toSorted().map((one) => `${one} ${own.get(one) ?? ''}`)].join('\n'));
  };
  const marks = Object.fromEntries([...files.keys()].toSorted().map((path) => [path, mark(path)]));
  return { paths: Object.keys(marks).filter((path) => known[path] !== marks[path]), marks };
}
