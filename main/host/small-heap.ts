/** How much memory a host takes of the machine that it lives on for days. */
import { getHeapSpaceStatistics, setFlagsFromString } from 'node:v8';

/**
 * Once, before a host is made: young objects get the little room that they begin with and not sixteen times that. With more of it, the
 * events of a long journal live long enough to be kept for old, and opening a run of 100 000 attempts left three times the memory that
 * it needs (test/bench/host.ts). Worker threads of the process are held to it too.
 */
export const keepHeapSmall = (): void => setFlagsFromString('--semi-space-growth-factor=1');

/** The same of a desk, which holds much at a time as well: by default the engine lets garbage grow to about the size of what is alive; so an export takes a third less, in the same processor time. */
export function keepDeskSmall(): void {
  keepHeapSmall();
  setFlagsFromString('--heap-growing-percent=30');
}

/** Bytes of room for young objects with which no work is begun that may make it larger: about what a decision makes at 2 000 windows. It doubles while work is done that keeps much, up to what the engine allows. */
const enough = 2 ** 25;

const roomOfYoung = (): number => getHeapSpaceStatistics().find((space) => space.space_name === 'new_space')?.space_size ?? enough;

/**
 * Does work that makes much and keeps half of it to its end, with room for young objects: in a little room all of that is copied twice and kept for old, which has to be found out
 * then. The room grows only while such work is done and less than enough was there before it. HOST-171
 */
export function withRoom<T>(work: () => T): T {
  if (roomOfYoung() < enough) setFlagsFromString('--semi-space-growth-factor=2');
  try {
    return work();
  } finally {
    keepHeapSmall();
  }
}
