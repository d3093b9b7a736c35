/**
 * Heads of archives in a second place: a text file that is only added to, best on another disk or machine, one line for each head,
 * `ARCHIVE-ID N:ROOT TIME [SIGNATURE]`. Signed with an Ed25519 key (RFC 8032) that lies outside of the archive. ARC-14 to ARC-16.
 */
import { createPrivateKey, createPublicKey, generateKeyPairSync, sign, verify, type KeyObject } from 'node:crypto';
import { closeSync, fsyncSync, openSync, readFileSync, readSync, statSync, writeSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { headText, parseHead, type Head } from './ledger.ts';
import { isoTime } from '../clock/dating.ts';

/** What is signed: everything that the line says, and what it is. */
const signedText = (archiveId: string, head: Head, time: string): Buffer => Buffer.from(`railhouse head 1\n${archiveId}\n${headText(head)}\n${time}\n`, 'utf8');

/** The 32 bytes of a public key, base64url: what people are told and give. */
const publicText = (key: KeyObject): string => (key.export({ format: 'jwk' }) as { readonly x?: string }).x ?? '';

export type HeadKey = { readonly ok: true; readonly key: KeyObject; readonly publicKey: string } | { readonly ok: false; readonly text: string };

/** A private key from a file (PKCS #8, PEM: what `make-head-key` and `openssl genpkey -algorithm ed25519` write). */
export function readHeadKey(path: string): HeadKey {
  try {
    const key = createPrivateKey(readFileSync(path));
    if (key.asymmetricKeyType !== 'ed25519') return { ok: false, text: `The key ${path} is not an Ed25519 key. Make one with: npm run cli -- make-head-key FILE` };
    return { ok: true, key, publicKey: publicText(createPublicKey(key)) };
  } catch (error) {
    return { ok: false, text: `The key ${path} cannot be read (${(error as Error).message}). Nothing was begun. Make one with: npm run cli -- make-head-key FILE` };
  }
}

/** Makes a key that only its owner may read; an existing file is left as it is. */
export function makeHeadKey(path: string): HeadKey {
  const { privateKey, publicKey } = generateKeyPairSync('ed25519');
  try {
    writeFileSync(path, privateKey.export({ format: 'pem', type: 'pkcs8' }), { flag: 'wx', mode: 0o600 });
  } catch (error) {
    return { ok: false, text: `The key ${path} was not made (${(error as Error).message}). Choose another file.` };
  }
  return { ok: true, key: privateKey, publicKey: publicText(publicKey) };
}

/** A public key as it was printed; null: it is none. */
export function publicHeadKey(text: string): KeyObject | null {
  if (!/^[\w-]{43}$/u.test(text)) return null;
  try {
    return createPublicKey({ key: { kty: 'OKP', crv: 'Ed25519', x: text }, format: 'jwk' });
  } catch {
    return null;
  }
}

/**
 * Why heads cannot be kept in this file; null: they can. Asked before the archive is opened: SQLite's locks on a file are lost when
 * anything else of the process closes it.
 */
export function unfitForHeads(path: string, archive: string): string | null {
  if (path.startsWith(archive)) return `Heads cannot be kept in ${path}: that belongs to the archive. Choose another file, best on another disk.`;
  const there = statSync(path, { throwIfNoEntry: false });
  if (there === undefined) return null;
  if (!there.isFile()) return `Heads cannot be kept in ${path}: that is no file. Choose another one, best on another disk.`;
  const file = openSync(path, 'r');
  try {
    const begin = Buffer.alloc(15);
    readSync(file, begin, 0, begin.length, 0);
    return begin.toString('latin1') === 'SQLite format 3' ? `Heads cannot be kept in ${path}: that is a database. Choose another file, best on another disk.` : null;
  } finally {
    closeSync(file);
  }
}

interface HeadsFileParts {
  readonly path: string;
  /** Absent: lines are not signed. */
  readonly key?: KeyObject;
  /** Unix milliseconds. */
  readonly now: () => number;
  /** Told in a sentence that a head could not be kept. The archive is not concerned. */
  readonly onProblem: (text: string) => void;
}

/** Adds heads to the file. A slow disk holds nobody up: only at the end is it waited for. */
export class HeadsFile {
  readonly #parts: HeadsFileParts;
  #asked = '';
  #kept = '';
  /** The file may end in a line that somebody could not finish. */
  #mayBeTorn: boolean;
  #adding: Promise<void> = Promise.resolve();

  constructor(parts: HeadsFileParts) {
    this.#parts = parts;
    this.#mayBeTorn = (statSync(parts.path, { throwIfNoEntry: false })?.size ?? 0) > 0;
  }

  /** Keeps a head, soon. */
  note(archiveId: string, head: Head): void {
    const what = headText(head);
    if (what === this.#asked) return;
    this.#asked = what;
    this.#adding = this.#adding.then(async () => {
      try {
        const file = await open(this.#parts.path, 'a');
        try {
          await file.appendFile(this.#line(archiveId, head));
          await file.sync();
          this.#kept = what;
          this.#mayBeTorn = false;
        } finally {
          await file.close();
        }
      } catch (error) {
        this.#failed(error);
      }
    });
  }

  /** Keeps the last head of a file that is closed; it is on the disk when this returns, unless a problem was told. */
  finish(archiveId: string, head: Head): void {
    if (headText(head) === this.#kept) return;
    this.#asked = headText(head);
    try {
      const file = openSync(this.#parts.path, 'a');
      try {
        writeSync(file, this.#line(archiveId, head));
        fsyncSync(file);
        this.#kept = this.#asked;
        this.#mayBeTorn = false;
      } finally {
        closeSync(file);
      }
    } catch (error) {
      this.#failed(error);
    }
  }

  #line(archiveId: string, head: Head): string {
    const time = isoTime(this.#parts.now());
    const { key } = this.#parts;
    const signature = key === undefined ? '' : ` ${sign(null, signedText(archiveId, head, time), key).toString('base64url')}`;
    return `${this.#mayBeTorn ? '\n' : ''}${archiveId} ${headText(head)} ${time}${signature}\n`;
  }

  #failed(error: unknown): void {
    this.#mayBeTorn = true;
    this.#parts.onProblem(`The head of the archive could not be kept in ${this.#parts.path} (${(error as Error).message}). The archive itself is not concerned. Note the head by hand (npm run cli -- runs), and see to that disk.`);
  }
}

/** Where heads are to be kept, as it was asked for: absolute paths. */
export interface HeadPlaces {
  readonly heads?: string | undefined;
  readonly headsKey?: string | undefined;
}

export type HeadsFileResult =
  /** `file` null: none was asked for. `publicKey` null: heads are not signed. */
  | { readonly ok: true; readonly file: HeadsFile | null; readonly publicKey: string | null }
  | { readonly ok: false; readonly text: string };

/** The file that heads of the archive at `archive` are kept in. Ask before that is opened (`unfitForHeads`). Nothing is written yet. */
export function headsFileAt({ heads, headsKey }: HeadPlaces, archive: string, parts: Pick<HeadsFileParts, 'now' | 'onProblem'>): HeadsFileResult {
  if (heads === undefined) {
    if (headsKey !== undefined) return { ok: false, text: '--heads-key signs what --heads keeps: give --heads FILE too.' };
    return { ok: true, file: null, publicKey: null };
  }
  const unfit = unfitForHeads(heads, archive);
  if (unfit !== null) return { ok: false, text: unfit };
  const key = headsKey === undefined ? null : readHeadKey(headsKey);
  if (key?.ok === false) return key;
  return { ok: true, file: new HeadsFile({ path: heads, ...(key === null ? {} : { key: key.key }), ...parts }), publicKey: key?.publicKey ?? null };
}

/** 64 bytes in base64url. */
const SIGNATURE_CHARACTERS = 86;

interface KeptHead {
  readonly archiveId: string;
  readonly head: Head;
  readonly time: string;
  readonly signature: string | null;
}

interface KeptHeads {
  /** Of the archive that was asked for. */
  readonly heads: readonly KeptHead[];
  readonly problems: readonly string[];
  /** Lines that a death or a full disk cut off while they were written: they say nothing. */
  readonly torn: number;
}

/** The heads of one archive in the text of such a file. With a public key each line must be signed by it. */
export function keptHeads(text: string, archiveId: string, key: KeyObject | null): KeptHeads {
  const problems: string[] = [];
  const heads: KeptHead[] = [];
  let torn = 0;
  const lines = text.split('\n');
  if (lines.pop() !== '') torn += 1;
  for (const [i, line] of lines.entries()) {
    if (line === '') continue;
    const [id = '', at = '', time = '', signature = null] = line.split(' ');
    const head = parseHead(at);
    if (head === null || !/^\d{4}-\d\d-\d\dT[\d:.]{12}Z$/u.test(time) || (signature !== null && signature.length < SIGNATURE_CHARACTERS)) {
      torn += 1;
      continue;
    }
    if (id !== archiveId) continue;
    if (key !== null && (signature === null || !verify(null, signedText(id, head, time), key, Buffer.from(signature, 'base64url')))) {
      problems.push(`Line ${i + 1} (head ${at}) is not signed by this key, or was changed.`);
    }
    heads.push({ archiveId: id, head, time, signature });
  }
  if (heads.length === 0) problems.push(`It has no head of archive ${archiveId}.`);
  return { heads, problems, torn };
}
