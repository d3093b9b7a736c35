/**
 * What the two ends say to each other, as types. All numbers are integers in the unit that the field names, exactly as
 * they stand on the wire; `README.md` in this folder's parent is the specification. And the one place where a message
 * becomes a line and a line a message. Each field is written once, in the tables below: types, lines and their reading come from them.
 */
import { frameSignals, furtherSignals, wireReadingOf } from '../../app/bench/readings.ts';
import type { AnalogInput, WireReadings } from '../../app/bench/readings.ts';
import { checkLine, LineReader, LONGEST_TO_CONTROLLER, LONGEST_TO_HOST, MARK, sealLine, TAIL, textField, U16, U32, type BadLine } from './codec.ts';
import { choice, FieldTable, flag, i32, integer, keyed, list, name, nameOrNone, u16, u32, u48, type Fields, type Kind, type Said } from './fields.ts';

/** Longest values of named fields, in characters (LINE-8). */
const TOKEN = 16;
const NAME = 24;
const BOOT = 8;
const CODE = 24;
const TEXT = 120;
const LIST = 120;
/** What a request has room for. */
const SHORT_LIST = 88;

/** The analog inputs of a controller, in the order of the line (LINE-91). */
export const INPUTS = frameSignals.map(({ input }) => input);
export type Input = AnalogInput;

/** What an input stands for at 0 V and at the reference: mV, mA, Pa, or thousandths of a degree. */
export interface Scale {
  readonly zero: number;
  readonly full: number;
}

const list120 = list(LIST, NAME);

/** Two fields for each input. */
const scales: Kind<Readonly<Record<Input, Scale>>> = {
  write: (_, of) => frameSignals.map(({ input, wireUnit }) => i32.write(` ${input}-zero-${wireUnit}=`, of[input].zero) + i32.write(` ${input}-full-${wireUnit}=`, of[input].full)).join(''),
  read: (line) => Object.fromEntries(frameSignals.map(({ input, wireUnit }) => [input, { zero: i32.read(line, ` ${input}-zero-${wireUnit}=`), full: i32.read(line, ` ${input}-full-${wireUnit}=`) }])) as Record<Input, Scale>,
};

/** The topics of version 1, and those of the extensions (LINE-81). */
const descriptionFields = {
  timing: { tickNs: integer(1, U32), minWidthNs: u32, maxWidthNs: u32, minPeriodUs: u32, maxPeriodUs: u32, maxCount: u32 },
  supply: { minMv: u32, maxMv: u32, safeMv: u32 },
  pressure: { commandable: flag, minPa: u32, maxPa: u32 },
  safety: {
    deadmanMinMs: u32, deadmanMaxMs: u32, telemetryMaxHz: integer(1, U16),
    /** Above these the controller makes safe by itself and latches a fault (LINE-61). */
    tripMa: u32, tripPa: u32, tripMilliC: u32,
    /** Names in bit order. */
    interlocks: list120,
  },
  /** Names; a host lives with those that it does not know. */
  extensions: { extensions: list120 },
  /** Which of these outputs there are. */
  rail: { pump: flag, relief: flag, shutOff: flag },
  watch: { idleMa: u32, idleEdges: u32, idleMs: u32, frozenMs: u32, sensorLowPermille: integer(0, 1_000), sensorHighPermille: integer(0, 1_000), meterMaxHz: integer(1, U32) },
  /** `cause`: `power-on`, `brown-out`, `watchdog`, `button`, `unknown`, or one that this version does not know. */
  health: { badLines: u32, byteErrors: u32, starts: u32, cause: name(NAME), stackFree: u32 },
  /** `stored`: they come from the controller's non-volatile memory, and not from its program. */
  calibration: { scales, stored: flag },
} as const satisfies Readonly<Record<string, Fields>>;

type Topic = keyof typeof descriptionFields;
const topics = Object.keys(descriptionFields) as readonly Topic[];

const requestFields = {
  /** Opens a conversation: forgets earlier sequence numbers. `token` is echoed, so that an old answer is not taken for this one. */
  hello: { token: name(TOKEN) },
  describe: { topic: choice(topics, NAME) },
  /** Feeds the dead-man and nothing else. */
  alive: {},
  deadman: { ms: u32 },
  telemetry: { hz: u32 },
  arm: {},
  safe: {},
  supply: { mv: u32 },
  pressure: { pa: u32 },
  burst: { channel: u32, widthNs: u32, periodUs: u32, count: u32 },
  halt: {},
  clear: {},
  /** Words of the extension `rail` (LINE-83 to LINE-86). `rail` itself only asks how its outputs stand. */
  rail: {},
  pump: { on: flag },
  'shut-off': { shut: flag },
  'keep-pressure': {},
  /** What the burst drives (LINE-90). */
  echo: {},
  calibrate: { input: choice(INPUTS, NAME), zero: i32, full: i32 },
  /** Signals beyond LINE-41 that frames are to carry (LINE-114). */
  signals: { names: list(SHORT_LIST, NAME) },
} as const satisfies Readonly<Record<string, Fields>>;

type Word = keyof typeof requestFields;

