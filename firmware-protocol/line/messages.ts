/**
 * What the two ends say to each other, as types. All numbers are integers in the unit that the field names, exactly as
 * they stand on the wire; `README.md` in this folder's parent is the specification. And the one place where a message
 * becomes a line and a line a message.
 */
import {
  checkLine, I32, integerField, LineReader, LONGEST_TO_CONTROLLER, LONGEST_TO_HOST, MARK, nameField, sealLine, textField,
  U16, U32, U48, type BadLine,
} from './codec.ts';

/** Stands for an empty value, because a value is never empty (LINE-8). */
const NOTHING = 'none';

/** The topics of version 1, and those of the extensions (LINE-81). */
type Topic = 'timing' | 'supply' | 'pressure' | 'safety' | 'extensions' | 'rail' | 'watch' | 'health' | 'calibration';

/** The analog inputs of a controller, in the order of the line (LINE-91). */
export const INPUTS = ['supply', 'current', 'pressure', 'rail', 'meter'] as const;
export type Input = (typeof INPUTS)[number];

/** What an input stands for at 0 V and at the reference: mV, mA, Pa, or thousandths of a degree. */
export interface Scale {
  readonly zero: number;
  readonly full: number;
}

export type Request =
  /** Opens a conversation: forgets earlier sequence numbers. `token` is echoed, so that an old answer is not taken for this one. */
  | { readonly word: 'hello'; readonly token: string }
  | { readonly word: 'describe'; readonly topic: Topic }
  /** Feeds the dead-man and nothing else. */
  | { readonly word: 'alive' }
  | { readonly word: 'deadman'; readonly ms: number }
  | { readonly word: 'telemetry'; readonly hz: number }
  | { readonly word: 'arm' }
  | { readonly word: 'safe' }
  | { readonly word: 'supply'; readonly mv: number }
  | { readonly word: 'pressure'; readonly pa: number }
  | {
      readonly word: 'burst';
      readonly channel: number;
      readonly widthNs: number;
      readonly periodUs: number;
      readonly count: number;
    }
  | { readonly word: 'halt' }
  | { readonly word: 'clear' }
  /** Words of the extension `rail` (LINE-83 to LINE-86). `rail` itself only asks how its outputs stand. */
  | { readonly word: 'rail' }
  | { readonly word: 'pump'; readonly on: boolean }
  | { readonly word: 'shut-off'; readonly shut: boolean }
  | { readonly word: 'keep-pressure' }
  /** What the burst drives (LINE-90). */
  | { readonly word: 'echo' }
  | ({ readonly word: 'calibrate'; readonly input: Input } & Scale);

