/** A catch-and-weigh check as a person fills it in, and the document that a filled-in form stands for. */
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { parseMeterCheck } from '../../../app/meter-check/meter-check.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { dayHint } from '../../components/field.tsx';
import { problemShown } from '../../components/problem-shown.ts';
import { shownText } from '../../components/shown-text.ts';
import { storedFromTyped, typedFromStored, unitShown } from '../../settings/quantities.ts';
import { readNumber } from '../../settings/read-number.ts';
import { fieldText } from './fields.ts';

interface CheckField {
  readonly path: string;
  readonly label: string;
  /** Of the document; pages show and take the chosen one (WIN-130). */
  readonly unit?: string;
  readonly difference?: true;
  readonly kind: 'text' | 'number' | 'day';
  readonly optional?: true;
  readonly hint?: string;
}

interface CheckGroup {
  readonly title: string;
  readonly fields: readonly CheckField[];
}

export const checkGroups: readonly CheckGroup[] = [
  {
    title: 'Check',
    fields: [
      { path: 'certificate.number', label: 'Number of the check', kind: 'text' },
      { path: 'certificate.date', label: 'Made on', kind: 'day', hint: dayHint },
      { path: 'certificate.validUntil', label: 'Would hold until', kind: 'day', hint: 'By your own interval for this meter.' },
      { path: 'operator', label: 'Made by', kind: 'text' },
    ],
  },
  {
    title: 'Balance',
    fields: [
      { path: 'balance.serialNumber', label: 'Serial number', kind: 'text' },
      { path: 'balance.uncertaintyG', label: 'Uncertainty of a difference', unit: 'g', kind: 'number', hint: 'k = 1.' },
      { path: 'balance.driftG', label: 'Drift between two readings', unit: 'g', kind: 'number', optional: true },
      { path: 'balance.certificate.number', label: 'Certificate', kind: 'text' },
      { path: 'balance.certificate.date', label: 'Issued on', kind: 'day' },
      { path: 'balance.certificate.validUntil', label: 'Valid until', kind: 'day' },
    ],
  },
  {
    title: 'Vessel and evaporation',
    fields: [
      { path: 'evaporation.gramsPerMinute', label: 'Evaporates', unit: 'g/min', kind: 'number', hint: 'By a blank test with the same vessel and filling.' },
      { path: 'evaporation.uncertaintyGramsPerMinute', label: 'Uncertainty of it', unit: 'g/min', kind: 'number' },
      { path: 'vessel.vapourSaturation', label: 'Gas pushed out: 0 dry air, 1 saturated', kind: 'number', optional: true },
      { path: 'vessel.uncertainty', label: 'Uncertainty of it', kind: 'number', optional: true },
      { path: 'startStopS', label: 'Count and vessel apart by at most', unit: 's', kind: 'number', optional: true },
      { path: 'storedVolumeMl', label: 'Held in hoses, more or less', unit: 'mL', kind: 'number', optional: true },
    ],
  },
  {
    title: 'Surroundings and limits',
    fields: [
      { path: 'ambientKpa', label: 'Pressure of the room', unit: 'kPa', kind: 'number' },
      { path: 'temperatureUncertaintyC', label: 'Uncertainty of the temperature at the meter', unit: '°C', difference: true, kind: 'number' },
      { path: 'pressureUncertaintyKpa', label: 'Uncertainty of the pressure at the meter', unit: 'kPa', kind: 'number' },
      { path: 'limits.driftPercent', label: 'No drift up to', unit: '%', kind: 'number', hint: 'Against the K-factor in use.' },
      { path: 'limits.repeatabilityPercent', label: 'Repeats within', unit: '%', kind: 'number' },
      { path: 'limits.creepPercent', label: 'No creep up to', unit: '%', kind: 'number', hint: 'Against the certificate of the meter.' },
    ],
  },
];

const fields = checkGroups.flatMap((group) => group.fields);

