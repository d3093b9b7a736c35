/** Writes what a customer loads: tables of a run in the formats that were asked for, in a folder of their own, with the manifest of an export (ARC-17). TAB-12. */
import { controllerDocument, controllerTables } from '../../app/handover/build.ts';
import { documentJsonSchema } from '../../app/handover/document.ts';
import type { ControllerDocument } from '../../app/handover/document.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import { shownThroughout } from '../../app/boundary/text.ts';
import type { RunState } from '../../app/journal/state.ts';
import { headText } from '../archive/ledger.ts';
import { placeOfRun } from '../archive/proof.ts';
import type { ArchiveReader } from '../archive/read.ts';
import { reduceState } from '../export/export-run.ts';
import { writeSet, type ExportDisk, type FileToWrite, type WriteResult } from '../export/files.ts';
import { manifestFile } from '../export/manifest.ts';
import { whenBegan, type Provenance } from '../export/provenance.ts';
import { gridFiles, isGridFile, longFile, longFileName } from './csv-tables.ts';

export const handoverFormats = ['csv', 'json'] as const;
export type HandoverFormat = (typeof handoverFormats)[number];

export interface HandOver {
  readonly archive: ArchiveReader;
  readonly runId: string;
  readonly state: RunState;
  readonly software: string;
  readonly layout: ControllerLayout;
  readonly formats: readonly HandoverFormat[];
}

/** All names but those of the grids. */
const fixedNames: ReadonlySet<string> = new Set([longFileName, 'tables.json', 'tables.schema.json']);

const text = (document: unknown): readonly string[] => [`${JSON.stringify(document, null, 1)}\n`];

function filesIn(format: HandoverFormat, document: ControllerDocument, { layout }: HandOver): readonly FileToWrite[] {
  switch (format) {
    case 'csv':
      return [...gridFiles(document, layout), longFile(document)];
    case 'json':
      return [{ name: 'tables.json', pieces: text(document) }, { name: 'tables.schema.json', pieces: text(documentJsonSchema()) }];
  }
}

export type HandedOver = WriteResult | { readonly kind: 'refused'; readonly text: string };

interface Prepared {
  readonly document: ControllerDocument;
  readonly provenance: Provenance;
  readonly place: ReturnType<typeof placeOfRun>;
}

/** The neutral tables of a run; a text where there can be none. */
function tablesOfRun({ archive, runId, state, software, layout }: Omit<HandOver, 'formats'>): Prepared | string {
  const run = archive.run(runId);
  if (run === null) throw new Error(`the archive has no run ${runId}`);
  const under = archive.head();
  const provenance: Provenance = { runId, order: run.order, began: run.createdAt, archiveId: archive.archiveId(), head: headText(under) };
  const { plan, equipment, notTraceable } = state;
  const built = controllerTables({ plan, equipment, reduction: reduceState(state), layout });
  if (!built.ok) return built.text;
  const named = { id: runId, order: run.order, beganUtc: whenBegan(provenance), archiveId: provenance.archiveId, archiveHead: provenance.head };
  // Names of before control characters were refused would be lost in XML and move the cursor in a terminal: no format gets them (TAB-13).
  const document = shownThroughout(controllerDocument({ software, run: named, notTraceable: [...notTraceable], layout, tables: built.tables }));
  return { document, provenance, place: placeOfRun(archive.ledger, runId, under) };
}

/** Writes them into a folder that holds nothing else; what lies there of an earlier hand-over is replaced as a whole (ARC-18). */
export async function handOver(directory: string, what: HandOver, disk?: ExportDisk): Promise<HandedOver> {
  const prepared = tablesOfRun(what);
  if (typeof prepared === 'string') return { kind: 'refused', text: prepared };
  const { document, provenance, place } = prepared;
  return writeSet(
    directory,
    {
      files: what.formats.flatMap((format) => filesIn(format, document, what)),
      closing: (written) => manifestFile({ provenance, software: what.software, notTraceable: document.notTraceable, place, files: written }),
      earlier: (name) => isGridFile(name) || fixedNames.has(name),
    },
    disk,
  );
}
