/**
 * The daily qualification of a bench: one sheet, each line with its value, its limit and a verdict. EQ-18 to EQ-23 in app/equipment/README.md.
 * Limits are the lab's; those that a new sheet begins with are common practice, no source.
 */
import { z } from 'zod';
import { problemsOf, type Problem } from '../boundary/problems.ts';
import { oneLine } from '../boundary/text.ts';
import { edgesPerMillilitre } from '../bench/idle-flow.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { minuteUtc, unixOf } from './utc.ts';

const positive = z.number().positive();
/** Who read it: the bench, or a person. */
const source = z.enum(['bench', 'by-hand']);
const count = { edges: z.int().min(0).max(1e9), seconds: positive.max(86_400), source };

export const qualificationSchema = z.strictObject({
  qualificationVersion: z.literal(1),
  /** Which bench: as the controller names itself. */
  controller: z.strictObject({ model: oneLine().min(1), serialNumber: oneLine().min(1) }),
  /** UTC. */
  doneAt: z.iso.datetime(),
  by: oneLine(120).trim().min(1),
  /** How long it holds when every line passes, h. */
  validHours: positive.max(168),
  /** K-factor of the meter at a small flow. */
  edgesPerMl: positive,
  limits: z.strictObject({ zeroMlMin: positive, ventedKpa: positive, supplyMv: positive, clockPpm: positive, leakMlMin: positive }),
  /** Edges of the meter with the pump off: none should come. */
  zero: z.strictObject(count).optional(),
  /** What the transducer reads of a rail that is vented. */
  vented: z.strictObject({ kpa: z.number(), source }).optional(),
  /** Read-back of the supply against a voltmeter, or against what was set where none was used. */
  supply: z.array(z.strictObject({ setV: positive, readV: z.number(), meterV: z.number().optional(), source })).max(10).default([]),
  /** Controller's clock against the computer's, with its standard uncertainty. */
  clock: z.strictObject({ ppm: z.number(), uncertaintyPpm: z.number().nonnegative(), source }).optional(),
  /** Edges of the meter under pressure, all injectors shut. */
  leak: z.strictObject({ ...count, kpa: positive }).optional(),
  /** The newest point of a reference injector in its chart. */
  reference: z.strictObject({ serialNumber: oneLine(120).min(1), inside: z.boolean(), text: oneLine(500), source }).optional(),
  notes: oneLine(500).default(''),
});

export type Qualification = z.infer<typeof qualificationSchema>;
export type QualificationLimits = Qualification['limits'];

export type QualificationParsed = { readonly ok: true; readonly qualification: Qualification } | { readonly ok: false; readonly problems: readonly Problem[] };

export function parseQualification(input: unknown): QualificationParsed {
  const parsed = qualificationSchema.safeParse(input);
  return parsed.success ? { ok: true, qualification: parsed.data } : { ok: false, problems: problemsOf(parsed.error, input) };
}

/** A bench as its sheets are kept under. */
export const benchName = ({ model, serialNumber }: Qualification['controller']): string => `${model} ${serialNumber}`;

/** With which limits a new sheet begins. A clock: as far as the record allows a run. */
export function usualLimits(equipment: Equipment): QualificationLimits {
  return { zeroMlMin: 0.05, ventedKpa: 2, supplyMv: 20, clockPpm: equipment.equipmentVersion === 2 ? equipment.timeBase.refuseAbovePpm : 200, leakMlMin: 0.05 };
}

/** The same K-factor by which idle flow is told. */
export const edgesPerMlOf = ({ meter }: Equipment): number => edgesPerMillilitre(meter.kFactor);

/** undecided: it cannot be told yet whether the limit is kept. */
export type LineVerdict = 'pass' | 'fail' | 'undecided' | 'missing';

const qualificationLines = ['zero', 'vented', 'supply', 'clock', 'leak', 'reference'] as const;
export type QualificationLineName = (typeof qualificationLines)[number];

export interface QualificationLine {
  readonly name: QualificationLineName;
  readonly title: string;
  readonly verdict: LineVerdict;
  /** What was found, and where something is to be done, what. */
  readonly value: string;
  readonly limit: string;
  readonly source: 'bench' | 'by-hand' | null;
}

export interface QualificationOutcome {
  readonly lines: readonly QualificationLine[];
  readonly qualified: boolean;
  /** Unix ms; null: it qualifies nothing. */
  readonly until: number | null;
  readonly text: string;
}

/** Points of the supply that a sheet must have. */
const fewestSupplyPoints = 3;

export const qualificationTitles: Readonly<Record<QualificationLineName, string>> = {
  zero: 'Zero of the meter', vented: 'Pressure, vented', supply: 'Supply at three points', clock: 'Clock of the controller', leak: 'Leak', reference: 'Reference injector in its chart',
};

type Found = Omit<QualificationLine, 'name' | 'title'>;