export interface CheckDraft {
  readonly values: Readonly<Record<string, string>>;
  readonly purpose: 'calibration' | 'verification';
  /** One run a line, in degC and kPa. */
  readonly runs: string;
  readonly acceptedWhy: string;
}

/** Columns of the lines of runs, with the units of the document. */
const runWords: readonly string[] = ['rate no.', 'edges', 'time', 'start', 'end', 'temperature', 'pressure'];
const runUnits: readonly string[] = ['', '', 's', 'g', 'g', '°C', 'kPa'];

export const runColumnsText = (): string => runWords.map((word, i) => `${word} ${unitShown(runUnits[i] ?? '')}`.trim()).join(', ');

/** Lines of runs with another text for each value that has a choice of units. What stands between values, and lines that are not whole, stay as they are. */
function runValues(lines: string, changed: (unit: string, text: string) => string): string {
  return lines
    .split('\n')
    .map((line) => {
      const parts = line.split(/([;\s]+)/u);
      const values = parts.flatMap((part, index) => (index % 2 === 0 && part !== '' ? [index] : []));
      if (values.length !== runUnits.length) return line;
      return parts.map((part, index) => {
        const unit = runUnits[values.indexOf(index)] ?? '';
        return unit === '' ? part : changed(unit, part);
      }).join('');
    })
    .join('\n');
}

/** Lines as they are typed or pasted, in the chosen units, and as the draft has them, in degC and kPa (WIN-190). */
export const runLines = { stored: (typed: string): string => runValues(typed, storedFromTyped), typed: (stored: string): string => runValues(stored, typedFromStored) };

/** A new check of the meter of the record, with what the check before it says of balance, vessel and limits. */
export function beginCheck(equipment: Equipment, today: string, latest: unknown, operator: string): CheckDraft {
  const usual: Readonly<Record<string, string>> = {
    ambientKpa: String(equipment.ambientKpa), temperatureUncertaintyC: String(equipment.temperature.uncertaintyC), pressureUncertaintyKpa: String(equipment.pressure.uncertaintyKpa),
    'limits.driftPercent': '0.3', 'limits.repeatabilityPercent': '0.1', 'limits.creepPercent': '0.6',
  };
  const values = Object.fromEntries(fields.map(({ path }) => [path, fieldText(latest, path) || (usual[path] ?? '')]));
  return { values: { ...values, 'certificate.number': '', 'certificate.date': today, 'certificate.validUntil': '', operator }, purpose: 'verification', runs: '', acceptedWhy: '' };
}

/** Where a problem of a whole document is shown. */
export interface CheckRead {
  readonly document: unknown;
  readonly problems: ReadonlyMap<string, string>;
}

export function checkIn({ values, purpose, runs, acceptedWhy }: CheckDraft, equipment: Equipment): CheckRead {
  const problems = new Map<string, string>();
  const document: Record<string, unknown> = { meterCheckVersion: 1, purpose, meterSerialNumber: equipment.meter.serialNumber, fluid: equipment.fluid };
  for (const { path, kind, optional } of fields) {
    const text = (values[path] ?? '').trim();
    if (text === '') {
      if (optional === undefined) problems.set(path, 'This has to be stated.');
      continue;
    }
    const read = kind === 'number' ? readNumber(text) : null;
    if (read?.kind === 'unreadable') problems.set(path, read.why);
    else put(document, path, read?.kind === 'number' ? read.value : text);
  }
  const rates = ratesIn(runs);
  if (typeof rates === 'string') problems.set('runs', rates);
  else document['flowRates'] = rates.map((rate) => ({ runs: rate.map(({ run }) => run) }));
  if (acceptedWhy.trim() !== '') document['driftAccepted'] = { by: values['operator'] ?? '', why: acceptedWhy.trim() };
  addProblems(problems, document, rates);
  return { document, problems };
}

