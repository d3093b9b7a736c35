/** Opens an address in the browser of the person who sits at this machine (HOST-106). */
import { spawn } from 'node:child_process';

/** Resolves with null when a browser was asked to, else with why not, as a clause that follows "because". Never rejects. */
export type OpenAddress = (address: string) => Promise<string | null>;

const openers: Readonly<Partial<Record<NodeJS.Platform, readonly [string, ...string[]]>>> = {
  darwin: ['open'],
  // What "start" does, without a shell that reads the address.
  win32: ['rundll32', 'url.dll,FileProtocolHandler'],
};

/** null: there is somewhere to show a browser on. */
export function noDisplay(platform: NodeJS.Platform, env: Readonly<Record<string, string | undefined>>): string | null {
  if (platform === 'win32' || platform === 'darwin') return null;
  return (env['DISPLAY'] ?? '') === '' && (env['WAYLAND_DISPLAY'] ?? '') === '' ? 'there is no display' : null;
}

/** ms. An opener that is still there then has a browser in hand. */
const WAIT_MS = 3000;

/** Asks the system's own opener. */
export const openByTheSystem =
  (platform: NodeJS.Platform, env: Readonly<Record<string, string | undefined>>, after: (ms: number, action: () => void) => () => void): OpenAddress =>
  (address) => {
    const none = noDisplay(platform, env);
    if (none !== null) return Promise.resolve(none);
    const [program, ...args] = openers[platform] ?? ['xdg-open'];
    return new Promise((resolve) => {
      const opener = spawn(program, [...args, address], { stdio: 'ignore', env: { ...env }, detached: true, windowsHide: true });
      const cancel = after(WAIT_MS, () => resolve(null));
      const over = (why: string | null): void => {
        cancel();
        resolve(why);
      };
      opener.on('error', (error: NodeJS.ErrnoException) => over(error.code === 'ENOENT' ? `${program} is not installed` : error.message));
      opener.on('exit', (code) => over(code === 0 ? null : `${program} ended with ${code ?? 'a signal'}`));
      // A browser that outlives this program is the person's.
      opener.unref();
    });
  };
