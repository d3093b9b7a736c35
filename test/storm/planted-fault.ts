/** A fault of the program that a storm must find, planted as a change of its text. */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

interface Swap {
  /** A folder of the product. Which of its files has the text is looked up, so that a file may be taken apart. */
  readonly room: string;
  /** Must stand there exactly once, tests not counted. */
  readonly find: string;
  readonly put: string;
}

export interface Planted {
  readonly name: string;
  readonly swaps: readonly Swap[];
  /** Which storm is to find it; absent: that of a run. */
  readonly of?: 'house';
  /** Why no storm can find it: nothing that anybody could see, keep or touch is different. Such a fault is not counted. */
  readonly harmless?: string;
}

export const one = (name: string, room: string, find: string, put: string): Planted => ({ name, swaps: [{ room, find, put }] });

/** The files of a program, by room, as paths with their text. Tests are none of it. */
export type Program = (room: string) => ReadonlyMap<string, string>;

/** The program as it lies under a folder; each room is read once. */
export function programUnder(root: string): Program {
  const rooms = new Map<string, ReadonlyMap<string, string>>();
  return (room) => {
    const there = rooms.get(room);
    if (there !== undefined) return there;
    const paths = readdirSync(join(root, room), { recursive: true, encoding: 'utf8' }).filter((path) => /\.tsx?$/.test(path) && !path.includes('.test'));
    const files = new Map(paths.map((path) => [join(room, path), readFileSync(join(root, room, path), 'utf8')]));
    rooms.set(room, files);
    return files;
  };
}

/** The files that the fault changes, as they are with it; a text says why it cannot be planted. */
export function withFault({ swaps }: Planted, program: Program): ReadonlyMap<string, string> | string {
  const changed = new Map<string, string>();
  for (const { room, find, put } of swaps) {
    const files = [...program(room)].map(([path, text]) => [path, (changed.get(path) ?? text).split(find)] as const);
    const places = files.filter(([, parts]) => parts.length > 1);
    const [place] = places;
    if (place?.[1].length !== 2 || places.length > 1) {
      return `what is to be changed in ${room} stands there ${places.reduce((sum, [, parts]) => sum + parts.length - 1, 0)} times: ${JSON.stringify(find)}`;
    }
    const [path, parts] = place;
    changed.set(path, parts.join(put));
  }
  return changed;
}

/** Plants the fault in the program under a folder; a text says why it cannot be. */
export function plant(fault: Planted, root: string): string | null {
  const changed = withFault(fault, programUnder(root));
  if (typeof changed === 'string') return changed;
  for (const [path, text] of changed) writeFileSync(join(root, path), text);
  return null;
}
