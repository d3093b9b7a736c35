/**
 * Damaged lines against everything that reads lines: both decoders, the link, and a controller. Run by itself:
 *
 *   node test/house/fuzz.ts [lines, default 1 000 000] [seed, default 1]
 *
 * Prints what was thrown in and what became of it; exit code 1 when a promise was broken. What is right is decided here
 * independently of the code under test: the checksum bit by bit, the cutting into lines by `split`.
 */
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import {
  decodeFromController, decodeFromHost, encodeRefusal, encodeReply, encodeRequest, encodeTelemetry, type Telemetry,
} from '../../firmware-protocol/line/messages.ts';
import { LONGEST_TO_CONTROLLER, LONGEST_TO_HOST, type BadLine } from '../../firmware-protocol/line/codec.ts';
import { LineSplitter } from '../../firmware-protocol/line/line-splitter.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { SimulatedBench } from '../../firmware-protocol/simulator/simulated-bench.ts';
import { VirtualClock, wait } from '../../main/clock/clock.ts';
import type { Channel, ChannelEvents } from '../../main/link/channel.ts';
import { Link } from '../../main/link/link.ts';

export interface FuzzReport {
  readonly lines: number;
  readonly byMutation: Readonly<Record<string, number>>;
  /** Lines that a decoder took, and of these the ones that differ from every line that was really sent. */
  readonly accepted: number;
  readonly acceptedThoughChanged: number;
  readonly bad: Readonly<Record<BadLine, number>>;
  /** What the link made of its share, and what it had asked for itself and got answered in between. */
  readonly link: { readonly lines: number; readonly taken: number; readonly bad: number; readonly requestsAnswered: number };
  /** What the controller made of its share. */
  readonly controller: { readonly lines: number; readonly whole: number; readonly answers: number };
  /** Heap and buffers after a tenth of the lines and at the end, bytes, garbage collected. */
  readonly memoryEarly: number;
  readonly memoryEnd: number;
  /** Promises that were broken, in words; empty when all is well. At most 20. */
  readonly violations: readonly string[];
}

/** More growth than this between a tenth of the lines and all of them is a leak: far above what the engine's own caches take. */
const MAX_GROWTH_BYTES = 8e6;
const LINES_PER_STEP = 200;

/** CRC-16/IBM-3740 of the Catalogue of parametrised CRC algorithms, one bit at a time by its definition. */
export function crcBitByBit(text: string): number {
  let register = 0xffff;
  for (let i = 0; i < text.length; i += 1) {
    for (let bit = 7; bit >= 0; bit -= 1) {
      const incoming = (text.charCodeAt(i) >> bit) & 1;
      const outgoing = (register >> 15) & 1;
      register = (register << 1) & 0xffff;
      if (incoming !== outgoing) register ^= 0x1021;
    }
  }
  return register;
}

function hasRightChecksum(line: string): boolean {
  const tail = /^([^]* )#([0-9A-F]{4})$/.exec(line);
  return tail !== null && crcBitByBit(tail[1] ?? '') === parseInt(tail[2] ?? '', 16);
}

function withRightChecksum(body: string): string {
  return `${body} #${crcBitByBit(body + ' ').toString(16).toUpperCase().padStart(4, '0')}\n`;
}

const telemetry: Telemetry = {
  atUs: 123_456_789, frame: 70_000, boot: 'b00t', supplyMv: 13_500, currentMa: -12, pressurePa: 400_123, railMilliC: 20_400,
  meterMilliC: -600, edges: 12_345, lastEdgeUs: 123_400_000, burst: 3, active: true, commanded: 500, done: 123, armed: true,
  fault: '', interlocks: 7,
};

