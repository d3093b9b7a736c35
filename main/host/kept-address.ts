/**
 * Where the windows of an archive were served last, so that the next start is found at the same address with the same key and a tab that is still
 * open comes back by itself (HOST-107). The key drives the bench, so it is kept only where nobody but this account can read it.
 */
import { renameSync, statSync, readFileSync, writeFileSync } from 'node:fs';
import { z } from 'zod';

const kept = z.strictObject({ port: z.int().min(1).max(65_535), key: z.string().regex(/^[\w-]{32,128}$/u).nullable() });
export type KeptAddress = z.infer<typeof kept>;

/** On Windows the rights of a file cannot be asked for by its mode: only the port is kept there. */
const canHide = (platform: NodeJS.Platform): boolean => platform !== 'win32';

const fileOf = (archivePath: string): string => `${archivePath}.address.json`;

/** What the last start left; null: nothing, or nothing that can be used. A key that others could have read is not taken. */
export function readKeptAddress(archivePath: string, platform: NodeJS.Platform = process.platform): KeptAddress | null {
  try {
    const { mode, uid } = statSync(fileOf(archivePath));
    const found = kept.parse(JSON.parse(readFileSync(fileOf(archivePath), 'utf8')));
    const ours = canHide(platform) && (mode & 0o077) === 0 && uid === process.getuid?.();
    return ours ? found : { ...found, key: null };
  } catch {
    return null;
  }
}

/** Resolves to nothing where it cannot be kept: then the next start has another address, and says its own. */
export function keepAddress(archivePath: string, { port, key }: { readonly port: number; readonly key: string }, platform: NodeJS.Platform = process.platform): void {
  const file = fileOf(archivePath);
  // A new file each time: one that was there could keep the rights it had.
  const unfinished = `${file}.${process.pid}`;
  try {
    writeFileSync(unfinished, `${JSON.stringify({ port, key: canHide(platform) ? key : null })}\n`, { mode: 0o600, flag: 'wx' });
    renameSync(unfinished, file);
  } catch {
    // A folder that takes no file: everything else works.
  }
}
