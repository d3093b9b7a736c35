/** The seal of a blind window: SHA-256 of its secret (RUN-211). */
import { createHash } from 'node:crypto';
import { sealedText } from '../../app/journal/blind.ts';
import type { BlindShift } from '../../app/journal/blind.ts';

export const sealOf = (secret: BlindShift): string => createHash('sha256').update(sealedText(secret)).digest('hex');
