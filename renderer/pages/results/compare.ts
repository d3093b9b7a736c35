/**
 * Two runs side by side: the difference of dead time and slope for each injector, voltage, pressure and period that both
 * have, with its uncertainty. Random parts are independent. Errors of an instrument that both runs used under the same
 * certificate are the same error and mostly cancel; those of different instruments or certificates do not.
 */
import { effectiveDegrees, result } from '../../../app/uncertainty/budget.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import type { LineCell, SharedPart } from '../../../app/reduce/reduction.ts';
import { conditionKey } from './results.ts';
import type { RunResults } from './results.ts';

export interface Difference {
  readonly first: number;
  readonly second: number;
  /** Second less first. */
  readonly value: number;
  readonly u95: number;
  readonly significant: boolean;
}

export interface ComparedRow {
  readonly key: string;
  readonly serialNumber: string;
  readonly voltage: number;
  readonly pressure: number;
  readonly period: number;
  readonly deadTime: Difference;
  readonly slope: Difference;
}

export interface Comparison {
  readonly rows: readonly ComparedRow[];
  /** What could not be compared and why, each a sentence. */
  readonly left: readonly string[];
  /** What of the instruments both runs share, a sentence. */
  readonly instruments: string;
}

type Of = 'deadTime' | 'slope';

export function compareRuns(first: RunResults, second: RunResults): Comparison {
  const same = sameSources(first.equipment, second.equipment);
  const keyOf = (cell: { serialNumber: string; voltage: number; pressure: number; period: number }): string =>
    `${cell.serialNumber}|${cell.voltage}|${conditionKey(cell)}`;
  const others = new Map(second.reduction.cells.map((cell) => [keyOf(cell), cell]));
  const rows: ComparedRow[] = [];
  let onlyFirst = 0;
  let withoutLine = 0;
  for (const cell of first.reduction.cells) {
    const key = keyOf(cell);
    const other = others.get(key);
    others.delete(key);
    if (other === undefined) onlyFirst += 1;
    else if (cell.kind === 'no-line' || other.kind === 'no-line') withoutLine += 1;
    else {
      const { serialNumber, voltage, pressure, period } = cell;
      rows.push({ key, serialNumber, voltage, pressure, period, deadTime: difference(cell, other, 'deadTime', same.sources), slope: difference(cell, other, 'slope', same.sources) });
    }
  }
  const left = [
    sentenceOf(onlyFirst, 'is only in the plan of the first run', 'are only in the plan of the first run'),
    sentenceOf(others.size, 'is only in the plan of the second run', 'are only in the plan of the second run'),
    sentenceOf(withoutLine, 'has no line in one of the runs', 'have no line in one of the runs'),
  ].filter((text) => text !== '');
  if (rows.length === 0) left.push('An injector is compared with itself: its serial number, voltage, pressure and period must be the same in both runs.');
  return { rows, left, instruments: same.text };
}

function sentenceOf(count: number, one: string, many: string): string {
  return count === 0 ? '' : `${count} ${count === 1 ? `place (injector, voltage, pressure and period) ${one}` : `places (injector, voltage, pressure and period) ${many}`}.`;
}

function difference(first: LineCell, second: LineCell, of: Of, same: (source: string) => boolean): Difference {
  const [a, b] = [first[of], second[of]];
  const effect = of === 'deadTime' ? 'onDeadTime' : 'onSlope';
  const parts = [
    { u: a.uRandom, dof: a.dofRandom },
    { u: b.uRandom, dof: b.dofRandom },
  ];
  const effects = [effectsOf(first.shared, effect), effectsOf(second.shared, effect)] as const;
  let squares = 0;
  for (const source of new Set([...effects[0].keys(), ...effects[1].keys()])) {
    const [x, y] = [effects[0].get(source) ?? 0, effects[1].get(source) ?? 0];
    squares += same(source) ? (y - x) ** 2 : x * x + y * y;
  }
  const value = b.value - a.value;
  const { expanded } = result(value, Math.hypot(a.uRandom, b.uRandom), effectiveDegrees(parts), Math.sqrt(squares));
  return { first: a.value, second: b.value, value, u95: expanded, significant: Math.abs(value) > expanded };
}

