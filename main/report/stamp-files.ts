/** The files of a time stamp beside an issued report: `report.tsq`, the request that somebody carries to an authority, and `report.tsr`, its answer. REP-30, REP-34. */
import { X509Certificate } from 'node:crypto';
import { chmodSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { newToken, type Entropy } from '../clock/entropy.ts';
import { bookRefused, type BookResult } from './register.ts';
import { checkReport, sha256Of } from './seal.ts';
import { checkTimeStamp, readTimeStampRequest, stampSentences, timeStampRequest, type TimeStamp } from './time-stamp.ts';

const beside = (report: string, extension: string): string => report.replace(/\.html?$/iu, '') + extension;
const requestBeside = (report: string): string => beside(report, '.tsq');
export const stampBeside = (report: string): string => beside(report, '.tsr');

const inWords = (error: unknown): string => (error as Error).message;

/** Certificates out of a file: PEM, any number, or one in DER. */
export function certificatesIn(data: Buffer): BookResult<readonly X509Certificate[]> {
  try {
    const pem = data.toString('latin1').match(/-----BEGIN CERTIFICATE-----[^]*?-----END CERTIFICATE-----/gu);
    return { ok: true, value: (pem ?? [data]).map((one) => new X509Certificate(one)) };
  } catch (error) {
    return bookRefused(`There is no certificate in it that can be read (${inWords(error)}).`);
  }
}

/** Certificates of authorities that a lab keeps in its book; none: it keeps none. */
export function authoritiesOf(book: string): BookResult<readonly X509Certificate[]> {
  const path = join(book, 'authorities.pem');
  if (!existsSync(path)) return { ok: true, value: [] };
  const read = certificatesIn(readFileSync(path));
  return read.ok ? read : bookRefused(`${path}: ${read.text}`);
}

/** What there is of a time stamp beside a report. */
export const stampState = (report: string): 'none' | 'asked' | 'kept' => (existsSync(stampBeside(report)) ? 'kept' : existsSync(requestBeside(report)) ? 'asked' : 'none');

/** The report, if it is one as it was issued. */
function issuedAt(path: string): BookResult<{ readonly sha256: string; readonly issued: string }> {
  const data = readFileSync(path);
  const checked = checkReport(data, null);
  return checked.holds ? { ok: true, value: { sha256: sha256Of(data), issued: checked.inside.issue.at } } : bookRefused(checked.text);
}

/**
 * Writes the request for an issued report beside it; one that is there already is kept, so that its answer fits whenever it comes. `sha256`: what is stamped.
 */
export function writeStampRequest(report: string, entropy: Entropy, policy: string | null): BookResult<{ readonly path: string; readonly sha256: string; readonly data: Buffer }> {
  const path = requestBeside(report);
  try {
    if (existsSync(stampBeside(report))) return bookRefused(`${report} has its time stamp already: ${stampBeside(report)}. Nothing was written.`);
    const found = issuedAt(report);
    if (!found.ok) return bookRefused(`${found.text} Only an issued report is time-stamped. Nothing was written.`);
    const { sha256 } = found.value;
    if (!existsSync(path)) writeFileSync(path, timeStampRequest(sha256, Buffer.from(newToken(entropy), 'hex'), policy), { flag: 'wx', mode: 0o444 });
    const data = readFileSync(path);
    const asked = readTimeStampRequest(data);
    if (asked?.sha256 !== sha256 || (policy !== null && asked.policy !== policy)) return bookRefused(`${path} is the request for something else. Move it away, and ask for another.`);
    return { ok: true, value: { path, sha256, data } };
  } catch (error) {
    return bookRefused(`The request cannot be written (${inWords(error)}). The report is as it was.`);
  }
}

/** `kept`: the file of the answer. */
export interface KeptStamp {
  readonly kept: string;
  readonly stamp: TimeStamp;
  readonly sentences: readonly string[];
}

/** Holds an authority's answer against an issued report, and keeps it beside the report where it holds. */
export function keepStamp(report: string, answer: Buffer, given: readonly X509Certificate[]): BookResult<KeptStamp> {
  const kept = stampBeside(report);
  try {
    if (existsSync(kept)) return bookRefused(`${report} has its time stamp already: ${kept}. Nothing was changed.`);
    const found = issuedAt(report);
    if (!found.ok) return found;
    const checked = checkStamp(report, answer, found.value, given);
    if (!checked.ok) return bookRefused(`${checked.text} It was not kept; the report is as it was.`);
    writeFileSync(kept, answer, { flag: 'wx' });
    chmodSync(kept, 0o444);
    return { ok: true, value: { kept, ...checked.value } };
  } catch (error) {
    return bookRefused(`The time stamp cannot be kept (${inWords(error)}). The report is as it was.`);
  }
}

/** The request beside a report; null: there is none of this program. */
function requestOf(report: string): ReturnType<typeof readTimeStampRequest> {
  return existsSync(requestBeside(report)) ? readTimeStampRequest(readFileSync(requestBeside(report))) : null;
}

/** An answer against a report; where the request lies beside it, against that too. */
export function checkStamp(report: string, answer: Buffer, { sha256, issued }: { readonly sha256: string; readonly issued: string }, given: readonly X509Certificate[]): BookResult<Omit<KeptStamp, 'kept'>> {
  const asked = requestOf(report);
  const checked = checkTimeStamp(answer, { sha256, nonce: asked?.sha256 === sha256 ? asked.nonce : null, policy: asked?.policy ?? null }, given);
  return checked.holds ? { ok: true, value: { stamp: checked.stamp, sentences: stampSentences(checked.stamp, issued) } } : bookRefused(checked.text);
}
