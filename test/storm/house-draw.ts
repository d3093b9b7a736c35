/** What a seed of the whole house stands for: that of the storm of a run, and what the windows and the people before them do. */
import { requests, type RequestName } from '../../app/contract/contract.ts';
import type { RunCommand } from '../../app/journal/events.ts';
import { Chance, draw, drawUpon, drawValue, withHappenings, type Drawn, type Happening, type SchemaNode, type Sea, type Timed } from './draw.ts';

/** Stand for what is known only when it is asked: a run of this archive, the storm's plan, the record of its bench. */
export const placeholders = { run: '$run', plan: '$plan', equipment: '$equipment' } as const;

/** The bench of the storm hangs on this port. */
export const benchPort = '/dev/bench';

/** Somebody drives the bench by hand, from a window that takes control for it. Whoever waits for the run does not touch the bench meanwhile. */
export interface HandWork extends Timed {
  readonly kind: 'hand-work';
  readonly window: number;
  /** What is done about a run that is open: paused if it goes on, closed too, or nothing. */
  readonly first: 'pauses' | 'closes' | 'nothing';
  readonly volts: number;
  readonly channel: number;
  readonly widthMs: number;
  readonly count: number;
  /** From the burst to the end of it, s. */
  readonly forS: number;
  /** `left`: nobody does anything about it. The others are STOP from another window, the bench let go of or replaced, the window gone or silent for 20 s, the program ended. */
  readonly ends: 'left' | 'made-safe' | 'stopped' | 'disconnected' | 'replaced' | 'window-gone' | 'window-silent' | 'program-ended';
}

export type WindowHappening =
  /** Its page is closed, and open again later. */
  | (Timed & { readonly kind: 'window-gone'; readonly window: number; readonly forS: number })
  /** Its machine takes and gives nothing, and nobody is told. */
  | (Timed & { readonly kind: 'window-silent'; readonly window: number; readonly forS: number })
  /** Its page hangs: it reads nothing. */
  | (Timed & { readonly kind: 'window-stalled'; readonly window: number; readonly forS: number })
  | (Timed & { readonly kind: 'asked'; readonly window: number; readonly name: RequestName; readonly params: unknown })
  /** So many requests at once. */
  | (Timed & { readonly kind: 'flooded'; readonly window: number; readonly times: number })
  /** The same command under one id, by the same window or another. */
  | (Timed & { readonly kind: 'commanded-twice'; readonly window: number; readonly then: number; readonly afterS: number; readonly command: RunCommand })
  /** Text that is no request of the contract. */
  | (Timed & { readonly kind: 'misspoken'; readonly window: number; readonly text: string })
  | (Timed & { readonly kind: 'control-taken'; readonly window: number })
  | (Timed & { readonly kind: 'stop-pressed'; readonly window: number })
  | HandWork
  | (Timed & { readonly kind: 'bench-changed'; readonly window: number; readonly to: 'none' | 'simulated' | 'another-port' | 'the-same' })
  /** The program is ended as it should be, and begun again. */
  | (Timed & { readonly kind: 'host-ended'; readonly backS: number })
  | (Timed & { readonly kind: 'desk-slow'; readonly forS: number; readonly ms: number });

export type HouseHappening = Happening | WindowHappening;

export interface HouseDrawn extends Drawn {
  readonly windows: readonly WindowHappening[];
  /** Nothing happens to machine, bench and line; only people and their windows do what they do. */
  readonly fair: boolean;
}

export const windowCount = 3;

// ------------------------------------------------------------------ requests, from the contract's own schema

