/**
 * Every single field of a plan as the form shows it: label, unit, help. What the schema already knows (kind, allowed
 * range, default, choices) is read from its JSON Schema and stands here only as the result.
 */
import { guardSignals } from '../../../app/bench/guard-signals.ts';
import { oneLinePattern } from '../../../app/boundary/text.ts';
import { planJsonSchema } from '../../../app/plan/json-schema.ts';

/** A field's path in the document; `injectors[]`, `types[]` and `guards[]` stand for any row. */
export type FieldPath = keyof typeof words;

/** Fields of the form's folded parts, in their order. */
export const foldedPaths = {
  conditions: ['supply.toleranceV', 'supply.steadyS', 'supply.timeoutS', 'supply.idleCurrentA', 'condition.pressureToleranceKpa', 'condition.temperatureMinC', 'condition.temperatureMaxC', 'condition.steadyS', 'condition.timeoutS'],
  window: ['purge.pulses', 'purge.when', 'purge.widthMs', 'purge.periodMs', 'settleS', 'window.minEdges', 'window.minS', 'window.maxS'],
  look: ['look.windowS', 'look.voltageV', 'look.shortMs', 'look.longMs', 'look.periodMs', 'look.resistancePercent', 'look.coilOhm', 'look.flowPercent', 'look.staticFlowGPerMin', 'look.scatterPercent', 'look.shutMlMin'],
  acceptance: ['accept.pressureKpa', 'accept.pressureSdKpa', 'accept.supplyV', 'accept.temperatureMinC', 'accept.temperatureMaxC', 'accept.halvesPercent', 'accept.missingFramesPercent', 'repeats.attemptsAtOnce', 'repeats.attemptsSecondPass', 'giveUp.afterFailures'],
  reduction: ['reduction.referenceC', 'reduction.linearFromMs', 'reduction.linearityPercent', 'reduction.linearFlowRangePercent', 'reduction.repeatabilityPercent', 'reduction.slopeOverVoltage', 'reduction.pressureEffect.percentPer100Kpa', 'reduction.pressureEffect.uncertaintyPercentPer100Kpa', 'reduction.driftCorrection', 'reduction.coil.kelvinPerWatt', 'reduction.coil.uncertaintyKelvinPerWatt', 'reduction.coil.timeConstantS', 'reduction.coil.uncertaintyTimeConstantS', 'reduction.leakTimesU95', 'reduction.leakChangeTimesU95', 'reduction.leakUncertaintyTimesU95'],
  link: ['link.telemetryHz', 'link.deadManMs', 'limits.dutyPercent', 'byItself.gapS', 'byItself.holdS', 'byItself.perHour', 'byItself.sameCause'],
} as const satisfies Record<string, readonly FieldPath[]>;

/** Fields that the form always shows. */
export const openPaths = {
  name: ['name', 'order', 'qualification'],
  replicates: ['axes.replicates', 'targets.deadTimeUs', 'targets.slopePercent', 'targets.staticFlowPercent', 'targets.map.deadTimeUs', 'targets.map.slopePercent', 'targets.spend', 'targets.hours', 'targets.attemptsPerCell'],
  sequence: ['sequence.kind', 'sequence.seed'],
  reference: ['reference.injector', 'reference.voltageV', 'reference.pressureKpa', 'reference.widthMs', 'reference.periodMs', 'reference.everyPoints'],
  static: ['static.replicates', 'static.voltageV', 'static.periodMs'],
  leak: ['zero.windowS', 'zero.settleS', 'zero.decayS', 'zero.deadTimeUs', 'pair.windows'],
  selfChecks: ['invariance.percent', 'invariance.pressurePercent', 'blind.percent', 'blind.mostUs'],
} as const satisfies Record<string, readonly FieldPath[]>;

interface Words {
  readonly label: string;
  /** As written behind the field; empty: none. */
  readonly unit: string;
  readonly help: string;
}

