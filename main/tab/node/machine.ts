/** What of Node's other modules the host takes: the names of a machine, and programs and threads, of which a tab has none. */
const none = (): never => {
  throw new Error('A tab starts no other program.');
};
export const tmpdir = (): string => '/tmp';
export const hostname = (): string => 'a tab of a browser';
export const uptime = (): number => performance.now() / 1e3;
export const setPriority = (): void => undefined;
export const execFileSync = none;
export const execFile = none;
export const spawnSync = none;
export const spawn = none;
export const fork = none;
export const fileURLToPath = (url: string | URL): string => new URL(url).pathname;
export const pathToFileURL = (path: string): URL => new URL(`file://${path}`);
export const domainToASCII = (name: string): string => new URL(`http://${name}`).hostname;
export const setFlagsFromString = (): void => undefined;

/** Of plain data, maps and sets with keys that are no objects among it: what the archive holds against what it works out anew. */
export function isDeepStrictEqual(one: unknown, other: unknown): boolean {
  if (Object.is(one, other)) return true;
  if (typeof one !== 'object' || typeof other !== 'object' || one === null || other === null) return false;
  if (Object.getPrototypeOf(one) !== Object.getPrototypeOf(other)) return false;
  if (one instanceof Map) {
    return other instanceof Map && one.size === other.size && [...one].every(([key, value]) => other.has(key) && isDeepStrictEqual(value, other.get(key)));
  }
  if (one instanceof Set) return other instanceof Set && one.size === other.size && [...one].every((value) => other.has(value));
  const keys = Object.keys(one);
  return keys.length === Object.keys(other).length && keys.every((key) => key in other && isDeepStrictEqual((one as Record<string, unknown>)[key], (other as Record<string, unknown>)[key]));
}