/** Values of fields that matter here; any other is drawn over what its schema allows. */
function drawField(schema: SchemaNode, field: string, chance: Chance): unknown {
  // The name of a bench whose qualifications are asked for; else it is a bench to connect.
  if (field === 'bench' && schema.def.type === 'nullable') return chance.of([null, 'storm 1']);
  switch (field) {
    case 'id':
      return placeholders.run;
    case 'commandId':
      return `asked-${chance.nextUint32()}`;
    case 'document':
      return chance.of<unknown>([placeholders.plan, placeholders.plan, placeholders.equipment, { typeRecordVersion: 1, type: 'storm', staticFlowGPerMin: 240 }, { nonsense: true }, null]);
    case 'visit': {
      const of = chance.of(['storm-1', 'storm-2']);
      const record = { visitVersion: 1, serialNumber: of, type: 'storm', order: '', stage: chance.of(['as-found', 'cleaned', 'as-left']), doneOn: '1999-12-31', by: 'storm', visual: 'storm', coil: null, insulation: null, leak: null, spray: '', remark: 'storm', corrects: chance.of([null, 1]) };
      return chance.of<unknown>([record, record, { nonsense: true }, null]);
    }
    case 'photos':
      return chance.strikes(0.6) ? undefined : [{ upload: 'one', name: 'storm.png', shows: '' }];
    case 'sha256':
      return '0f'.repeat(32);
    case 'path':
      return chance.of([benchPort, '/dev/another']);
    case 'scenario':
      return undefined;
    case 'attempt':
      return chance.of([null, 1, 2]);
    case 'head':
      return chance.strikes(0.5) ? undefined : `${chance.below(9)}:${'0f'.repeat(32)}`;
    case 'details':
      return chance.strikes(0.5) ? undefined : { reportDetailsVersion: 1, title: 'storm', receivedOn: '2026-02-01', conditions: [{ serialNumber: 'storm', condition: 'storm' }], limits: [{ of: 'match', quantity: 'slope', within: 1 }] };
    case 'number':
      return chance.of(['R-2026-0001', 'R-2026-0002', 'R-1999-0001']);
    case 'amends':
      return chance.strikes(0.5) ? null : { number: chance.of(['R-2026-0001', 'R-1999-0001']), reason: 'storm' };
    case 'answer':
      return chance.of([null, 'AAAA']);
    case 'stamp':
      return chance.strikes(0.5) ? undefined : 'AAAA';
    case 'reason':
      return 'storm';
    case 'basedOn':
      return schema.def.type === 'optional' && chance.strikes(0.5) ? undefined : chance.of([0, 1, 7]);
    case 'webhook':
      return chance.of([null, 'http://127.0.0.1:9/nobody']);
    case 'validUntil':
      return chance.of([null, '2027-01-31']);
    case 'upload':
      return chance.of(['one', 'another']);
    case 'of':
      // Of how many injectors a set is; else a window.
      return schema.def.type === 'number' ? chance.of([2, 4, 16]) : chance.of(['one', 'another']);
    case 'window':
    case 'writer':
      return chance.of(['one', 'another']);
    case 'content':
      return chance.of([null, { typed: 'storm' }]);
    case 'points':
      // Places of a choice of sets; else indices of a run.
      return schema.def.type === 'optional' ? undefined : [chance.below(14)];
    case 'seconds':
      return chance.of([1, 2]);
    case 'volts':
      return chance.of([0, 10, 12, 14, 90]);
    case 'kpa':
      return chance.of([0, 300, 400, 1900]);
    case 'widthMs':
      return chance.of([2, 5, 40]);
    case 'periodMs':
      return chance.of([10, 20]);
    case 'count':
      return chance.of([1, 50, 400, 100_000]);
    default: {
      const { def } = schema;
      if (def.type === 'object') {
        return Object.fromEntries(
          Object.entries(def.shape ?? {})
            .map(([name, inner]) => [name, drawField(inner, name, chance)] as const)
            .filter(([, value]) => value !== undefined),
        );
      }
      if (def.type === 'union') return drawField(chance.of(def.options ?? []), '', chance);
      if (def.type === 'optional' && def.innerType?.def.type === 'object') return chance.strikes(0.5) ? drawField(def.innerType, '', chance) : undefined;
      if (def.type === 'array' && def.element !== undefined) return [drawField(def.element, '', chance)];
      return drawValue(schema, field, chance);
    }
  }
}

const names = Object.keys(requests) as RequestName[];