const words = {
  'targets.deadTimeUs': { label: 'Wanted dead time', unit: 'µs', help: 'U95 to which each measured dead time is brought, in place of replicates. Empty, with the next seven: the grid is measured.' },
  'targets.slopePercent': { label: 'Wanted slope', unit: '%', help: 'U95 to which each slope is measured. Empty: as it comes.' },
  'targets.staticFlowPercent': { label: 'Wanted static flow', unit: '%', help: 'U95 to which each static flow is measured; needs two replicates of static flow. Empty: as it comes.' },
  'targets.map.voltageV': { label: 'Voltages of the map', unit: 'V', help: 'Supply voltages of the wanted table. They need not be measured.' },
  'targets.map.pressureKpa': { label: 'Pressures of the map', unit: 'kPa', help: 'Rail pressures of the wanted table. They need not be measured.' },
  'targets.map.deadTimeUs': { label: 'Wanted in a map', unit: 'µs', help: 'U95 of the dead time in every cell of a table on axes of its own. Empty: no such table.' },
  'targets.map.slopePercent': { label: 'Slope in the map', unit: '%', help: 'U95 of the slope in every cell of that table. Empty: as it comes.' },
  'targets.spend': { label: 'Bench time', unit: '', help: 'As needed until every target is reached, or all of it: then what is wanted says how cells compare, and the worst gains most; with nothing wanted all dead times weigh the same. Empty: as needed.' },
  'targets.hours': { label: 'Bench time at most', unit: 'h', help: 'Nothing is added beyond this expected bench time; where all of it is spent, the budget.' },
  'targets.attemptsPerCell': { label: 'Windows of a cell at most', unit: '', help: 'For each injector, voltage and pressure.' },

  name: { label: 'Name', unit: '', help: 'What this plan is called in lists and on reports.' },
  order: { label: 'Job', unit: '', help: 'Job number or other reference of the lab.' },

  qualification: { label: 'Qualification of the bench', unit: '', help: 'Required: a run starts only while the daily qualification of the bench holds.' },

  'injectors[].channel': { label: 'Channel', unit: '', help: 'Driver channel that this injector is connected to.' },
  'injectors[].serialNumber': { label: 'Serial number', unit: '', help: 'As it stands on the injector.' },
  'injectors[].type': { label: 'Type', unit: '', help: 'Type or part number of the injector.' },
  'injectors[].coilResistanceOhm': { label: 'Coil', unit: 'Ω', help: 'Resistance of the coil as measured. May stay empty.' },

  'types[].type': { label: 'Type', unit: '', help: 'As in the list of injectors.' },
  'types[].resistanceOhm': { label: 'Coil', unit: 'Ω', help: 'At 20 °C, for injectors of the type that have no resistance in the list.' },
  'types[].uncertaintyOhm': { label: 'Its standard uncertainty', unit: 'Ω', help: 'Of one injector of the type.' },
  'types[].kelvinPerWatt': { label: 'For one watt', unit: 'K/W', help: 'How much warmer than the fuel a watt makes the coil. With the next three, or none of the four: then it is that of the reduction.' },
  'types[].uncertaintyKelvinPerWatt': { label: 'Its standard uncertainty', unit: 'K/W', help: 'Of the kelvins for one watt.' },
  'types[].timeConstantS': { label: 'Follows in', unit: 's', help: 'Time in which the coil makes up for all but 37 % of a change.' },
  'types[].uncertaintyTimeConstantS': { label: 'Its standard uncertainty', unit: 's', help: 'Of that time.' },

  'types[].staticFlowGPerMin': { label: 'Static flow', unit: 'g/min', help: 'Nominal flow held open. Empty: 240 g/min is assumed for estimates.' },
  'types[].flowPressureKpa': { label: 'At', unit: 'kPa', help: 'Rail pressure of the static flow. Empty: 400 kPa.' },
  'types[].flowDensityKgPerM3': { label: 'Density', unit: 'kg/m³', help: 'Of the fluid of the static flow. Empty: n-heptane.' },
  'types[].minVoltageV': { label: 'Supply from', unit: 'V', help: 'Lowest voltage that the type is made for.' },
  'types[].maxVoltageV': { label: 'Supply to', unit: 'V', help: 'Highest voltage.' },
  'types[].minPressureKpa': { label: 'Pressure from', unit: 'kPa', help: 'Lowest rail pressure.' },
  'types[].maxPressureKpa': { label: 'Pressure to', unit: 'kPa', help: 'Highest rail pressure.' },
  'types[].minWidthMs': { label: 'Width from', unit: 'ms', help: 'Shortest pulse.' },
  'types[].maxWidthMs': { label: 'Width to', unit: 'ms', help: 'Longest pulse.' },
  'types[].maxDutyPercent': { label: 'Duty, at most', unit: '%', help: 'Width over period; held open is 100 %.' },
  'types[].drive': { label: 'Drive', unit: '', help: 'How the coil is meant to be driven.' },

  'axes.voltageV': { label: 'Supply voltage', unit: 'V', help: 'Voltages at which each injector is measured.' },
  'axes.pressureKpa': { label: 'Rail pressure', unit: 'kPa', help: 'Gauge pressures in the rail.' },
  'axes.widthMs': { label: 'Pulse width', unit: 'ms', help: 'Commanded pulse widths. Put several below 3 ms to see the short-pulse region.' },
  'axes.periodMs': { label: 'Period', unit: 'ms', help: 'From the start of one pulse to the start of the next.' },
  'axes.replicates': { label: 'Replicates', unit: '', help: 'How many times each combination is measured. Three or more show the scatter.' },

  'sequence.kind': { label: 'Sequence of points', unit: '', help: 'Shuffled draws the order of the widths of each injector, so that coils which warm late and a slow drift scatter its windows in place of tilting its line.' },
  'sequence.seed': { label: 'Seed', unit: '', help: 'The same seed gives the same shuffled order. Only a shuffled or randomised order uses it.' },

  'reference.injector': { label: 'Injector', unit: '', help: 'Serial number of the injector that shows the drift.' },
  'reference.voltageV': { label: 'Supply voltage', unit: 'V', help: 'Voltage of the reference point.' },
  'reference.pressureKpa': { label: 'Rail pressure', unit: 'kPa', help: 'Gauge pressure of the reference point.' },
  'reference.widthMs': { label: 'Pulse width', unit: 'ms', help: 'Best a width well inside the linear region.' },
  'reference.periodMs': { label: 'Period', unit: 'ms', help: 'From pulse to pulse of the reference point.' },
  'reference.everyPoints': { label: 'Once every', unit: 'points', help: 'One reference point first, one after each this many points, one last.' },

  'static.replicates': { label: 'Static flow, replicates', unit: '', help: 'How often each injector is held open at each pressure, after the other points of that pressure. 0: not at all.' },
  'static.voltageV': { label: 'Static flow at', unit: 'V', help: 'Supply voltage while the injector is held open.' },
  'static.periodMs': { label: 'Static flow in pulses of', unit: 'ms', help: 'Pulses that follow each other without a gap; the longest pulse of the controller limits it.' },

  'zero.windowS': { label: 'Zero flow for', unit: 's', help: 'Length of each window with all injectors shut, which shows a leak. Empty: chosen from the length of the plan. 0: none.' },
  'zero.settleS': { label: 'Rest before zero flow', unit: 's', help: 'The rail fills up after pulses; that is no leak.' },
  'zero.decayS': { label: 'Rail shut off for', unit: 's', help: 'Where the meter has a least flow and the bench can shut the rail off: the fall of its pressure shows a small leak. 0: never.' },
  'zero.deadTimeUs': { label: 'Unseen leak may move dead time by', unit: 'µs', help: 'The pre-flight sheet says how long zero flow must be watched for this.' },
  'pair.windows': { label: 'Period pairs', unit: '', help: 'Windows of each injector at twice the period: a leak shows as a difference in mass per pulse. 0: none.' },
  'invariance.percent': { label: 'Invariance set, at most', unit: '% of the points', help: 'Windows with one condition changed (time, period, pressure) that must come to the same result. 0: none; a short plan has none.' },
  'invariance.pressurePercent': { label: 'Pressure of the set, ±', unit: '%', help: 'Rail pressure is moved up and down by this much. 0: not at all, where a person sets the pressure.' },
  'blind.percent': { label: 'Blind windows, at most', unit: '% of the points', help: 'Windows with a secret shift of the width that the reduction must find. They enter no result. 0: none.' },
  'blind.mostUs': { label: 'Blind shift, at most', unit: 'µs', help: 'Either way; never out of the widths of the plan or over its duty.' },

  'supply.toleranceV': { label: 'Supply tolerance, ±', unit: 'V', help: 'The read-back must come this near to the set voltage.' },
  'supply.steadyS': { label: 'Supply steady for', unit: 's', help: 'The read-back must stay in tolerance this long.' },
  'supply.timeoutS': { label: 'Give the supply up after', unit: 's', help: 'A supply that is not steady by then fails the point.' },

  'supply.idleCurrentA': { label: 'Current with nothing driven, at most', unit: 'A', help: 'More means a driver that does not switch off: the run trips.' },

  'condition.pressureToleranceKpa': { label: 'Pressure tolerance, ±', unit: 'kPa', help: 'The rail must come this near to its set point before a window begins.' },
  'condition.temperatureMinC': { label: 'Lowest temperature', unit: '°C', help: 'Colder fluid is waited for.' },
  'condition.temperatureMaxC': { label: 'Highest temperature', unit: '°C', help: 'Warmer fluid is waited for.' },
  'condition.steadyS': { label: 'Conditions steady for', unit: 's', help: 'Pressure and temperature must stay in band this long.' },
  'condition.timeoutS': { label: 'Give the wait up after', unit: 's', help: 'Conditions that are not in band by then fail the point.' },

  'purge.pulses': { label: 'Purge pulses', unit: '', help: 'Fired to drive out bubbles. 0: no purge.' },
  'purge.when': { label: 'Purge', unit: '', help: 'Before each window, or only where another injector was driven before it, and after each rest: windows of one injector then follow each other without it. A plan with targets purges so in any case.' },
  'purge.widthMs': { label: 'Purge width', unit: 'ms', help: 'Pulse width of the purge.' },
  'purge.periodMs': { label: 'Purge period', unit: 'ms', help: 'From pulse to pulse of the purge.' },
  settleS: { label: 'Settle', unit: 's', help: 'After the burst has begun, before the window opens.' },

  'window.minEdges': { label: 'Edges, at least', unit: 'edges', help: 'Whole edges of the flow meter that a window must hold.' },
  'window.minS': { label: 'Window, at least', unit: 's', help: 'A window is never shorter, however fast the edges come.' },
  'window.maxS': { label: 'Window, at most', unit: 's', help: 'By then the window ends, with enough edges or without.' },

  'accept.pressureKpa': { label: 'Mean pressure within, ±', unit: 'kPa', help: 'Mean over the window against the set point.' },
  'accept.pressureSdKpa': { label: 'Pressure scatter, at most', unit: 'kPa', help: 'Standard deviation inside the window.' },
  'accept.supplyV': { label: 'Mean supply within, ±', unit: 'V', help: 'Mean over the window against the set voltage.' },
  'accept.temperatureMinC': { label: 'Lowest mean temperature', unit: '°C', help: 'A colder window is rejected.' },
  'accept.temperatureMaxC': { label: 'Highest mean temperature', unit: '°C', help: 'A warmer window is rejected.' },
  'accept.halvesPercent': { label: 'Halves agree within', unit: '%', help: 'Flow of the first half of the window against the second.' },
  'accept.missingFramesPercent': { label: 'Missing frames, at most', unit: '%', help: 'Telemetry frames that may be lost inside the window.' },

  'repeats.attemptsAtOnce': { label: 'Immediate tries', unit: '', help: 'How often a failing point is tried before the run goes on, the first try included.' },
  'repeats.attemptsSecondPass': { label: 'Attempts in the second pass', unit: '', help: 'At the end, for what is still failed. 0: no second pass.' },

  'look.windowS': { label: 'Windows of', unit: 's', help: 'Before the sweep each injector is held open, then pulsed at two widths, and set aside if it does not look like a working one. 0: no first look.' },
  'look.voltageV': { label: 'At', unit: 'V', help: 'Supply of the first look. Empty: the highest voltage of the plan.' },
  'look.shortMs': { label: 'Shorter width', unit: 'ms', help: 'Empty: four ninths of the longer one.' },
  'look.longMs': { label: 'Longer width', unit: 'ms', help: 'Empty: 9 ms, or less where the duty limit wants it.' },
  'look.periodMs': { label: 'Period', unit: 'ms', help: 'From pulse to pulse; also the pulses that hold the injector open.' },
  'look.resistancePercent': { label: 'Coil resistance within, ±', unit: '%', help: 'Of the resistance in the list of injectors, else of the type, else of the others of its type.' },
  'look.coilOhm': { label: 'Coil of the type', unit: 'Ω', help: 'At 20 °C, for injectors that have no resistance in the list. May stay empty.' },
  'look.flowPercent': { label: 'Flow within, ±', unit: '%', help: 'Wide enough for a worn or dirty injector, too narrow for another type, a blocked one, or two at once.' },
  'look.staticFlowGPerMin': { label: 'Static flow of the type', unit: 'g/min', help: 'In n-heptane at 400 kPa. Empty: each is compared with the others of its type.' },
  'look.scatterPercent': { label: 'Flow scatter, at most', unit: '%', help: 'Standard deviation of the flow of equal parts of a window.' },
  'look.shutMlMin': { label: 'Flow after the pulses, at most', unit: 'mL/min', help: 'More, and the injector does not shut.' },

  'byItself.gapS': { label: 'Longest standstill', unit: 's', help: 'If this computer or the program stood still for longer, the run pauses and waits for you.' },
  'byItself.holdS': { label: 'Longest hold', unit: 's', help: 'A hold that lasts longer becomes a pause: you resume the run.' },
  'byItself.perHour': { label: 'Resumes within an hour', unit: '', help: 'So often the run goes on by itself after one cause (lost link, no telemetry, reset); then it trips.' },
  'byItself.sameCause': { label: 'Same cause', unit: 'attempts', help: 'After so many rejected attempts running for a cause that no injector explains the run pauses and waits for you. 0: never.' },
  'giveUp.afterFailures': { label: 'Give an injector up after', unit: 'failures', help: 'Rejected attempts in a row with the same cause. Its remaining points then wait for you, the others go on. 0: never.' },

  'guards[].id': { label: 'Name', unit: '', help: 'What the journal calls this guard, such as over-pressure.' },
  'guards[].signal': { label: 'Signal', unit: '', help: 'What is watched.' },
  'guards[].low': { label: 'Low', unit: '', help: 'Acts below this. Empty: no low limit.' },
  'guards[].high': { label: 'High', unit: '', help: 'Acts above this. Empty: no high limit.' },
  'guards[].hysteresis': { label: 'Hysteresis', unit: '', help: 'The signal must come back inside by this much before the guard clears.' },
  'guards[].dwellS': { label: 'Delay', unit: 's', help: 'The guard acts after the signal was outside this long.' },
  'guards[].level': { label: 'Answer', unit: '', help: 'Note: written down. Hold: made safe, goes on by itself when clear. Trip: made safe until acknowledged.' },
  'guards[].maxResumes': { label: 'Resumes', unit: '', help: 'Hold only: after this many automatic resumes within an hour the guard trips.' },
  'guards[].clearS': { label: 'Clear for', unit: 's', help: 'Hold only: the limits must be kept this long before the run resumes.' },

  'limits.dutyPercent': { label: 'Duty, at most', unit: '%', help: 'Pulse width over period. More is refused.' },
  'link.telemetryHz': { label: 'Telemetry', unit: 'Hz', help: 'Frames that the controller sends each second.' },
  'link.deadManMs': { label: 'Watchdog', unit: 'ms', help: 'The controller makes itself safe when it hears nothing for this long.' },

  'reduction.referenceC': { label: 'Reference temperature', unit: '°C', help: 'Fluid temperature to which mass is referred.' },
  'reduction.linearFromMs': { label: 'Line from', unit: 'ms', help: 'Widths from here on may belong to the line. Empty: found by the rule of the reduction.' },
  'reduction.linearFlowRangePercent': { label: 'Linear flow range within', unit: '%', help: 'Deviation from the line that ends the linear flow range.' },
  'reduction.repeatabilityPercent': { label: 'Repeatability limit', unit: '%', help: 'Standard deviation of windows of one width, up to which that width counts as usable.' },
  'reduction.slopeOverVoltage': { label: 'Slope over voltages', unit: '', help: 'One slope for all voltages of an injector: as far as the data say so, never, or always.' },
  'reduction.pressureEffect.percentPer100Kpa': { label: 'Dead time for 100 kPa more', unit: '%', help: 'What the rail pressure does to the dead time of this type, where it is known: dead times near one measured pressure are then calculated. Empty: they are not.' },
  'reduction.pressureEffect.uncertaintyPercentPer100Kpa': { label: 'Its standard uncertainty', unit: '%', help: 'Of that change. Given with it, or neither.' },
  'reduction.driftCorrection': { label: 'Drift of the bench', unit: '', help: 'What the reference point drifted by stands in the uncertainties, or is taken off every mass.' },
  'reduction.coil.kelvinPerWatt': { label: 'Coil, for one watt', unit: 'K/W', help: 'How much warmer than the fuel a watt makes coils of this type. Empty, all four: a usual coil, and what the windows of a shuffled order tell.' },
  'reduction.coil.uncertaintyKelvinPerWatt': { label: 'Its standard uncertainty', unit: 'K/W', help: 'Of the kelvins for one watt.' },
  'reduction.coil.timeConstantS': { label: 'Coil follows in', unit: 's', help: 'Time in which the coil makes up for all but 37 % of a change.' },
  'reduction.coil.uncertaintyTimeConstantS': { label: 'Its standard uncertainty', unit: 's', help: 'Of that time.' },
  'reduction.leakTimesU95': { label: 'Leak subtracted, at most', unit: '× U95', help: 'Past the injector under test. A leak that moves a result by more than this many times its U95 is not subtracted: there is no result.' },
  'reduction.leakChangeTimesU95': { label: 'Change of the leak, at most', unit: '× U95', help: 'While a block is measured. A leak that changes by more than this gives no result.' },
  'reduction.leakUncertaintyTimesU95': { label: 'Uncertainty of the leak, at most', unit: '× U95', help: 'Above this the result stands and is marked to be measured again.' },
  'reduction.linearityPercent': { label: 'Deviation from the line, at most', unit: '%', help: 'A width that deviates more does not belong to the line.' },
} as const satisfies Record<string, Words>;