export type Reply =
  | {
      readonly word: 'hello';
      readonly token: string;
      readonly protocol: number;
      readonly model: string;
      readonly serial: string;
      readonly firmware: string;
      readonly boot: string;
      readonly channels: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'timing';
      readonly tickNs: number;
      readonly minWidthNs: number;
      readonly maxWidthNs: number;
      readonly minPeriodUs: number;
      readonly maxPeriodUs: number;
      readonly maxCount: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'supply';
      readonly minMv: number;
      readonly maxMv: number;
      readonly safeMv: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'pressure';
      readonly commandable: boolean;
      readonly minPa: number;
      readonly maxPa: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'safety';
      readonly deadmanMinMs: number;
      readonly deadmanMaxMs: number;
      readonly telemetryMaxHz: number;
      /** Above these the controller makes safe by itself and latches a fault (LINE-61). */
      readonly tripMa: number;
      readonly tripPa: number;
      readonly tripMilliC: number;
      /** Names in bit order. */
      readonly interlocks: readonly string[];
    }
  | {
      readonly word: 'describe';
      readonly topic: 'extensions';
      /** Names; a host lives with those that it does not know. */
      readonly extensions: readonly string[];
    }
  | {
      readonly word: 'describe';
      readonly topic: 'rail';
      /** Which of these outputs there are. */
      readonly pump: boolean;
      readonly relief: boolean;
      readonly shutOff: boolean;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'watch';
      readonly idleMa: number;
      readonly idleEdges: number;
      readonly idleMs: number;
      readonly frozenMs: number;
      readonly sensorLowPermille: number;
      readonly sensorHighPermille: number;
      readonly meterMaxHz: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'health';
      readonly badLines: number;
      readonly byteErrors: number;
      readonly starts: number;
      /** `power-on`, `brown-out`, `watchdog`, `button`, `unknown`, or one that this version does not know. */
      readonly cause: string;
      readonly stackFree: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'calibration';
      readonly scales: Readonly<Record<Input, Scale>>;
      /** They come from the controller's non-volatile memory, and not from its program. */
      readonly stored: boolean;
    }
  | {
      readonly word: 'echo';
      /** All 0 before the first burst. */
      readonly number: number;
      /** As it stands at the outputs. */
      readonly channel: number;
      readonly widthNs: number;
      readonly periodUs: number;
      readonly count: number;
    }
  /** How the outputs of the rail are commanded at this moment. */
  | {
      readonly word: 'rail';
      readonly pumping: boolean;
      /** The normally open relief valve stands open. */
      readonly relieved: boolean;
      /** The shut-off valve between regulator and rail is shut. */
      readonly shut: boolean;
      /** Disarmed, and the pressure kept on request. */
      readonly keeping: boolean;
    }
  /** Every other request is answered with its own word; `burst` also with the number that the new burst got. */
  | { readonly word: 'burst'; readonly number: number; readonly widthNs: number }
  | { readonly word: Exclude<Request['word'], 'hello' | 'describe' | 'burst' | 'rail' | 'echo'> };

type Description = Extract<Reply, { word: 'describe' }>;

/** The codes of LINE-22. A host must live with others too. */
export type RefusalCode =
  | 'unknown' | 'form' | 'no-hello' | 'stale' | 'range' | 'unsupported' | 'fault' | 'interlock' | 'not-armed' | 'busy';

export interface Refusal {
  /** `unknown`: the request's word was none of the specification's. */
  readonly word: Request['word'] | 'unknown';
  /** A `RefusalCode`, or one that this version does not know. */
  readonly code: string;
  readonly text: string;
}

export interface Telemetry {
  readonly atUs: number;
  readonly frame: number;
  readonly boot: string;
  readonly supplyMv: number;
  readonly currentMa: number;
  readonly pressurePa: number;
  readonly railMilliC: number;
  readonly meterMilliC: number;
  readonly edges: number;
  readonly lastEdgeUs: number;
  readonly burst: number;
  readonly active: boolean;
  readonly commanded: number;
  readonly done: number;
  readonly armed: boolean;
  /** '' when no fault is latched. */
  readonly fault: string;
  readonly interlocks: number;
}

/** Longest values of named fields, in characters (LINE-8). */
const TOKEN = 16;
const NAME = 24;
const BOOT = 8;
const CODE = 24;
const TEXT = 120;
const LIST = 120;

/** What the controller reads out of a line that came from the host. */
export type FromHost =
  | { readonly kind: 'request'; readonly seq: number; readonly request: Request }
  /** The line is whole but says nothing that can be done: it is to be refused with this code (LINE-20). */
  | { readonly kind: 'unfit'; readonly seq: number; readonly word: Refusal['word']; readonly code: 'unknown' | 'form' }
  | { readonly kind: 'bad'; readonly why: BadLine };

/** What the host reads out of a line that came from the controller. */
export type FromController =
  | { readonly kind: 'reply'; readonly seq: number; readonly reply: Reply }
  | { readonly kind: 'refusal'; readonly seq: number; readonly refusal: Refusal }
  | { readonly kind: 'telemetry'; readonly seq: number; readonly telemetry: Telemetry }
  | { readonly kind: 'bad'; readonly why: BadLine };

