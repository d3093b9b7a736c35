import { tinykeys } from 'tinykeys';

/**
 * Listens to key combinations in the whole window, also while a field has the focus: they go with Alt, so nothing is being
 * typed. Returns what ends it.
 */
export function onWindowKeys(keys: Readonly<Record<string, (event: KeyboardEvent) => void>>): () => void {
  return tinykeys(window, { ...keys }, { ignore: () => false });
}
