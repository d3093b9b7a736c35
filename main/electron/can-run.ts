/** Whether the desktop window can be opened on this machine, found out without starting or fetching anything. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { noDisplay } from './open-address.ts';

export type CanRunElectron =
  | { readonly can: true; readonly executable: string }
  /** `why` is a clause that follows "because". `fetch`: all that is missing is the program file, which can be fetched (HOST-105). */
  | { readonly can: false; readonly why: string; readonly fetch: boolean };

export interface Machine {
  readonly platform: NodeJS.Platform;
  readonly env: Readonly<Record<string, string | undefined>>;
  /** null where there is no such thing. */
  readonly userId: number | null;
  /** The installed package `electron`. */
  readonly electronFolder: string;
  /** A program that was packaged with its own. */
  readonly packaged?: string;
}

export function canRunElectron({ platform, env, userId, electronFolder, packaged }: Machine): CanRunElectron {
  const no = (why: string, fetch = false): CanRunElectron => ({ can: false, why, fetch });
  const display = noDisplay(platform, env);
  if (display !== null) return no(display);
  if (platform === 'linux' && userId === 0) return no('it is started as root, and its sandbox does not work for root');
  // The package alone has no binary; it leaves the name of the one that it fetched in this file.
  const nameFile = join(electronFolder, 'path.txt');
  const executable = packaged ?? (existsSync(nameFile) ? join(electronFolder, 'dist', readFileSync(nameFile, 'utf8').trim()) : null);
  if (executable === null || !existsSync(executable)) return no('the program file of Electron is not installed', packaged === undefined && existsSync(join(electronFolder, 'install.js')));
  return { can: true, executable };
}