/** A request that its host must understand, and its parameters with placeholders. */
export function drawRequest(name: RequestName, chance: Chance): unknown {
  return drawField(requests[name].params, '', chance);
}

const nonsense: readonly ((chance: Chance) => string)[] = [
  () => 'not json',
  () => '[]',
  () => 'null',
  (chance) => JSON.stringify({ id: 1e6 + chance.below(1e6) }),
  (chance) => JSON.stringify({ id: 1e6 + chance.below(1e6), name: 'bench.explode', params: {} }),
  (chance) => JSON.stringify({ id: 1e6 + chance.below(1e6), name: 'toString', params: {} }),
  (chance) => JSON.stringify({ id: 1e6 + chance.below(1e6), name: chance.of(names), params: { unheardOf: 1 } }),
  (chance) => JSON.stringify({ id: 1e6 + chance.below(1e6), name: chance.of(names) }),
  (chance) => JSON.stringify({ id: 1e6 + chance.below(1e6), name: chance.of(names), params: chance.of([null, 7, 'x', []]) }),
  (chance) => JSON.stringify({ id: -1 - chance.below(9), name: 'stop', params: {} }),
  () => JSON.stringify({ name: 'manual.supply', params: { volts: 12 } }),
];

// ------------------------------------------------------------------ what happens

const commands: readonly ((chance: Chance) => RunCommand)[] = [
  () => ({ kind: 'start' }),
  () => ({ kind: 'resume' }),
  () => ({ kind: 'pause-now' }),
  () => ({ kind: 'pause-at-next-point' }),
  () => ({ kind: 'acknowledge' }),
  (chance) => ({ kind: 'skip-point', point: chance.below(14) }),
  (chance) => ({ kind: 'measure-again', points: [chance.below(14)] }),
  (chance) => ({ kind: 'choose', point: chance.below(14), attempt: chance.of([null, 1]), reason: 'storm' }),
  () => ({ kind: 'abort' }),
  (chance) => ({ kind: 'note', point: chance.of([null, chance.below(14)]), attempt: chance.of([null, 1]), injector: chance.of([null, 0, 9]), text: 'storm', mark: chance.of(['note', 'look', 'settled']) }),
];

const at = (chance: Chance, spanS: number): number => Math.round(chance.uniform(0, spanS) * 1e3) / 1e3;
const lasts = (chance: Chance, low: number, high: number): number => Math.round(chance.scale(low, high) * 1e3) / 1e3;

const drawHandWork = (chance: Chance, when: Timed, first: HandWork['first'], ends: readonly HandWork['ends'][] = waysToEnd): HandWork => ({
  ...when, kind: 'hand-work', window: chance.below(windowCount), first, volts: chance.of([10, 14]), channel: 1 + chance.below(2), widthMs: chance.of([2, 5]), count: chance.of([20, 300]),
  forS: lasts(chance, 0.05, 8), ends: chance.of(ends),
});
const waysToEnd: readonly HandWork['ends'][] = ['left', 'made-safe', 'stopped', 'disconnected', 'replaced', 'window-gone', 'window-silent', 'program-ended'];

