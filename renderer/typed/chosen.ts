import { useTyped } from './typed.ts';

/**
 * Which of a list somebody has chosen, kept over a reload (WIN-116); null: none. The first of `keys` is the newest: a choice holds only until there is a newer one, so that nobody who
 * comes back on another day finds an old choice in the place of what was made since.
 */
export function useChosen(name: string, keys: readonly string[], title: string): readonly [string | null, (key: string) => void] {
  const [kept, keep] = useTyped<readonly string[]>(name, [], { title });
  const newest = keys[0] ?? '';
  const [key = '', among] = kept;
  return [among === newest && key !== '' ? key : null, (next) => keep([next, newest])];
}
