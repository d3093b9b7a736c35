/**
 * Time and chance of the machine. Only what puts the program together takes them from here (the commands, the processes of
 * the desktop); everything else is handed them, so that all of it can be run again from a seed.
 */
import { randomBytes } from 'node:crypto';
import { WallClock, type Clock } from './clock.ts';
import type { Entropy } from './entropy.ts';

export const machineClock: Clock = new WallClock();

/** Good enough for secrets. */
export const machineEntropy: Entropy = { nextUint32: () => randomBytes(4).readUInt32LE() };
