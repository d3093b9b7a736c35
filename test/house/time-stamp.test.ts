/** Time stamps (RFC 3161) of a real authority: made by openssl, read by this program, and read by openssl again. */
import { execFileSync } from 'node:child_process';
import { createHash, sign, X509Certificate } from 'node:crypto';
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { derInteger, derOf, derOid, derTag, elementsOf, fieldTag, NotDer, oidIn, readDer } from '../../main/report/der.ts';
import { certificatesIn } from '../../main/report/stamp-files.ts';
import { checkTimeStamp, readTimeStampRequest, stampSentences, timeStampRequest, type AskedStamp, type CheckedStamp } from '../../main/report/time-stamp.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { hasOpenssl, makeAuthority, samplePolicy, type Authority, type AuthorityMade } from '../builders/time-stamp-authority.ts';

const file = Buffer.from('a file of a report');
const digest = createHash('sha256').update(file).digest('hex');
const request = timeStampRequest(digest, Buffer.from('80aabbccddeeff00', 'hex'), null);
const askedBy = (bytes: Buffer): AskedStamp => {
  const asked = readTimeStampRequest(bytes);
  if (asked === null) throw new Error('is no request');
  return asked;
};
const asked = askedBy(request);
const why = (checked: CheckedStamp): string => (checked.holds ? '' : checked.text);
const pem = (text: string): X509Certificate => new X509Certificate(text);

let folder = '';
let authority: Authority;
let answer: Buffer;
let made = 0;
const another = (options: AuthorityMade): Authority => {
  const own = join(folder, `another-${(made += 1)}`);
  mkdirSync(own);
  return makeAuthority(own, options);
};

beforeAll(() => {
  if (!hasOpenssl) return;
  folder = scratchFolder();
  authority = another({});
  answer = authority.answer(request);
}, 60_000);
afterAll(() => {
  if (folder !== '') rmSync(folder, { recursive: true, force: true });
});

describe('DER', () => {
  test('is read as it was written, and nothing else is', () => {
    for (const dotted of ['1.3.6.1.4.1.99999.3.1', '2.16.840.1.101.3.4.2.1', '2.999.1', '0.9.2342']) expect(oidIn(readDer(derOid(dotted)))).toBe(dotted);
    for (const size of [0, 1, 127, 128, 255, 256, 65_535, 65_536]) expect(readDer(derOf(derTag.octets, Buffer.alloc(size, 7))).content.length).toBe(size);
    expect(derInteger(Buffer.from([0, 0, 0x80])).toString('hex')).toBe('02020080');
    expect(derInteger(Buffer.from([0, 0])).toString('hex')).toBe('020100');
    // An end in the middle, an indefinite and a padded length, a long tag, something behind, an identifier that is padded or cut.
    for (const wrong of ['04', '0405aa', '3080020101', '04810105', '04820001ff', '1f810001', '040100ff', '']) expect(() => readDer(Buffer.from(wrong, 'hex')), wrong).toThrow(NotDer);
    for (const wrong of ['0602802a', '060188', '0600']) expect(() => oidIn(readDer(Buffer.from(wrong, 'hex'))), wrong).toThrow(NotDer);
    expect(() => elementsOf(readDer(Buffer.from('30030101', 'hex')))).toThrow(NotDer);
  });
});

describe.skipIf(!hasOpenssl)('REP-30 the request', () => {
  test('is read by openssl as one over SHA-256, with nonce and policy, that wants the certificates', () => {
    const bytes = timeStampRequest(digest, Buffer.from('80aabbccddeeff00', 'hex'), samplePolicy);
    writeFileSync(join(folder, 'request.tsq'), bytes);
    const text = execFileSync('openssl', ['ts', '-query', '-in', join(folder, 'request.tsq'), '-text'], { encoding: 'utf8' });
    expect(text).toContain('Hash Algorithm: sha256');
    expect(text.replaceAll(/\s|0\d\d0 -|-/g, '')).toContain(digest.slice(0, 16));
    expect(text).toContain('0x80AABBCCDDEEFF00');
    expect(text).toContain(samplePolicy);
    expect(text).toContain('Certificate required: yes');
    expect(askedBy(bytes)).toEqual({ sha256: digest, nonce: Buffer.from('0080aabbccddeeff00', 'hex'), policy: samplePolicy });
    expect(readTimeStampRequest(Buffer.from('nonsense'))).toBeNull();
  });
});