const sources: { readonly [K in WindowHappening['kind']]: (chance: Chance, spanS: number) => WindowHappening } = {
  'window-gone': (chance, spanS) => ({ kind: 'window-gone', window: chance.below(windowCount), atS: at(chance, spanS), forS: lasts(chance, 0.05, 30) }),
  'window-silent': (chance, spanS) => ({ kind: 'window-silent', window: chance.below(windowCount), atS: at(chance, spanS), forS: lasts(chance, 0.5, 40) }),
  'window-stalled': (chance, spanS) => ({ kind: 'window-stalled', window: chance.below(windowCount), atS: at(chance, spanS), forS: lasts(chance, 0.5, 90) }),
  asked: (chance, spanS) => {
    const name = chance.of(names);
    return { kind: 'asked', window: chance.below(windowCount), atS: at(chance, spanS), name, params: drawRequest(name, chance) };
  },
  flooded: (chance, spanS) => ({ kind: 'flooded', window: chance.below(windowCount), atS: at(chance, spanS), times: 50 + chance.below(350) }),
  'commanded-twice': (chance, spanS) => ({
    kind: 'commanded-twice', window: chance.below(windowCount), then: chance.below(windowCount), atS: at(chance, spanS), afterS: lasts(chance, 0.001, 5), command: chance.of(commands)(chance),
  }),
  misspoken: (chance, spanS) => ({ kind: 'misspoken', window: chance.below(windowCount), atS: at(chance, spanS), text: chance.of(nonsense)(chance) }),
  'control-taken': (chance, spanS) => ({ kind: 'control-taken', window: chance.below(windowCount), atS: at(chance, spanS) }),
  'stop-pressed': (chance, spanS) => ({ kind: 'stop-pressed', window: chance.below(windowCount), atS: at(chance, spanS) }),
  'hand-work': (chance, spanS) => drawHandWork(chance, { atS: at(chance, spanS) }, chance.of(['pauses', 'pauses', 'closes', 'closes', 'nothing'])),
  'bench-changed': (chance, spanS) => ({ kind: 'bench-changed', window: chance.below(windowCount), atS: at(chance, spanS), to: chance.of(['none', 'simulated', 'another-port', 'the-same']) }),
  'host-ended': (chance, spanS) => ({ kind: 'host-ended', atS: at(chance, spanS), backS: lasts(chance, 0.1, 10) }),
  'desk-slow': (chance, spanS) => ({ kind: 'desk-slow', atS: at(chance, spanS), forS: lasts(chance, 1, 30), ms: Math.round(chance.scale(20, 2000)) }),
};

const most: Readonly<Record<WindowHappening['kind'], number>> = {
  'window-gone': 4, 'window-silent': 2, 'window-stalled': 2, asked: 25, flooded: 1, 'commanded-twice': 3, misspoken: 4, 'control-taken': 4, 'stop-pressed': 2, 'hand-work': 4,
  'bench-changed': 2, 'host-ended': 2, 'desk-slow': 2,
};

const kinds = Object.keys(sources) as WindowHappening['kind'][];
const isOfAWindow = (one: HouseHappening): one is WindowHappening => (kinds as readonly string[]).includes(one.kind);

/** What waits for something else is over when it happens. */
const endOf = (one: WindowHappening): number =>
  (one.upon === undefined ? one.atS : 0) + (one.kind === 'hand-work' ? lentS(one) : 'forS' in one ? one.forS : 'backS' in one ? one.backS : 'afterS' in one ? one.afterS : 0);

/** How long a window is away with which work by hand is ended, s. */
export const awayS = 20;
/** From the beginning of work by hand until somebody else touches the bench, s: pausing and closing a run, supply and burst, and what comes of its end. */
export const lentS = ({ forS, ends }: HandWork): number => 12 + forS + (ends === 'window-gone' || ends === 'window-silent' ? awayS : 3);

/** Work by hand where no work by hand may be: while the run is held, and beside a run whose archive failed. Or, of people alone, its every end without a run. */
function drawHousePlot(chance: Chance, spanS: number, fair: boolean): readonly HouseHappening[] {
  const atS = at(chance, spanS);
  if (fair) return [drawHandWork(chance, { atS }, 'closes', waysToEnd.slice(2))];
  if (chance.strikes(0.3)) return foundDriven(chance);
  if (chance.strikes(0.5)) {
    const upon = { event: 'held', nth: 1 + chance.below(2) } as const;
    return [
      // While a point is measured: elsewhere the pressure is waited for.
      { kind: 'bench', upon: { word: 'burst', nth: 1 + chance.below(12) }, fault: { begins: { atS: lasts(chance, 0.05, 1) }, forS: lasts(chance, 2, 20), fault: { kind: 'pressure-loss', toKpa: 200 } } },
      drawHandWork(chance, { atS: lasts(chance, 0.05, 6), upon }, 'nothing'),
    ];
  }
  const paused = { ...drawHandWork(chance, { atS }, 'pauses', ['left', 'made-safe']), forS: 0.5 };
  const failsS = lentS(paused) - 6;
  const after = (s: number): number => Math.round((atS + failsS + s) * 1e3) / 1e3;
  return [
    paused,
    { kind: 'disk-error', commit: { fromS: after(0) }, code: 'SQLITE_FULL', where: chance.of(['statement', 'end']), forGood: chance.strikes(0.5) },
    { kind: 'asked', window: paused.window, atS: after(0.05), name: 'run.command', params: { id: placeholders.run, command: { kind: 'skip-wait' }, by: 'somebody', commandId: `full-${atS}` } },
    drawHandWork(chance, { atS: after(lasts(chance, 0.1, 5)) }, 'nothing'),
  ];
}