/** What the reader of checks finds in the document, beside what was found as it was made. */
function addProblems(problems: Map<string, string>, document: unknown, rates: readonly (readonly RunOfLine[])[] | string): void {
  const isWhole = problems.size === 0;
  const parsed = parseMeterCheck(document);
  for (const { path, text } of parsed.ok ? [] : parsed.problems) {
    const ofRun = path.startsWith('flowRates');
    const field = !ofRun && fields.some((f) => f.path === path) ? path : 'runs';
    // What is only not stated yet is told at its own field.
    if (problems.has(field) || (!isWhole && field === 'runs' && !ofRun)) continue;
    problems.set(field, field === 'runs' ? problemOfRun(path, text, rates) : text);
  }
}

/** A problem of a run at the line that it was read from; of all of them, as it is. */
function problemOfRun(path: string, text: string, rates: readonly (readonly RunOfLine[])[] | string): string {
  const [, rate, run, name] = /^flowRates\[(\d+)\]\.runs\[(\d+)\](?:\.(\w+))?/u.exec(path) ?? [];
  const line = typeof rates === 'string' ? undefined : rates[Number(rate)]?.[Number(run)]?.line;
  const column = names.findIndex((one) => one === name);
  if (line === undefined) return shownText(text);
  const words = column < 0 ? '' : `, ${runWords[column + 1] ?? ''}`;
  return `Line ${line}${words}: ${problemShown(text, column < 0 ? '' : runUnits[column + 1])}`;
}

function put(document: Record<string, unknown>, path: string, value: unknown): void {
  const steps = path.split('.');
  const last = steps.pop() ?? '';
  let at = document;
  for (const step of steps) at = (at[step] ??= {}) as Record<string, unknown>;
  at[last] = value;
}

const names = ['edges', 'durationS', 'startG', 'endG', 'meterTemperatureC', 'meterPressureKpa'] as const;

interface RunOfLine {
  readonly run: Readonly<Record<string, number>>;
  /** Counted from 1. */
  readonly line: number;
}

/** Runs by their rate, or what is wrong with the lines. */
function ratesIn(text: string): (readonly RunOfLine[])[] | string {
  const rates = new Map<string, RunOfLine[]>();
  for (const [index, line] of text.split('\n').entries()) {
    const parts = line.trim().split(/[;\s]+/u).filter((part) => part !== '');
    if (parts.length === 0) continue;
    if (parts.length !== names.length + 1) return `Line ${index + 1} has ${parts.length} values; write ${names.length + 1}: ${runColumnsText()}.`;
    const [rate = '', ...rest] = parts;
    const run: Record<string, number> = {};
    for (const [i, name] of names.entries()) {
      const read = readNumber(rest[i] ?? '');
      if (read.kind !== 'number') return `Line ${index + 1}: ${read.kind === 'unreadable' ? read.why : 'a value is missing.'}`;
      run[name] = read.value;
    }
    rates.set(rate, [...(rates.get(rate) ?? []), { run, line: index + 1 }]);
  }
  return rates.size === 0 ? `Write one run a line: ${runColumnsText()}.` : [...rates.values()];
}

/** Fewer edges than this say nothing of a K-factor to a part in a hundred, however often they are counted. */
export const fewestEdges = 40;

/** Edges, times, temperature and pressure of a run's valid attempts, for the weights to be filled in. Points of one set point are one rate. */
export function linesFromRun(state: RunState): string {
  const rates = new Map<string, number>();
  const lines: string[] = [];
  for (const point of state.setPoints) {
    const record = state.points.at(point.index);
    const window = record?.attempts.find((a) => a.attempt === record.chosen)?.window;
    if (window == null || window.edges < fewestEdges) continue;
    const key = JSON.stringify([point.injector, point.width, point.period, point.pressure, point.voltage]);
    const rate = rates.get(key) ?? rates.size + 1;
    rates.set(key, rate);
    const { mean } = window.meterTemperature;
    lines.push([rate, window.edges, (window.lastEdgeAt - window.firstEdgeAt).toFixed(4), '?', '?', (mean - 273.15).toFixed(2), (window.pressure.mean / 1e3).toFixed(1)].join('\t'));
  }
  return lines.join('\n');
}