function effectsOf(shared: readonly SharedPart[], effect: 'onDeadTime' | 'onSlope'): ReadonlyMap<string, number> {
  return new Map(shared.map((part) => [part.source, part[effect]]));
}

/** Sources whose error is the same one in both runs. A coil's distance from the rail's temperature is new every day. */
function sameSources(a: Equipment, b: Equipment): { readonly sources: (source: string) => boolean; readonly text: string } {
  const instruments = [
    { name: 'meter', same: a.meter.serialNumber === b.meter.serialNumber && a.meter.certificate.number === b.meter.certificate.number, begins: ['meter K-factor'] },
    { name: 'pressure transducer', same: a.pressure.serialNumber === b.pressure.serialNumber && a.pressure.certificate.number === b.pressure.certificate.number, begins: ['rail pressure'] },
    {
      name: 'thermometers',
      same: a.temperature.serialNumber === b.temperature.serialNumber && a.temperature.certificate.number === b.temperature.certificate.number,
      begins: ['meter temperature', 'rail temperature'],
    },
    { name: 'supply', same: a.supply.serialNumber === b.supply.serialNumber && a.supply.certificate.number === b.supply.certificate.number, begins: ['supply read-back'] },
    { name: 'wiring and drivers', same: benchPart(a, b, 'wiring') && benchPart(a, b, 'driver'), begins: ['harness resistance', 'effect of the harness', 'driver clamp'] },
    { name: "clock of the controller", same: benchPart(a, b, 'timeBase'), begins: ['controller time base'] },
    { name: 'fluid lot', same: a.fluid.lot === b.fluid.lot && a.fluid.measuredDensity?.on === b.fluid.measuredDensity?.on, begins: ['fluid density'] },
  ];
  const kept = instruments.filter((i) => i.same);
  const changed = instruments.filter((i) => !i.same);
  const list = (of: typeof instruments): string => of.map((i) => i.name).join(', ');
  const text = [
    kept.length === 0 ? '' : `The same in both runs, so that their errors mostly cancel: ${list(kept)}.`,
    changed.length === 0 ? '' : `Different, or under another certificate, so that their uncertainties count in full: ${list(changed)}.`,
  ];
  const begins = ['coil temperature model', ...kept.flatMap((i) => i.begins)];
  return { sources: (source) => begins.some((begin) => source.startsWith(begin)), text: text.filter((t) => t !== '').join(' ') };
}

/** The same part of the same bench, as far as the records say; those of version 1 say nothing of it. */
function benchPart(a: Equipment, b: Equipment, part: 'wiring' | 'driver' | 'timeBase'): boolean {
  if (a.equipmentVersion === 1 || b.equipmentVersion === 1) return a.equipmentVersion === b.equipmentVersion;
  return JSON.stringify([a.controller, a[part]]) === JSON.stringify([b.controller, b[part]]);
}

/** How many of the differences are significant, and how many chance alone would give. */
export function comparisonSentence(rows: readonly ComparedRow[], of: Of): string {
  const name = of === 'deadTime' ? 'dead time' : 'slope';
  const count = rows.filter((row) => row[of].significant).length;
  const byChance = 0.05 * rows.length;
  if (rows.length === 0) return '';
  const chance = byChance < 0.95 ? 'chance alone gives less than one' : `chance alone gives about ${byChance.toFixed(0)}`;
  if (count === 0) return `No ${name} differs by more than the uncertainty of the difference.`;
  const verdict = count > 2 * Math.max(1, byChance) ? 'The runs differ.' : 'That is not enough to say that the runs differ.';
  return `${count} of ${rows.length} differences of ${name} ${count === 1 ? 'is' : 'are'} larger than ${count === 1 ? 'its' : 'their'} uncertainty; ${chance}. ${verdict}`;
}

export function significanceWords({ value, significant }: Difference, more: string, less: string): string {
  if (!significant) return 'no difference shown';
  return value > 0 ? more : less;
}