/** Every other request is answered with its own word alone, `describe` by its topic. */
const replyFields = {
  hello: { token: name(TOKEN), protocol: u16, model: name(NAME), serial: name(NAME), firmware: name(NAME), boot: name(BOOT), channels: integer(1, U16) },
  /** The number that the new burst got, and the width that it drives. */
  burst: { number: integer(1, U32), widthNs: u32 },
  /**
   * How the outputs of the rail are commanded at this moment. `relieved`: the normally open relief valve stands open; `shut`: the
   * shut-off valve between regulator and rail is shut; `keeping`: disarmed, and the pressure kept on request.
   */
  rail: { pumping: flag, relieved: flag, shut: flag, keeping: flag },
  /** As it stands at the outputs; all 0 before the first burst. */
  echo: { number: u32, channel: u32, widthNs: u32, periodUs: u32, count: u32 },
  /** Those of the names asked for that the frames carry from now on. */
  signals: { names: list(SHORT_LIST, NAME) },
} as const satisfies Readonly<Partial<Record<Word, Fields>>>;

const beforeReadings = { atUs: u48, frame: u48, boot: name(BOOT) };
const afterReadings = {
  edges: u48, lastEdgeUs: keyed('edge-us', u48), burst: u32, active: flag, commanded: u32, done: u32, armed: flag,
  /** '' when no fault is latched. */
  fault: nameOrNone(CODE),
  interlocks: u16,
};

type OneOf<T> = T[keyof T];

export type Request = OneOf<{ readonly [W in Word]: { readonly word: W } & Said<(typeof requestFields)[W]> }>;

type Description = OneOf<{ readonly [T in Topic]: { readonly word: 'describe'; readonly topic: T } & Said<(typeof descriptionFields)[T]> }>;

export type Reply =
  | Description
  | OneOf<{ readonly [W in keyof typeof replyFields]: { readonly word: W } & Said<(typeof replyFields)[W]> }>
  | { readonly word: Exclude<Word, 'describe' | keyof typeof replyFields> };

/** The codes of LINE-22. A host must live with others too. */
export type RefusalCode =
  | 'unknown' | 'form' | 'no-hello' | 'stale' | 'range' | 'unsupported' | 'fault' | 'interlock' | 'not-armed' | 'busy';

export interface Refusal {
  /** `unknown`: the request's word was none of the specification's. */
  readonly word: Word | 'unknown';
  /** A `RefusalCode`, or one that this version does not know. */
  readonly code: string;
  readonly text: string;
}

/** A frame as it stands on the line. */
export type Telemetry = Said<typeof beforeReadings> & WireReadings & Said<typeof afterReadings>;

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

const tablesOf = <K extends string>(of: Readonly<Record<K, Fields>>): ReadonlyMap<string, FieldTable<Fields>> =>
  new Map(Object.entries<Fields>(of).map(([key, fields]) => [key, new FieldTable(fields)]));

const requestTables = tablesOf(requestFields);
const replyTables = tablesOf(replyFields);
const descriptionTables = tablesOf(descriptionFields);
const frameTable = new FieldTable({
  ...beforeReadings,
  ...Object.fromEntries(frameSignals.map(({ field, key }) => [field, keyed(key, i32)])),
  ...afterReadings,
});
const noFields = new FieldTable({});

const isWord = (word: string): word is Word => requestTables.has(word);

/** A request as it goes on the line, LF included. `seq` 0 to 65535. Throws RangeError for values the line cannot carry. */
export function encodeRequest(seq: number, request: Request): string {
  return sealLine(`${u16.write(`${MARK.request} `, seq)} ${request.word}${(requestTables.get(request.word) ?? noFields).write(request)}`);
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
  const request = { word, ...requestTables.get(word)?.read(line) } as Request;
  if (!line.complete()) return { kind: 'unfit', seq, word, code: 'form' };
  return { kind: 'request', seq, request };
}

/** A reply as it goes on the line, LF included. Throws RangeError for values the line cannot carry. */
export function encodeReply(seq: number, reply: Reply): string {
  const begin = `${u16.write(`${MARK.reply} `, seq)} ${reply.word}`;
  return reply.word === 'describe'
    ? sealLine(`${begin} topic=${reply.topic}${(descriptionTables.get(reply.topic) ?? noFields).write(reply)}`)
    : sealLine(`${begin}${(replyTables.get(reply.word) ?? noFields).write(reply)}`);
}

export function encodeRefusal(seq: number, refusal: Refusal): string {
  return sealLine(
    `${u16.write(`${MARK.refusal} `, seq)} ${refusal.word}${name(CODE).write(' code=', refusal.code)} text=${textField(refusal.text, TEXT)}`,
  );
}

/** The sequence number of a telemetry line is its frame number modulo 65536 (LINE-40). */
export function encodeTelemetry(t: Telemetry): string {
  let body = `${MARK.telemetry} ${t.frame % 65536}${frameTable.write(t)}`;
  for (const { field, key } of furtherSignals) {
    const reading = wireReadingOf(t, field);
    if (reading === undefined) continue;
    const more = i32.write(` ${key}=`, reading);
    if (body.length + more.length + TAIL < LONGEST_TO_HOST) body += more;
  }
  return sealLine(body);
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

/** Further signals may each be there or not, in the order of the table (LINE-114). */
function readTelemetry(line: LineReader): Telemetry {
  const telemetry = frameTable.read(line) as Telemetry;
  for (const { field, key } of furtherSignals) {
    if (line.isAt(` ${key}=`)) (telemetry as Record<string, unknown>)[field] = i32.read(line, ` ${key}=`);
  }
  return telemetry;
}

function readReply(line: LineReader): Reply | null {
  const word = line.name(' ', NAME);
  if (!isWord(word)) return null;
  if (word !== 'describe') return { word, ...replyTables.get(word)?.read(line) } as Reply;
  const topic = line.name(' topic=', NAME);
  const table = descriptionTables.get(topic);
  return table === undefined ? null : ({ word, topic, ...table.read(line) } as Reply);
}
