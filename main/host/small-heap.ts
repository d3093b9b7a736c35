/** How much memory a host takes of the machine that it lives on for days. */
import { setFlagsFromString } from 'node:v8';

/**
 * Once, before a host is made: young objects get the little room that they begin with and not sixteen times that. With more of it, the
 * events of a long journal live long enough to be kept for old, and opening a run of 100 000 attempts left three times the memory that
 * it needs (test/bench/host.ts). Worker threads of the process are held to it too.
 */
export const keepHeapSmall = (): void => setFlagsFromString('--semi-space-growth-factor=1');
