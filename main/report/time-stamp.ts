/**
 * Time stamps of an authority (RFC 3161, RFC 5816) for a file, by files: the request that somebody carries to it, and its answer held against the file
 * without any network. REP-30 to REP-33.
 */
import { createHash, verify, X509Certificate, type KeyObject } from 'node:crypto';
import { derInteger, derOf, derOid, derTag, elementsOf, expectDer, fieldTag, NotDer, oidIn, readDer, smallIn, type Der } from './der.ts';

const oid = {
  sha256: '2.16.840.1.101.3.4.2.1',
  signedData: '1.2.840.113549.1.7.2', timeStampInfo: '1.2.840.113549.1.9.16.1.4',
  contentType: '1.2.840.113549.1.9.3', messageDigest: '1.2.840.113549.1.9.4', signingCertificate: '1.2.840.113549.1.9.16.2.12', signingCertificateV2: '1.2.840.113549.1.9.16.2.47',
  rsa: '1.2.840.113549.1.1.1',
  extendedKeyUsage: '2.5.29.37', basicConstraints: '2.5.29.19', timeStamping: '1.3.6.1.5.5.7.3.8',
} as const;

/** Hashes that a signature may rest on. */
const hashes: Readonly<Record<string, string>> = {
  [oid.sha256]: 'sha256', '2.16.840.1.101.3.4.2.2': 'sha384', '2.16.840.1.101.3.4.2.3': 'sha512',
};
/** Signature algorithms that name their hash: RSA (PKCS #1 1.5) and ECDSA. */
const signatures: Readonly<Record<string, { readonly key: string; readonly hash: string }>> = {
  '1.2.840.113549.1.1.11': { key: 'rsa', hash: 'sha256' }, '1.2.840.113549.1.1.12': { key: 'rsa', hash: 'sha384' }, '1.2.840.113549.1.1.13': { key: 'rsa', hash: 'sha512' },
  '1.2.840.10045.4.3.2': { key: 'ec', hash: 'sha256' }, '1.2.840.10045.4.3.3': { key: 'ec', hash: 'sha384' }, '1.2.840.10045.4.3.4': { key: 'ec', hash: 'sha512' },
};

const sha256Algorithm = derOf(derTag.sequence, derOid(oid.sha256), derOf(derTag.nothing));

/** A TimeStampReq over a SHA-256 (hex) that asks for the authority's certificates. `nonce`: nobody has used it before. `policy`: dotted; null: any. */
export function timeStampRequest(sha256: string, nonce: Buffer, policy: string | null): Buffer {
  const imprint = derOf(derTag.sequence, sha256Algorithm, derOf(derTag.octets, Buffer.from(sha256, 'hex')));
  const wanted = policy === null ? [] : [derOid(policy)];
  return derOf(derTag.sequence, derInteger(Buffer.from([1])), imprint, ...wanted, derInteger(nonce), derOf(derTag.boolean, Buffer.from([0xff])));
}

export interface AskedStamp {
  /** SHA-256 of the file, hex. */
  readonly sha256: string;
  /** Content of the INTEGER that was asked with; null: the request is not at hand. */
  readonly nonce: Buffer | null;
  /** That was asked for; null: any. */
  readonly policy: string | null;
}

/** What such a request asks; null: it is none that this program wrote. */
export function readTimeStampRequest(request: Buffer): AskedStamp | null {
  try {
    const [, imprint, ...more] = elementsOf(expectDer(readDer(request), derTag.sequence, 'request'));
    const [, digest] = elementsOf(expectDer(imprint, derTag.sequence, 'imprint'));
    const policy = more.find((m) => m.tag === derTag.oid);
    return {
      sha256: expectDer(digest, derTag.octets, 'digest').content.toString('hex'),
      nonce: expectDer(more.find((m) => m.tag === derTag.integer), derTag.integer, 'nonce').content,
      policy: policy === undefined ? null : oidIn(policy),
    };
  } catch (error) {
    if (error instanceof NotDer) return null;
    throw error;
  }
}