/** The host dies while it drives, and the next one is there, and connects the bench, before the dead-man has acted. */
function foundDriven(chance: Chance): readonly HouseHappening[] {
  const upon = { word: 'burst', nth: 1 + chance.below(12) } as const;
  const diesS = lasts(chance, 0.01, 1);
  const after = (s: number): Timed => ({ atS: Math.round((diesS + s) * 1e3) / 1e3, upon });
  const tries = [0.25, 0.4, 0.6, 0.9].flatMap((s): readonly WindowHappening[] => [
    { kind: 'control-taken', window: 0, ...after(s) },
    { kind: 'asked', window: 0, ...after(s + 0.01), name: 'bench.connect', params: { bench: { kind: 'port', path: benchPort } } },
  ]);
  return [{ kind: 'death', at: { atS: diesS, upon }, backS: lasts(chance, 0.005, 0.2) }, ...tries];
}

/** Some of them within seconds of each other at one place of the run, or each at a place of its own. */
function atPlaces(list: readonly WindowHappening[], chance: Chance): readonly WindowHappening[] {
  const shared = chance.strikes(0.5) ? drawUpon(chance) : null;
  return list.map((one) => (chance.strikes(0.5) ? { ...one, atS: lasts(chance, 0.001, 5), upon: shared ?? drawUpon(chance) } : one));
}

export function drawHouse(seed: number, sea?: Sea): HouseDrawn {
  const chance = new Chance(seed, 'windows');
  const fair = sea !== 'storm' && (sea === 'still' || chance.strikes(0.3));
  const base = draw(seed, sea === 'calm' ? 'calm' : 'storm');
  const spanS = chance.scale(30, 120);
  const windows: WindowHappening[] = [];
  for (const kind of sea === 'calm' ? [] : kinds) {
    if (!chance.strikes(kind === 'asked' ? 0.8 : 0.5)) continue;
    const times = Math.round(chance.scale(0.6, most[kind]));
    for (let i = 0; i < times; i += 1) windows.push(sources[kind](chance, spanS));
  }
  const placed = chance.strikes(0.3) ? atPlaces(windows, chance) : windows;
  const plot = sea !== 'calm' && chance.strikes(0.3) ? drawHousePlot(chance, spanS, fair) : [];
  // Commands of a person come from the windows. A plot is let alone with people as often as not.
  const ofTheMachine = fair || (plot.length > 0 && chance.strikes(0.5)) ? [] : base.happenings.filter((one) => one.kind !== 'command');
  return withHouseHappenings({ ...base, windows, fair: fair || sea === 'calm' }, [...ofTheMachine, ...placed, ...plot]);
}

export const houseHappenings = (drawn: HouseDrawn): readonly HouseHappening[] => [...drawn.happenings, ...drawn.windows];

/** The same with another list of happenings. */
export function withHouseHappenings(drawn: HouseDrawn, list: readonly HouseHappening[]): HouseDrawn {
  const windows = list.filter(isOfAWindow);
  const base = withHappenings(drawn, list.filter((one): one is Happening => !isOfAWindow(one)));
  return { ...drawn, ...base, windows, overS: windows.reduce((latest, one) => Math.max(latest, endOf(one)), base.overS) };
}
