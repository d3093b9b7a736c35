/** What others stated, out of the text of their file, and the runs of an archive of a type. CMP-6, CMP-7 */
import { documentSchema } from '../../app/handover/document.ts';
import { statedOfCertificate, statedOfCsv, statedOfDocument } from '../../app/handover/stated.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { StatedSet } from '../../app/results/agreement.ts';
import type { TypedRun } from '../../app/results/type-spread.ts';
import type { Archive } from '../archive/archive.ts';
import { reduceState } from '../export/export-run.ts';
import { csvRows } from './csv-rows.ts';
import { readDcc } from './read-dcc.ts';

/** `said`: what was left out, sentences. */
export type StatedText = { readonly ok: true; readonly set: StatedSet; readonly said: readonly string[] } | { readonly ok: false; readonly text: string };

/** By the end of its name: `.json` (tables.json), `.xml` (DCC), anything else a CSV. */
export function statedInText(name: string, given: string): StatedText {
  const refuse = (text: string): StatedText => ({ ok: false, text });
  const taken = ({ said, ...set }: ReturnType<typeof statedOfDocument>): StatedText =>
    set.numbers.length === 0 ? refuse(['It holds no dead time, slope or static flow that was measured.', ...said].join(' ')) : { ok: true, set, said };
  const text = given.replace(/^\uFEFF/u, '');
  if (/\.xml$/iu.test(name)) {
    const read = readDcc(text);
    return read.ok ? taken(statedOfCertificate(name, read.certificate, read.errors)) : refuse(read.text);
  }
  if (!/\.json$/iu.test(name)) {
    const rows = csvRows(name, text);
    const read = typeof rows === 'string' ? rows : statedOfCsv(name, rows);
    return typeof read === 'string' ? refuse(read) : taken(read);
  }
  let json: unknown;
  try {
    json = JSON.parse(text);
  } catch (error) {
    return refuse(`It is not JSON (${(error as Error).message}).`);
  }
  const document = documentSchema.safeParse(json);
  return document.success ? taken(statedOfDocument(name, document.data)) : refuse('It is no tables.json of this program.');
}

/** Runs of an archive one after the other, reduced; those without the type are left out. */
export function* typedRuns(archive: Archive, type: string | undefined, stateOf: (id: string) => RunState): Generator<TypedRun> {
  for (const { id } of archive.everyRun()) {
    const state = stateOf(id);
    const types = state.plan.injectors.map((injector) => injector.type);
    if (type !== undefined && !types.includes(type)) continue;
    // Without its windows: all runs of an archive are held at a time.
    const { cells, staticFlows } = reduceState(state);
    yield { id, equipment: state.equipment, types, reduction: { cells, staticFlows } };
  }
}
