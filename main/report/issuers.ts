/** Who may issue reports of a book, and the key that is a person's own. REP-36, REP-37. */
import { createPrivateKey, createPublicKey, sign, verify } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { samePerson } from '../../app/report/same-person.ts';
import { publicHeadKey, type HeadKey } from '../archive/heads-file.ts';
import { bookRefused, type BookResult } from './register.ts';

/** Signs as a person. */
export type PersonalKey = Extract<HeadKey, { ok: true }>;

interface Issuer {
  readonly name: string;
  /** He signs with this key; null: his name is enough. */
  readonly publicKey: string | null;
}

/** Lines of `issuers.txt`: a name, and behind it the public key of the person, where he has one; null: there is no such file, and everybody may. */
function issuersOf(book: string): readonly Issuer[] | null {
  const path = join(book, 'issuers.txt');
  if (!existsSync(path)) return null;
  return readFileSync(path, 'utf8').replace(/^\uFEFF/u, '').split(/\r?\n/u).map((line) => line.trim()).filter((line) => line !== '' && !line.startsWith('#')).map((line) => {
    const [, name = line, key = ''] = /^(.*\S)\s+([\w-]{43})$/u.exec(line) ?? [];
    return publicHeadKey(key) === null ? { name: line, publicKey: null } : { name, publicKey: key };
  });
}

/** Whether this person may issue, with this key (null: with none). */
export function mayIssue(book: string, by: string, key: PersonalKey | null): BookResult<null> {
  let issuers: readonly Issuer[] | null;
  try {
    issuers = issuersOf(book);
  } catch (error) {
    return bookRefused(`Who may issue reports cannot be read (${(error as Error).message}). Nothing was issued.`);
  }
  const issuer = issuers?.find(({ name }) => samePerson(name, by));
  if (issuers !== null && issuer === undefined) return bookRefused(`${by} is not among those who may issue reports (issuers.txt in ${book}). Nothing was issued.`);
  if (issuer === undefined || issuer.publicKey === null) {
    return key === null ? { ok: true, value: null } : bookRefused(`The book does not say that this key is that of ${by}: nobody could tell whose signature it is. Nothing was issued. Enter it in issuers.txt in ${book}: ${by} ${key.publicKey}`);
  }
  if (key === null) return bookRefused(`${by} releases reports with a key of his own. Nothing was issued. Issue it by the command issue-report, with --key FILE.`);
  return key.publicKey === issuer.publicKey ? { ok: true, value: null } : bookRefused(`The key that was given is not the one of ${by} in issuers.txt in ${book}. Nothing was issued.`);
}

/** A person's key out of a file (PKCS #8, PEM), which may be encrypted. `passphrase` null: none was given. */
export function readPersonalKey(path: string, passphrase: string | null): HeadKey {
  try {
    const pem = readFileSync(path);
    if (passphrase === null && pem.includes('BEGIN ENCRYPTED PRIVATE KEY')) return bookRefused(`The key ${path} is encrypted: its passphrase is taken from RAILHOUSE_KEY_PASSPHRASE. Nothing was issued.`);
    const key = createPrivateKey({ key: pem, ...(passphrase === null ? {} : { passphrase }) });
    if (key.asymmetricKeyType !== 'ed25519') return bookRefused(`The key ${path} is not an Ed25519 key. Make one with: openssl genpkey -algorithm ed25519 -aes256 -out FILE`);
    return { ok: true, key, publicKey: (createPublicKey(key).export({ format: 'jwk' }) as { readonly x?: string }).x ?? '' };
  } catch (error) {
    return bookRefused(`The key ${path} cannot be used (${(error as Error).message}). Nothing was issued. Is the passphrase the right one?`);
  }
}

export const releaseName = 'release.txt';

const unsigned = (number: string, sha256: string, by: string, publicKey: string): string => `railhouse-report-release 1\nreport ${number}\nsha256 ${sha256}\nby ${encodeURIComponent(by)}\nkey ${publicKey}\n`;

/** What a person signs: that he releases this file, its seal included. `sha256`: of the whole file. */
export function releaseText(of: { readonly number: string; readonly sha256: string; readonly by: string }, { key, publicKey }: PersonalKey): string {
  const text = unsigned(of.number, of.sha256, of.by, publicKey);
  return `${text}signature ${sign(null, Buffer.from(text, 'utf8'), key).toString('base64url')}\n`;
}

/** Whether a release is of this file, by this person and his key. */
function releaseHolds(release: string, of: { readonly number: string; readonly sha256: string; readonly by: string; readonly byKey: string }): boolean {
  const text = unsigned(of.number, of.sha256, of.by, of.byKey);
  const key = publicHeadKey(of.byKey);
  const [, signature = ''] = /\nsignature ([\w-]{86})\n$/u.exec(release) ?? [];
  return key !== null && release === `${text}signature ${signature}\n` && verify(null, Buffer.from(text, 'utf8'), key, Buffer.from(signature, 'base64url'));
}

/**
 * What is known of the person's own signature of a report. `release` null: `release.txt` is not at hand.
 */
export function releaseSentence(release: string | null, of: { readonly number: string; readonly sha256: string; readonly by: string; readonly byKey: string | undefined }): { readonly holds: boolean; readonly text: string } {
  const { byKey, by } = of;
  if (byKey === undefined) return { holds: true, text: `That ${by} released it is the word of the laboratory, whose key signed it: ${by} did not sign with a key of his own.` };
  if (release === null) return { holds: true, text: `The report names ${byKey} as the key of ${by}, and his own signature (${releaseName}) is not at hand: only the seal of the laboratory was checked.` };
  return releaseHolds(release, { ...of, byKey }) ? { holds: true, text: `${by} signed it with a key of his own too, ${byKey}, which the report names.` } : { holds: false, text: `The signature of ${by} (${releaseName}) is not one of this report with the key that it names: it is forged, or was changed.` };
}
