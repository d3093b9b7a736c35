/**
 * Proofs that can be checked without the archive: that an entry lies at its place in the history that has a certain head, and that a
 * later head goes on from an earlier one. ARC-12, ARC-13.
 */
import { z } from 'zod';
import { entryHash, entryOf, headText, ledgerStart, parseHead, type Entry, type Head, type Ledger } from './ledger.ts';
import { consistencyPath, inclusionPath, isContinued, leafHash, rootByPath, rootOf } from './merkle.ts';

const hex = z.string().regex(/^[0-9a-f]{64}$/u);
const head = z.string().refine((text) => parseHead(text) !== null);
/** A tree of 2^53 leaves has no longer path. */
const path = z.array(hex).max(110);

const proofSchema = z.discriminatedUnion('kind', [
  z.strictObject({
    proofVersion: z.literal(1), kind: z.literal('place'),
    /** The entry: its number, its text word for word, and the hash of the entry before it. */
    n: z.int().min(1), text: z.string(), previous: hex,
    head, path,
  }),
  z.strictObject({ proofVersion: z.literal(1), kind: z.literal('continuation'), earlier: head, head, path }),
]);
export type Proof = z.infer<typeof proofSchema>;
type PlaceProof = Extract<Proof, { kind: 'place' }>;

/** Leaves of the first `n` entries. */
function leavesOf(ledger: Ledger, n: number): Buffer[] | null {
  const leaves: Buffer[] = [];
  for (const row of ledger.entries()) {
    if (leaves.length === n) break;
    leaves.push(leafHash(row.hash));
  }
  return leaves.length === n ? leaves : null;
}

const hexes = (steps: readonly Buffer[]): string[] => steps.map((step) => step.toString('hex'));
const buffers = (steps: readonly string[]): Buffer[] => steps.map((step) => Buffer.from(step, 'hex'));

/** The latest entry, up to the head, that has to do with a run: it binds the journal as it stood then. Null: there is none. */
export function placeOfRun(ledger: Ledger, run: string, under: Head): PlaceProof | null {
  let found: { readonly n: number; readonly text: string; readonly previous: string } | null = null;
  let previous = ledgerStart(ledger.id());
  for (const row of ledger.entries()) {
    if (row.n > under.n) break;
    // Looked for in the text first: parsing every entry of a large archive takes seconds.
    if (row.text.includes(run)) {
      const entry = entryOf(row.text);
      if (entry !== null && 'run' in entry && entry.run === run) found = { n: row.n, text: row.text, previous };
    }
    previous = row.hash.toString('hex');
  }
  const leaves = found === null ? null : leavesOf(ledger, under.n);
  if (found === null || leaves === null) return null;
  return { proofVersion: 1, kind: 'place', ...found, head: headText({ n: under.n, hash: rootOf(leaves).toString('hex') }), path: hexes(inclusionPath(found.n - 1, leaves)) };
}

/** That the history with head `later` goes on from the one with head `earlier`. Null: it does not, in this archive. */
export function continuation(ledger: Ledger, earlier: Head, later: Head): Proof | null {
  if (earlier.n > later.n) return null;
  const leaves = leavesOf(ledger, later.n);
  if (leaves === null || rootOf(leaves.slice(0, earlier.n)).toString('hex') !== earlier.hash) return null;
  return { proofVersion: 1, kind: 'continuation', earlier: headText(earlier), head: headText({ n: later.n, hash: rootOf(leaves).toString('hex') }), path: hexes(consistencyPath(earlier.n, leaves)) };
}

export type CheckedProof =
  | { readonly holds: true; readonly proof: Proof; readonly head: Head; readonly entry: Entry | null }
  | { readonly holds: false; readonly text: string };

/** Checks a document by itself, without any archive: what it proves, it proves of its own head. */
export function checkProof(document: unknown): CheckedProof {
  const parsed = proofSchema.safeParse(document);
  if (!parsed.success) return { holds: false, text: 'This is no proof of this program, or one of a newer version.' };
  const proof = parsed.data;
  const to = parseHead(proof.head);
  if (to === null) return { holds: false, text: 'The proof has no head.' };
  if (proof.kind === 'place') {
    const leaf = leafHash(Buffer.from(entryHash(proof.previous, proof.n, proof.text), 'hex'));
    const root = rootByPath(leaf, proof.n - 1, to.n, buffers(proof.path));
    if (root?.toString('hex') !== to.hash) return { holds: false, text: `The entry does not lie at place ${proof.n} of a history with the head ${proof.head}: something in the proof was changed.` };
    return { holds: true, proof, head: to, entry: entryOf(proof.text) };
  }
  const from = parseHead(proof.earlier);
  const joined = from !== null && isContinued({ size: from.n, root: Buffer.from(from.hash, 'hex') }, { size: to.n, root: Buffer.from(to.hash, 'hex') }, buffers(proof.path));
  return joined ? { holds: true, proof, head: to, entry: null } : { holds: false, text: `The head ${proof.head} does not go on from ${proof.earlier}: something in the proof was changed.` };
}