export interface TimeStamp {
  /** ISO 8601, UTC, as the authority wrote it. */
  readonly time: string;
  /** s; null: not stated. */
  readonly accuracyS: number | null;
  readonly policy: string;
  readonly serial: string;
  /** From the certificate that signed up to the last one that is at hand. */
  readonly chain: readonly { readonly subject: string; readonly sha256: string }[];
  /** Where the chain ends: in a certificate that was given, in one that signed itself and came with the token, or below one that is not at hand. */
  readonly ends: 'given' | 'itself' | 'open';
}

export type CheckedStamp = { readonly holds: true; readonly stamp: TimeStamp } | { readonly holds: false; readonly text: string };

class Fails extends Error {}

/** PKIFailureInfo (RFC 3161, 2.4.2) by its bits. */
const refusals: Readonly<Record<number, string>> = {
  0: 'it does not know the hash', 2: 'it did not take the request', 5: 'it could not read the request', 14: 'its time is not available', 15: 'it does not have the policy that was asked for',
  16: 'it does not know an extension', 17: 'it lacks something that it needs', 25: 'it has a fault of its own',
};

/** The token in an answer (TimeStampResp), or the token that the bytes are. */
function tokenIn(answer: Buffer): Der {
  const outer = expectDer(readDer(answer), derTag.sequence, 'answer');
  const [status, token] = elementsOf(outer);
  if (status?.tag === derTag.oid) return outer;
  const [code, ...more] = elementsOf(expectDer(status, derTag.sequence, 'status'));
  const granted = smallIn(expectDer(code, derTag.integer, 'status'));
  if (granted !== 0 && granted !== 1) {
    const said = more.filter((m) => m.tag === derTag.sequence).flatMap(elementsOf).filter((m) => m.tag === derTag.utf8).map((m) => m.content.toString('utf8').replaceAll(/[^\p{L}\p{N}\p{P}\p{Zs}]/gu, '\uFFFD').slice(0, 200));
    const bits = more.find((m) => m.tag === derTag.bits)?.content.subarray(1) ?? Buffer.alloc(0);
    const why = Object.entries(refusals).filter(([bit]) => (((bits[Math.floor(Number(bit) / 8)] ?? 0) >> (7 - (Number(bit) % 8))) & 1) === 1).map(([, text]) => text);
    throw new Fails(`The authority gave no time stamp (status ${granted}${[...said, ...why].map((text) => `; ${text}`).join('')}).`);
  }
  return expectDer(token, derTag.sequence, 'time-stamp token');
}

interface Signed {
  /** TSTInfo. */
  readonly info: Buffer;
  readonly certificates: readonly X509Certificate[];
  readonly signer: readonly Der[];
}

function signedIn(token: Der): Signed {
  const [type, wrapped] = elementsOf(token);
  if (oidIn(type) !== oid.signedData) throw new Fails('The answer holds something else than a signed time stamp.');
  const [signedData] = elementsOf(expectDer(wrapped, fieldTag.made(0), 'signed data'));
  const [, , encapsulated, ...more] = elementsOf(expectDer(signedData, derTag.sequence, 'signed data'));
  const [contentType, content] = elementsOf(expectDer(encapsulated, derTag.sequence, 'content'));
  if (oidIn(contentType) !== oid.timeStampInfo) throw new Fails('What the authority signed is no time stamp.');
  const [octets] = elementsOf(expectDer(content, fieldTag.made(0), 'content'));
  const certificates = more.filter((m) => m.tag === fieldTag.made(0)).flatMap(elementsOf).filter((m) => m.tag === derTag.sequence).map(({ bytes }) => new X509Certificate(bytes));
  const signers = elementsOf(expectDer(more.at(-1), derTag.set, 'signer'));
  if (signers.length !== 1) throw new Fails(`A time stamp has one signature, and this one has ${signers.length}.`);
  return { info: expectDer(octets, derTag.octets, 'content').content, certificates, signer: elementsOf(expectDer(signers[0], derTag.sequence, 'signer')) };
}

function hashOf(algorithm: Der | undefined): string {
  const [name] = elementsOf(expectDer(algorithm, derTag.sequence, 'algorithm'));
  const hash = hashes[oidIn(name)];
  if (hash === undefined) throw new Fails(`The authority used the hash ${oidIn(name)}, which this program does not accept.`);
  return hash;
}

