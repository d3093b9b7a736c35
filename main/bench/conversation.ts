/** What a host asks a bench first: who it is and what it can do; then dead-man and telemetry are set. */
import type { BenchCapabilities, BenchIdentity } from '../../app/bench/port.ts';
import { furtherSignals } from '../../app/bench/readings.ts';
import { microseconds, milliseconds, pascals, seconds, toMilliseconds, volts } from '../../app/quantities/quantity.ts';
import type { Reply, Request } from '../../firmware-protocol/line/messages.ts';
import { newToken, type Entropy } from '../clock/entropy.ts';
import type { OpenedChannel } from '../link/channel.ts';
import type { Link, LinkAnswer } from '../link/link.ts';
import type { LinkSettings } from './link-settings.ts';

type ConnectFailureCode =
  | Exclude<OpenedChannel, { ok: true }>['code']
  | 'no-answer' | 'refused' | 'protocol' | 'capabilities' | 'other-bench' | 'dead-man-range' | 'telemetry-range' | 'cancelled';

export interface ConnectFailure {
  readonly ok: false;
  readonly code: ConnectFailureCode;
  readonly text: string;
}

const PROTOCOL = 1;

export const REQUEST_DEADLINE_MS = 2000;
/** A board that starts anew when its port is opened may need seconds to its first answer. */
const HELLO_DEADLINE_MS = 4000;
export interface Conversation {
  readonly ok: true;
  readonly identity: BenchIdentity;
  readonly capabilities: BenchCapabilities;
  readonly bootId: string;
  /** The controller can say what a burst drives (LINE-90). */
  readonly echoes: boolean;
}

export const failure = (code: ConnectFailureCode, text: string): ConnectFailure => ({ ok: false, code, text });

export const settingRequests = ({ deadManMs, telemetryHz }: LinkSettings) =>
  [{ word: 'deadman', ms: Math.round(deadManMs) }, { word: 'telemetry', hz: Math.round(telemetryHz) }] as const;

/** Lines that came whole and were not understood: for whoever writes a controller. Empty: there were none. */
export function notUnderstood(link: Link): string {
  const { badLines, lastNotUnderstood } = link.statistics;
  return lastNotUnderstood === null ? '' : ` ${badLines.form} lines were not understood (form); the last: "${lastNotUnderstood.slice(0, 120)}".`;
}

