/**
 * A limit that something was held against, as values: which quantity, what was found, what was allowed, in which unit. Every text
 * of it is made here, of nothing but these values (RUN-193).
 */
import { quantityTable } from '../bench/signals.ts';
import { signals } from '../bench/readings.ts';
import type { SignalId } from '../bench/readings.ts';
import type { Criterion, HeldReading } from '../journal/events.ts';

interface Words {
  /** In plain letters; empty: a count. */
  readonly unit: string;
  readonly digits: number;
  /** Of what was found, with its unit. */
  readonly tell: (found: string) => string;
  /** Where nothing could be found. */
  readonly unknown?: string;
  readonly wanted: 'wanted' | 'allowed';
}

const counted = {
  edges: { unit: '', digits: 0, tell: (found) => `${found} meter edges`, wanted: 'wanted' },
  length: { unit: 's', digits: 2, tell: (found) => `${found} long`, wanted: 'wanted' },
  pressureScatter: { unit: 'kPa', digits: 2, tell: (found) => `rail pressure scattered by ${found} (standard deviation)`, wanted: 'allowed' },
  halvesDifference: {
    unit: '%', digits: 2, tell: (found) => `flow of the two halves differs by ${found}`, unknown: 'too few edges to compare the halves of the window', wanted: 'allowed',
  },
  halvesEdges: { unit: '', digits: 0, tell: (found) => `meter edges of the two halves of the window differ by ${found}`, wanted: 'allowed' },
  missingFrames: { unit: '%', digits: 1, tell: (found) => `${found} of the telemetry frames missing`, wanted: 'allowed' },
  frames: { unit: '', digits: 0, tell: (found) => `${found} telemetry frames in the window`, wanted: 'allowed' },
  pulses: { unit: '', digits: 0, tell: (found) => `the controller counted ${found} pulses`, wanted: 'wanted' },
  flowAfterPulses: { unit: 'mL/min', digits: 1, tell: (found) => `${found} went on flowing after the pulses`, wanted: 'allowed' },
  flowScatter: { unit: '%', digits: 2, tell: (found) => `flow scatters by ${found} inside a window`, wanted: 'allowed' },
} as const satisfies Readonly<Record<string, Words>>;

/** What is held against limits: a mean of a signal over the window, or one of these. */
export type HeldQuantity = keyof typeof counted | SignalId;

const words: ReadonlyMap<string, Words> = new Map<string, Words>([
  ...Object.entries(counted),
  ...signals.map(({ id, name, plain, digits }) => [id, { unit: plain, digits: digits + 1, tell: (found: string) => `${name} ${found} on average`, wanted: 'wanted' }] as const),
]);

/** `found` against its limits, themselves allowed, in the unit of the quantity's words; a null limit is none, and what could not be found fails. */
export function held(rule: string, quantity: HeldQuantity, found: number | null, low: number | null, high: number | null): Criterion {
  const passed = found !== null && (low === null || found >= low) && (high === null || found <= high);
  const how = words.get(quantity);
  if (how === undefined) throw new Error(`there are no words for ${quantity}`);
  const { unit } = how;
  return { rule, passed, text: sentence(how, found, low, high, unit === '' ? '' : ` ${unit}`), quantity, found, low, high, unit };
}

export const around = (wanted: number, tolerance: number): readonly [low: number, high: number] => [wanted - tolerance, wanted + tolerance];

const shownUnits: ReadonlyMap<string, string> = new Map(Object.values(quantityTable).map(({ plain, shown }) => [plain, shown]));

/** A unit of the engine as pages show it. */
export const shownUnit = (unit: string): string => shownUnits.get(unit) ?? unit;

const limitTexts = new Map<number, string>();

/** More digits are none of a limit, but of the sum that made it. The limits of a run are few, and their texts cost more than all else of a criterion. */
function limit(value: number): string {
  if (Number.isInteger(value)) return String(value);
  const known = limitTexts.get(value);
  if (known !== undefined) return known;
  if (limitTexts.size === 200) limitTexts.clear();
  const text = String(Number(value.toPrecision(9)));
  limitTexts.set(value, text);
  return text;
}

function limits(low: number | null, high: number | null, unit: string): string {
  if (low !== null && high !== null) return `${limit(low)} to ${limit(high)}${unit}`;
  if (low !== null) return `at least ${limit(low)}${unit}`;
  return high === null ? '' : `at most ${limit(high)}${unit}`;
}

/** `unit`: as it follows a number, with its space. */
function sentence(how: Words, found: number | null, low: number | null, high: number | null, unit: string): string {
  if (found === null && how.unknown !== undefined) return how.unknown;
  const told = how.tell(found === null ? 'not known' : found.toFixed(how.digits) + unit);
  const allowed = limits(low, high, unit);
  return allowed === '' ? told : `${told}, ${allowed} ${how.wanted}`;
}

const afterNumber = (unit: string): string => (unit === '' ? '' : `\u00a0${shownUnit(unit)}`);

/** What was allowed, with its unit as pages show it; empty: nothing was limited. */
export const allowedText = ({ low, high, unit }: Partial<HeldReading>): string => limits(low ?? null, high ?? null, afterNumber(unit ?? ''));

/** As pages show it; of a journal of an earlier version, and where it is no number, the text that stands there. */
export function criterionText({ text, quantity, found, low, high, unit }: Criterion): string {
  const how = quantity === undefined ? undefined : words.get(quantity);
  return how === undefined || found === undefined ? text : sentence(how, found, low ?? null, high ?? null, afterNumber(unit ?? ''));
}
