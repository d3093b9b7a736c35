import { SerialPort } from 'serialport';
import { wait, type Clock } from '../clock/clock.ts';
import type { ChannelSource } from './channel.ts';
import { SerialChannel } from './serial-channel.ts';

/** What the operating system tells of a port; `vendorId` and `productId` only of ports on USB. */
export interface PortInfo {
  readonly path: string;
  readonly vendorId?: string | undefined;
  readonly productId?: string | undefined;
  readonly manufacturer?: string | undefined;
}

/** Listing asks an outside program on Linux, which may be missing or hang. */
const LIST_DEADLINE_MS = 3000;

async function listOrNothing(list: () => Promise<readonly PortInfo[]>, clock: Clock): Promise<readonly PortInfo[]> {
  const giveUp = new AbortController();
  try {
    return await Promise.race([list(), wait(clock, LIST_DEADLINE_MS, giveUp.signal).then(() => [])]);
  } catch {
    return [];
  } finally {
    giveUp.abort();
  }
}

/** The serial ports that the operating system tells of; none when it does not tell in time. */
export const serialPorts = (clock: Clock): Promise<readonly PortInfo[]> => listOrNothing(() => SerialPort.list(), clock);

/**
 * The serial port `path`; and when the bench was lost, also the ports where the same kind of USB adapter has come back,
 * because replugging may give it another name. Strange devices are not spoken to: who knows what they would do.
 */
export function serialPortSource(path: string, clock: Clock, list: () => Promise<readonly PortInfo[]> = () => SerialPort.list()): ChannelSource {
  let adapter: PortInfo | undefined;
  return async (purpose) => {
    const ports = await listOrNothing(list, clock);
    if (purpose === 'connect') {
      adapter = ports.find((port) => port.path === path);
      return [new SerialChannel(path, clock)];
    }
    const alike = ports.filter(
      (port) =>
        port.path !== path && adapter?.vendorId !== undefined &&
        port.vendorId === adapter.vendorId && port.productId === adapter.productId,
    );
    return [path, ...alike.map((port) => port.path)].map((candidate) => new SerialChannel(candidate, clock));
  };
}