/** Of the signed attributes, the one value of an attribute; null: it has none. */
function attribute(attributes: readonly Der[], name: string): Der | null {
  const found = attributes.map((a) => elementsOf(expectDer(a, derTag.sequence, 'attribute'))).filter(([of]) => oidIn(of) === name);
  if (found.length > 1) throw new NotDer('it has an attribute twice');
  const values = found[0]?.[1];
  if (values === undefined) return null;
  const [value, ...others] = elementsOf(expectDer(values, derTag.set, 'attribute'));
  if (value === undefined || others.length > 0) throw new NotDer('it has an attribute without a value of its own');
  return value;
}

/** The certificate that the signature says it was made with (RFC 5035): by its hash, which is signed. */
function signerCertificate(attributes: readonly Der[], certificates: readonly X509Certificate[]): X509Certificate {
  const [version2, version1] = [attribute(attributes, oid.signingCertificateV2), attribute(attributes, oid.signingCertificate)];
  const named = version2 ?? version1;
  if (named === null) throw new Fails('The time stamp does not say which certificate signed it, as RFC 3161 wants.');
  const [ids] = elementsOf(expectDer(named, derTag.sequence, 'certificate of the signer'));
  const [id] = elementsOf(expectDer(ids, derTag.sequence, 'certificate of the signer'));
  const parts = elementsOf(expectDer(id, derTag.sequence, 'certificate of the signer'));
  const hash = version2 === null ? 'sha1' : parts[0]?.tag === derTag.sequence ? hashOf(parts[0]) : 'sha256';
  const digest = expectDer(parts.find((p) => p.tag === derTag.octets), derTag.octets, 'hash of a certificate').content;
  const found = certificates.find((c) => createHash(hash).update(c.raw).digest().equals(digest));
  if (found === undefined) throw new Fails('The certificate that signed the time stamp is not at hand. Ask the authority for an answer that holds its certificates, or give them with --authority.');
  return found;
}

/** The hash that a signature was made over, by an algorithm that fits the key. */
function signatureHash(algorithm: Der | undefined, digest: string, { asymmetricKeyType }: KeyObject): string {
  const [name] = elementsOf(expectDer(algorithm, derTag.sequence, 'signature algorithm'));
  const called = oidIn(name);
  const known = called === oid.rsa ? { key: 'rsa', hash: digest } : signatures[called];
  if (known === undefined) throw new Fails(`The time stamp is signed by the algorithm ${called}, which this program does not know.`);
  if (asymmetricKeyType !== known.key) throw new Fails('The signature of the time stamp is of another kind than the key of its certificate.');
  return known.hash;
}

function signedBy({ info, certificates, signer }: Signed, given: readonly X509Certificate[]): X509Certificate {
  const [, , digestAlgorithm, attributesField, signatureAlgorithm, signature] = signer;
  const digest = hashOf(digestAlgorithm);
  const attributes = elementsOf(expectDer(attributesField, fieldTag.made(0), 'signed attributes'));
  if (oidIn(attribute(attributes, oid.contentType) ?? undefined) !== oid.timeStampInfo) throw new Fails('What the authority signed is no time stamp.');
  if (!createHash(digest).update(info).digest().equals(expectDer(attribute(attributes, oid.messageDigest) ?? undefined, derTag.octets, 'digest').content)) {
    throw new Fails('The time stamp was changed: its contents have another hash than its signature says.');
  }
  const certificate = signerCertificate(attributes, [...certificates, ...given]);
  // The attributes are signed as the SET that they are, and stand in the message under the number of their field (RFC 5652, 5.4).
  const set = Buffer.from(expectDer(attributesField, fieldTag.made(0), 'signed attributes').bytes);
  set[0] = derTag.set;
  const { publicKey } = certificate;
  if (!verify(signatureHash(signatureAlgorithm, digest, publicKey), set, publicKey, expectDer(signature, derTag.octets, 'signature').content)) throw new Fails('The signature of the time stamp is not that of its certificate: it is forged, or was changed.');
  return certificate;
}

/** An extension of a certificate. */
function extensionOf(certificate: X509Certificate, name: string): { readonly critical: boolean; readonly value: Der } | null {
  const [body] = elementsOf(readDer(certificate.raw));
  const field = elementsOf(expectDer(body, derTag.sequence, 'certificate')).find((f) => f.tag === fieldTag.made(3));
  for (const extension of field === undefined ? [] : elementsOf(field).flatMap(elementsOf)) {
    const parts = elementsOf(extension);
    if (oidIn(parts[0]) === name) return { critical: parts[1]?.tag === derTag.boolean && parts[1].content[0] === 0xff, value: readDer(expectDer(parts.at(-1), derTag.octets, 'extension').content) };
  }
  return null;
}

