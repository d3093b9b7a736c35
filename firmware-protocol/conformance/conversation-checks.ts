/** What a controller makes of lines: form, numbers, repeats, what it says of itself. */
import { LONGEST_TO_CONTROLLER, sealLine } from '../line/codec.ts';
import { encodeRequest, type Request } from '../line/messages.ts';
import { type Check, expect, padded, passive, sealed, withSmallChecksum } from './talk.ts';

export const conversationChecks: readonly Check[] = [
  {
    rule: 'LINE-23', title: 'hello echoes its token and names the bench', ...passive,
    run: async (talk) => {
      const reply = await talk.hello();
      expect(reply.protocol === 1, `the controller speaks protocol ${reply.protocol}, these checks are for 1`);
      return `${reply.model} ${reply.serial}, firmware ${reply.firmware}, ${reply.channels} channels`;
    },
  },
  {
    rule: 'LINE-16', title: 'hello is carried out whatever its number, and starts the numbers anew', ...passive,
    run: async (talk) => {
      talk.seq = (talk.seq - 1_000) & 0xffff;
      await talk.hello();
      await talk.done({ word: 'alive' });
      return 'a hello 1000 numbers back was carried out and the next number taken';
    },
  },
  {
    rule: 'LINE-17', title: 'a late copy of hello is answered again and forgets nothing', ...passive,
    run: async (talk) => {
      const helloSeq = talk.next();
      const hello = encodeRequest(helloSeq, { word: 'hello', token: talk.freshToken() });
      const first = await talk.exchange(hello, helloSeq);
      const aliveSeq = talk.next();
      const alive = encodeRequest(aliveSeq, { word: 'alive' });
      await talk.exchange(alive, aliveSeq);
      const laterSeq = talk.next();
      await talk.exchange(encodeRequest(laterSeq, { word: 'alive' }), laterSeq);
      const again = await talk.exchange(hello, helloSeq);
      expect(again.text === first.text, `the copy got another answer: ${again.text}`);
      const old = await talk.exchange(alive, aliveSeq);
      expect(old.answer.kind === 'refusal' && old.answer.refusal.code === 'stale', `after the copy an old request was taken as new: ${old.text}`);
      return 'same answer, and an older request stayed stale';
    },
  },
  {
    rule: 'LINE-25', title: 'describe states limits that agree with each other', ...passive,
    run: async (talk) => {
      const timing = await talk.describe('timing');
      expect(timing.minWidthNs <= timing.maxWidthNs && timing.minPeriodUs <= timing.maxPeriodUs && timing.maxCount >= 1, 'timing limits contradict each other');
      const supply = await talk.describe('supply');
      expect(supply.minMv <= supply.maxMv && supply.safeMv <= supply.maxMv, 'LINE-100: the safe supply lies above the highest');
      const pressure = await talk.describe('pressure');
      expect(!pressure.commandable || pressure.minPa <= pressure.maxPa, 'pressure limits contradict each other');
      const safety = await talk.describe('safety');
      expect(safety.deadmanMinMs <= 1_000 && safety.deadmanMaxMs >= 1_000, 'the watchdog default of 1000 ms lies outside its range');
      expect(safety.interlocks.length >= 1, 'no interlock input');
      return `tick ${timing.tickNs} ns, supply to ${supply.maxMv} mV, interlocks ${safety.interlocks.join(', ')}`;
    },
  },
  {
    rule: 'LINE-24', title: 'the boot id is the same in hello and in every frame', ...passive,
    run: async (talk) => {
      const { boot } = await talk.hello();
      for (let i = 0; i < 5; i += 1) {
        const frame = await talk.rawFrame();
        expect(frame.boot === boot, `a frame has boot id ${frame.boot}, hello said ${boot}`);
      }
      return `boot id ${boot}`;
    },
  },
  {
    rule: 'LINE-6', title: 'a line with a wrong checksum is not answered and not acted on', ...passive,
    run: async (talk) => {
      let lines = 0;
      for (const bit of [0, 1, 2, 3, 4]) {
        const good = encodeRequest(talk.next(), { word: 'describe', topic: 'timing' }).slice(0, -1);
        for (const at of [0, 2, good.length - 8, good.length - 5, good.length - 4, good.length - 1]) {
          const damaged = good.slice(0, at) + String.fromCharCode(good.charCodeAt(at) ^ (1 << bit)) + good.slice(at + 1);
          await talk.silent(`${damaged}\n`, `a damaged line (${JSON.stringify(damaged)})`);
          lines += 1;
        }
      }
      return `${lines} damaged lines, none answered`;
    },
  },
  {
    rule: 'LINE-9', title: 'what is no request is dropped in silence', ...passive,
    run: async (talk) => {
      const seq = talk.next();
      const others = [
        'hello\n',
        '#FFFF\n',
        ' #FFFF\n',
        sealLine(''),
        sealLine('?'),
        sealLine(`? 65536 alive`),
        sealLine(`? 007 alive`),
        sealLine(`?  ${seq} alive`),
        sealLine(`= ${seq} alive`),
        sealLine(`. ${seq} alive`),
        sealLine(`! ${seq} alive code=busy text=no`),
        withSmallChecksum(talk),
        '\u0000\u0007\u00ff\u0080\n',
      ];
      for (const other of others) await talk.silent(other, JSON.stringify(other));
      return `${others.length} lines, none answered`;
    },
  },
  {
    rule: 'LINE-9', title: 'noise before a line costs that line at most', ...passive,
    run: async (talk) => {
      await talk.silent('\u00f0\u0001~~~?\n', 'noise that ends with LF');
      const lost = encodeRequest(talk.next(), { word: 'alive' });
      await talk.silent(`%$\u00fe${lost}`, 'a request with noise before it');
      return 'the next whole line was answered';
    },
  },
  {
    rule: 'LINE-3', title: 'a line of 120 bytes is heard, one of 121 is not', ...passive,
    run: async (talk) => {
      const seq = talk.next();
      const { answer } = await talk.exchange(padded(seq, LONGEST_TO_CONTROLLER), seq);
      expect(answer.kind === 'refusal' && answer.refusal.code === 'form', 'a line of 120 bytes with a field too many was not refused as form');
      await talk.silent(padded(talk.next(), LONGEST_TO_CONTROLLER + 1), 'a line of 121 bytes');
      return '120 bytes: refused as form; 121 bytes: silence';
    },
  },
  {
    rule: 'LINE-4', title: 'an over-long line is dropped up to its LF', ...passive,
    run: async (talk) => {
      const inside = encodeRequest(talk.next(), { word: 'alive' });
      await talk.silent(`${'x'.repeat(119)}${inside}`, 'a request at the end of an over-long line');
      for (const length of [255, 256, 257, 5_000]) await talk.silent(`${'y'.repeat(length)}\n`, `a line of ${length + 1} bytes`);
      return 'up to 5001 bytes, then answered as before';
    },
  },
  {
    rule: 'LINE-2', title: 'one CR before LF is forgiven, empty lines are ignored', ...passive,
    run: async (talk) => {
      const seq = talk.next();
      await talk.exchange(encodeRequest(seq, { word: 'alive' }).replace('\n', '\r\n'), seq);
      await talk.silent('\n\r\n\n', 'empty lines');
      await talk.silent(encodeRequest(talk.next(), { word: 'alive' }).replace(' alive', '\r alive'), 'a CR inside a line');
      await talk.silent(encodeRequest(talk.next(), { word: 'alive' }).replace('\n', '\r\r\n'), 'two CRs before LF');
      return 'as stated';
    },
  },
  {
    rule: 'LINE-20', title: 'an unknown word is refused as unknown', ...passive,
    run: async (talk) => {
      for (const body of ['frobnicate', 'Alive', 'alives', 'hello-there x=1']) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'unknown' && answer.refusal.word === 'unknown', `${body}: ${text}`);
      }
      return 'four words';
    },
  },
  {
    rule: 'LINE-20', title: 'fields that are not canonical are refused as form', ...passive,
    run: async (talk) => {
      const bodies = [
        'alive x=1', 'alive ', 'deadman', 'deadman ms=', 'deadman ms=01000', 'deadman ms=+1000', 'deadman ms=-1', 'deadman ms=1e3',
        'deadman ms=1000 ', 'deadman  ms=1000', 'deadman ms=1000 ms=1000', 'deadman ms=4294967296', 'deadman mS=1000', 'supply mv=0.5',
        'burst width-ns=1 channel=1 period-us=1 count=1', 'burst channel=1 width-ns=1 period-us=1',
        'hello token=', 'hello token=aaaaaaaaaaaaaaaaa', 'hello token=a/b',
      ];
      for (const body of bodies) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'form', `"${body}" should have been refused as form: ${text}`);
        expect(answer.refusal.word === body.split(' ')[0], `the refusal of "${body}" names another word: ${text}`);
      }
      return `${bodies.length} requests`;
    },
  },
  {
    rule: 'LINE-13', title: 'a repeated request gets the same answer byte for byte', ...passive,
    run: async (talk) => {
      const requests: Request[] = [{ word: 'describe', topic: 'safety' }, { word: 'supply', mv: 4_294_967_295 }, { word: 'alive' }];
      for (const request of requests) {
        const seq = talk.next();
        const line = encodeRequest(seq, request);
        const first = await talk.exchange(line, seq);
        for (let i = 0; i < 3; i += 1) {
          const again = await talk.exchange(line, seq);
          expect(again.text === first.text, `first ${first.text}, then ${again.text}`);
        }
      }
      return 'a reply and a refusal, three times each';
    },
  },
  {
    rule: 'LINE-15', title: 'an older number is refused as stale and not remembered', ...passive,
    run: async (talk) => {
      await talk.done({ word: 'alive' });
      const latest = talk.seq;
      for (const back of [1, 2, 100, 32_768]) {
        const seq = (latest - back) & 0xffff;
        const { answer, text } = await talk.exchange(encodeRequest(seq, { word: 'alive' }), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'stale', `${back} numbers back: ${text}`);
      }
      const { answer } = await talk.exchange(encodeRequest(latest, { word: 'alive' }), latest);
      expect(answer.kind === 'reply', 'after a stale request the latest one was forgotten');
      return '1, 2, 100 and 32768 numbers back';
    },
  },
  {
    rule: 'LINE-14', title: 'numbers may jump 32767 ahead and pass from 65535 to 0', ...passive,
    run: async (talk) => {
      talk.seq = (talk.seq + 32_766) & 0xffff;
      await talk.done({ word: 'alive' });
      talk.seq = 65_533;
      await talk.hello();
      for (let i = 0; i < 3; i += 1) await talk.done({ word: 'alive' });
      return 'as stated';
    },
  },
  {
    rule: 'LINE-27', title: 'watchdog times outside the stated range are refused', ...passive,
    run: async (talk) => {
      const { deadmanMinMs, deadmanMaxMs } = await talk.describe('safety');
      await talk.refused({ word: 'deadman', ms: deadmanMinMs - 1 }, 'range');
      await talk.refused({ word: 'deadman', ms: deadmanMaxMs + 1 }, 'range');
      await talk.refused({ word: 'deadman', ms: 4_294_967_295 }, 'range');
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      await talk.done({ word: 'deadman', ms: deadmanMaxMs });
      return `${deadmanMinMs} to ${deadmanMaxMs} ms`;
    },
  },
  {
    rule: 'LINE-28', title: 'telemetry comes at the set rate and cannot be switched off', ...passive,
    run: async (talk) => {
      const { telemetryMaxHz } = await talk.describe('safety');
      await talk.refused({ word: 'telemetry', hz: 0 }, 'range');
      await talk.refused({ word: 'telemetry', hz: telemetryMaxHz + 1 }, 'range');
      const seen: string[] = [];
      for (const hz of [...new Set([5, Math.min(20, telemetryMaxHz), telemetryMaxHz])]) {
        await talk.done({ word: 'telemetry', hz });
        const first = await talk.frame();
        let last = first;
        for (let i = 0; i < 10; i += 1) last = await talk.rawFrame();
        const mean = (last.atUs - first.atUs) / 10;
        expect(Math.abs(mean - 1e6 / hz) <= 2e4 / hz, `at ${hz} Hz the frames are ${mean} us apart`);
        seen.push(`${hz} Hz: ${mean} us`);
      }
      return seen.join('; ');
    },
  },
];
