import { existsSync, mkdirSync, statSync } from 'node:fs';
import { dirname } from 'node:path';

/**
 * Makes a folder and what is missing above it; one that is there is no error. Throws what the file system answers. Node's own `recursive`
 * goes round for ever where a file system says of a place in an existing folder that there is no such thing, as /proc does.
 */
export function makeFolder(path: string): void {
  try {
    mkdirSync(path);
  } catch (error) {
    if (statSync(path, { throwIfNoEntry: false })?.isDirectory() === true) return;
    const above = dirname(path);
    if ((error as NodeJS.ErrnoException).code !== 'ENOENT' || existsSync(above)) throw error;
    makeFolder(above);
    mkdirSync(path);
  }
}
