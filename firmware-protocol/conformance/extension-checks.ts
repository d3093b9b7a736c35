/** What a controller does with the extensions that it says it has. */
import type { Reply } from '../line/messages.ts';
import { type Check, EASY_TELEMETRY_HZ, energising, expect, HOST_MS, passive, REACTION_MS, sealed } from './talk.ts';

/** LINE-130. */
const IN_PULSE = 'supply-in-pulse';

export const extensionChecks: readonly Check[] = [
  {
    rule: 'LINE-80', title: 'describe with an unknown topic is refused as form; the extensions are listed or refused like that', ...passive,
    run: async (talk) => {
      for (const body of ['describe topic=weather', 'describe topic=Timing']) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'form' && answer.refusal.word === 'describe', `"${body}": ${text}`);
      }
      const names = await talk.extensions();
      return names.length === 0 ? 'no extensions' : `extensions ${names.join(', ')}`;
    },
  },
  {
    rule: 'LINE-101', title: 'a whole line with a strange body is answered', ...passive,
    run: async (talk) => {
      for (const [body, word, code] of [
        [' alive', 'unknown', 'unknown'], ['', 'unknown', 'unknown'], ['alive  ', 'alive', 'form'], ['a'.repeat(25), 'unknown', 'unknown'],
        ['supply mv=4294967296', 'supply', 'form'], ['supply mv=99999999999999999999', 'supply', 'form'],
      ] as const) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.word === word && answer.refusal.code === code, `"${body}" should have been refused as ${word} ${code}: ${text}`);
      }
      return 'six bodies';
    },
  },
  {
    rule: 'LINE-106', title: 'answers come within 50 ms', ...passive,
    run: async (talk) => {
      const asked = 20;
      const before = await talk.frame();
      for (let i = 0; i < asked; i += 1) await talk.done({ word: 'alive' });
      const { atUs } = await talk.timed(EASY_TELEMETRY_HZ);
      const each = (atUs - before.atUs) / 1e3 / asked;
      // One interval and the host's own delay lie before the first of them.
      const allowed = REACTION_MS + (1_000 / EASY_TELEMETRY_HZ + HOST_MS) / asked;
      expect(each <= allowed, `an answer takes ${each.toFixed(1)} ms on the average of ${asked}`);
      return `${each.toFixed(1)} ms on the average, host and line included`;
    },
  },
  {
    rule: 'LINE-103', title: 'frames come evenly', ...passive,
    run: async (talk) => {
      await talk.done({ word: 'telemetry', hz: EASY_TELEMETRY_HZ });
      const interval = 1e6 / EASY_TELEMETRY_HZ;
      let before = await talk.frame();
      let worst = 0;
      for (let i = 0; i < 30; i += 1) {
        const frame = await talk.rawFrame();
        worst = Math.max(worst, Math.abs((frame.atUs - before.atUs) / (frame.frame - before.frame) - interval));
        before = frame;
      }
      expect(worst <= interval / 5, `an interval differs by ${worst} us from ${interval} us`);
      return `within ${worst} us of ${interval} us`;
    },
  },
  {
    rule: 'LINE-91', title: 'every input states its scale, and the trip limits lie inside', ...passive,
    run: async (talk) => {
      await talk.needs('calibration');
      const { scales, stored } = await talk.describe('calibration');
      const { tripMa, tripPa, tripMilliC } = await talk.describe('safety');
      for (const [input, trip] of [['current', tripMa], ['pressure', tripPa], ['rail', tripMilliC], ['meter', tripMilliC]] as const) {
        const { zero, full } = scales[input];
        expect(zero < trip && trip < full, `the trip limit ${trip} of ${input} lies outside ${zero} to ${full}, so it can never be seen`);
      }
      // Outside any range: refused, and nothing changed.
      await talk.refused({ word: 'calibrate', input: 'pressure', zero: 1, full: 0 }, 'range');
      const after = await talk.describe('calibration');
      expect(JSON.stringify(after.scales) === JSON.stringify(scales), 'a refused calibration changed the scales');
      return `${Object.entries(scales).map(([input, { zero, full }]) => `${input} ${zero} to ${full}`).join(', ')}; ${stored ? 'stored' : 'of the program'}`;
    },
  },
  {
    rule: 'LINE-96', title: 'the watched limits are stated', ...passive,
    run: async (talk) => {
      await talk.needs('watch');
      const w = await talk.describe('watch');
      expect(w.sensorLowPermille < w.sensorHighPermille && w.frozenMs > 0 && w.idleMs > 0 && w.idleMs <= 1_000, 'the limits contradict each other');
      return `meter to ${w.meterMaxHz} Hz, idle ${w.idleMa} mA or ${w.idleEdges} edges in ${w.idleMs} ms`;
    },
  },
  {
    rule: 'LINE-98', title: 'bad lines are counted where they can be read', ...passive,
    run: async (talk) => {
      await talk.needs('health');
      const before = await talk.describe('health');
      await talk.silent('nonsense\n', 'a bad line');
      await talk.silent(`${'z'.repeat(300)}\n`, 'an over-long line');
      const after = await talk.describe('health');
      expect(after.badLines - before.badLines === 2, `two bad lines were counted as ${after.badLines - before.badLines}`);
      expect(after.starts >= 1 && after.starts === before.starts, 'the count of starts changed');
      return `start ${after.starts} by ${after.cause}, ${after.badLines} bad lines, ${after.byteErrors} damaged bytes, ${after.stackFree} bytes of stack never used`;
    },
  },
  {
    rule: 'LINE-114', title: 'readings beyond LINE-41 come where they are asked for, and only then', ...passive,
    run: async (talk) => {
      await talk.needs('signals');
      const asked = async (...names: readonly string[]) => ((await talk.done({ word: 'signals', names })) as Extract<Reply, { word: 'signals' }>).names;
      const known = await asked(IN_PULSE, 'no-such-reading');
      expect(known.every((name) => name === IN_PULSE), `of ${IN_PULSE} and no-such-reading it claims to read ${known.join(', ')}`);
      expect((await asked()).length === 0, 'asked for none it named one');
      const seq = talk.next();
      const { answer, text } = await talk.exchange(sealed(seq, 'signals names=a,,b'), seq);
      expect(answer.kind === 'refusal' && answer.refusal.code === 'form', `an empty name was answered: ${text}`);
      return known.length === 0 ? 'none that is known' : known.join(', ');
    },
  },
  {
    rule: 'LINE-130', title: 'the supply inside pulses is read while pulses are driven, and not while none is', ...energising,
    run: async (talk) => {
      await talk.needs('signals');
      const { names } = (await talk.done({ word: 'signals', names: [IN_PULSE] })) as Extract<Reply, { word: 'signals' }>;
      if (!names.includes(IN_PULSE)) return 'it does not read it';
      expect((await talk.frame()).supplyInPulseMv === undefined, 'a frame has a supply inside pulses though nothing was driven');
      await talk.done({ word: 'arm' });
      await talk.done({ ...(await talk.smallBurst(150)), widthNs: 5_000_000 });
      const { supplyInPulseMv, supplyMv } = await talk.until(2_000, 'a frame with the supply inside pulses', (f) => f.supplyInPulseMv !== undefined);
      await talk.until(5_000, 'a frame without it once nothing is driven any more', (f) => !f.active && f.supplyInPulseMv === undefined);
      await talk.hello();
      return `${supplyInPulseMv ?? 0} mV inside, ${supplyMv} mV in the mean`;
    },
  },
  {
    rule: 'LINE-84', title: 'pump and valves need an armed bench, are read back, and drop with safe', ...energising,
    run: async (talk) => {
      await talk.needs('rail');
      const outputs = await talk.describe('rail');
      const feeds = outputs.pump || outputs.relief;
      const state = () => talk.done({ word: 'rail' }) as Promise<Extract<Reply, { word: 'rail' }>>;
      const off = { word: 'rail', pumping: false, relieved: outputs.relief, shut: false, keeping: false };
      const isOff = async (when: string) => {
        const now = await state();
        expect(JSON.stringify(now) === JSON.stringify(off), `LINE-88: ${when} the rail stands at ${JSON.stringify(now)}`);
      };
      await isOff('after safe');
      await talk.refused({ word: 'pump', on: true }, feeds ? 'not-armed' : 'unsupported');
      await talk.refused({ word: 'shut-off', shut: true }, outputs.shutOff ? 'not-armed' : 'unsupported');
      await talk.refused({ word: 'keep-pressure' }, 'not-armed');
      await talk.done({ word: 'arm' });
      await isOff('after arming');
      if (feeds) await talk.done({ word: 'pump', on: true });
      if (outputs.shutOff) await talk.done({ word: 'shut-off', shut: true });
      const on = await state();
      expect(on.pumping === outputs.pump && !on.relieved && on.shut === outputs.shutOff && !on.keeping, `pump and valves on: ${JSON.stringify(on)}`);
      // LINE-86
      await talk.done({ word: 'keep-pressure' });
      const kept = await state();
      expect(kept.keeping && kept.pumping === on.pumping && kept.shut === on.shut && !kept.relieved, `keeping the pressure: ${JSON.stringify(kept)}`);
      expect(!(await talk.frame()).armed, 'keep-pressure left the bench armed');
      await talk.refused(await talk.smallBurst(1), 'not-armed');
      const { deadmanMinMs } = await talk.describe('safety');
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      await talk.until(deadmanMinMs + 2_000, 'the watchdog of a bench that keeps its pressure', (f) => f.fault === 'dead-man');
      await isOff('after the watchdog');
      return `pump ${outputs.pump ? 'yes' : 'no'}, relief valve ${outputs.relief ? 'yes' : 'no'}, shut-off valve ${outputs.shutOff ? 'yes' : 'no'}`;
    },
  },
];
