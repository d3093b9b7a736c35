/** What the desktop is started with (HOST-34, HOST-184). Electron's own reading of switches is meant for those of Chromium alone. */
import { resolve } from 'node:path';

interface GivenPlaces {
  readonly archive: string | undefined;
  readonly heads: string | undefined;
  readonly headsKey: string | undefined;
}

/** `args`: a command line, Chromium's switches among them. `folder`: where it was given, which its paths are of. Paths come out absolute; undefined: not given, or empty. */
export function givenPlaces(args: readonly string[], folder: string): GivenPlaces {
  const given = (name: string): string | undefined => {
    const path = args.findLast((arg) => arg.startsWith(`--${name}=`))?.slice(name.length + 3);
    return path === undefined || path === '' ? undefined : resolve(folder, path);
  };
  return { archive: given('archive'), heads: given('heads'), headsKey: given('heads-key') };
}