describe.skipIf(!hasOpenssl)('REP-31 an answer', () => {
  test.for([{ key: 'rsa', certificateHash: 'sha1' }, { key: 'rsa', certificateHash: 'sha512' }, { key: 'ec', certificateHash: 'sha256' }] as const)('of an authority with $key and $certificateHash holds, with its time, policy and chain', (options) => {
    const by = another(options);
    const bytes = by.answer(request);
    const checked = checkTimeStamp(bytes, asked, [pem(by.root)]);
    if (!checked.holds) throw new Error(checked.text);
    expect(checked.stamp).toMatchObject({ policy: samplePolicy, accuracyS: 1.5, serial: '0124', ends: 'given' });
    expect(checked.stamp.chain.map((c) => c.subject)).toEqual(['O=Example Time, CN=Example Time Stamps', 'O=Example Time, CN=Example Authority', 'O=Example Time, CN=Example Root']);
    // openssl says the same of the same files, and nothing of ours is needed.
    const at = (name: string, data: Buffer | string): string => {
      writeFileSync(join(folder, name), data);
      return join(folder, name);
    };
    expect(execFileSync('openssl', ['ts', '-verify', '-data', at('file', file), '-in', at('answer.tsr', bytes), '-CAfile', at('root.pem', by.root)], { encoding: 'utf8', stdio: 'pipe' })).toContain('Verification: OK');
    const text = execFileSync('openssl', ['ts', '-reply', '-in', join(folder, 'answer.tsr'), '-text'], { encoding: 'utf8' });
    expect(Date.parse(checked.stamp.time)).toBe(Date.parse(/Time stamp: (.*)/.exec(text)?.[1] ?? ''));
  });

  test('is the same as the bare token that it holds', () => {
    const token = elementsOf(readDer(answer))[1]?.bytes ?? Buffer.alloc(0);
    expect(checkTimeStamp(token, asked, [])).toEqual(checkTimeStamp(answer, asked, []));
    expect(checkTimeStamp(token, asked, [])).toMatchObject({ holds: true });
  });

  test('of another file, to another request or under another policy is refused', () => {
    expect(why(checkTimeStamp(answer, { ...asked, sha256: digest.replace(/^./u, (c) => (c === '0' ? '1' : '0')) }, []))).toContain('of another file');
    expect(why(checkTimeStamp(answer, { ...asked, nonce: Buffer.from([1]) }, []))).toContain('its nonce is another');
    expect(why(checkTimeStamp(answer, { ...asked, policy: '1.2.3' }, []))).toContain('1.2.3 was asked for');
    expect(checkTimeStamp(answer, { ...asked, nonce: null }, [])).toMatchObject({ holds: true });
  });

  test('with any byte changed does not hold, or says the same', () => {
    const given = [pem(authority.root)];
    const whole = checkTimeStamp(answer, asked, given);
    expect(whole.holds).toBe(true);
    let held = 0;
    for (let at = 0; at < answer.length; at += 1) {
      for (const bit of [0x01, 0x80]) {
        const changed = Buffer.from(answer);
        changed[at] = (changed[at] ?? 0) ^ bit;
        const checked = checkTimeStamp(changed, asked, given);
        if (checked.holds) {
          expect(checked, String(at)).toEqual(whole);
          held += 1;
        }
      }
    }
    // What neither signature binds: versions, the status, the list of hashes, the name of the signer beside its signed hash.
    expect(held).toBeLessThan(500);
    for (let length = 0; length < answer.length; length += 97) expect(checkTimeStamp(answer.subarray(0, length), asked, given).holds).toBe(false);
  });

  test('with a forged signature is refused: that of somebody else over the same', () => {
    const forged = another({}).answer(request);
    // The time stamp of one, with the signature of another.
    const text = forged.toString('latin1');
    const signature = answer.subarray(answer.length - 256).toString('latin1');
    const mixed = Buffer.from(text.slice(0, text.length - 256) + signature, 'latin1');
    expect(why(checkTimeStamp(mixed, asked, []))).toContain('is forged, or was changed');
    expect(why(checkTimeStamp(forged, asked, [pem(authority.root)]))).toContain('not in one that was given');
  });

  test('by which the authority refuses is told in words', () => {
    const refused = authority.answer(timeStampRequest(digest, Buffer.from([1]), '1.2.3'));
    expect(why(checkTimeStamp(refused, asked, []))).toMatch(/gave no time stamp \(status 2; .*does not have the policy/);
    expect(why(checkTimeStamp(Buffer.from('<html>'), asked, []))).toContain('cannot be read');
    expect(why(checkTimeStamp(request, asked, []))).not.toBe('');
  });
});

describe.skipIf(!hasOpenssl)('REP-32 the certificate that signed', () => {
  /** A good answer, signed anew by the certificate of another authority: openssl itself does not sign with such a one. */
  function resigned(by: Authority): Buffer {
    // After those certificates were made: they are valid from then on.
    const fresh = readDer(authority.answer(request));
    const [status, token] = elementsOf(fresh);
    const [type, wrapped] = elementsOf(token ?? fresh);
    const parts = elementsOf(elementsOf(wrapped ?? fresh)[0] ?? fresh);
    const [version, name, hash, attributes, algorithm] = elementsOf(elementsOf(parts.at(-1) ?? fresh)[0] ?? fresh).map((e) => e.bytes);
    const [old] = elementsOf(parts[3] ?? fresh);
    if (status === undefined || type === undefined || version === undefined || name === undefined || hash === undefined || attributes === undefined || algorithm === undefined || old === undefined) throw new Error('is no answer');
    const sha = (certificate: Buffer): string => createHash('sha256').update(certificate).digest('latin1' as 'hex');
    const changed = attributes.toString('latin1').replace(sha(old.bytes), sha(by.signer.raw));
    expect(changed).not.toBe(attributes.toString('latin1'));
    const set = Buffer.from(changed, 'latin1');
    set[0] = derTag.set;
    const signature = sign('sha256', set, by.key);
    const signer = derOf(derTag.sequence, version, name, hash, Buffer.from(changed, 'latin1'), algorithm, derOf(derTag.octets, signature));
    const data = derOf(derTag.sequence, ...parts.slice(0, 3).map((p) => p.bytes), derOf(fieldTag.made(0), by.signer.raw, by.between.raw), derOf(derTag.set, signer));
    return derOf(derTag.sequence, status.bytes, derOf(derTag.sequence, type.bytes, derOf(fieldTag.made(0), data)));
  }

  test.for<{ readonly what: string; readonly options: AuthorityMade; readonly says: string }>([
    { what: 'is for time stamps, not critically', options: { usage: 'timeStamping' }, says: 'not one for time stamps alone' },
    { what: 'is for something else', options: { usage: 'critical,codeSigning' }, says: 'not one for time stamps alone' },
    { what: 'is for something else too', options: { usage: 'critical,timeStamping,codeSigning' }, says: 'not one for time stamps alone' },
    { what: 'was not valid then', options: { days: -1 }, says: 'was not valid at the time' },
    { what: 'stands under one that is no authority', options: { between: 'CA:false' }, says: 'not in one that was given' },
  ])('which $what proves nothing', ({ options, says }) => {
    const by = another(options);
    expect(why(checkTimeStamp(resigned(by), asked, [pem(by.root)]))).toContain(says);
  });

  test('which is as it should be holds when it signs anew', () => {
    const by = another({});
    expect(checkTimeStamp(resigned(by), asked, [pem(by.root)])).toMatchObject({ holds: true });
  });

  test('may be given beside an answer that has none', () => {
    const bare = authority.answer(timeStampRequest(digest, Buffer.from([5]), null), { chain: false });
    expect(why(checkTimeStamp(bare, { ...asked, nonce: null }, [pem(authority.root)]))).toContain('not in one that was given');
    const { between } = authority;
    expect(checkTimeStamp(bare, { ...asked, nonce: null }, [between])).toMatchObject({ holds: true, stamp: { ends: 'given' } });
    const all = certificatesIn(Buffer.from(`${authority.root}\n${between.toString()}`));
    expect(all.ok && all.value.length).toBe(2);
    expect(certificatesIn(between.raw).ok).toBe(true);
    expect(certificatesIn(Buffer.from('nothing')).ok).toBe(false);
  });
});

describe.skipIf(!hasOpenssl)('REP-33 what is said of it', () => {
  test('is the time, by whom, in what the chain ends, and what was not checked', () => {
    const checked = checkTimeStamp(answer, asked, []);
    if (!checked.holds) throw new Error(checked.text);
    const said = stampSentences(checked.stamp, checked.stamp.time).join(' ');
    for (const text of [`existed as it is on ${checked.stamp.time}`, 'within 1.5 s', 'CN=Example Time Stamps', samplePolicy, 'give the authority\'s certificates', 'revoked is not checked']) expect(said).toContain(text);
    expect(said).not.toContain('BEFORE');
    const later = new Date(Date.parse(checked.stamp.time) + 61_500).toISOString();
    expect(stampSentences(checked.stamp, later).join(' ')).toContain('60 s BEFORE the time of issue');
    expect(stampSentences({ ...checked.stamp, ends: 'itself' }, checked.stamp.time).join(' ')).toContain('anybody can make such a one');
  });
});