export interface FieldWords extends Words {
  readonly path: FieldPath;
  readonly kind: 'number' | 'whole' | 'text' | 'choice';
  /** A list of such values (the axes). */
  readonly many: boolean;
  /** Values of a choice. */
  readonly choices: readonly string[];
  /** What is allowed, in words: `more than 0, at most 86400 s`. */
  readonly range: string;
  /** Used where the field stays empty; null: there is none. */
  readonly otherwise: string | null;
  /** The field may stay empty. */
  readonly optional: boolean;
}

interface SchemaNode {
  readonly type?: string;
  readonly properties?: Readonly<Record<string, SchemaNode>>;
  readonly required?: readonly string[];
  readonly items?: SchemaNode;
  readonly enum?: readonly string[];
  readonly default?: unknown;
  readonly minimum?: number;
  readonly maximum?: number;
  readonly exclusiveMinimum?: number;
  readonly maxLength?: number;
  readonly minLength?: number;
  /** The schema has one, that of a guard's name. */
  readonly pattern?: string;
}

/** A number of the form, as short as it goes back to the same number. */
export function numberText(value: number): string {
  return Object.is(value, -0) ? '-0' : String(value);
}

/** The leaves of the schema with their paths, as in `words`. A list of numbers is one leaf. */
function leavesOf(node: SchemaNode, path: string, required: boolean): readonly { readonly path: string; readonly node: SchemaNode; readonly required: boolean }[] {
  if (node.type === 'object') {
    return Object.entries(node.properties ?? {}).flatMap(([name, child]) =>
      // What a part that may be absent requires is required only with it.
      leavesOf(child, path === '' ? name : `${path}.${name}`, (required || !path.includes('.')) && node.required?.includes(name) === true),
    );
  }
  if (node.type === 'array' && node.items?.type === 'object') return leavesOf(node.items, `${path}[]`, required);
  return [{ path, node, required }];
}

