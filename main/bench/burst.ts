/** A burst as it is asked for, and held against what the controller says that it drives. */
import type { BenchCapabilities, BenchReply, BurstRequest } from '../../app/bench/port.ts';
import { seconds, toMicroseconds } from '../../app/quantities/quantity.ts';
import type { Reply, Request } from '../../firmware-protocol/line/messages.ts';
import type { LinkAnswer } from '../link/link.ts';
import { asBenchReply } from './translation.ts';

/** What a burst needs of the driver. */
interface BurstPort {
  readonly capabilities: BenchCapabilities;
  /** The controller can say what a burst drives (LINE-90). */
  readonly echoes: boolean;
  readonly ask: (request: Request, signal: AbortSignal | undefined) => Promise<LinkAnswer>;
  /** Resolves when no pulse is under way any more, or after a second. */
  readonly quiet: () => Promise<unknown>;
}

export async function driveBurst(port: BurstPort, request: BurstRequest, signal: AbortSignal | undefined): Promise<BenchReply> {
  const widthNs = Math.round(request.width * 1e9);
  const answer = await port.ask(
    { word: 'burst', channel: request.channel, widthNs, periodUs: Math.round(toMicroseconds(request.period)), count: request.count },
    signal,
  );
  if (answer.kind === 'reply' && answer.reply.word === 'burst') {
    const driven: BenchReply = { kind: 'done', drivenWidth: seconds(answer.reply.widthNs / 1e9) };
    // The controller may round to its timer, never more: a burst of another width would be measured under a wrong name.
    if (Math.abs(answer.reply.widthNs - widthNs) > Math.ceil(port.capabilities.timerResolution * 1e9)) {
      await stopBurst(port);
      return {
        kind: 'refused',
        code: 'width-not-kept',
        text: `The controller answered with a pulse width of ${answer.reply.widthNs / 1e6} ms in place of ${widthNs / 1e6} ms. The burst was stopped. Have the controller's firmware looked at.`,
      };
    }
    return port.echoes ? checkEcho(port, request, answer.reply, driven, signal) : driven;
  }
  return asBenchReply(answer);
}

/** LINE-90: a controller that drives another channel than it was asked for would measure one injector under another's name. */
async function checkEcho(port: BurstPort, request: BurstRequest, { number, widthNs }: Extract<Reply, { word: 'burst' }>, driven: BenchReply, signal: AbortSignal | undefined): Promise<BenchReply> {
  const answer = await port.ask({ word: 'echo' }, signal);
  if (answer.kind !== 'reply' || answer.reply.word !== 'echo') return asBenchReply(answer);
  const echo = answer.reply;
  const periodUs = Math.round(toMicroseconds(request.period));
  const kept =
    echo.number === number && echo.channel === request.channel && echo.widthNs === widthNs && echo.periodUs === periodUs && echo.count === request.count;
  if (kept) return driven;
  await stopBurst(port);
  const words = (channel: number, ns: number, us: number, count: number) => `${count} pulses of ${ns / 1e6} ms every ${us / 1e3} ms on channel ${channel}`;
  return {
    kind: 'refused',
    code: 'burst-not-kept',
    text:
      `The controller drove ${words(echo.channel, echo.widthNs, echo.periodUs, echo.count)} in place of ` +
      `${words(request.channel, widthNs, periodUs, request.count)}. The burst was stopped. Have the controller looked at before anything is measured with it.`,
  };
}

/** LINE-38: the pulse in progress runs to its end, and a burst that is asked for meanwhile would be refused as busy. */
async function stopBurst(port: BurstPort): Promise<void> {
  await port.ask({ word: 'halt' }, undefined);
  await port.quiet();
}