const words: ReadonlySet<string> = new Set<Request['word']>([
  'hello', 'describe', 'alive', 'deadman', 'telemetry', 'arm', 'safe', 'supply', 'pressure', 'burst', 'halt', 'clear', 'rail', 'pump',
  'shut-off', 'keep-pressure', 'echo', 'calibrate',
]);

function isWord(word: string): word is Request['word'] {
  return words.has(word);
}

const topics: ReadonlySet<string> = new Set<Topic>(['timing', 'supply', 'pressure', 'safety', 'extensions', 'rail', 'watch', 'health', 'calibration']);

const inputs: ReadonlySet<string> = new Set<Input>(INPUTS);

function isInput(input: string): input is Input {
  return inputs.has(input);
}

const unitOf: Readonly<Record<Input, string>> = { supply: 'mv', current: 'ma', pressure: 'pa', rail: 'mdegc', meter: 'mdegc' };

function isTopic(topic: string): topic is Topic {
  return topics.has(topic);
}

/** A request as it goes on the line, LF included. `seq` 0 to 65535. Throws RangeError for values the line cannot carry. */
export function encodeRequest(seq: number, request: Request): string {
  return sealLine(`${MARK.request} ${integerField(seq, 0, U16)} ${requestBody(request)}`);
}

function requestBody(request: Request): string {
  switch (request.word) {
    case 'hello':
      return `hello token=${nameField(request.token, TOKEN)}`;
    case 'describe':
      return `describe topic=${request.topic}`;
    case 'deadman':
      return `deadman ms=${integerField(request.ms, 0, U32)}`;
    case 'telemetry':
      return `telemetry hz=${integerField(request.hz, 0, U32)}`;
    case 'supply':
      return `supply mv=${integerField(request.mv, 0, U32)}`;
    case 'pressure':
      return `pressure pa=${integerField(request.pa, 0, U32)}`;
    case 'burst':
      return (
        `burst channel=${integerField(request.channel, 0, U32)} width-ns=${integerField(request.widthNs, 0, U32)}` +
        ` period-us=${integerField(request.periodUs, 0, U32)} count=${integerField(request.count, 0, U32)}`
      );
    case 'pump':
      return `pump on=${flag(request.on)}`;
    case 'shut-off':
      return `shut-off shut=${flag(request.shut)}`;
    case 'calibrate':
      return `calibrate input=${request.input} zero=${integerField(request.zero, -I32, I32)} full=${integerField(request.full, -I32, I32)}`;
    case 'alive':
    case 'arm':
    case 'safe':
    case 'halt':
    case 'clear':
    case 'rail':
    case 'keep-pressure':
    case 'echo':
      return request.word;
  }
}

/** `text`: one line without its LF. */
export function decodeFromHost(text: string): FromHost {
  const why = checkLine(text, LONGEST_TO_CONTROLLER);
  if (why !== null) return { kind: 'bad', why };
  const line = new LineReader(text);
  const mark = line.mark();
  const seq = line.integer(' ', 0, U16);
  if (mark !== MARK.request || line.failed) return { kind: 'bad', why: 'form' };
  const word = line.name(' ', NAME);
  if (!isWord(word)) return { kind: 'unfit', seq, word: 'unknown', code: 'unknown' };
  const request = readRequest(line, word);
  if (request === null || !line.complete()) return { kind: 'unfit', seq, word, code: 'form' };
  return { kind: 'request', seq, request };
}