function rangeText(node: SchemaNode, unit: string): string {
  const of = node.items ?? node;
  if (of.enum !== undefined) return `one of ${of.enum.length}`;
  if (of.type === 'string') {
    const most = of.maxLength === undefined ? '' : `up to ${of.maxLength} characters`;
    if (of.pattern !== undefined && of.pattern !== oneLinePattern.source) return 'small letters, digits and hyphens, a letter first';
    return (of.minLength ?? 0) > 0 ? ['not empty', most].filter((t) => t !== '').join(', ') : most;
  }
  const behind = unit === '' ? '' : `\u00a0${unit}`;
  const most = of.maximum === undefined || of.maximum >= Number.MAX_SAFE_INTEGER ? null : of.maximum;
  const whole = of.type === 'integer' ? 'whole number, ' : '';
  if (of.minimum !== undefined && of.minimum > Number.MIN_SAFE_INTEGER) {
    return most === null ? `${whole}${of.minimum}${behind} or more` : `${whole}${of.minimum} to ${most}${behind}`;
  }
  if (of.exclusiveMinimum !== undefined) {
    return most === null ? `${whole}more than ${of.exclusiveMinimum}${behind}` : `${whole}more than ${of.exclusiveMinimum}, up to ${most}${behind}`;
  }
  return most === null ? `${whole}any number` : `${whole}up to ${most}${behind}`;
}

