/**
 * The seal of an issued report: some lines of plain letters at the end of its HTML file, signed with the lab's key (Ed25519, RFC 8032). It binds
 * every byte before it, and the head of the archive that the report rests on. `sealPattern` is all that may follow. REP-24, REP-25.
 */
import { createHash, sign, verify, type KeyObject } from 'node:crypto';
import { z } from 'zod';
import { jsonInReport, reportTail } from '../../app/report/html.ts';
import { publicHeadKey } from '../archive/heads-file.ts';
import { checkProof } from '../archive/proof.ts';

interface SealedReport {
  readonly number: string;
  /** SHA-256 of the file up to the seal. */
  readonly body: string;
  readonly archiveId: string;
  readonly head: string;
  readonly publicKey: string;
}

export const sha256Of = (data: string | Buffer): string => createHash('sha256').update(data).digest('hex');

const unsigned = ({ number, body, archiveId, head, publicKey }: SealedReport): string =>
  `railhouse-report-seal 1\nreport ${number}\nbody ${body}\narchive ${archiveId}\nhead ${head}\nkey ${publicKey}\n`;

const signatureOf = (text: string, key: KeyObject): string => sign(null, Buffer.from(text, 'utf8'), key).toString('base64url');

export function sealText(of: SealedReport, key: KeyObject): string {
  const text = unsigned(of);
  return `${text}signature ${signatureOf(text, key)}\n`;
}

/** The signed list of the files that a report was issued as. */
export function filesSealText(number: string, publicKey: string, files: readonly { readonly name: string; readonly sha256: string }[], key: KeyObject): string {
  const text = `railhouse-report-files 1\nreport ${number}\n${files.map((f) => `file ${f.name} ${f.sha256}\n`).join('')}key ${publicKey}\n`;
  return `${text}signature ${signatureOf(text, key)}\n`;
}

const sealPattern =
  /^railhouse-report-seal 1\nreport ([A-Za-z0-9-]{1,40})\nbody ([0-9a-f]{64})\narchive ([0-9a-f-]{36})\nhead (\d{1,15}:[0-9a-f]{64})\nkey ([\w-]{43})\nsignature ([\w-]{86})\n$/u;
const filesPattern = /^railhouse-report-files 1\nreport ([A-Za-z0-9-]{1,40})\n((?:file [a-z.]{1,40} [0-9a-f]{64}\n){1,20})key ([\w-]{43})\nsignature ([\w-]{86})\n$/u;

/** What a check needs of the document inside. */
const insideSchema = z.looseObject({
  reportVersion: z.literal(1),
  length: z.enum(['one-page', 'full', 'raw']),
  issue: z.strictObject({
    number: z.string(), by: z.string(), byKey: z.string().optional(), at: z.string(), publicKey: z.string(),
    amends: z.strictObject({ number: z.string(), sha256: z.string(), reason: z.string() }).nullable(),
  }),
  basis: z.looseObject({
    runId: z.string(), archiveId: z.string(), archiveHead: z.string(), journal: z.strictObject({ events: z.int().min(1), hash: z.string() }), place: z.unknown(), writtenWith: z.string(),
  }),
  details: z.unknown(),
});
type InsideReport = z.infer<typeof insideSchema>;

export type CheckedReport =
  | { readonly holds: true; readonly seal: SealedReport; readonly inside: InsideReport; /** The document as it lies in the file. */ readonly json: string }
  | { readonly holds: false; readonly text: string };

const altered = (why: string): CheckedReport => ({ holds: false, text: why });

function signed(text: string, signature: string, publicKey: string): boolean {
  const key = publicHeadKey(publicKey);
  return key !== null && verify(null, Buffer.from(text, 'utf8'), key, Buffer.from(signature, 'base64url'));
}

/** Checks a file by itself, without archive and network. `expected`: the lab's public key, as the lab gave it; null: that of the file is taken. */
export function checkReport(file: Buffer, expected: string | null): CheckedReport {
  const html = file.toString('utf8');
  // A byte that is no UTF-8 would be read as another one.
  if (!Buffer.from(html, 'utf8').equals(file)) return altered('The file is not what was issued: it is not UTF-8.');
  const at = html.lastIndexOf('<pre id="seal">\n');
  if (at < 0) return altered('The file has no seal: it is a draft, or no report of this program.');
  const text = html.slice(at + '<pre id="seal">\n'.length).split('</pre>')[0] ?? '';
  const [, number = '', body = '', archiveId = '', head = '', publicKey = '', signature = ''] = sealPattern.exec(text) ?? [];
  if (number === '' || html.slice(at) !== reportTail(text)) return altered('The seal was changed, or something stands after it that was not issued.');
  const seal: SealedReport = { number, body, archiveId, head, publicKey };
  if (sha256Of(html.slice(0, at)) !== body) return altered(`The report is NOT as it was issued: its contents have another SHA-256 than its seal says.`);
  if (!signed(unsigned(seal), signature, publicKey)) return altered('The seal is not signed by the key that it names: the report is NOT as it was issued.');
  if (expected !== null && expected !== publicKey) return altered(`The report is sealed with another key than the one that was given: ${publicKey}. It is not of that laboratory, or the key is another one.`);
  return inside(seal, jsonInReport(html));
}

function inside(seal: SealedReport, json: string | null): CheckedReport {
  let document: unknown;
  try {
    document = JSON.parse(json ?? '');
  } catch {
    return altered('The document inside of the report cannot be read.');
  }
  const parsed = insideSchema.safeParse(document);
  if (!parsed.success || json === null) return altered('The document inside of the report is of a newer version of this program.');
  const { issue, basis } = parsed.data;
  if (issue.number !== seal.number || issue.publicKey !== seal.publicKey || basis.archiveId !== seal.archiveId || basis.archiveHead !== seal.head) {
    return altered('The seal and the document inside of the report do not speak of the same.');
  }
  const place = checkProof(basis.place);
  if (!place.holds) return altered(`The report holds no proof that its run lies in the archive: ${place.text}`);
  if (place.proof.head !== seal.head || place.entry === null || !('run' in place.entry) || place.entry.run !== basis.runId) return altered('The proof in the report is of another run, or under another head.');
  return { holds: true, seal, inside: parsed.data, json };
}

/** Checks a file that was issued beside the HTML by the signed list of the folder. */
export function checkListed(name: string, file: Buffer, list: string, expected: string | null): { readonly holds: true; readonly number: string; readonly publicKey: string } | { readonly holds: false; readonly text: string } {
  const [, number = '', files = '', publicKey = '', signature = ''] = filesPattern.exec(list) ?? [];
  if (number === '') return { holds: false, text: 'The list of files (seal.txt) was changed, or is none of this program.' };
  if (!signed(list.slice(0, list.lastIndexOf('signature ')), signature, publicKey)) return { holds: false, text: 'The list of files (seal.txt) is not signed by the key that it names.' };
  if (expected !== null && expected !== publicKey) return { holds: false, text: `The list of files is signed with another key than the one that was given: ${publicKey}.` };
  const line = files.split('\n').map((l) => l.split(' ')).find(([, n]) => n === name);
  if (line === undefined) return { holds: false, text: `${name} is not in the list of files that were issued.` };
  return line[2] === sha256Of(file) ? { holds: true, number, publicKey } : { holds: false, text: `${name} is NOT as it was issued: it has another SHA-256 than the signed list says.` };
}
