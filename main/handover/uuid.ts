/** Names of errors that anybody can work out again: UUID of version 5 (RFC 9562, 5.5), the SHA-1 of a namespace of this program's own and the name. */
import { createHash } from 'node:crypto';

/** Drawn once. Another would make every error another one. */
const namespace = Buffer.from('6d1d1c6efb3e4f0e9a52c1a7d4c0b8e3', 'hex');

export function uuidOfName(name: string, within: Buffer = namespace): string {
  const hash = createHash('sha1').update(within).update(name, 'utf8').digest().subarray(0, 16);
  hash.writeUInt8((hash.readUInt8(6) & 0x0f) | 0x50, 6);
  hash.writeUInt8((hash.readUInt8(8) & 0x3f) | 0x80, 8);
  return hash.toString('hex').replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/u, '$1-$2-$3-$4-$5');
}