const fromHost: readonly string[] = [
  encodeRequest(0, { word: 'hello', token: 'k3v9q1zt' }),
  encodeRequest(1, { word: 'describe', topic: 'timing' }),
  encodeRequest(2, { word: 'deadman', ms: 1000 }),
  encodeRequest(3, { word: 'telemetry', hz: 20 }),
  encodeRequest(4, { word: 'arm' }),
  encodeRequest(5, { word: 'supply', mv: 13_500 }),
  encodeRequest(6, { word: 'pressure', pa: 400_000 }),
  encodeRequest(7, { word: 'burst', channel: 3, widthNs: 2_500_000, periodUs: 20_000, count: 5 }),
  encodeRequest(8, { word: 'halt' }),
  encodeRequest(9, { word: 'alive' }),
  encodeRequest(10, { word: 'safe' }),
  encodeRequest(65_535, { word: 'clear' }),
];

const fromController: readonly string[] = [
  encodeReply(0, { word: 'hello', token: 'k3v9q1zt', protocol: 1, model: 'simulated-bench', serial: 'S-1', firmware: '1.0', boot: 'b00t', channels: 8 }),
  encodeReply(1, { word: 'describe', topic: 'timing', tickNs: 500, minWidthNs: 1, maxWidthNs: 9, minPeriodUs: 1, maxPeriodUs: 9, maxCount: 9 }),
  encodeReply(2, { word: 'describe', topic: 'safety', deadmanMinMs: 1, deadmanMaxMs: 2, telemetryMaxHz: 3, tripMa: 4, tripPa: 5, tripMilliC: 6, interlocks: ['a', 'b'] }),
  encodeReply(3, { word: 'burst', number: 4_294_967_295, widthNs: 2_500_000 }),
  encodeReply(4, { word: 'arm' }),
  encodeRefusal(5, { word: 'arm', code: 'interlock', text: 'Open: cover. The bench stays disarmed.' }),
  encodeRefusal(6, { word: 'unknown', code: 'unknown', text: 'No such word.' }),
  encodeTelemetry(telemetry),
  encodeTelemetry({ ...telemetry, frame: 2 ** 48 - 1, atUs: 2 ** 48 - 1, fault: 'dead-man', supplyMv: -2_147_483_647 }),
];

const whole = new Set([...fromHost, ...fromController].map((line) => line.trimEnd()));

type Mutation = (line: string, chance: Chance) => string;

