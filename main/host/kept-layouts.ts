/** Layouts of tables that a lab keeps: JSON files in the folder `layouts` beside the archive, as `tables --layout` reads them. TAB-52 */
import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import type { AnswerTo } from '../../app/contract/contract.ts';
import { parseLayout } from '../../app/handover/layout.ts';

const MOST_LAYOUTS = 200;
const MOST_BYTES = 2 ** 20;

const folderOf = (archivePath: string): string => join(dirname(archivePath), 'layouts');

/** Letters, digits and a piece of a hash: any name makes one that every system takes, and two names make two. */
const fileOf = (name: string): string => `${name.replaceAll(/[^A-Za-z0-9]+/gu, '-').replaceAll(/^-|-$/gu, '').slice(0, 60).toLowerCase() || 'layout'}-${createHash('sha256').update(name).digest('hex').slice(0, 8)}.json`;

/** By their names; files that are no layouts are named in `problem`. */
export function keptLayouts(archivePath: string): AnswerTo<'layouts.list'> {
  const folder = folderOf(archivePath);
  const wrong: string[] = [];
  const layouts: { name: string; document: unknown }[] = [];
  let names: string[];
  try {
    names = readdirSync(folder).filter((name) => name.endsWith('.json')).sort();
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return { folder, layouts: [], problem: '' };
    return { folder, layouts: [], problem: `The layouts that are kept cannot be read (${(error as Error).message}).` };
  }
  for (const name of names.slice(0, MOST_LAYOUTS)) {
    try {
      const document = documentIn(join(folder, name));
      const parsed = parseLayout(document);
      if (parsed.ok) layouts.push({ name: parsed.layout.name, document });
      else wrong.push(name);
    } catch {
      wrong.push(name);
    }
  }
  return { folder, layouts, problem: wrong.length === 0 ? '' : `Not layouts that can be used: ${wrong.join(', ')}.` };
}

/** Takes one away. A text: why it is still there. */
export function removeLayout(archivePath: string, name: string): string | null {
  const folder = folderOf(archivePath);
  try {
    const file = readdirSync(folder).find((one) => one.endsWith('.json') && nameIn(join(folder, one)) === name);
    if (file === undefined) return `There is no layout "${name}" in ${folder} any more. Nothing was removed.`;
    rmSync(join(folder, file));
    return null;
  } catch (error) {
    return `The layout "${name}" was not removed from ${folder} (${(error as Error).message}).`;
  }
}

/** null: a file that is no layout. */
function nameIn(path: string): string | null {
  try {
    const parsed = parseLayout(documentIn(path));
    return parsed.ok ? parsed.layout.name : null;
  } catch {
    return null;
  }
}

/** Throws for what is no JSON or larger than any layout. */
function documentIn(path: string): unknown {
  if (statSync(path).size > MOST_BYTES) throw new Error('too large');
  return JSON.parse(readFileSync(path, 'utf8').replace(/^\uFEFF/u, ''));
}

/** Keeps one under its name; an earlier one of that name is replaced as a whole. A text: why it is not kept. */
export function keepLayout(archivePath: string, document: unknown): AnswerTo<'layouts.save'> | string {
  const parsed = parseLayout(document);
  if (!parsed.ok) return { problems: [...parsed.problems] };
  const folder = folderOf(archivePath);
  const text = `${JSON.stringify(document, null, 2)}\n`;
  try {
    mkdirSync(folder, { recursive: true });
    const path = join(folder, fileOf(parsed.layout.name));
    const there = readdirSync(folder).filter((name) => name.endsWith('.json'));
    if (text.length > MOST_BYTES || (there.length >= MOST_LAYOUTS && !there.includes(fileOf(parsed.layout.name)))) return `There are ${there.length} layouts in ${folder} already, and no other was kept. Remove those that nobody needs.`;
    writeFileSync(`${path}.part`, text);
    renameSync(`${path}.part`, path);
    return { problems: [] };
  } catch (error) {
    return `The layout is not kept: ${folder} cannot be written (${(error as Error).message}). Save it as a file.`;
  }
}