const covers = (certificate: X509Certificate, time: number): boolean => certificate.validFromDate.getTime() <= time && time <= certificate.validToDate.getTime();

/** One line, without what a terminal would obey. */
const subjectOf = ({ subject }: X509Certificate): string => subject.split('\n').join(', ').replaceAll(/[^\p{L}\p{N}\p{P}\p{S}\p{Zs}]/gu, '\uFFFD');

/** How many authorities may stand between this one and the certificate that signed. */
function mostBelow(authority: X509Certificate): number {
  const most = elementsOf(extensionOf(authority, oid.basicConstraints)?.value ?? readDer(derOf(derTag.sequence))).find((e) => e.tag === derTag.integer);
  return most === undefined ? Number.POSITIVE_INFINITY : smallIn(most);
}

interface Chain {
  readonly certificates: readonly X509Certificate[];
  readonly ends: TimeStamp['ends'];
}

const LONGEST_CHAIN = 8;

/** From a certificate upwards, by way of certificates that were authorities at the time; one that ends in a given certificate before all others. */
function chainFrom(below: readonly X509Certificate[], pool: readonly X509Certificate[], given: ReadonlySet<string>, time: number): Chain {
  const last = below.at(-1);
  if (last === undefined) throw new Error('a chain begins with a certificate');
  if (given.has(last.fingerprint256)) return { certificates: below, ends: 'given' };
  const itself = last.checkIssued(last) && last.verify(last.publicKey);
  if (itself || below.length === LONGEST_CHAIN) return { certificates: below, ends: itself ? 'itself' : 'open' };
  const above = pool.filter((c) => !below.includes(c) && c.ca && mostBelow(c) >= below.length - 1 && last.checkIssued(c) && last.verify(c.publicKey) && covers(c, time));
  const chains = above.map((c) => chainFrom([...below, c], pool, given, time));
  return chains.find((c) => c.ends === 'given') ?? chains.find((c) => c.ends === 'itself') ?? chains[0] ?? { certificates: below, ends: 'open' };
}

interface StampInfo {
  readonly time: string;
  readonly accuracyS: number | null;
  readonly policy: string;
  readonly serial: string;
}

/** GeneralizedTime of RFC 3161, 2.4.2: in UTC, with a fraction that does not end in zeros. */
const generalizedTime = /^(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)(\.\d{0,8}[1-9])?Z$/u;

function infoIn(info: Buffer, { sha256, nonce, policy: wanted }: AskedStamp): StampInfo {
  const [version, policy, imprint, serial, time, ...more] = elementsOf(expectDer(readDer(info), derTag.sequence, 'time stamp'));
  if (smallIn(expectDer(version, derTag.integer, 'version')) !== 1) throw new Fails('The time stamp is of a version that this program does not know.');
  const [algorithm, digest] = elementsOf(expectDer(imprint, derTag.sequence, 'imprint'));
  if (hashOf(algorithm) !== 'sha256' || expectDer(digest, derTag.octets, 'imprint').content.toString('hex') !== sha256) throw new Fails('The time stamp is of another file: its message imprint is not the SHA-256 of this one.');
  if (wanted !== null && oidIn(policy) !== wanted) throw new Fails(`The time stamp was made under the policy ${oidIn(policy)}, and ${wanted} was asked for.`);
  const answered = more.find((m) => m.tag === derTag.integer);
  if (nonce !== null && answered?.content.equals(nonce) !== true) throw new Fails('The time stamp is no answer to the request that was written for this report: its nonce is another one.');
  const [, year = '', month = '', day = '', hour = '', minute = '', second = '', fraction = ''] = generalizedTime.exec(expectDer(time, derTag.generalizedTime, 'time').content.toString('latin1')) ?? [];
  const iso = `${year}-${month}-${day}T${hour}:${minute}:${second}${fraction}Z`;
  if (!Number.isFinite(Date.parse(iso))) throw new NotDer('it has no time that can be read');
  const accuracy = more.find((m) => m.tag === derTag.sequence);
  const parts = accuracy === undefined ? [] : elementsOf(accuracy);
  const part = (tag: number): number => smallIn(parts.find((p) => p.tag === tag) ?? readDer(derInteger(Buffer.from([0]))));
  return {
    time: iso,
    accuracyS: accuracy === undefined ? null : part(derTag.integer) + part(fieldTag.primitive(0)) / 1e3 + part(fieldTag.primitive(1)) / 1e6,
    policy: oidIn(policy),
    serial: expectDer(serial, derTag.integer, 'serial number').content.toString('hex'),
  };
}

