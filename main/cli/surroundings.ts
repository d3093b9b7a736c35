/**
 * What commands are given beside their line (CLI-3): variables of the environment and a configuration file. A value on the line comes
 * first, then the variable, then the file, then what the program takes by itself.
 */
import { existsSync, readFileSync } from 'node:fs';
import { homedir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { z } from 'zod';
import { problemsOf } from '../../app/boundary/problems.ts';
import { exitCode } from './exit-codes.ts';
import { Stop } from './stop.ts';

export const variables = { archive: 'RAILHOUSE_ARCHIVE', equipment: 'RAILHOUSE_EQUIPMENT', port: 'RAILHOUSE_PORT', operator: 'RAILHOUSE_OPERATOR' } as const;

const configurationSchema = z.strictObject({ archive: z.string().min(1).optional(), equipment: z.string().min(1).optional(), port: z.string().min(1).optional(), operator: z.string().min(1).max(120).optional() });

/** undefined: of a user who has no entry in the system's list, as in a container that is started under a number (CLI-19). */
function configurationOfHome(): string | undefined {
  try {
    return join(homedir(), '.config');
  } catch {
    return undefined;
  }
}

/** The file that RAILHOUSE_CONFIG names, or railhouse/config.json in the user's folder for configuration; the second may be missing. */
function configurationPath(env: NodeJS.ProcessEnv): string | null {
  const named = env['RAILHOUSE_CONFIG'];
  if (named !== undefined && named.trim() !== '') return resolve(named);
  const home = process.platform === 'win32' ? env['APPDATA'] : (env['XDG_CONFIG_HOME'] ?? configurationOfHome());
  const path = home === undefined || home === '' ? null : join(home, 'railhouse', 'config.json');
  return path !== null && existsSync(path) ? path : null;
}

/** Sets the variables that are not set to what the configuration file says; its paths are those of its own folder. */
export function readConfiguration(env: NodeJS.ProcessEnv = process.env): void {
  const path = configurationPath(env);
  if (path === null) return;
  const refuse = (why: string): never => {
    throw new Stop(exitCode.badInput, `The configuration file ${path} cannot be used: ${why}. Correct it, or name another with RAILHOUSE_CONFIG. Nothing was done.`);
  };
  let input: unknown;
  try {
    input = JSON.parse(readFileSync(path, 'utf8').replace(/^\uFEFF/u, ''));
  } catch (error) {
    return refuse((error as Error).message);
  }
  const parsed = configurationSchema.safeParse(input);
  if (!parsed.success) return refuse(problemsOf(parsed.error, input).map((problem) => `${problem.path === '' ? 'the document' : problem.path}: ${problem.text}`).join('; '));
  const { archive, equipment, port, operator } = parsed.data;
  const inItsFolder = (file: string | undefined): string | undefined => (file === undefined ? undefined : resolve(dirname(path), file));
  for (const [name, value] of [[variables.archive, inItsFolder(archive)], [variables.equipment, inItsFolder(equipment)], [variables.port, port], [variables.operator, operator]] as const) {
    if (value !== undefined) env[name] ??= value;
  }
}
