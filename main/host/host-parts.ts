/** What a host is made of. */
import type { Archive } from '../archive/archive.ts';
import type { Clock } from '../clock/clock.ts';
import type { Entropy } from '../clock/entropy.ts';
import type { PortInfo } from '../link/serial-ports.ts';
import type { BenchPlaces } from './bench-place.ts';
import type { Desk } from './desk.ts';
import type { OnCallWays } from './on-call.ts';

export interface HostParts {
  readonly archive: Archive;
  readonly software: string;
  /** What the windows are served by; a bench has the clock of its place. */
  readonly clock: Clock;
  /** Where names come from that no other has. */
  readonly entropy: Entropy;
  /** Where the archive lies; null when it cannot be told. */
  readonly freeDiskBytes: () => number | null;
  /** The ports that a window may open, and no other (HOST-9). */
  readonly serialPorts: () => Promise<readonly PortInfo[]>;
  readonly places: BenchPlaces;
  /** Closed with the host. */
  readonly desk: Desk;
  /** How whoever is on call is reached (HOST-80); absent: nobody is. */
  readonly onCallWays?: OnCallWays;
  /** Programming errors; the window is told too. */
  readonly onDefect: (error: unknown) => void;
  /** Told when a run begins or ends to be going on. */
  readonly onActivity?: (active: boolean) => void;
  /** Told when a bench begins or ends to be connected. */
  readonly onBench?: (connected: boolean) => void;
}