/**
 * Holds an authority's answer against the file that it is for. `given`: certificates that the reader trusts; where there are some, the chain has to end in one of
 * them. Whether a certificate was revoked cannot be seen without a network.
 */
export function checkTimeStamp(answer: Buffer, asked: AskedStamp, given: readonly X509Certificate[]): CheckedStamp {
  try {
    const signed = signedIn(tokenIn(answer));
    const info = infoIn(signed.info, asked);
    const signer = signedBy(signed, given);
    const usage = extensionOf(signer, oid.extendedKeyUsage);
    const uses = usage === null ? [] : elementsOf(usage.value).map((u) => oidIn(u));
    if (usage?.critical !== true || uses.length !== 1 || uses[0] !== oid.timeStamping) throw new Fails(`The certificate of ${subjectOf(signer)} is not one for time stamps alone, as RFC 3161 wants: its signature proves no time.`);
    const time = Date.parse(info.time);
    if (!covers(signer, time)) throw new Fails(`The certificate of ${subjectOf(signer)} was not valid at the time that it states, ${info.time}.`);
    const { certificates, ends } = chainFrom([signer], [...given, ...signed.certificates], new Set(given.map((c) => c.fingerprint256)), time);
    const chain = certificates.map((c) => ({ subject: subjectOf(c), sha256: c.fingerprint256.replaceAll(':', '').toLowerCase() }));
    if (given.length > 0 && ends !== 'given') throw new Fails(`The chain of certificates of the time stamp ends in ${chain.at(-1)?.subject ?? ''}, and not in one that was given: it is of another authority, or a certificate between is missing.`);
    return { holds: true, stamp: { ...info, chain, ends } };
  } catch (error) {
    if (error instanceof Fails) return { holds: false, text: error.message };
    if (error instanceof NotDer) return { holds: false, text: `The answer of the authority cannot be read: ${error.message}. It has to be the file as the authority sent it (DER).` };
    // Of the system's own reading of certificates and keys.
    if (error instanceof Error && (error as NodeJS.ErrnoException).code !== undefined) return { holds: false, text: `A certificate or the signature of the time stamp cannot be read (${error.message}).` };
    throw error;
  }
}

/** What a time stamp says, and what it does not. `issued`: the time of issue in the report, ISO 8601. */
export function stampSentences({ time, accuracyS, policy, serial, chain, ends }: TimeStamp, issued: string): readonly string[] {
  const [signer, ...above] = chain;
  const last = chain.at(-1);
  const early = Date.parse(issued) - (accuracyS ?? 0) * 1e3 - Date.parse(time);
  const trust = {
    given: 'The chain ends in a certificate that was given.',
    itself: `The chain ends in ${last?.subject ?? ''} (SHA-256 ${last?.sha256 ?? ''}), which came with the answer, and anybody can make such a one: compare it with what the authority publishes, or give its certificate with --authority.`,
    open: `The certificate that stands above ${last?.subject ?? ''} (SHA-256 ${last?.sha256 ?? ''}) is not at hand: give the authority's certificates with --authority.`,
  }[ends];
  return [
    `Time stamp: this file existed as it is on ${time} (${accuracyS === null ? 'accuracy not stated' : `within ${accuracyS} s`}), says ${signer?.subject ?? ''} (policy ${policy}, serial number ${serial}).`,
    ...(early > 1000 ? [`The authority's time is ${Math.round(early / 1000)} s BEFORE the time of issue that the report states: the clock of the laboratory was ahead.`] : []),
    `${above.length === 0 ? '' : `Its certificate was issued by ${above.map((c) => c.subject).join(', and that by ')}. `}${trust}`,
    'Whether a certificate was revoked is not checked: that needs the authority.',
  ];
}
