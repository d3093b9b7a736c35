/** Opens the link over a channel, with the timing of its settings and with ears that may change hands. */
import type { Telemetry } from '../../firmware-protocol/line/messages.ts';
import type { Channel } from '../link/channel.ts';
import { Link } from '../link/link.ts';
import type { ConnectOptions } from './bench.ts';
import type { LinkSettings } from './link-settings.ts';

/** The controller answers within 50 ms (LINE-12), behind at most one frame of 31 ms at 115 200 baud. */
export const REPLY_TIMEOUT_MS = 200;
/** The heartbeat comes this many times within the dead-man's time, so that single lost lines do not matter. */
const HEARTBEATS_PER_DEAD_MAN = 4;
/** The link is called down after the dead-man's time, but not sooner than this: an operating system may doze. */
export const MIN_SILENCE_MS = 1000;

/** Where the frames and the end of a link go, until and after there is a driver to take them. */
export interface LinkEars {
  onTelemetry: (telemetry: Telemetry) => void;
  onDown: (reason: string) => void;
}

export const timingOf = ({ deadManMs }: LinkSettings) => ({
  heartbeatMs: deadManMs / HEARTBEATS_PER_DEAD_MAN,
  silenceMs: Math.max(deadManMs, MIN_SILENCE_MS),
});

export async function openLink(channel: Channel, options: ConnectOptions, ears: LinkEars): ReturnType<typeof Link.open> {
  return Link.open(channel, {
    clock: options.clock,
    replyTimeoutMs: REPLY_TIMEOUT_MS,
    ...timingOf(options),
    onTelemetry: (telemetry) => {
      ears.onTelemetry(telemetry);
    },
    onDown: (reason) => {
      ears.onDown(reason);
    },
  });
}
