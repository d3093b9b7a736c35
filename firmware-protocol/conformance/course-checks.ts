/** What takes more than one request to see: bursts to their end, commands in their midst, echoes, the dead-man, a reset. */
import { arming, type Check, EASY_TELEMETRY_HZ, energising, expect, fastTelemetry, firstFrameOfAnotherBoot, INTO_PULSE_MS, LONG_PULSE_MS, NotApplicable, raiseSupply, REACTION_MS, sealed, SUPPLY_FALLS_WITHIN_MS, SUPPLY_TOLERANCE_MV, type Talk } from './talk.ts';

/** In the first of three long pulses, the bench armed and telling fast. */
async function intoFirstPulse(talk: Talk): Promise<void> {
  await fastTelemetry(talk);
  const burst = await talk.longBurst(3);
  await talk.done({ word: 'arm' });
  await talk.startBurst(burst);
  await talk.port.wait(INTO_PULSE_MS);
}

export const courseChecks: readonly Check[] = [
  {
    rule: 'LINE-16', title: 'hello leaves outputs and arming as they are', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const safeMv = await raiseSupply(talk);
      const { maxMv } = await talk.describe('supply');
      const raised = Math.min(maxMv, safeMv + 1_000);
      if (raised > safeMv + 2 * SUPPLY_TOLERANCE_MV) {
        await talk.until(SUPPLY_FALLS_WITHIN_MS, 'the supply at its value', (f) => f.supplyMv >= raised - SUPPLY_TOLERANCE_MV);
      }
      const before = await talk.frame();
      await talk.hello();
      const after = await talk.until(1_000, 'a frame after hello', (f) => f.atUs > before.atUs + 300_000);
      expect(after.armed, 'hello disarmed the bench');
      expect(Math.abs(after.supplyMv - before.supplyMv) <= SUPPLY_TOLERANCE_MV, `hello changed the supply from ${before.supplyMv} to ${after.supplyMv} mV`);
      return 'armed as before, supply as before';
    },
  },
  {
    rule: 'LINE-37', title: 'the first pulse comes within 10 ms, the others a period apart', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const { telemetryMaxHz } = await talk.describe('safety');
      const hz = Math.min(100, telemetryMaxHz);
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(400, 5);
      await talk.startBurst(burst);
      const { atUs: requestedBefore, first } = await talk.timed(hz);
      const widthUs = burst.widthNs / 1e3;
      // Each frame says between which two falling edges it lies: the start of the first pulse is narrowed down by all of them.
      let earliest = Number.NEGATIVE_INFINITY;
      let latest = Number.POSITIVE_INFINITY;
      let frame = first;
      while (frame.active) {
        earliest = Math.max(earliest, frame.atUs - frame.done * burst.periodUs - widthUs);
        if (frame.done > 0) latest = Math.min(latest, frame.atUs - (frame.done - 1) * burst.periodUs - widthUs);
        frame = await talk.rawFrame();
      }
      expect(frame.done === burst.count, `${frame.done} of ${burst.count} pulses`);
      expect(earliest <= latest + 1_000, `the pulses are not ${burst.periodUs} us apart: they drift by ${earliest - latest} us in ${burst.count} of them`);
      expect(earliest <= requestedBefore + 10_000 + 1_000, `the first pulse came ${earliest - requestedBefore} us after the request at the earliest`);
      return `period ${burst.periodUs} us over ${burst.count} pulses`;
    },
  },
  {
    rule: 'LINE-34', title: 'a pulse lasts as long as the reply states', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const { telemetryMaxHz } = await talk.describe('safety');
      const hz = Math.min(100, telemetryMaxHz);
      const burst = await talk.longBurst(1);
      await talk.done({ word: 'arm' });
      const before = await talk.frame();
      const { widthNs } = await talk.startBurst(burst);
      const { atUs: requestedBefore, first } = await talk.timed(hz);
      let last = before;
      let frame = first;
      while (frame.active) {
        last = frame;
        frame = await talk.rawFrame();
      }
      expect(frame.done === 1, `${frame.done} of 1 pulses`);
      const widthUs = widthNs / 1e3;
      expect(last.atUs <= requestedBefore + 10_000 + widthUs + 1_000, `a pulse of ${widthUs} us still went on ${last.atUs - requestedBefore} us after its request`);
      expect(frame.atUs >= before.atUs + widthUs, `a pulse of ${widthUs} us was over ${frame.atUs - before.atUs} us after a frame before it`);
      return `${widthUs / 1e3} ms`;
    },
  },
  {
    rule: 'LINE-38', title: 'halt lets the pulse in progress run to its end, and it counts', ...energising,
    run: async (talk) => {
      await intoFirstPulse(talk);
      await talk.done({ word: 'halt' });
      const end = await talk.until(1_000, 'the end of the burst', (f) => !f.active);
      expect(end.done === 1 && end.commanded === 3, `halted in the first pulse: ${end.done} of ${end.commanded} pulses are done`);
      return 'one pulse of three, whole';
    },
  },
  {
    rule: 'LINE-45', title: 'a pulse that was cut short is not counted', ...energising,
    run: async (talk) => {
      await intoFirstPulse(talk);
      await talk.done({ word: 'safe' });
      const cut = await talk.frame();
      const later = await talk.until(1_000, 'a frame after the pulse would have ended', (f) => f.atUs > cut.atUs + 2 * LONG_PULSE_MS * 1e3);
      expect(!cut.active && later.done === 0, `${later.done} pulses are done, and the first was cut`);
      return 'none of three';
    },
  },
  {
    rule: 'LINE-90', title: 'the burst is echoed as it was asked for, its channel too', ...energising,
    run: async (talk) => {
      await talk.needs('echo');
      const { channels } = await talk.hello();
      await talk.done({ word: 'arm' });
      const small = await talk.smallBurst(1);
      for (const channel of new Set([1, Math.ceil(channels / 2), channels])) {
        const { number, widthNs } = await talk.startBurst({ ...small, channel });
        const echo = await talk.done({ word: 'echo' });
        const right = { word: 'echo', number, channel, widthNs, periodUs: small.periodUs, count: small.count };
        expect(JSON.stringify(echo) === JSON.stringify(right), `asked for ${JSON.stringify(right)}, driven is ${JSON.stringify(echo)}`);
        await talk.until(2_000, 'the end of the burst', (f) => !f.active);
      }
      return 'first, middle and last channel';
    },
  },
  {
    rule: 'LINE-55', title: 'the watchdog keeps its time', ...arming,
    run: async (talk) => {
      const { deadmanMaxMs, telemetryMaxHz } = await talk.describe('safety');
      const setMs = Math.min(2_000, deadmanMaxMs);
      const hz = Math.min(EASY_TELEMETRY_HZ, telemetryMaxHz);
      await talk.done({ word: 'arm' });
      await talk.done({ word: 'deadman', ms: setMs });
      // The last request is the one that times itself.
      const { atUs, first } = await talk.timed(hz);
      let last = first;
      let frame = first;
      while (frame.fault === '') {
        expect(frame.atUs <= atUs + setMs * 1e3 + 1e6, `its watchdog had not acted a second after ${setMs} ms were over`);
        last = frame;
        frame = await talk.rawFrame();
      }
      expect(frame.atUs >= atUs + setMs * 1e3, `acted ${(frame.atUs - atUs) / 1e3} ms after the last request at the latest; ${setMs} ms were set`);
      expect(last.atUs <= atUs + (setMs + REACTION_MS) * 1e3, `still armed ${(last.atUs - atUs) / 1e3} ms after the last request; ${setMs} ms were set`);
      return `set ${setMs} ms, acted between ${(last.atUs - atUs) / 1e3} and ${(frame.atUs - atUs) / 1e3} ms`;
    },
  },
  {
    rule: 'LINE-52', title: 'after a reset: no-hello, a new boot id, frames from 0, disarmed, watchdog and rate at their defaults', ...arming,
    run: async (talk) => {
      const reset = talk.port.reset?.bind(talk.port);
      if (reset === undefined) throw new NotApplicable('this port cannot press the reset button');
      const { boot } = await talk.hello();
      await talk.done({ word: 'arm' });
      await reset();
      const frame = await firstFrameOfAnotherBoot(talk, boot);
      expect(frame.frame <= 1, `the first frame after the reset is number ${frame.frame}`);
      expect(!frame.armed && !frame.active && frame.burst === 0 && frame.done === 0, 'armed or with a burst after the reset');
      await talk.refused({ word: 'arm' }, 'no-hello');
      await talk.refused({ word: 'alive' }, 'no-hello');
      // LINE-102
      for (const [body, word] of [['frobnicate', 'unknown'], ['hello token=', 'hello'], ['describe topic=weather', 'describe']] as const) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'no-hello' && answer.refusal.word === word, `"${body}" before a hello: ${text}`);
      }
      const next = await talk.hello();
      expect(next.boot !== boot, `the boot id is still ${boot}`);
      const one = await talk.rawFrame();
      const two = await talk.rawFrame();
      const apart = (two.atUs - one.atUs) / (two.frame - one.frame);
      expect(Math.abs(apart - 100_000) <= 2_000, `frames are ${apart} us apart after the reset; 10 Hz is the default`);
      return `boot id ${boot}, then ${next.boot}`;
    },
  },
];
