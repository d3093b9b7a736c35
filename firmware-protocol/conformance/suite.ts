/**
 * Checks that any controller can be held against, from outside, by its line alone: every rule of `../README.md` that
 * shows itself there. It works on the simulator in process, on a pseudo-terminal, on a serial port and on emulated
 * firmware; it knows nothing of what stands behind the line.
 *
 * Caution on a real bench: checks marked `energises` drive an injector channel, with pulses of the least width at the safe
 * supply value or at most one volt above it, or with single pulses of 90 ms at the safe value; and they run the pump with
 * the regulator at its lowest. Before the first check, after every check and at the end the bench
 * is told to be safe.
 */
import { encodeRequest } from '../line/messages.ts';
import { conversationChecks } from './conversation-checks.ts';
import { courseChecks } from './course-checks.ts';
import { extensionChecks } from './extension-checks.ts';
import { switchingChecks } from './switching-checks.ts';
import { type Check, type ConformanceResult, type ControllerPort, Cut, expect, CheckFailure, NotApplicable, REACTION_MS, SUPPLY_FALLS_WITHIN_MS, SUPPLY_TOLERANCE_MV, Talk } from './talk.ts';

export type { ConformanceResult, ControllerPort } from './talk.ts';

const checks: readonly Check[] = [...conversationChecks, ...switchingChecks, ...extensionChecks, ...courseChecks];

/** What would be checked, for a person who has to allow it first. */
export const conformanceChecks: readonly { readonly rule: string; readonly title: string; readonly energises: boolean }[] =
  checks.map(({ rule, title, energises }) => ({ rule, title, energises }));

export interface ConformanceOptions {
  /** false: the checks that drive a channel or raise the supply are left out. */
  readonly energise: boolean;
  /** Told after each check. */
  readonly onResult?: (result: ConformanceResult) => void;
  /** Ends the checks early: the one that is going on is cut and has no result, and the bench is left safe at once. */
  readonly signal?: AbortSignal | undefined;
}

/**
 * Runs every check, one after the other, and leaves the bench safe. One result per check, in the order of
 * `conformanceChecks`, and a last one that says whether the bench was seen safe at the end.
 */
export async function runConformance(port: ControllerPort, options: ConformanceOptions): Promise<readonly ConformanceResult[]> {
  const talk = new Talk(port);
  const results: ConformanceResult[] = [];
  const record = (rule: string, title: string, result: ConformanceResult['result'], detail: string) => {
    const entry = { rule, title, result, detail };
    results.push(entry);
    options.onResult?.(entry);
  };
  const { signal } = options;
  for (const check of checks) {
    if (signal?.aborted === true) break;
    if (check.energises && !options.energise) {
      record(check.rule, check.title, 'not-applicable', 'Left out: it would drive an injector channel, the supply or the pump.');
      continue;
    }
    if (signal !== undefined) talk.port = cuttable(port, signal);
    try {
      await talk.restore();
      if (check.arms) await showThatItArms(talk);
      record(check.rule, check.title, 'pass', await check.run(talk));
    } catch (error) {
      if (error instanceof NotApplicable) record(check.rule, check.title, 'not-applicable', error.message);
      else if (error instanceof CheckFailure) record(check.rule, check.title, 'fail', error.message);
      else if (!(error instanceof Cut)) throw error;
    } finally {
      talk.port = port;
      // Whatever happened, and unheard if need be: these two need no answer to work.
      talk.port.send(`\n${encodeRequest(talk.next(), { word: 'hello', token: talk.freshToken() })}`);
      talk.port.send(encodeRequest(talk.next(), { word: 'safe' }));
      await talk.port.wait(2 * REACTION_MS);
    }
  }
  const title = 'the bench is left safe';
  try {
    await talk.restore();
    await talk.done({ word: 'deadman', ms: 1_000 });
    const { safeMv } = await talk.describe('supply');
    const frame = await talk.until(
      SUPPLY_FALLS_WITHIN_MS, 'the supply at its safe value', (f) => f.supplyMv <= safeMv + SUPPLY_TOLERANCE_MV,
    );
    expect(!frame.armed && !frame.active, 'the bench is armed or pulsing');
    record('LINE-54', title, 'pass', `disarmed, no burst, supply read back ${frame.supplyMv} mV`);
  } catch (error) {
    if (!(error instanceof CheckFailure)) throw error;
    record('LINE-54', title, 'fail', `${error.message}. Press the emergency stop and switch the supply off by hand.`);
  }
  return results;
}

/** Nothing goes through it, in either direction, once the signal has come. */
function cuttable(port: ControllerPort, signal: AbortSignal): ControllerPort {
  const look = (): void => {
    if (signal.aborted) throw new Cut();
  };
  const looking = async <T>(call: () => Promise<T>): Promise<T> => {
    look();
    const result = await call();
    look();
    return result;
  };
  return {
    send: (text) => {
      look();
      port.send(text);
    },
    nextLine: (timeoutMs) => looking(() => port.nextLine(timeoutMs)),
    wait: (ms) => looking(() => port.wait(ms)),
    ...(port.reset === undefined ? {} : { reset: () => looking(() => port.reset?.() ?? Promise.resolve()) }),
  };
}

async function showThatItArms(talk: Talk): Promise<void> {
  const answer = await talk.ask({ word: 'arm' });
  if (answer.kind === 'refusal' && (answer.refusal.code === 'interlock' || answer.refusal.code === 'fault')) {
    throw new NotApplicable(`The bench cannot be armed at present (${answer.refusal.code}): ${answer.refusal.text}`);
  }
  await talk.done({ word: 'safe' });
}