function otherwiseText(value: unknown): string | null {
  if (typeof value === 'number') return numberText(value);
  return typeof value === 'string' ? value : null;
}

/** What the form has no field for and hands on as it came: targets of single voltages, and what is known of types. */
const carried = ['targets.atVoltage', 'targets.known', 'targets.map.atVoltage'];

/** All leaves of the plan's schema but its version and what is only handed on, in the schema's order. */
export const schemaLeaves = leavesOf(planJsonSchema() as SchemaNode, '', true).filter(({ path }) => path !== 'planVersion' && !carried.some((of) => path.startsWith(of)));

const fields: ReadonlyMap<string, FieldWords> = new Map(
  schemaLeaves.map(({ path, node, required }) => {
    const said = (words as Readonly<Record<string, Words | undefined>>)[path];
    if (said === undefined) throw new Error(`the plan's field ${path} has no label; give it one in this file and a place in the form`);
    const of = node.items ?? node;
    const field: FieldWords = {
      ...said,
      path: path as FieldPath,
      kind: of.enum !== undefined ? 'choice' : of.type === 'integer' ? 'whole' : of.type === 'string' ? 'text' : 'number',
      many: node.items !== undefined,
      choices: of.enum ?? [],
      range: rangeText(node, said.unit),
      otherwise: otherwiseText(node.default),
      optional: !required,
    };
    return [path, field];
  }),
);