function readRequest(line: LineReader, word: Request['word']): Request | null {
  switch (word) {
    case 'hello':
      return { word, token: line.name(' token=', TOKEN) };
    case 'describe': {
      const topic = line.name(' topic=', NAME);
      return isTopic(topic) ? { word, topic } : null;
    }
    case 'deadman':
      return { word, ms: line.integer(' ms=', 0, U32) };
    case 'telemetry':
      return { word, hz: line.integer(' hz=', 0, U32) };
    case 'supply':
      return { word, mv: line.integer(' mv=', 0, U32) };
    case 'pressure':
      return { word, pa: line.integer(' pa=', 0, U32) };
    case 'burst':
      return {
        word,
        channel: line.integer(' channel=', 0, U32),
        widthNs: line.integer(' width-ns=', 0, U32),
        periodUs: line.integer(' period-us=', 0, U32),
        count: line.integer(' count=', 0, U32),
      };
    case 'pump':
      return { word, on: line.flag(' on=') };
    case 'shut-off':
      return { word, shut: line.flag(' shut=') };
    case 'calibrate': {
      const input = line.name(' input=', NAME);
      const scale = { zero: line.integer(' zero=', -I32, I32), full: line.integer(' full=', -I32, I32) };
      return isInput(input) ? { word, input, ...scale } : null;
    }
    case 'alive':
    case 'arm':
    case 'safe':
    case 'halt':
    case 'clear':
    case 'rail':
    case 'keep-pressure':
    case 'echo':
      return { word };
  }
}

/** A reply as it goes on the line, LF included. Throws RangeError for values the line cannot carry. */
export function encodeReply(seq: number, reply: Reply): string {
  return sealLine(`${MARK.reply} ${integerField(seq, 0, U16)} ${replyBody(reply)}`);
}

function replyBody(reply: Reply): string {
  switch (reply.word) {
    case 'hello':
      return (
        `hello token=${nameField(reply.token, TOKEN)} protocol=${integerField(reply.protocol, 0, U16)}` +
        ` model=${nameField(reply.model, NAME)} serial=${nameField(reply.serial, NAME)}` +
        ` firmware=${nameField(reply.firmware, NAME)} boot=${nameField(reply.boot, BOOT)}` +
        ` channels=${integerField(reply.channels, 1, U16)}`
      );
    case 'describe':
      return `describe topic=${reply.topic} ${descriptionBody(reply)}`;
    case 'burst':
      return `burst number=${integerField(reply.number, 1, U32)} width-ns=${integerField(reply.widthNs, 0, U32)}`;
    case 'rail':
      return `rail pumping=${flag(reply.pumping)} relieved=${flag(reply.relieved)} shut=${flag(reply.shut)} keeping=${flag(reply.keeping)}`;
    case 'echo':
      return (
        `echo number=${integerField(reply.number, 0, U32)} channel=${integerField(reply.channel, 0, U32)}` +
        ` width-ns=${integerField(reply.widthNs, 0, U32)} period-us=${integerField(reply.periodUs, 0, U32)} count=${integerField(reply.count, 0, U32)}`
      );
    case 'alive':
    case 'deadman':
    case 'telemetry':
    case 'arm':
    case 'safe':
    case 'supply':
    case 'pressure':
    case 'halt':
    case 'clear':
    case 'pump':
    case 'shut-off':
    case 'keep-pressure':
    case 'calibrate':
      return reply.word;
  }
}

