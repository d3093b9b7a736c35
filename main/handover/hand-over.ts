/** Writes what a customer loads: tables of a run in the formats that were asked for, in a folder of their own, with the manifest of an export (ARC-17). TAB-12. */
import { shownThroughout } from '../../app/boundary/text.ts';
import { controllerDocument, controllerTables } from '../../app/handover/build.ts';
import { documentJsonSchema } from '../../app/handover/document.ts';
import type { ControllerDocument } from '../../app/handover/document.ts';
import { plainLayout } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import type { Parties } from '../../app/handover/parties.ts';
import type { RunState } from '../../app/journal/state.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import type { Reduction } from '../../app/reduce/reduction.ts';
import { headText } from '../archive/ledger.ts';
import { placeOfRun } from '../archive/proof.ts';
import type { ArchiveReader, StoredRun } from '../archive/read.ts';
import { isoTime } from '../clock/dating.ts';
import { attemptColumns, massColumns } from '../export/csv.ts';
import { reduceState } from '../export/export-run.ts';
import { writeSet, type ExportDisk, type FileSet, type WriteResult } from '../export/files.ts';
import { manifestFile } from '../export/manifest.ts';
import { whenBegan, type Provenance } from '../export/provenance.ts';
import { cdfFile } from './cdf.ts';
import { gridFiles, isGridFile, longFile, longFileName } from './csv-tables.ts';
import { dataPackage } from './data-package.ts';
import { dccFile } from './dcc.ts';
import { parquetFile, telemetryFile } from './parquet.ts';
import { uuidOfName } from './uuid.ts';
import { xlsxFile } from './xlsx.ts';

export const handoverFormats = ['csv', 'json', 'xlsx', 'cdf', 'dcc', 'parquet'] as const;
export type HandoverFormat = (typeof handoverFormats)[number];

export interface HandOver {
  readonly archive: ArchiveReader;
  readonly runId: string;
  readonly state: RunState;
  readonly software: string;
  readonly layout: ControllerLayout;
  readonly formats: readonly HandoverFormat[];
  /** Whom a certificate names; without them there is none. */
  readonly parties: Parties | null;
  /** A Monte Carlo beside each number of tables.json. */
  readonly monteCarlo: boolean;
}

/** All names but those of the grids. */
const fixedNames: ReadonlySet<string> = new Set([
  longFileName, 'datapackage.json', 'tables.json', 'tables.schema.json', 'tables.xlsx', 'tables.cdfx', 'certificate.dcc.xml', 'attempts.parquet', 'windows.parquet', 'telemetry.parquet',
]);

type AnyFile = FileSet['files'][number];

interface Prepared {
  readonly run: StoredRun;
  readonly provenance: Provenance;
  readonly reduction: Reduction;
  readonly document: ControllerDocument;
}

const jsonText = (document: unknown): readonly string[] => [`${JSON.stringify(document, null, 1)}\n`];

/** A line for each number and each error source: with every error a number would else be a page. */
function* tablesText(document: ControllerDocument): Generator<string> {
  const { errorSources = [], tables, ...head } = document;
  const list = (items: readonly unknown[], indent: string): string => items.map((item) => `${indent}${JSON.stringify(item)}`).join(',\n');
  yield `${JSON.stringify(head, null, 1).slice(0, -2)},\n "errorSources": [\n${list(errorSources, '  ')}\n ],\n "tables": [\n`;
  for (const [i, { cells, ...table }] of tables.entries()) {
    yield `${i === 0 ? '' : ',\n'}${JSON.stringify(table).slice(0, -1)}, "cells": [\n${list(cells, '  ')}\n ]}`;
  }
  yield '\n ]\n}\n';
}

/** Files of a format; `said` takes what the person must know of them. */
async function filesIn(format: HandoverFormat, what: HandOver, prepared: Prepared, said: string[]): Promise<readonly AnyFile[]> {
  const { document } = prepared;
  switch (format) {
    case 'csv':
      return [...gridFiles(document, what.layout), longFile(document), dataPackage(document, what.layout)];
    case 'json':
      return [{ name: 'tables.json', pieces: tablesText(document) }, { name: 'tables.schema.json', pieces: jsonText(documentJsonSchema()) }];
    case 'xlsx':
      return [{ name: 'tables.xlsx', pieces: [await xlsxFile(document, what.layout)] }];
    case 'cdf': {
      const { xml, leftOut } = cdfFile(document);
      said.push(...leftOut);
      return [{ name: 'tables.cdfx', pieces: [xml] }];
    }
    case 'dcc':
      return certificate(what, prepared, said);
    case 'parquet':
      return parquetFiles(what, prepared);
  }
}

