/**
 * Fetches Electron's program file the first time, by the installer that came with the package and its checksums (HOST-105). What the installer itself
 * tells nobody, how much has come, is seen in the folders that it writes to; one in which nothing changes any more is ended.
 */
import { spawn } from 'node:child_process';
import { mkdirSync, readdirSync, rmSync, statSync } from 'node:fs';
import { join } from 'node:path';
import type { Clock } from '../clock/clock.ts';

export interface FetchParts {
  /** The installed package `electron`. */
  readonly electronFolder: string;
  /** Of this program alone; made and removed. Where what comes is kept until it is whole. */
  readonly scratchFolder: string;
  readonly env: Readonly<Record<string, string | undefined>>;
  readonly clock: Clock;
  /** ms without anything new, after which it is given up. */
  readonly silenceMs?: number;
  readonly lookMs?: number;
  /** Told how many bytes there are, as they come. */
  readonly onProgress: (bytes: number) => void;
}

const SILENCE_MS = 45_000;
const LOOK_MS = 500;
/** The last words of an installer that failed are among these. */
const MOST_SAID = 20_000;

/** Resolves with null when the program is there, else with why not, as a clause that follows "because". Never rejects. */
export async function fetchElectron({ electronFolder, scratchFolder, env, clock, silenceMs = SILENCE_MS, lookMs = LOOK_MS, onProgress }: FetchParts): Promise<string | null> {
  try {
    rmSync(scratchFolder, { recursive: true, force: true });
    mkdirSync(scratchFolder, { recursive: true });
  } catch (error) {
    return `there is no place to fetch it to (${(error as Error).message})`;
  }
  const installer = spawn(process.execPath, [join(electronFolder, 'install.js')], {
    stdio: ['ignore', 'pipe', 'pipe'],
    windowsHide: true,
    env: { ...env, TMPDIR: scratchFolder, TEMP: scratchFolder, TMP: scratchFolder, ELECTRON_GET_NO_PROGRESS: '1', NODE_USE_ENV_PROXY: '1' },
  });
  let said = '';
  let heard = clock.now();
  const hear = (text: Buffer): void => {
    heard = clock.now();
    said = `${said}${text.toString()}`.slice(-MOST_SAID);
  };
  installer.stdout.on('data', hear);
  installer.stderr.on('data', hear);
  const endInstaller = (): void => void installer.kill('SIGKILL');
  // Whoever ends this program has ended what it began.
  process.once('exit', endInstaller);
  const seen = { silent: false, bytes: 0 };
  let cancelLook = (): void => undefined;
  const lookLater = (): void => {
    cancelLook = clock.after(lookMs, () => {
      const now = bytesUnder(scratchFolder) + bytesUnder(join(electronFolder, 'dist'));
      if (now !== seen.bytes) {
        seen.bytes = now;
        heard = clock.now();
        onProgress(now);
      }
      seen.silent = clock.now() - heard > silenceMs;
      if (seen.silent) endInstaller();
      else lookLater();
    });
  };
  lookLater();
  const ended = await new Promise<string | null>((resolve) => {
    installer.on('error', (error) => resolve(`its installer could not be started (${error.message})`));
    installer.on('exit', (code, signal) => resolve(code === 0 ? null : reasonOf(said, `it ended with ${code ?? signal ?? 'nothing'}`)));
  });
  cancelLook();
  process.off('exit', endInstaller);
  rmSync(scratchFolder, { recursive: true, force: true });
  return seen.silent ? `Electron's program was not fetched: nothing came for ${Math.round(silenceMs / 1000)} s` : ended;
}

/** Of a stack trace the sentence that a person can do something with. */
function reasonOf(said: string, otherwise: string): string {
  const lines = said.split('\n').map((line) => line.trim());
  const cause = lines.findLast((line) => /\b(E[A-Z]{4,}|getaddrinfo|Response code \d+|Generated checksum|checksum)\b/u.test(line));
  const error = lines.find((line) => /^\w*Error\b/u.test(line));
  const why = (cause ?? error ?? otherwise).replace(/^[\s[{]*(cause|\[cause\])?:?\s*/u, '').replace(/[\s{,;.]+$/u, '').slice(0, 200);
  return `Electron's program could not be fetched (${why})`;
}

function bytesUnder(folder: string): number {
  let bytes = 0;
  try {
    for (const entry of readdirSync(folder, { withFileTypes: true, recursive: true })) if (entry.isFile()) bytes += statSync(join(entry.parentPath, entry.name)).size;
  } catch {
    // Files come and go under it; the next look sees them.
  }
  return bytes;
}