class Chance {
  readonly #source: RandomSource;
  constructor(seed: number) {
    this.#source = RandomSource.named(seed, 'fuzz');
  }
  below(n: number): number {
    return Math.floor(this.#source.uniform() * n);
  }
  of<T>(items: readonly T[]): T {
    const item = items[this.below(items.length)];
    if (item === undefined) throw new Error('nothing to choose from');
    return item;
  }
  byte(): string {
    return String.fromCharCode(this.below(256));
  }
}

const flipBits: Mutation = (line, chance) => {
  let text = line;
  for (let n = 1 + chance.below(4); n > 0; n -= 1) {
    const at = chance.below(text.length);
    text = text.slice(0, at) + String.fromCharCode(text.charCodeAt(at) ^ (1 << chance.below(8))) + text.slice(at + 1);
  }
  return text;
};

const spliceFields: Mutation = (line, chance) => {
  const words = line.trimEnd().split(' ').slice(0, -1);
  const at = chance.below(words.length);
  const other = chance.of([...whole]).split(' ');
  switch (chance.below(4)) {
    case 0:
      words.splice(at, 1);
      break;
    case 1:
      words.splice(at, 0, words[at] ?? '');
      break;
    case 2:
      words[at] = chance.of(other);
      break;
    default:
      words.splice(at, 0, chance.of(other));
  }
  return words.join(' ');
};

const odd = ['-1', '-0', '00', '01', '+1', '1e3', '0x10', '99999999999999999999', '4294967296', '281474976710656', ' ', '', 'none', 'NaN', '1.5', '１'];

const mutations: Readonly<Record<string, Mutation>> = {
  untouched: (line) => line,
  'bits flipped': flipBits,
  'cut short': (line, chance) => line.slice(0, chance.below(line.length)) + (chance.below(2) === 0 ? '\n' : ''),
  'piece lost': (line, chance) => {
    const at = chance.below(line.length);
    return line.slice(0, at) + line.slice(at + 1 + chance.below(10));
  },
  'two lines spliced': (line, chance) => {
    const other = chance.of([...whole]);
    return line.slice(0, chance.below(line.length)) + other.slice(chance.below(other.length)) + '\n';
  },
  repeated: (line, chance) => line.repeat(2 + chance.below(3)),
  'repeated without its end': (line, chance) => line.trimEnd().repeat(2 + chance.below(3)) + '\n',
  'random bytes put in': (line, chance) => {
    const at = chance.below(line.length);
    const noise = Array.from({ length: 1 + chance.below(8) }, () => chance.byte()).join('');
    return line.slice(0, at) + noise + line.slice(at);
  },
  'random bytes only': (_, chance) => Array.from({ length: chance.below(200) }, () => chance.byte()).join('') + '\n',
  oversized: (line, chance) => line.trimEnd() + 'x'.repeat(chance.below(4000)) + '\n',
  'oversized with a right checksum': (line, chance) => withRightChecksum(line.trimEnd() + 'x'.repeat(LONGEST_TO_HOST + chance.below(400))),
  'carriage returns': (line, chance) => (chance.below(2) === 0 ? line.replace('\n', '\r\n') : line.replace(' ', '\r')),
  'fields mixed up, right checksum': (line, chance) => withRightChecksum(spliceFields(line, chance)),
  'odd value, right checksum': (line, chance) => {
    const values = [...line.slice(0, -7).matchAll(/[=?!.] ?([^ ]+)/g)];
    const value = values.length === 0 ? undefined : chance.of(values);
    const at = value === undefined ? 0 : value.index + value[0].length - (value[1] ?? '').length;
    return withRightChecksum(line.slice(0, at) + chance.of(odd) + line.slice(at + (value?.[1] ?? '').length, -7));
  },
  'random bytes in the body, right checksum': (line, chance) =>
    withRightChecksum(flipBits(line.slice(0, -7), chance).replaceAll('\n', 'n')),
};

/** Says again, from its meaning alone, what a decoder took; null where there is nothing to say again. */
function sayAgain(text: string): { readonly taken: boolean; readonly again: string | null; readonly why: BadLine | null } {
  const host = decodeFromHost(text);
  const controller = decodeFromController(text);
  if (host.kind === 'request') return { taken: true, again: encodeRequest(host.seq, host.request), why: null };
  if (host.kind === 'unfit') return { taken: true, again: null, why: null };
  switch (controller.kind) {
    case 'reply':
      return { taken: true, again: encodeReply(controller.seq, controller.reply), why: null };
    case 'refusal':
      return { taken: true, again: encodeRefusal(controller.seq, controller.refusal), why: null };
    case 'telemetry':
      return { taken: true, again: encodeTelemetry(controller.telemetry), why: null };
    case 'bad':
      return { taken: false, again: null, why: controller.why };
  }
}

/** The lines that a stream completes, found independently of the splitter: never longer than `longest` with their end. */
class IndependentCut {
  #rest = '';
  readonly #longest: number;
  constructor(longest: number) {
    this.#longest = longest;
  }
  push(text: string): string[] {
    const pieces = (this.#rest + text).split('\n');
    const rest = pieces.pop() ?? '';
    // Of a line that is too long already, more than its being so need not be remembered.
    this.#rest = rest.slice(0, this.#longest + 1);
    return pieces.filter((piece) => piece.length < this.#longest).map((piece) => (piece.endsWith('\r') ? piece.slice(0, -1) : piece)).filter((piece) => piece !== '');
  }
}

function collectGarbage(): () => void {
  setFlagsFromString('--expose-gc');
  return runInNewContext('gc') as () => void;
}

/** Throws `lines` damaged lines at decoders, link and controller. Deterministic from `seed`, memory figures apart. */
export async function fuzz(lines: number, seed: number, progress: (done: number) => void = () => undefined): Promise<FuzzReport> {
  const chance = new Chance(seed);
  const gc = collectGarbage();
  const memory = () => {
    gc();
    const { heapUsed, arrayBuffers } = process.memoryUsage();
    return heapUsed + arrayBuffers;
  };
  const violations: string[] = [];
  const broken = (text: string) => {
    if (violations.length < 20) violations.push(text);
  };

  const byMutation: Record<string, number> = {};
  const bad: Record<BadLine, number> = { 'too-long': 0, 'not-printable': 0, 'no-checksum': 0, 'wrong-checksum': 0, form: 0 };
  let accepted = 0;
  let acceptedThoughChanged = 0;
  const judge = (text: string) => {
    const { taken, again, why } = sayAgain(text);
    if (why !== null) bad[why] += 1;
    if (!taken) return;
    accepted += 1;
    if (!hasRightChecksum(text)) broken(`accepted with a wrong checksum: ${JSON.stringify(text)}`);
    if (again !== null && again !== text + '\n') broken(`accepted, and means ${JSON.stringify(again)}: ${JSON.stringify(text)}`);
    if (!whole.has(text)) acceptedThoughChanged += 1;
  };
  const splitter = new LineSplitter(LONGEST_TO_HOST, judge);

  // A link whose far end throws damaged lines at it, and in between answers what it asks.
  const clock = new VirtualClock(0);
  let events: ChannelEvents | null = null;
  let answerNext = true;
  const linkCut = new IndependentCut(LONGEST_TO_HOST);
  let linkLines = 0;
  let linkWhole = 0;
  const toLink = (text: string) => {
    for (const line of linkCut.push(text)) {
      linkLines += 1;
      if (hasRightChecksum(line)) linkWhole += 1;
    }
    // Cut anywhere, as a driver hands it over.
    const bytes = Buffer.from(text, 'latin1');
    const cut = chance.below(bytes.length + 1);
    events?.onBytes(bytes.subarray(0, cut));
    events?.onBytes(bytes.subarray(cut));
  };
  const channel: Channel = {
    description: 'fuzz',
    open: (given) => {
      events = given;
      return Promise.resolve({ ok: true });
    },
    write: (bytes) => {
      const heard = decodeFromHost(Buffer.from(bytes).toString('latin1').trimEnd());
      if (heard.kind !== 'request' || !answerNext) return;
      if (heard.request.word === 'hello') {
        toLink('\n' + encodeReply(heard.seq, { word: 'hello', token: heard.request.token, protocol: 1, model: 'm', serial: 's', firmware: 'f', boot: 'b', channels: 1 }));
      } else if (heard.request.word === 'alive' || heard.request.word === 'halt') {
        toLink('\n' + encodeReply(heard.seq, { word: heard.request.word }));
      }
    },
    close: () => Promise.resolve(),
  };
  const opened = await Link.open(channel, {
    clock,
    replyTimeoutMs: 5,
    heartbeatMs: 50,
    silenceMs: 1000,
    onTelemetry: () => undefined,
    onDown: (reason) => {
      broken(`the link went down: ${reason}`);
    },
  });
  if (!opened.ok) throw new Error(opened.text);
  const { link } = opened;
  await link.request({ word: 'hello', token: 'fuzz' }, { deadlineMs: 100 });
  let requestsAnswered = 0;

  // A controller that is told all sorts of things.
  let said = '';
  const bench = new SimulatedBench(scenarioSchema.parse({ scenarioVersion: 1, seed }), (bytes) => {
    said += Buffer.from(bytes).toString('latin1');
  });
  const benchCut = new IndependentCut(LONGEST_TO_CONTROLLER);
  let benchLines = 0;
  let benchWhole = 0;
  let benchAnswers = 0;
  let benchUs = 0;
  const toBench = (text: string) => {
    for (const line of benchCut.push(text)) {
      benchLines += 1;
      if (hasRightChecksum(line)) benchWhole += 1;
    }
    bench.receive(Buffer.from(text, 'latin1'));
    if (said === '') return;
    for (const line of said.trimEnd().split('\n')) {
      if (!hasRightChecksum(line)) broken(`the controller said ${JSON.stringify(line)}`);
      if (!line.startsWith('.')) benchAnswers += 1;
    }
    said = '';
  };

  const names = Object.keys(mutations);
  let memoryEarly = 0;
  for (let i = 0; i < lines; i += 1) {
    const isFromHost = chance.below(2) === 0;
    const line = chance.of(isFromHost ? fromHost : fromController);
    const name = chance.of(names);
    byMutation[name] = (byMutation[name] ?? 0) + 1;
    const damaged = (mutations[name] ?? flipBits)(line, chance);
    splitter.push(Buffer.from(damaged, 'latin1'));
    // Some of everything goes to the wrong end too.
    if (isFromHost !== (chance.below(20) === 0)) toBench(damaged);
    else toLink(damaged);

    if (i % LINES_PER_STEP === 0) {
      answerNext = chance.below(4) > 0;
      const asked = link.request({ word: 'halt' }, { deadlineMs: 20 });
      benchUs += 20_000;
      bench.advanceTo(benchUs);
      await wait(clock, 1);
      answerNext = true;
      const answer = await asked;
      if (answer.kind === 'reply') requestsAnswered += 1;
      progress(i);
    }
    if (i === Math.floor(lines / 10)) memoryEarly = memory();
  }
  const memoryEnd = memory();
  bad['too-long'] += splitter.overlong;

  const { telemetry: frames, replies, staleAnswers, badLines } = link.statistics;
  const taken = frames + replies + staleAnswers;
  const linkBad = Object.values(badLines).reduce((a, b) => a + b, 0);
  if (taken > linkWhole) broken(`the link took ${taken} lines, and only ${linkWhole} had a right checksum`);
  if (benchAnswers > benchWhole) broken(`the controller gave ${benchAnswers} answers to ${benchWhole} lines with a right checksum`);
  if (memoryEnd - memoryEarly > MAX_GROWTH_BYTES) broken(`memory grew by ${((memoryEnd - memoryEarly) / 1e6).toFixed(1)} MB`);

  // Both ends are as good as new.
  toLink('\n');
  if ((await link.request({ word: 'halt' }, { deadlineMs: 100 })).kind !== 'reply') broken('the link does not work any more');
  toBench('\n');
  const before = benchAnswers;
  toBench(encodeRequest(500, { word: 'hello', token: 'after' }));
  toBench(encodeRequest(501, { word: 'safe' }));
  if (benchAnswers !== before + 2) broken('the controller does not answer any more');
  await link.close();
  clock.stop();
  return {
    lines, byMutation, accepted, acceptedThoughChanged, bad,
    link: { lines: linkLines, taken, bad: linkBad, requestsAnswered },
    controller: { lines: benchLines, whole: benchWhole, answers: benchAnswers },
    memoryEarly, memoryEnd, violations,
  };
}

function print(report: FuzzReport): void {
  const row = (label: string, value: number | string) => process.stdout.write(`  ${label.padEnd(52)} ${String(value).padStart(10)}\n`);
  process.stdout.write(`${report.lines} damaged lines\n`);
  for (const [name, count] of Object.entries(report.byMutation)) row(name, count);
  process.stdout.write('decoders\n');
  row('accepted', report.accepted);
  row('  of these unlike any line sent, checksum right', report.acceptedThoughChanged);
  for (const [why, count] of Object.entries(report.bad)) row(`not taken: ${why}`, count);
  process.stdout.write('link\n');
  row('lines', report.link.lines);
  row('taken', report.link.taken);
  row('not taken', report.link.bad);
  row('its own requests answered in between', report.link.requestsAnswered);
  process.stdout.write('controller\n');
  row('lines', report.controller.lines);
  row('with a right checksum', report.controller.whole);
  row('answers', report.controller.answers);
  process.stdout.write('memory after garbage collection, MB\n');
  row('after a tenth', (report.memoryEarly / 1e6).toFixed(2));
  row('at the end', (report.memoryEnd / 1e6).toFixed(2));
  process.stdout.write('promises\n');
  row('accepted with a wrong checksum, crashes, other breaches', report.violations.length);
  for (const text of report.violations) process.stdout.write(`  BROKEN: ${text}\n`);
}

export async function showFuzz([lines = '1000000', seed = '1']: readonly string[]): Promise<boolean> {
  const report = await fuzz(Number(lines), Number(seed));
  print(report);
  return report.violations.length === 0;
}