function certificate(what: HandOver, { run, provenance, reduction }: Prepared, said: string[]): readonly AnyFile[] {
  if (what.parties === null) {
    said.push('certificate.dcc.xml is not made: a certificate names laboratory and customer. Name them with --parties FILE.');
    return [];
  }
  const measured = documentOf(what, provenance, reduction, plainLayout, false);
  if (typeof measured === 'string') throw new Error(measured);
  const day = (time: number): string => isoTime(unixMillis(time)).slice(0, 10);
  return [{ name: 'certificate.dcc.xml', pieces: [dccFile({ document: measured, parties: shownThroughout(what.parties), began: day(run.createdAt), ended: day(run.status.lastAt ?? run.createdAt) })] }];
}

async function parquetFiles({ archive, runId, state: { plan, setPoints, notTraceable }, software }: HandOver, { provenance, reduction }: Prepared): Promise<readonly AnyFile[]> {
  const about = shownThroughout({ run: runId, order: provenance.order, run_began_utc: whenBegan(provenance), archive_head: provenance.head, not_traceable: notTraceable.join(' '), software });
  function* frames() {
    for (const chunk of archive.telemetryChunks(runId)) yield* chunk.frames;
  }
  return [
    await parquetFile('attempts.parquet', attemptColumns(plan, setPoints), () => archive.everyAttempt(runId), about),
    await parquetFile('windows.parquet', massColumns(plan), () => reduction.windows, about),
    telemetryFile(frames(), about),
  ];
}

/** The neutral tables of a run; a text where there can be none. */
function documentOf({ state, software }: HandOver, provenance: Provenance, reduction: Reduction, layout: ControllerLayout, monteCarlo: boolean): ControllerDocument | string {
  const { plan, equipment, notTraceable } = state;
  const built = controllerTables({ plan, equipment, reduction, layout, travel: { runId: provenance.runId, uuidOf: uuidOfName }, ...(monteCarlo ? { trialsBy: provenance.runId } : {}) });
  if (!built.ok) return built.text;
  const { runId: id, order, archiveId, head: archiveHead } = provenance;
  // Names of before control characters were refused would be lost in XML and move the cursor in a terminal: no format gets them (TAB-13).
  return shownThroughout(controllerDocument({ software, run: { id, order, beganUtc: whenBegan(provenance), archiveId, archiveHead }, notTraceable: [...notTraceable], layout, tables: built.tables, errorSources: [...built.errorSources] }));
}

/** `said`: what the person must know of what was written. */
export type HandedOver = (WriteResult & { readonly said: readonly string[] }) | { readonly kind: 'refused'; readonly text: string };

/** Writes them into a folder that holds nothing else; what lies there of an earlier hand-over is replaced as a whole (ARC-18). */
export async function handOver(directory: string, what: HandOver, disk?: ExportDisk): Promise<HandedOver> {
  const { archive, runId, state, software } = what;
  const run = archive.run(runId);
  if (run === null) throw new Error(`the archive has no run ${runId}`);
  const under = archive.head();
  const provenance: Provenance = { runId, order: run.order, began: run.createdAt, archiveId: archive.archiveId(), head: headText(under) };
  const reduction = reduceState(state);
  const document = documentOf(what, provenance, reduction, what.layout, what.monteCarlo && what.formats.includes('json'));
  if (typeof document === 'string') return { kind: 'refused', text: document };
  const said: string[] = [];
  const files: AnyFile[] = [];
  for (const format of what.formats) files.push(...(await filesIn(format, what, { run, provenance, reduction, document }, said)));
  if (files.length === 0) return { kind: 'refused', text: said.join(' ') };
  const written = await writeSet(
    directory,
    {
      files,
      closing: (names) => manifestFile({ provenance, software, notTraceable: document.notTraceable, place: placeOfRun(archive.ledger, runId, under), files: names }),
      earlier: (name) => isGridFile(name) || fixedNames.has(name),
    },
    disk,
  );
  return { ...written, said };
}