function descriptionBody(reply: Description): string {
  switch (reply.topic) {
    case 'timing':
      return (
        `tick-ns=${integerField(reply.tickNs, 1, U32)} min-width-ns=${integerField(reply.minWidthNs, 0, U32)}` +
        ` max-width-ns=${integerField(reply.maxWidthNs, 0, U32)} min-period-us=${integerField(reply.minPeriodUs, 0, U32)}` +
        ` max-period-us=${integerField(reply.maxPeriodUs, 0, U32)} max-count=${integerField(reply.maxCount, 0, U32)}`
      );
    case 'supply':
      return (
        `min-mv=${integerField(reply.minMv, 0, U32)} max-mv=${integerField(reply.maxMv, 0, U32)}` +
        ` safe-mv=${integerField(reply.safeMv, 0, U32)}`
      );
    case 'pressure':
      return (
        `commandable=${flag(reply.commandable)} min-pa=${integerField(reply.minPa, 0, U32)}` +
        ` max-pa=${integerField(reply.maxPa, 0, U32)}`
      );
    case 'extensions':
      return `extensions=${listField(reply.extensions)}`;
    case 'rail':
      return `pump=${flag(reply.pump)} relief=${flag(reply.relief)} shut-off=${flag(reply.shutOff)}`;
    case 'watch':
      return (
        `idle-ma=${integerField(reply.idleMa, 0, U32)} idle-edges=${integerField(reply.idleEdges, 0, U32)} idle-ms=${integerField(reply.idleMs, 0, U32)}` +
        ` frozen-ms=${integerField(reply.frozenMs, 0, U32)} sensor-low-permille=${integerField(reply.sensorLowPermille, 0, 1_000)}` +
        ` sensor-high-permille=${integerField(reply.sensorHighPermille, 0, 1_000)} meter-max-hz=${integerField(reply.meterMaxHz, 1, U32)}`
      );
    case 'health':
      return (
        `bad-lines=${integerField(reply.badLines, 0, U32)} byte-errors=${integerField(reply.byteErrors, 0, U32)} starts=${integerField(reply.starts, 0, U32)}` +
        ` cause=${nameField(reply.cause, NAME)} stack-free=${integerField(reply.stackFree, 0, U32)}`
      );
    case 'calibration':
      return `${INPUTS.map((input) => scaleFields(input, reply.scales[input])).join(' ')} stored=${flag(reply.stored)}`;
    case 'safety':
      return (
        `deadman-min-ms=${integerField(reply.deadmanMinMs, 0, U32)} deadman-max-ms=${integerField(reply.deadmanMaxMs, 0, U32)}` +
        ` telemetry-max-hz=${integerField(reply.telemetryMaxHz, 1, U16)} trip-ma=${integerField(reply.tripMa, 0, U32)}` +
        ` trip-pa=${integerField(reply.tripPa, 0, U32)} trip-mdegc=${integerField(reply.tripMilliC, 0, U32)}` +
        ` interlocks=${listField(reply.interlocks)}`
      );
  }
}

function scaleFields(input: Input, { zero, full }: Scale): string {
  const unit = unitOf[input];
  return `${input}-zero-${unit}=${integerField(zero, -I32, I32)} ${input}-full-${unit}=${integerField(full, -I32, I32)}`;
}

function readScale(line: LineReader, input: Input): Scale {
  const unit = unitOf[input];
  return { zero: line.integer(` ${input}-zero-${unit}=`, -I32, I32), full: line.integer(` ${input}-full-${unit}=`, -I32, I32) };
}

function flag(set: boolean): string {
  return set ? '1' : '0';
}

/** Names separated by commas; `none` for no name at all. */
function listField(names: readonly string[]): string {
  const list = names.map((name) => nameField(name, NAME)).join(',');
  if (list.length > LIST) throw new RangeError('the names are too long for one line');
  return list === '' ? NOTHING : list;
}

/** null: it is no list of names. */
function readList(line: LineReader, key: string): readonly string[] | null {
  const list = line.name(key, LIST, true);
  const names = list === NOTHING ? [] : list.split(',');
  return names.some((name) => name === '' || name.length > NAME) ? null : names;
}

export function encodeRefusal(seq: number, refusal: Refusal): string {
  return sealLine(
    `${MARK.refusal} ${integerField(seq, 0, U16)} ${refusal.word} code=${nameField(refusal.code, CODE)}` +
      ` text=${textField(refusal.text, TEXT)}`,
  );
}

/** The sequence number of a telemetry line is its frame number modulo 65536 (LINE-40). */
export function encodeTelemetry(t: Telemetry): string {
  const frame = integerField(t.frame, 0, U48);
  return sealLine(
    `. ${frame % 65536} at-us=${integerField(t.atUs, 0, U48)} frame=${frame} boot=${nameField(t.boot, BOOT)}` +
      ` supply-mv=${integerField(t.supplyMv, -I32, I32)} current-ma=${integerField(t.currentMa, -I32, I32)}` +
      ` pressure-pa=${integerField(t.pressurePa, -I32, I32)} rail-mdegc=${integerField(t.railMilliC, -I32, I32)}` +
      ` meter-mdegc=${integerField(t.meterMilliC, -I32, I32)} edges=${integerField(t.edges, 0, U48)}` +
      ` edge-us=${integerField(t.lastEdgeUs, 0, U48)} burst=${integerField(t.burst, 0, U32)}` +
      ` active=${flag(t.active)} commanded=${integerField(t.commanded, 0, U32)} done=${integerField(t.done, 0, U32)}` +
      ` armed=${flag(t.armed)} fault=${t.fault === '' ? NOTHING : nameField(t.fault, CODE)}` +
      ` interlocks=${integerField(t.interlocks, 0, U16)}`,
  );
}

