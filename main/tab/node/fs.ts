/** A disk in memory, as far as the host asks for one: it lasts as long as its tab. Text and bytes of Node's own kind. */
import { fs } from 'memfs';

// eslint-disable-next-line @typescript-eslint/unbound-method -- memfs binds them to its disk
export const { accessSync, chmodSync, closeSync, constants, copyFileSync, createReadStream, createWriteStream, existsSync, fstatSync, fsyncSync, ftruncateSync, linkSync, lstatSync, mkdirSync, mkdtempSync, openSync } = fs;
// eslint-disable-next-line @typescript-eslint/unbound-method -- as above
export const { readFileSync, readSync, readdirSync, realpathSync, renameSync, rmSync, statSync, statfsSync, symlinkSync, writeFileSync, writeSync } = fs;
export const { mkdir, mkdtemp, open, readFile, readdir, realpath, rename, rm, rmdir, stat, unlink, writeFile } = fs.promises;
