import type { Archive } from '../archive/archive.ts';
import { exitCode } from './exit-codes.ts';
import { commandLine } from './command-line.ts';
import { Stop } from './stop.ts';

/** The id of the run that a person means: a whole id, the beginning of one, or nothing for the latest. */
export function chosenRun(archive: Archive, named: string | undefined): string {
  const latest = archive.latestRun();
  if (latest === null) throw new Stop(exitCode.badInput, `There is no run in ${archive.path} yet.`);
  if (named === undefined) return latest.id;
  if (archive.run(named) !== null) return named;
  const matches: string[] = [];
  for (const { id } of archive.everyRun()) {
    if (id.startsWith(named)) matches.push(id);
    if (matches.length > 1) break;
  }
  const [only, ...others] = matches;
  if (only === undefined) throw new Stop(exitCode.badInput, `There is no run ${named} in ${archive.path}. List the runs with: ${commandLine('runs', ['--archive', archive.path])}`);
  if (others.length > 0) throw new Stop(exitCode.badInput, `More than one run begins with ${named}. Give more of its id.`);
  return only;
}
