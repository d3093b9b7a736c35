/** The manifest of an export: what belongs to it, with SHA-256, and the proof that its run lies in the archive with that head. ARC-17, ARC-19. */
import { createHash } from 'node:crypto';
import { createReadStream, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';
import { checkProof, type Proof } from '../archive/proof.ts';
import type { FileToWrite, WrittenFile } from './files.ts';
import { whenBegan, type Provenance } from './provenance.ts';

const manifestName = 'manifest.json';

const manifestSchema = z.object({
  manifestVersion: z.literal(1),
  software: z.string(),
  runId: z.string(),
  order: z.string(),
  runBeganUtc: z.string(),
  archiveId: z.string(),
  archiveHead: z.string(),
  /** Why nothing of this export can be traced; empty: it can, as far as the record tells (RUN-110). */
  notTraceable: z.array(z.string()),
  /** A proof as `prove` gives it. */
  place: z.unknown(),
  files: z.array(z.object({ name: z.string().regex(/^[\w-]+(?:\.[a-z]+)+$/u), bytes: z.int().min(0), sha256: z.string().regex(/^[0-9a-f]{64}$/u) })),
});

interface ManifestParts {
  readonly provenance: Provenance;
  readonly software: string;
  readonly notTraceable: readonly string[];
  readonly place: Proof | null;
  readonly files: readonly WrittenFile[];
}

export function manifestFile({ provenance, software, notTraceable, place, files }: ManifestParts): FileToWrite {
  const { runId, order, archiveId, head } = provenance;
  const manifest: z.input<typeof manifestSchema> = {
    manifestVersion: 1, software, runId, order, runBeganUtc: whenBegan(provenance), archiveId, archiveHead: head, notTraceable: [...notTraceable], place, files: [...files],
  };
  return { name: manifestName, pieces: [`${JSON.stringify(manifest, null, 1)}\n`] };
}

export type CheckedExport =
  | { readonly whole: true; readonly runId: string; readonly archiveId: string; readonly archiveHead: string; readonly files: number }
  | { readonly whole: false; readonly problems: readonly string[] };

/** Holds a folder against its manifest, without the archive. Throws what the file system throws for the manifest itself. */
export async function checkExport(folder: string): Promise<CheckedExport> {
  let document: unknown;
  try {
    document = JSON.parse(readFileSync(join(folder, manifestName), 'utf8'));
  } catch (error) {
    if (!(error instanceof SyntaxError)) throw error;
  }
  const parsed = manifestSchema.safeParse(document);
  if (!parsed.success) return { whole: false, problems: [`${manifestName} is not a manifest of this program, or one of a newer version.`] };
  const { files, place, runId, archiveId, archiveHead } = parsed.data;
  const problems: string[] = [];
  for (const { name, bytes, sha256 } of files) {
    const found = await digestOf(join(folder, name));
    if (found === null) problems.push(`${name} is missing or cannot be read.`);
    else if (found.bytes !== bytes || found.sha256 !== sha256) problems.push(`${name} is not what was exported.`);
  }
  const listed = new Set([manifestName, ...files.map((file) => file.name)]);
  for (const name of readdirSync(folder)) if (!listed.has(name)) problems.push(`${name} does not belong to this export.`);
  const checked = checkProof(place);
  if (!checked.holds) problems.push(checked.text);
  else if (checked.proof.head !== archiveHead) problems.push('The proof in the manifest is under another head than the manifest names.');
  else if (checked.entry?.kind !== 'events' || checked.entry.run !== runId) problems.push('The proof in the manifest is of another run.');
  return problems.length > 0 ? { whole: false, problems } : { whole: true, runId, archiveId, archiveHead, files: files.length };
}

async function digestOf(path: string): Promise<{ readonly bytes: number; readonly sha256: string } | null> {
  const digest = createHash('sha256');
  let bytes = 0;
  try {
    for await (const piece of createReadStream(path) as AsyncIterable<Buffer>) {
      digest.update(piece);
      bytes += piece.length;
    }
  } catch {
    return null;
  }
  return { bytes, sha256: digest.digest('hex') };
}
