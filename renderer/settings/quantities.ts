/**
 * Pressure and temperature in the unit that a person chose, in display and entry. The house knows kPa and degC at its edge; what is stored, sent and
 * written to files stays in them whatever is shown (WIN-34).
 */
import { readNumber } from './read-number.ts';
import { settings } from './settings.ts';
import type { PressureUnit, TemperatureUnit } from './settings.ts';

interface Scale {
  readonly unit: string;
  /** Shown = of the house * factor + offset. */
  readonly factor: number;
  readonly offset: number;
  /** Digits after the point, more (fewer where negative) than in the unit of the house. */
  readonly moreDecimals: number;
}

/** 1 psi = 1 lbf/in2: 0.453 592 37 kg * 9.806 65 m/s2 / (0.0254 m)2, exactly (NIST SP 811, B.8); in kPa. */
const kpaPerPsi = (0.45359237 * 9.80665) / 0.0254 ** 2 / 1e3;

const pressures: Readonly<Record<PressureUnit, Scale>> = {
  kPa: { unit: 'kPa', factor: 1, offset: 0, moreDecimals: 0 },
  bar: { unit: 'bar', factor: 0.01, offset: 0, moreDecimals: 2 },
  psi: { unit: 'psi', factor: 1 / kpaPerPsi, offset: 0, moreDecimals: 1 },
};
const temperatures: Readonly<Record<TemperatureUnit, Scale>> = {
  degC: { unit: '°C', factor: 1, offset: 0, moreDecimals: 0 },
  degF: { unit: '°F', factor: 1.8, offset: 32, moreDecimals: 0 },
};

/** The scale in which something of this unit of the house is shown; null: as it is. `difference`: a tolerance or scatter, without a zero. K is always one. */
function scaleOf(unit: string, difference = false): Scale | null {
  const chosen = unit === 'kPa' ? pressures[settings().pressureUnit] : unit === '°C' || unit === 'degC' || unit === 'K' ? temperatures[settings().temperatureUnit] : null;
  return chosen === null || (chosen.factor === 1 && chosen.offset === 0) ? null : difference || unit === 'K' ? { ...chosen, offset: 0 } : chosen;
}

/** A number of the house's unit as it is shown, and its unit; any other unit stays. */
export function shownIn(unit: string, value: number, difference = false): number {
  const scale = scaleOf(unit, difference);
  // Without the last bits of the way there and back: a stored -17.777 777 777 8 degC is 0 degF.
  return scale === null ? value : Math.round((value * scale.factor + scale.offset) * 1e8) / 1e8;
}

export const unitShown = (unit: string): string => scaleOf(unit)?.unit ?? unit;

/** How many decimals something with so many in the house's unit is shown with. */
export const decimalsShown = (unit: string, decimals: number): number => Math.max(0, decimals + (scaleOf(unit)?.moreDecimals ?? 0));

/** Six digits: no instrument here tells more, and what a conversion leaves behind them tells nothing (WIN-132). */
const rounded = (value: number): string => String(Number(value.toPrecision(6)));

/** `4` of 400 kPa in bar: a value of a plan or a point, without its unit. */
export const quantityFigure = (value: number, unit: string, difference = false): string => rounded(shownIn(unit, value, difference));

/** `4 bar`: the same with its unit, as a sentence has it. */
export const quantityText = (value: number, unit: string, difference = false): string => `${quantityFigure(value, unit, difference).replace('-', '−')} ${unitShown(unit)}`;

/** What was typed in the chosen unit, in the unit of the house; NaN: no number. To 12 digits, so that what is stored is shown again as it was typed. */
export function storedFrom(unit: string, typed: number, difference = false): number {
  const scale = scaleOf(unit, difference);
  return scale === null ? typed : Number(((typed - scale.offset) / scale.factor).toPrecision(12));
}

/**
 * A text of a form that holds a number of the house's unit, as it is typed; what is no number stays as it is. The shortest number that is stored as this
 * one, so that what was typed comes back as it was typed; what was stored in another unit is rounded, and stays as it is stored until it is typed over.
 */
export function typedFromStored(unit: string, text: string, difference = false): string {
  const read = readNumber(text);
  if (read.kind !== 'number' || scaleOf(unit, difference) === null) return text;
  const shown = shownIn(unit, read.value, difference);
  for (let digits = 1; digits <= 10; digits += 1) {
    const short = Number(shown.toPrecision(digits));
    if (storedFrom(unit, short, difference) === read.value) return String(short);
  }
  return rounded(shown);
}

export function storedFromTyped(unit: string, text: string, difference = false): string {
  const read = readNumber(text);
  return read.kind === 'number' && scaleOf(unit, difference) !== null ? String(storedFrom(unit, read.value, difference)) : text;
}

const number = String.raw`[-−]?\d+(?:\.\d+)?`;

/** The numbers of a text that are all of one unit, and that unit, as they are shown: `0 to 1000 kPa`. */
export function allShown(unit: string, text: string, difference = false): string {
  if (scaleOf(unit, difference) === null) return text;
  return text.replaceAll(new RegExp(number, 'gu'), (one) => quantityFigure(Number(one.replace('−', '-')), unit, difference)).replaceAll(unit, unitShown(unit));
}

/** Numbers of one unit in a sentence, alone or as a range, a list or with a tolerance: `15 to 30 degC`, `400 ± 5 kPa`. */
const inSentences = (units: string): RegExp => new RegExp(String.raw`(?<![\w.\-−])((?:± |\+/- )?(?:${number}(?: to | and |; |, | ± | \+/- ))*${number})([\s\u00a0])(?:${units})(?!\w)`, 'gu');
const [ofPressure, ofTemperature] = [inSentences('kPa'), inSentences('degC|°C')];
/** What a coil is stated at, by definition (IEC 60028): it is 20 degC in every unit. */
const byDefinition = /(?:\bohm|Ω|^)\s?[Aa]t 20\s(?:degC|°C)/gu;

/** Pressures and temperatures of a sentence in the chosen unit. A number behind ± is a difference; differences of temperature by themselves are in K, and stay. */
export function sentenceShown(text: string): string {
  const pressures = scaleOf('kPa') === null ? text : text.replaceAll(ofPressure, (_, numbers: string, gap: string) => inSentence(numbers, gap, 'kPa'));
  if (scaleOf('°C') === null) return pressures;
  const defined = [...pressures.matchAll(byDefinition)].map(({ index, 0: { length } }) => index + length);
  return pressures.replaceAll(ofTemperature, (whole: string, numbers: string, gap: string, at: number) => (defined.includes(at + whole.length) ? whole : inSentence(numbers, gap, '°C')));
}

function inSentence(numbers: string, gap: string, unit: 'kPa' | '°C'): string {
  const shown = numbers.replaceAll(new RegExp(String.raw`(± |\+/- |)(${number})`, 'gu'), (_, sign: string, one: string) => {
    const decimals = /\.(\d+)/u.exec(one)?.[1]?.length ?? 0;
    const value = shownIn(unit, Number(one.replace('−', '-')), sign !== '');
    return `${sign}${String(Number(value.toFixed(decimalsShown(unit, Math.max(1, decimals))))).replace('-', '−')}`;
  });
  return `${shown}${gap}${unitShown(unit)}`;
}
