/** What the archive tells of the types of a plan, for the page of plans (WIN-100). */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import type { Archive } from '../archive/archive.ts';
import { knownInArchive } from '../export/earlier-runs.ts';
import { loadRun } from '../service/load-run.ts';

export function knownTypes(archive: Archive, { types, pressuresKpa }: ParsedParams<'types.known'>): AnswerTo<'types.known'> {
  const load = (id: string) => {
    const loaded = loadRun(archive, id);
    return loaded.ok ? loaded.state : null;
  };
  const asked = [...new Set(types)].flatMap((type) => [...new Set(pressuresKpa)].map((pressureKpa) => ({ type, pressureKpa, known: knownInArchive(archive, load, type, pressureKpa) })));
  return {
    known: asked.flatMap(({ known }) => (known === null ? [] : [known])),
    missing: asked.flatMap(({ type, pressureKpa, known }) => (known === null ? [`${type} at ${pressureKpa} kPa`] : [])),
  };
}
