/** Zlib streams (RFC 1950), which is what Node's functions of these names make and read. */
import { unzlibSync, zlibSync } from 'fflate';
import { Buffer } from 'buffer';

export const constants = { Z_BEST_SPEED: 1 } as const;

export const deflateSync = (data: Uint8Array, options: { readonly level?: number } = {}): Buffer => Buffer.from(zlibSync(data, { level: (options.level ?? 6) as 0 | 1 | 6 | 9 }));
export const inflateSync = (data: Uint8Array): Buffer => Buffer.from(unzlibSync(data));
