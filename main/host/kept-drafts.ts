/**
 * What was typed in a window and is not saved yet: a file for each in the folder `drafts` beside the archive. It is no record: it changes with
 * every key and is gone when it was saved or thrown away, so it stands neither in the ledger nor in the archive. HOST-98 to HOST-101
 */
import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';

const MOST_DRAFTS = 500;
const MOST_DRAFT_BYTES = 200_000;
/** What only stood in fields (no work that anybody asked to keep) is forgotten after that. */
const FIELDS_FORGOTTEN_MS = 30 * 24 * 3600e3;

interface KeptDraft {
  readonly draftVersion: 1;
  readonly window: string;
  readonly name: string;
  readonly title: string;
  readonly by: string;
  readonly at: number;
  readonly work: boolean;
  /** The loading of the window's page that wrote it last. */
  readonly writer: string;
  readonly content: unknown;
}

const folderOf = (archivePath: string): string => join(dirname(archivePath), 'drafts');
const fileOf = (window: string, name: string): string => `${window}.${createHash('sha256').update(name).digest('hex').slice(0, 16)}.json`;

/** null: there is none, or the file is none. */
function readDraft(path: string): KeptDraft | null {
  try {
    const read = JSON.parse(readFileSync(path, 'utf8')) as Partial<KeptDraft> | null;
    if (read === null || read.draftVersion !== 1 || typeof read.window !== 'string' || typeof read.name !== 'string' || typeof read.writer !== 'string') return null;
    return read as KeptDraft;
  } catch {
    return null;
  }
}

function write(folder: string, draft: KeptDraft): void {
  mkdirSync(folder, { recursive: true });
  const path = join(folder, fileOf(draft.window, draft.name));
  writeFileSync(`${path}.part`, JSON.stringify(draft));
  renameSync(`${path}.part`, path);
}

const reason = (error: unknown): string => (error as Error).message;

/** Every draft without its content, the latest first. `here`: windows that are there now; `now`: ms of the day. HOST-100 */
export function listDrafts(archivePath: string, here: readonly string[], now: number): AnswerTo<'drafts.list'> | string {
  const folder = folderOf(archivePath);
  let names: readonly string[];
  try {
    names = readdirSync(folder).filter((name) => name.endsWith('.json'));
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'ENOENT' ? { drafts: [] } : `What was typed and not saved cannot be read (${reason(error)}).`;
  }
  const drafts: AnswerTo<'drafts.list'>['drafts'] = [];
  for (const name of names.slice(0, MOST_DRAFTS)) {
    const draft = readDraft(join(folder, name));
    if (draft === null) continue;
    const isHere = here.includes(draft.window);
    if (!draft.work && !isHere && now - draft.at > FIELDS_FORGOTTEN_MS) rmSync(join(folder, name), { force: true });
    else drafts.push({ window: draft.window, name: draft.name, title: draft.title, by: draft.by, at: draft.at, work: draft.work, here: isHere });
  }
  return { drafts: drafts.sort((a, b) => b.at - a.at) };
}

/** Keeps one, or takes it away (`content` null). Not kept: another page wrote it since; nothing was changed. A text: why it cannot be kept. HOST-98, HOST-99 */
export function keepDraft(archivePath: string, { window, writer, name, title, by, work, content }: ParsedParams<'drafts.keep'>, at: number): AnswerTo<'drafts.keep'> | string {
  const folder = folderOf(archivePath);
  const path = join(folder, fileOf(window, name));
  try {
    const before = readDraft(path);
    if (before !== null && before.writer !== writer) return { kept: false };
    if (content === null || content === undefined) {
      rmSync(path, { force: true });
      return { kept: true };
    }
    if (JSON.stringify(content).length > MOST_DRAFT_BYTES) return `"${title}" is too large to be kept before it is saved. Save it.`;
    if (before === null && fewFree(folder)) return `There are ${MOST_DRAFTS} drafts in ${folder} already, and no other is kept. Throw away those that nobody needs.`;
    write(folder, { draftVersion: 1, window, name, title, by, at, work, writer, content });
    return { kept: true };
  } catch (error) {
    return `"${title}" is not kept: ${folder} cannot be written (${reason(error)}). Save it.`;
  }
}

function fewFree(folder: string): boolean {
  try {
    return readdirSync(folder).length >= MOST_DRAFTS;
  } catch {
    return false;
  }
}

/** Hands a draft to a page, which writes it from then on: of its own window after a reload, or one that another has left. HOST-99, HOST-101 */
export function takeDraft(archivePath: string, { of, window, writer, name }: ParsedParams<'drafts.take'>): AnswerTo<'drafts.take'> | string {
  const folder = folderOf(archivePath);
  try {
    const draft = readDraft(join(folder, fileOf(of, name)));
    if (draft === null) return { content: null };
    // What the window has of that name already is not written over.
    if (of !== window && readDraft(join(folder, fileOf(window, name))) !== null) return { content: null };
    write(folder, { ...draft, window, writer });
    if (of !== window) rmSync(join(folder, fileOf(of, name)), { force: true });
    return { content: draft.content };
  } catch (error) {
    return `"${name}" cannot be taken over: ${folder} cannot be written (${reason(error)}).`;
  }
}