export function fieldAt(path: FieldPath): FieldWords {
  const field = fields.get(path);
  if (field === undefined) throw new Error(`the plan has no field ${path}`);
  return field;
}

/** Of a path, where it is a field. */
export const wordsAt = (path: string): FieldWords | undefined => fields.get(path);
export const labelAt = (path: string): string | undefined => wordsAt(path)?.label;

/** A sentence about a plan with its fields as the form calls them, in the place of their paths in the document (WIN-115); the path of another document, which stands in brackets, is left out. */
export const withFieldNames = (text: string): string =>
  text.replaceAll(/ \([a-z]\w*(?:\.\w+)+\)/gi, '').replaceAll(/\b[a-z]\w*(?:\.\w+)+/gi, (path) => (labelAt(path) === undefined ? path : `"${labelAt(path)}"`));

export const axisNames = ['voltageV', 'pressureKpa', 'widthMs', 'periodMs'] as const;
export type AxisName = (typeof axisNames)[number];

/** Lists of numbers that the form has, by their names in it: the axes of the plan, and those of a wanted map. */
export const listPaths = { voltageV: 'axes.voltageV', pressureKpa: 'axes.pressureKpa', widthMs: 'axes.widthMs', periodMs: 'axes.periodMs', mapVoltageV: 'targets.map.voltageV', mapPressureKpa: 'targets.map.pressureKpa' } as const satisfies Record<string, FieldPath>;
export type ListName = keyof typeof listPaths;
export const listNames = Object.keys(listPaths) as readonly ListName[];
export const mapLists = ['mapVoltageV', 'mapPressureKpa'] as const;

