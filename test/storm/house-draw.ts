/** What a seed of the whole house stands for: that of the storm of a run, and what the windows and the people before them do. */
import { requests, type RequestName } from '../../app/contract/contract.ts';
import type { RunCommand } from '../../app/run/events.ts';
import { Chance, draw, drawValue, withHappenings, type Drawn, type Happening, type SchemaNode, type Sea } from './draw.ts';

/** Stand for what is known only when it is asked: a run of this archive, the storm's plan, the record of its bench. */
export const placeholders = { run: '$run', plan: '$plan', equipment: '$equipment' } as const;

/** The bench of the storm hangs on this port. */
export const benchPort = '/dev/bench';

export type WindowHappening =
  /** Its page is closed, and open again later. */
  | { readonly kind: 'window-gone'; readonly window: number; readonly atS: number; readonly forS: number }
  /** Its machine takes and gives nothing, and nobody is told. */
  | { readonly kind: 'window-silent'; readonly window: number; readonly atS: number; readonly forS: number }
  /** Its page hangs: it reads nothing. */
  | { readonly kind: 'window-stalled'; readonly window: number; readonly atS: number; readonly forS: number }
  | { readonly kind: 'asked'; readonly window: number; readonly atS: number; readonly name: RequestName; readonly params: unknown }
  /** So many requests at once. */
  | { readonly kind: 'flooded'; readonly window: number; readonly atS: number; readonly times: number }
  /** The same command under one id, by the same window or another. */
  | { readonly kind: 'commanded-twice'; readonly window: number; readonly then: number; readonly atS: number; readonly afterS: number; readonly command: RunCommand }
  /** Text that is no request of the contract. */
  | { readonly kind: 'misspoken'; readonly window: number; readonly atS: number; readonly text: string }
  | { readonly kind: 'control-taken'; readonly window: number; readonly atS: number }
  | { readonly kind: 'stop-pressed'; readonly window: number; readonly atS: number }
  /** Control is taken, a run that goes on is paused, and the bench is driven by hand; `leaves`: nobody makes it safe afterwards. */
  | { readonly kind: 'hand-work'; readonly window: number; readonly atS: number; readonly volts: number; readonly channel: number; readonly widthMs: number; readonly count: number; readonly leaves: boolean }
  | { readonly kind: 'bench-changed'; readonly window: number; readonly atS: number; readonly to: 'none' | 'simulated' | 'another-port' | 'the-same' }
  /** The program is ended as it should be, and begun again. */
  | { readonly kind: 'host-ended'; readonly atS: number; readonly backS: number }
  | { readonly kind: 'desk-slow'; readonly atS: number; readonly forS: number; readonly ms: number };

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
  switch (field) {
    case 'id':
      return placeholders.run;
    case 'commandId':
      return `asked-${chance.nextUint32()}`;
    case 'document':
      return chance.of<unknown>([placeholders.plan, placeholders.plan, placeholders.equipment, { nonsense: true }, null]);
    case 'path':
      return chance.of([benchPort, '/dev/another']);
    case 'scenario':
      return undefined;
    case 'attempt':
      return chance.of([null, 1, 2]);
    case 'head':
      return chance.strikes(0.5) ? undefined : `${chance.below(9)}:${'0f'.repeat(32)}`;
    case 'points':
      return [chance.below(14)];
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
];

const at = (chance: Chance, spanS: number): number => Math.round(chance.uniform(0, spanS) * 1e3) / 1e3;
const lasts = (chance: Chance, low: number, high: number): number => Math.round(chance.scale(low, high) * 1e3) / 1e3;

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
  'hand-work': (chance, spanS) => ({
    kind: 'hand-work', window: chance.below(windowCount), atS: at(chance, spanS), volts: chance.of([10, 14]), channel: 1 + chance.below(2), widthMs: chance.of([2, 5]), count: chance.of([20, 300]), leaves: chance.strikes(0.5),
  }),
  'bench-changed': (chance, spanS) => ({ kind: 'bench-changed', window: chance.below(windowCount), atS: at(chance, spanS), to: chance.of(['none', 'simulated', 'another-port', 'the-same']) }),
  'host-ended': (chance, spanS) => ({ kind: 'host-ended', atS: at(chance, spanS), backS: lasts(chance, 0.1, 10) }),
  'desk-slow': (chance, spanS) => ({ kind: 'desk-slow', atS: at(chance, spanS), forS: lasts(chance, 1, 30), ms: Math.round(chance.scale(20, 2000)) }),
};

const most: Readonly<Record<WindowHappening['kind'], number>> = {
  'window-gone': 4, 'window-silent': 2, 'window-stalled': 2, asked: 25, flooded: 1, 'commanded-twice': 3, misspoken: 4, 'control-taken': 4, 'stop-pressed': 2, 'hand-work': 3,
  'bench-changed': 2, 'host-ended': 2, 'desk-slow': 2,
};

const kinds = Object.keys(sources) as WindowHappening['kind'][];
const isOfAWindow = (one: HouseHappening): one is WindowHappening => (kinds as readonly string[]).includes(one.kind);

const endOf = (one: WindowHappening): number =>
  one.atS + ('forS' in one ? one.forS : 'backS' in one ? one.backS : 'afterS' in one ? one.afterS : one.kind === 'hand-work' ? 15 : 0);

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
  // Commands of a person come from the windows.
  const ofTheMachine = fair ? [] : base.happenings.filter((one) => one.kind !== 'command');
  return withHouseHappenings({ ...base, windows, fair: fair || sea === 'calm' }, [...ofTheMachine, ...windows]);
}

export const houseHappenings = (drawn: HouseDrawn): readonly HouseHappening[] => [...drawn.happenings, ...drawn.windows];

/** The same with another list of happenings. */
export function withHouseHappenings(drawn: HouseDrawn, list: readonly HouseHappening[]): HouseDrawn {
  const windows = list.filter(isOfAWindow);
  const base = withHappenings(drawn, list.filter((one): one is Happening => !isOfAWindow(one)));
  return { ...drawn, ...base, windows, overS: windows.reduce((latest, one) => Math.max(latest, endOf(one)), base.overS) };
}