/** What a sheet comes to, from its own numbers alone. */
export function evaluateQualification(sheet: Qualification): QualificationOutcome {
  const found: Readonly<Record<QualificationLineName, Found>> = {
    zero: flowLine(sheet.zero, sheet, sheet.limits.zeroMlMin, 'nothing flows'),
    vented: ventedLine(sheet),
    supply: supplyLine(sheet),
    clock: clockLine(sheet),
    leak: flowLine(sheet.leak, sheet, sheet.limits.leakMlMin, sheet.leak === undefined ? '' : `at ${shown(sheet.leak.kpa)} kPa`),
    reference: referenceLine(sheet),
  };
  const lines = qualificationLines.map((name) => ({ name, title: qualificationTitles[name], ...found[name] }));
  const open = lines.filter(({ verdict }) => verdict !== 'pass');
  const qualified = open.length === 0;
  const until = qualified ? unixOf(sheet.doneAt) + sheet.validHours * 3_600_000 : null;
  const failed = open.filter(({ verdict }) => verdict === 'fail');
  const named = (list: readonly QualificationLine[]): string => list.map(({ title }) => title.toLowerCase()).join(', ');
  return {
    lines, qualified, until,
    text: until !== null
      ? `Qualified until ${minuteUtc(until)}.`
      : failed.length > 0 ? `Not qualified: ${named(failed)} outside ${failed.length === 1 ? 'its limit' : 'their limits'}.` : `Not qualified yet: ${named(open)} to be done.`,
  };
}

const missing = (limit: string): Found => ({ verdict: 'missing', value: 'not done', limit, source: null });

/** n edges in T are a flow between (n - 1) and (n + 1) edges in T: an edge may have come just before the count, or come just after it. */
function flowLine(of: { readonly edges: number; readonly seconds: number; readonly source: 'bench' | 'by-hand' } | undefined, { edgesPerMl }: Qualification, most: number, where: string): Found {
  const limit = `${shown(most)} mL/min at most`;
  if (of === undefined) return missing(limit);
  const perMinute = (edges: number): number => (edges / edgesPerMl / of.seconds) * 60;
  const [low, high] = [perMinute(Math.max(0, of.edges - 1)), perMinute(of.edges + 1)];
  const value = `${of.edges} ${of.edges === 1 ? 'edge' : 'edges'} in ${shown(of.seconds)} s${where === '' ? '' : `, ${where}`}: ${of.edges === 0 ? `less than ${shown(high)}` : shown(perMinute(of.edges))} mL/min`;
  if (high <= most) return { verdict: 'pass', value, limit, source: of.source };
  if (low > most) return { verdict: 'fail', value, limit, source: of.source };
  return { verdict: 'undecided', value: `${value}. Count for ${Math.ceil(((of.edges + 1) / edgesPerMl / most) * 60)} s or longer`, limit, source: of.source };
}

function ventedLine({ vented, limits }: Qualification): Found {
  const limit = `within ${shown(limits.ventedKpa)} kPa of 0`;
  if (vented === undefined) return missing(limit);
  return { verdict: Math.abs(vented.kpa) <= limits.ventedKpa ? 'pass' : 'fail', value: `${vented.kpa.toFixed(2)} kPa`, limit, source: vented.source };
}

function supplyLine({ supply, limits }: Qualification): Found {
  const limit = `read-back within ${shown(limits.supplyMv)} mV, at ${fewestSupplyPoints} voltages`;
  if (supply.length === 0) return missing(limit);
  const off = supply.map(({ setV, readV, meterV }) => 1e3 * (readV - (meterV ?? setV)));
  const byMeter = supply.filter(({ meterV }) => meterV !== undefined).length;
  const against = byMeter === supply.length ? 'against the voltmeter' : byMeter === 0 ? 'against what was set, no voltmeter' : 'in part against the voltmeter';
  const value = `${supply.map(({ setV }, i) => `${shown(setV)} V ${signed(off[i] ?? 0)} mV`).join(', ')}, ${against}`;
  const wrong = off.some((mv) => Math.abs(mv) > limits.supplyMv * (1 + 1e-9));
  // The same voltage read three times says nothing of the range.
  const voltages = new Set(supply.map(({ setV }) => setV)).size;
  const from = supply.every((point) => point.source === 'bench') ? 'bench' : 'by-hand';
  if (wrong) return { verdict: 'fail', value, limit, source: from };
  return voltages >= fewestSupplyPoints ? { verdict: 'pass', value, limit, source: from } : { verdict: 'undecided', value: `${value}. ${fewestSupplyPoints - voltages} more to read`, limit, source: from };
}

function clockLine({ clock, limits }: Qualification): Found {
  const limit = `within ${shown(limits.clockPpm)} ppm of the computer`;
  if (clock === undefined) return missing(limit);
  const expanded = 2 * clock.uncertaintyPpm;
  const value = `${signed(clock.ppm)} ± ${expanded.toFixed(0)} ppm`;
  if (Math.abs(clock.ppm) + expanded <= limits.clockPpm) return { verdict: 'pass', value, limit, source: clock.source };
  if (Math.abs(clock.ppm) - expanded > limits.clockPpm) return { verdict: 'fail', value, limit, source: clock.source };
  return { verdict: 'undecided', value: `${value}. Compare for longer`, limit, source: clock.source };
}

function referenceLine({ reference }: Qualification): Found {
  const limit = 'inside the limits of its chart';
  if (reference === undefined) return missing(limit);
  return { verdict: reference.inside ? 'pass' : 'fail', value: `${reference.serialNumber}: ${reference.text}`, limit, source: reference.source };
}

const shown = (value: number): string => String(Number(value.toPrecision(3)));
const signed = (value: number): string => `${value < 0 ? '-' : '+'}${Math.abs(value).toFixed(Math.abs(value) < 10 ? 1 : 0)}`;
