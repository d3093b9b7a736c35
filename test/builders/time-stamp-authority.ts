/** A time-stamp authority (RFC 3161) as openssl makes it: root, authority between, and the certificate that signs. For tests alone. */
import { execFileSync, spawnSync } from 'node:child_process';
import { createPrivateKey, X509Certificate, type KeyObject } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

export const hasOpenssl = spawnSync('openssl', ['ts', '-help']).status === 0;

/** `usage`: the extension of the certificate that signs. `between`: that of the one above it. `days`: how long the first is valid from now on. */
export interface AuthorityMade {
  readonly key?: 'rsa' | 'ec';
  readonly usage?: string;
  readonly between?: string;
  readonly days?: number;
  readonly certificateHash?: 'sha1' | 'sha256' | 'sha512';
}

export interface Authority {
  /** Its root certificate, PEM. */
  readonly root: string;
  readonly between: X509Certificate;
  readonly signer: X509Certificate;
  readonly key: KeyObject;
  /** Answers a request; `chain`: with its certificates. */
  readonly answer: (request: Buffer, options?: { readonly chain?: boolean }) => Buffer;
}

export const samplePolicy = '1.3.6.1.4.1.99999.3.1';

/** In a folder of its own. */
export function makeAuthority(folder: string, { key = 'rsa', usage = 'critical,timeStamping', between = 'critical,CA:true,pathlen:0', days = 3650, certificateHash = 'sha256' }: AuthorityMade = {}): Authority {
  const at = (name: string): string => join(folder, name);
  const run = (...words: readonly string[]): void => void execFileSync('openssl', words, { cwd: folder, stdio: ['ignore', 'ignore', 'ignore'] });
  const newKey = key === 'rsa' ? ['-newkey', 'rsa:2048'] : ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1'];
  writeFileSync(at('root.cnf'), '[req]\ndistinguished_name = dn\nx509_extensions = ca\n[dn]\n[ca]\nbasicConstraints = critical,CA:true\nkeyUsage = critical,keyCertSign\nsubjectKeyIdentifier = hash\n');
  run('req', '-x509', '-config', 'root.cnf', ...newKey, '-nodes', '-keyout', 'root.key', '-out', 'root.pem', '-subj', '/O=Example Time/CN=Example Root', '-days', '7000');
  const issue = (name: string, subject: string, by: string, extensions: string, valid: number): void => {
    writeFileSync(at(`${name}.ext`), extensions);
    run('req', '-config', 'root.cnf', '-new', ...newKey, '-nodes', '-keyout', `${name}.key`, '-out', `${name}.csr`, '-subj', subject);
    run('x509', '-req', '-in', `${name}.csr`, '-CA', `${by}.pem`, '-CAkey', `${by}.key`, '-CAcreateserial', '-out', `${name}.pem`, '-extfile', `${name}.ext`, '-days', String(valid));
  };
  issue('between', '/O=Example Time/CN=Example Authority', 'root', `basicConstraints = ${between}\nkeyUsage = critical,keyCertSign\n`, 6000);
  issue('signer', '/O=Example Time/CN=Example Time Stamps', 'between', `extendedKeyUsage = ${usage}\nkeyUsage = critical,digitalSignature\n`, days);
  writeFileSync(at('serial'), '0123\n');
  writeFileSync(at('ts.cnf'), [
    '[tsa]', 'default_tsa = one', '[one]', 'serial = serial', `default_policy = ${samplePolicy}`, 'signer_digest = sha256', 'digests = sha256', 'accuracy = secs:1, millisecs:500', 'ordering = no', 'tsa_name = yes',
    'ess_cert_id_chain = no', `ess_cert_id_alg = ${certificateHash}`, '',
  ].join('\n'));
  return {
    root: readFileSync(at('root.pem'), 'utf8'),
    between: new X509Certificate(readFileSync(at('between.pem'))),
    signer: new X509Certificate(readFileSync(at('signer.pem'))),
    key: createPrivateKey(readFileSync(at('signer.key'))),
    answer: (request, { chain = true } = {}) => {
      writeFileSync(at('asked.tsq'), request);
      run('ts', '-reply', '-config', 'ts.cnf', '-section', 'one', '-queryfile', 'asked.tsq', '-signer', 'signer.pem', '-inkey', 'signer.key', ...(chain ? ['-chain', 'between.pem'] : []), '-out', 'answer.tsr');
      return readFileSync(at('answer.tsr'));
    },
  };
}