/** `text`: one line without its LF. */
export function decodeFromController(text: string): FromController {
  const why = checkLine(text, LONGEST_TO_HOST);
  if (why !== null) return { kind: 'bad', why };
  const line = new LineReader(text);
  const mark = line.mark();
  const seq = line.integer(' ', 0, U16);
  switch (mark) {
    case MARK.telemetry: {
      const telemetry = readTelemetry(line);
      if (line.complete() && telemetry.frame % 65536 === seq) return { kind: 'telemetry', seq, telemetry };
      break;
    }
    case MARK.reply: {
      const reply = readReply(line);
      if (line.complete() && reply !== null) return { kind: 'reply', seq, reply };
      break;
    }
    case MARK.refusal: {
      const word = line.name(' ', NAME);
      const code = line.name(' code=', CODE);
      const text = line.rest(' text=', TEXT);
      if (line.complete() && (isWord(word) || word === 'unknown')) {
        return { kind: 'refusal', seq, refusal: { word, code, text } };
      }
      break;
    }
    default:
      break;
  }
  return { kind: 'bad', why: 'form' };
}

function readTelemetry(line: LineReader): Telemetry {
  const atUs = line.integer(' at-us=', 0, U48);
  const frame = line.integer(' frame=', 0, U48);
  const boot = line.name(' boot=', BOOT);
  const supplyMv = line.integer(' supply-mv=', -I32, I32);
  const currentMa = line.integer(' current-ma=', -I32, I32);
  const pressurePa = line.integer(' pressure-pa=', -I32, I32);
  const railMilliC = line.integer(' rail-mdegc=', -I32, I32);
  const meterMilliC = line.integer(' meter-mdegc=', -I32, I32);
  const edges = line.integer(' edges=', 0, U48);
  const lastEdgeUs = line.integer(' edge-us=', 0, U48);
  const burst = line.integer(' burst=', 0, U32);
  const active = line.flag(' active=');
  const commanded = line.integer(' commanded=', 0, U32);
  const done = line.integer(' done=', 0, U32);
  const armed = line.flag(' armed=');
  const fault = line.name(' fault=', CODE);
  const interlocks = line.integer(' interlocks=', 0, U16);
  return {
    atUs, frame, boot, supplyMv, currentMa, pressurePa, railMilliC, meterMilliC, edges, lastEdgeUs, burst, active,
    commanded, done, armed, fault: fault === NOTHING ? '' : fault, interlocks,
  };
}

function readReply(line: LineReader): Reply | null {
  const word = line.name(' ', NAME);
  if (!isWord(word)) return null;
  switch (word) {
    case 'hello':
      return {
        word,
        token: line.name(' token=', TOKEN),
        protocol: line.integer(' protocol=', 0, U16),
        model: line.name(' model=', NAME),
        serial: line.name(' serial=', NAME),
        firmware: line.name(' firmware=', NAME),
        boot: line.name(' boot=', BOOT),
        channels: line.integer(' channels=', 1, U16),
      };
    case 'describe': {
      const topic = line.name(' topic=', NAME);
      return isTopic(topic) ? readDescription(line, topic) : null;
    }
    case 'burst':
      return { word, number: line.integer(' number=', 1, U32), widthNs: line.integer(' width-ns=', 0, U32) };
    case 'rail':
      return {
        word,
        pumping: line.flag(' pumping='),
        relieved: line.flag(' relieved='),
        shut: line.flag(' shut='),
        keeping: line.flag(' keeping='),
      };
    case 'echo':
      return {
        word,
        number: line.integer(' number=', 0, U32),
        channel: line.integer(' channel=', 0, U32),
        widthNs: line.integer(' width-ns=', 0, U32),
        periodUs: line.integer(' period-us=', 0, U32),
        count: line.integer(' count=', 0, U32),
      };
    case 'alive':
    case 'deadman':
    case 'telemetry':
    case 'arm':
    case 'safe':
    case 'supply':
    case 'pressure':
    case 'halt':
    case 'clear':
    case 'pump':
    case 'shut-off':
    case 'keep-pressure':
    case 'calibrate':
      return { word };
  }
}