/** From `hello` to the settings, on an open link. The same again does no harm: every step may be repeated. */
// eslint-disable-next-line max-lines-per-function, complexity -- one conversation in the order of its questions, each left at once when it fails
export async function converse(
  link: Link,
  place: string,
  options: LinkSettings & { readonly entropy: Entropy },
  expected: Pick<BenchIdentity, 'model' | 'serialNumber'> | undefined,
  signal: AbortSignal | undefined,
): Promise<Conversation | ConnectFailure> {
  type Answer<W extends Reply['word']> = { readonly ok: true; readonly reply: Extract<Reply, { word: W }> } | ConnectFailure;
  const ask = async <R extends Request>(request: R, deadlineMs = REQUEST_DEADLINE_MS): Promise<Answer<R['word']>> =>
    taken(request, await link.request(request, { deadlineMs, signal }));
  const taken = <R extends Request>(request: R, answer: LinkAnswer): Answer<R['word']> => {
    switch (answer.kind) {
      case 'reply':
        // The link has checked that the reply answers this request.
        return { ok: true, reply: answer.reply as Extract<Reply, { word: R['word'] }> };
      case 'refused':
        return failure('refused', `The controller on ${place} refused "${request.word}": ${answer.text}`);
      case 'no-answer':
        return signal?.aborted === true
          ? failure('cancelled', 'Connecting was cancelled; the bench was asked nothing further.')
          : failure('no-answer', `No bench answers on ${place}. ${answer.text} Check that this is the right port and that the bench is switched on.`);
    }
  };
  const describe = async <T extends Extract<Request, { word: 'describe' }>['topic']>(topic: T) => {
    const answer = await ask({ word: 'describe', topic });
    return answer.ok ? { ok: true as const, reply: answer.reply as Extract<Reply, { topic: T }> } : answer;
  };

  const hello = await ask({ word: 'hello', token: newToken(options.entropy) }, HELLO_DEADLINE_MS);
  if (!hello.ok) return hello;
  const { protocol, model, serial, firmware, boot, channels } = hello.reply;
  if (protocol !== PROTOCOL) {
    return failure(
      'protocol',
      `The controller ${model} ${serial} on ${place} speaks version ${protocol} of the line, and this program version ${PROTOCOL}. Nothing was switched. Use a matching pair of firmware and program.`,
    );
  }
  if (expected !== undefined && (expected.model !== model || expected.serialNumber !== serial)) {
    return failure(
      'other-bench',
      `On ${place} is the bench ${model} ${serial}, and not ${expected.model} ${expected.serialNumber}. Nothing was switched. Connect the bench that this run began on.`,
    );
  }
  const timing = await describe('timing');
  if (!timing.ok) return timing;
  const supply = await describe('supply');
  if (!supply.ok) return supply;
  const pressure = await describe('pressure');
  if (!pressure.ok) return pressure;
  const safety = await describe('safety');
  if (!safety.ok) return safety;
  const asked = { word: 'describe', topic: 'extensions' } as const;
  const said = await link.request(asked, { deadlineMs: REQUEST_DEADLINE_MS, signal });
  // LINE-80: a controller that knows of no extensions refuses the topic, with whatever code.
  const extensions = said.kind === 'refused' ? null : taken(asked, said);
  if (extensions?.ok === false) return extensions;
  const names = extensions?.reply.word === 'describe' && extensions.reply.topic === 'extensions' ? extensions.reply.extensions : [];
  const rail = names.includes('rail') ? await describe('rail') : null;
  if (rail?.ok === false) return rail;
  const identity: BenchIdentity = { model, serialNumber: serial, firmware, protocol };
  const capabilities: BenchCapabilities = {
    channels,
    timerResolution: seconds(timing.reply.tickNs / 1e9),
    minWidth: seconds(timing.reply.minWidthNs / 1e9),
    maxWidth: seconds(timing.reply.maxWidthNs / 1e9),
    minPeriod: microseconds(timing.reply.minPeriodUs),
    maxPeriod: microseconds(timing.reply.maxPeriodUs),
    maxCount: timing.reply.maxCount,
    minSupply: volts(supply.reply.minMv / 1e3),
    maxSupply: volts(supply.reply.maxMv / 1e3),
    safeSupply: volts(supply.reply.safeMv / 1e3),
    pressure: pressure.reply.commandable
      ? { commandable: true, min: pascals(pressure.reply.minPa), max: pascals(pressure.reply.maxPa) }
      : { commandable: false },
    ...(rail === null ? {} : { rail: { pump: rail.reply.pump, relief: rail.reply.relief, shutOff: rail.reply.shutOff } }),
    deadManMin: milliseconds(safety.reply.deadmanMinMs),
    deadManMax: milliseconds(safety.reply.deadmanMaxMs),
    telemetryMaxHz: safety.reply.telemetryMaxHz,
    interlocks: safety.reply.interlocks,
  };
  const nonsense = contradictions(capabilities);
  if (nonsense.length > 0) {
    return failure(
      'capabilities',
      `The controller ${model} ${serial} describes itself in a way that cannot be: ${nonsense.join('; ')}. Nothing was switched. Have its firmware looked at.`,
    );
  }
  const outside = outsideLimits(options, capabilities);
  if (outside !== null) return outside;
  // LINE-115: only what this program knows, so that it can read every frame.
  const further = furtherSignals.length > 0 && names.includes('signals') ? [{ word: 'signals', names: furtherSignals.map(({ input }) => input) } as const] : [];
  for (const request of [...settingRequests(options), ...further]) {
    const set = await ask(request);
    if (!set.ok) return set;
  }
  return { ok: true, identity, capabilities, bootId: boot, echoes: names.includes('echo') };
}

export function outsideLimits({ deadManMs, telemetryHz }: LinkSettings, c: BenchCapabilities): ConnectFailure | null {
  const min = toMilliseconds(c.deadManMin);
  const max = toMilliseconds(c.deadManMax);
  if (deadManMs < min || deadManMs > max) {
    return failure(
      'dead-man-range',
      `The plan asks for a watchdog of ${deadManMs} ms, and this controller allows ${min} to ${max} ms. Nothing was switched. Change link.deadManMs in the plan.`,
    );
  }
  if (telemetryHz < 1 || telemetryHz > c.telemetryMaxHz) {
    return failure(
      'telemetry-range',
      `The plan asks for ${telemetryHz} telemetry frames a second, and this controller allows 1 to ${c.telemetryMaxHz}. Nothing was switched. Change link.telemetryHz in the plan.`,
    );
  }
  return null;
}

/** What in a controller's description of itself cannot be true, in words; empty when nothing. */
function contradictions(c: BenchCapabilities): string[] {
  const checks: readonly (readonly [boolean, string])[] = [
    [c.timerResolution > 0, 'its timer has no resolution'],
    [c.minWidth < c.maxWidth, 'its shortest pulse is not shorter than its longest'],
    [c.minPeriod > 0 && c.minPeriod < c.maxPeriod, 'its shortest period is not shorter than its longest'],
    [c.maxCount >= 1, 'it allows no pulse at all'],
    [c.minSupply < c.maxSupply, 'its lowest supply is not below its highest'],
    [c.safeSupply <= c.maxSupply, 'its safe supply is above its highest'],
    [!c.pressure.commandable || c.pressure.min < c.pressure.max, 'its lowest pressure is not below its highest'],
    [c.deadManMin > 0 && c.deadManMin <= c.deadManMax, 'its watchdog can be set to no time'],
    [new Set(c.interlocks).size === c.interlocks.length, 'two interlocks have the same name'],
  ];
  return checks.filter(([holds]) => !holds).map(([, text]) => text);
}