/** Field names of a row of the form's tables, in the order of the columns. */
export const injectorColumns = ['channel', 'serialNumber', 'type', 'coilResistanceOhm'] as const;
export const typeColumns = ['type', 'resistanceOhm', 'uncertaintyOhm', 'kelvinPerWatt', 'uncertaintyKelvinPerWatt', 'timeConstantS', 'uncertaintyTimeConstantS', 'staticFlowGPerMin', 'flowPressureKpa', 'flowDensityKgPerM3', 'minVoltageV', 'maxVoltageV', 'minPressureKpa', 'maxPressureKpa', 'minWidthMs', 'maxWidthMs', 'maxDutyPercent', 'drive'] as const;
export const guardColumns = ['id', 'signal', 'low', 'high', 'hysteresis', 'dwellS', 'level', 'maxResumes', 'clearS'] as const;
export type InjectorColumn = (typeof injectorColumns)[number];
export type TypeColumn = (typeof typeColumns)[number];
export type GuardColumn = (typeof guardColumns)[number];

/** Fields that stand alone: neither in a row nor a list. */
export const singlePaths = [...fields.values()].filter(({ path, many }) => !many && !path.includes('[]')).map(({ path }) => path);

/** Words for the choices of a field, where the value itself says too little. */
export const choiceWords: Readonly<Partial<Record<FieldPath, Readonly<Record<string, string>>>>> = {
  'sequence.kind': {
    nested: 'Nested: each loop in the order of the plan',
    alternating: 'Alternating: each loop up and down',
    shuffled: 'Shuffled: the widths of each injector in a drawn order',
    randomised: 'Randomised in blocks of one pressure and voltage',
  },
  'reduction.slopeOverVoltage': { tested: 'As far as the data say so', own: 'Never: each voltage its own', shared: 'Always: one for all' },
  'reduction.driftCorrection': { none: 'Stands in the uncertainties', reference: 'Taken off by the reference point' },
  'targets.spend': { 'until-known': 'As needed', 'all-hours': 'All of it' },
  'purge.when': { 'each-window': 'Before each window', 'injector-changes': 'When the injector changes' },
  qualification: { 'not-required': 'Not required', required: 'Required' },
  'types[].drive': { saturated: 'Saturated switch', 'peak-and-hold': 'Peak and hold' },
  'guards[].level': { note: 'Note', hold: 'Hold', trip: 'Trip' },
  'guards[].signal': Object.fromEntries(Object.entries(guardSignals).map(([signal, { label, shown }]) => [signal, `${label}, ${shown}`])),
};
