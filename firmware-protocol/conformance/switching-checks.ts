/** What a controller may and must not do with its outputs: arming, supply, bursts, telemetry, safe, dead-man. */
import { encodeRequest } from '../line/messages.ts';
import { aboveSafe, arming, type Check, energising, expect, fastTelemetry, fireDeadMan, NotApplicable, passive, raiseSupply, REACTION_MS, SUPPLY_FALLS_WITHIN_MS, SUPPLY_TOLERANCE_MV } from './talk.ts';

export const switchingChecks: readonly Check[] = [
  {
    rule: 'LINE-40', title: 'frames are numbered without a gap, and the clock goes forward', ...passive,
    run: async (talk) => {
      let before = await talk.frame();
      for (let i = 0; i < 20; i += 1) {
        const frame = await talk.rawFrame();
        expect(frame.frame === before.frame + 1, `frame ${before.frame} was followed by ${frame.frame}`);
        expect(frame.atUs > before.atUs, `the clock went from ${before.atUs} to ${frame.atUs}`);
        expect(frame.edges >= before.edges && frame.lastEdgeUs >= before.lastEdgeUs, 'the meter counted backwards');
        expect(frame.lastEdgeUs <= frame.atUs, 'an edge in the future');
        expect(frame.done <= frame.commanded, 'more pulses done than commanded');
        before = frame;
      }
      return '20 frames';
    },
  },
  {
    rule: 'LINE-31', title: 'a disarmed bench takes no supply above the safe value', ...passive,
    run: async (talk) => {
      const supply = await talk.describe('supply');
      await talk.refused({ word: 'supply', mv: supply.maxMv + 1 }, 'range');
      await talk.done({ word: 'supply', mv: supply.safeMv });
      if (supply.maxMv === supply.safeMv) return 'the safe value is the highest';
      const answer = await talk.ask({ word: 'supply', mv: aboveSafe(supply) });
      const code = answer.kind === 'refusal' ? answer.refusal.code : 'carried out';
      expect(code === 'not-armed' || code === 'fault', `above the safe value: ${code}`);
      return `refused as ${code}`;
    },
  },
  {
    rule: 'LINE-33', title: 'a disarmed bench drives no pulse', ...passive,
    run: async (talk) => {
      const before = await talk.frame();
      const answer = await talk.ask(await talk.smallBurst(1));
      const code = answer.kind === 'refusal' ? answer.refusal.code : 'carried out';
      expect(code === 'not-armed' || code === 'fault', `burst: ${code}`);
      const after = await talk.frame();
      expect(after.burst === before.burst && after.done === before.done && !after.active, 'a refused burst changed the burst');
      return `refused as ${code}`;
    },
  },
  {
    rule: 'LINE-21', title: 'a burst outside the limits is refused as range, also when disarmed', ...passive,
    run: async (talk) => {
      const timing = await talk.describe('timing');
      const { channels } = await talk.hello();
      const good = await talk.smallBurst(1);
      const bad: Partial<typeof good>[] = [
        { channel: 0 }, { channel: channels + 1 }, { widthNs: timing.minWidthNs - 1 }, { widthNs: timing.maxWidthNs + 1 },
        { periodUs: timing.minPeriodUs - 1 }, { periodUs: timing.maxPeriodUs + 1 }, { count: 0 }, { count: timing.maxCount + 1 },
      ];
      for (const change of bad) await talk.refused({ ...good, ...change }, 'range');
      return `${bad.length} bursts`;
    },
  },
  {
    rule: 'LINE-35', title: 'duty over 100 % is refused as range', ...passive,
    run: async (talk) => {
      const timing = await talk.describe('timing');
      const periodUs = timing.minPeriodUs;
      const widthNs = (Math.floor((periodUs * 1_000) / timing.tickNs) + 1) * timing.tickNs;
      if (widthNs > timing.maxWidthNs) throw new NotApplicable('the longest pulse is shorter than the shortest period');
      await talk.refused({ word: 'burst', channel: 1, widthNs, periodUs, count: 1 }, 'range');
      return `${widthNs} ns in ${periodUs} us refused`;
    },
  },
  {
    rule: 'LINE-32', title: 'pressure is refused where it cannot be commanded, and outside its range', ...passive,
    run: async (talk) => {
      const pressure = await talk.describe('pressure');
      if (!pressure.commandable) {
        await talk.refused({ word: 'pressure', pa: 400_000 }, 'unsupported');
        return 'set by hand; refused as unsupported';
      }
      await talk.refused({ word: 'pressure', pa: pressure.maxPa + 1 }, 'range');
      if (pressure.minPa > 0) await talk.refused({ word: 'pressure', pa: pressure.minPa - 1 }, 'range');
      const answer = await talk.ask({ word: 'pressure', pa: pressure.minPa });
      expect(answer.kind === 'reply' || answer.refusal.code === 'fault', 'the lowest pressure was refused');
      return `${pressure.minPa} to ${pressure.maxPa} Pa`;
    },
  },
  {
    rule: 'LINE-39', title: 'clear and halt with nothing to do are answered', ...passive,
    run: async (talk) => {
      await talk.done({ word: 'halt' });
      const { fault } = await talk.frame();
      if (fault !== '') throw new NotApplicable(`the fault ${fault} cannot be cleared at present`);
      await talk.done({ word: 'clear' });
      return 'answered';
    },
  },
  {
    rule: 'LINE-29', title: 'arm arms, also twice; LINE-30: safe disarms', ...arming,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      await talk.done({ word: 'arm' });
      const frame = await talk.frame();
      expect(frame.armed, 'not armed after arm');
      const { interlocks } = await talk.describe('safety');
      const open = interlocks.filter((_, bit) => (frame.interlocks & (1 << bit)) === 0);
      expect(open.length === 0, `LINE-107: armed, and the frame says that these interlocks are open: ${open.join(', ')}`);
      await talk.done({ word: 'safe' });
      expect(!(await talk.frame()).armed, 'still armed after safe');
      await talk.done({ word: 'safe' });
      return 'seen in telemetry';
    },
  },
  {
    rule: 'LINE-33', title: 'a burst is counted, driven to its end and reported', ...energising,
    run: async (talk) => {
      const before = await talk.frame();
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(3);
      for (let i = 1; i <= 2; i += 1) {
        const { number } = await talk.startBurst(burst);
        expect(number === before.burst + i, `burst ${before.burst + i} was numbered ${number}`);
        const end = await talk.until(2_000, 'the end of the burst', (f) => !f.active);
        expect(end.burst === number && end.commanded === 3 && end.done === 3, `burst ${end.burst}: ${end.done} of ${end.commanded} pulses`);
      }
      return 'two bursts of three pulses';
    },
  },
  {
    rule: 'LINE-13', title: 'a repeated burst request is not driven again', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(2);
      const seq = talk.next();
      const line = encodeRequest(seq, burst);
      const first = await talk.exchange(line, seq);
      const during = await talk.exchange(line, seq);
      const end = await talk.until(2_000, 'the end of the burst', (f) => !f.active);
      const after = await talk.exchange(line, seq);
      expect(first.text === during.text && first.text === after.text, 'the copies were answered differently');
      const later = await talk.frame();
      expect(later.burst === end.burst && !later.active && later.done === 2, `burst ${later.burst} with ${later.done} pulses after the copies; it was ${end.burst} with 2`);
      return 'one burst, three equal answers';
    },
  },
  {
    rule: 'LINE-34', title: 'the width is rounded to the tick and stated', ...energising,
    run: async (talk) => {
      const { tickNs, minWidthNs, maxWidthNs } = await talk.describe('timing');
      if (tickNs < 2) throw new NotApplicable('the tick is 1 ns');
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(1);
      const ticks = Math.ceil(minWidthNs / tickNs) + 1;
      const half = Math.ceil(tickNs / 2);
      for (const [asked, expected] of [[ticks * tickNs, ticks], [ticks * tickNs + half - 1, ticks], [ticks * tickNs + half, ticks + 1]] as const) {
        if (asked > maxWidthNs) continue;
        const { widthNs } = await talk.startBurst({ ...burst, widthNs: asked });
        expect(widthNs === expected * tickNs, `${asked} ns was rounded to ${widthNs} ns; it should be ${expected * tickNs} ns`);
        await talk.until(2_000, 'the end of the burst', (f) => !f.active);
      }
      return `tick ${tickNs} ns`;
    },
  },
  {
    rule: 'LINE-36', title: 'a second burst is refused as busy and the first goes on', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(5, 100);
      const { number } = await talk.startBurst(burst);
      await talk.refused(burst, 'busy');
      await talk.refused({ ...burst, channel: 0 }, 'range');
      const end = await talk.until(5_000, 'the end of the burst', (f) => !f.active);
      expect(end.burst === number && end.done === 5, `burst ${end.burst} ended with ${end.done} of 5 pulses`);
      return 'five of five pulses';
    },
  },
  {
    rule: 'LINE-38', title: 'halt ends the burst and leaves the bench armed', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(50, 100);
      await talk.startBurst(burst);
      await talk.until(2_000, 'the first pulse', (f) => f.done >= 1);
      await talk.done({ word: 'halt' });
      const halted = await talk.until(1_000, 'the end of the burst', (f) => !f.active);
      const later = await talk.frame();
      expect(later.done === halted.done && later.done < 50 && later.commanded === 50, `${later.done} of ${later.commanded} pulses after halt`);
      expect(later.armed, 'halt disarmed the bench');
      await talk.startBurst({ ...burst, count: 1 });
      return `${later.done} of 50 pulses, then a new burst was taken`;
    },
  },
  {
    rule: 'LINE-54', title: 'safe ends the burst, lowers the supply and disarms', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const safeMv = await raiseSupply(talk);
      await talk.startBurst(await talk.smallBurst(50, 100));
      await talk.done({ word: 'safe' });
      const safe = await talk.frame();
      expect(!safe.armed && !safe.active && safe.fault === '', 'after safe the bench is armed, pulsing or faulty');
      const later = await talk.until(SUPPLY_FALLS_WITHIN_MS, 'the supply at its safe value', (f) => f.supplyMv <= safeMv + SUPPLY_TOLERANCE_MV);
      expect(later.done === safe.done, 'pulses went on after safe');
      return `supply read back ${later.supplyMv} mV, ${later.done} of 50 pulses`;
    },
  },
  {
    rule: 'LINE-55', title: 'silence: the watchdog makes safe and latches', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const safety = await talk.describe('safety');
      const setUs = safety.deadmanMinMs * 1_000;
      const burst = await talk.smallBurst(50, 100);
      await talk.done({ word: 'arm' });
      const safeMv = await raiseSupply(talk);
      await talk.startBurst(burst);
      const before = await talk.frame();
      await talk.done({ word: 'deadman', ms: safety.deadmanMinMs });
      await talk.rawFrame();
      const after = await talk.rawFrame();
      let last = after;
      let frame = after;
      while (frame.fault === '') {
        expect(frame.atUs - after.atUs <= setUs + 1_000_000, `its watchdog had not acted a second after ${safety.deadmanMinMs} ms were over`);
        expect(frame.armed, 'disarmed without a fault');
        last = frame;
        frame = await talk.rawFrame();
      }
      expect(frame.fault === 'dead-man', `the fault is ${frame.fault}`);
      expect(!frame.armed && !frame.active, 'armed or pulsing with the fault latched');
      // Between `before` and `after` lies the request, between `last` and `frame` the dead-man.
      expect(frame.atUs - before.atUs >= setUs, `acted ${frame.atUs - before.atUs} us after a frame before the last request, too early`);
      expect(last.atUs - after.atUs <= setUs + REACTION_MS * 1_000, `still armed ${last.atUs - after.atUs} us after the last request, too late`);
      const later = await talk.until(SUPPLY_FALLS_WITHIN_MS, 'the supply at its safe value', (f) => f.supplyMv <= safeMv + SUPPLY_TOLERANCE_MV);
      expect(later.done === frame.done && later.done < 50, 'pulses went on after the watchdog had acted');
      return `set ${safety.deadmanMinMs} ms, seen between ${(last.atUs - after.atUs) / 1_000} and ${(frame.atUs - before.atUs) / 1_000} ms`;
    },
  },
  {
    rule: 'LINE-62', title: 'a latched fault refuses work until clear; the bench stays disarmed', ...arming,
    run: async (talk) => {
      await fireDeadMan(talk);
      await talk.refused({ word: 'arm' }, 'fault');
      await talk.refused(await talk.smallBurst(1), 'fault');
      const supply = await talk.describe('supply');
      if (supply.maxMv > supply.safeMv) await talk.refused({ word: 'supply', mv: aboveSafe(supply) }, 'fault');
      const pressure = await talk.describe('pressure');
      if (pressure.commandable) await talk.refused({ word: 'pressure', pa: pressure.minPa }, 'fault');
      await talk.done({ word: 'safe' });
      await talk.hello();
      expect((await talk.frame()).fault === 'dead-man', 'the fault went away without clear');
      await talk.done({ word: 'clear' });
      const cleared = await talk.frame();
      expect(cleared.fault === '' && !cleared.armed, 'after clear the fault is still there or the bench is armed');
      await talk.done({ word: 'arm' });
      return 'refused, kept over hello and safe, cleared, armed again';
    },
  },
  {
    rule: 'LINE-56', title: 'bad and stale lines do not feed the watchdog', ...arming,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const { deadmanMinMs } = await talk.describe('safety');
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      const stale = encodeRequest((talk.seq - 1) & 0xffff, { word: 'alive' });
      const steps = 12;
      for (let i = 0; i < steps; i += 1) {
        talk.port.send(`${stale}? 1 alive #0000\nnoise\n`);
        await talk.port.wait(deadmanMinMs / 4);
      }
      while ((await talk.port.nextLine(0)) !== null) {
        // refusals of the stale copies, and frames
      }
      expect((await talk.frame()).fault === 'dead-man', 'the bench is still armed');
      return `fell after ${deadmanMinMs} ms although lines kept coming`;
    },
  },
  {
    rule: 'LINE-56', title: 'refused and repeated requests feed the watchdog', ...arming,
    run: async (talk) => {
      const { deadmanMinMs, deadmanMaxMs } = await talk.describe('safety');
      await talk.done({ word: 'arm' });
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      const pause = deadmanMinMs / 3;
      for (let i = 0; i < 9; i += 1) {
        await talk.refused({ word: 'telemetry', hz: 0 }, 'range');
        await talk.port.wait(pause);
      }
      const seq = talk.next();
      const line = encodeRequest(seq, { word: 'alive' });
      for (let i = 0; i < 9; i += 1) {
        await talk.exchange(line, seq);
        await talk.port.wait(pause);
      }
      await talk.done({ word: 'deadman', ms: deadmanMaxMs });
      const frame = await talk.frame();
      expect(frame.armed && frame.fault === '', `armed ${frame.armed}, fault ${frame.fault}`);
      return 'still armed after six times the set time';
    },
  },
];