function readDescription(line: LineReader, topic: Topic): Description | null {
  const word = 'describe';
  switch (topic) {
    case 'timing':
      return {
        word,
        topic,
        tickNs: line.integer(' tick-ns=', 1, U32),
        minWidthNs: line.integer(' min-width-ns=', 0, U32),
        maxWidthNs: line.integer(' max-width-ns=', 0, U32),
        minPeriodUs: line.integer(' min-period-us=', 0, U32),
        maxPeriodUs: line.integer(' max-period-us=', 0, U32),
        maxCount: line.integer(' max-count=', 0, U32),
      };
    case 'supply':
      return {
        word,
        topic,
        minMv: line.integer(' min-mv=', 0, U32),
        maxMv: line.integer(' max-mv=', 0, U32),
        safeMv: line.integer(' safe-mv=', 0, U32),
      };
    case 'pressure':
      return {
        word,
        topic,
        commandable: line.flag(' commandable='),
        minPa: line.integer(' min-pa=', 0, U32),
        maxPa: line.integer(' max-pa=', 0, U32),
      };
    case 'safety': {
      const numbers = {
        deadmanMinMs: line.integer(' deadman-min-ms=', 0, U32),
        deadmanMaxMs: line.integer(' deadman-max-ms=', 0, U32),
        telemetryMaxHz: line.integer(' telemetry-max-hz=', 1, U16),
        tripMa: line.integer(' trip-ma=', 0, U32),
        tripPa: line.integer(' trip-pa=', 0, U32),
        tripMilliC: line.integer(' trip-mdegc=', 0, U32),
      };
      const interlocks = readList(line, ' interlocks=');
      return interlocks === null ? null : { word, topic, ...numbers, interlocks };
    }
    case 'extensions': {
      const extensions = readList(line, ' extensions=');
      return extensions === null ? null : { word, topic, extensions };
    }
    case 'rail':
      return { word, topic, pump: line.flag(' pump='), relief: line.flag(' relief='), shutOff: line.flag(' shut-off=') };
    case 'watch':
      return {
        word,
        topic,
        idleMa: line.integer(' idle-ma=', 0, U32),
        idleEdges: line.integer(' idle-edges=', 0, U32),
        idleMs: line.integer(' idle-ms=', 0, U32),
        frozenMs: line.integer(' frozen-ms=', 0, U32),
        sensorLowPermille: line.integer(' sensor-low-permille=', 0, 1_000),
        sensorHighPermille: line.integer(' sensor-high-permille=', 0, 1_000),
        meterMaxHz: line.integer(' meter-max-hz=', 1, U32),
      };
    case 'health':
      return {
        word,
        topic,
        badLines: line.integer(' bad-lines=', 0, U32),
        byteErrors: line.integer(' byte-errors=', 0, U32),
        starts: line.integer(' starts=', 0, U32),
        cause: line.name(' cause=', NAME),
        stackFree: line.integer(' stack-free=', 0, U32),
      };
    case 'calibration': {
      const [supply, current, pressure, rail, meter] = [
        readScale(line, 'supply'), readScale(line, 'current'), readScale(line, 'pressure'), readScale(line, 'rail'), readScale(line, 'meter'),
      ];
      return { word, topic, scales: { supply, current, pressure, rail, meter }, stored: line.flag(' stored=') };
    }
  }
}
