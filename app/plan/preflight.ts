/**
 * The sheet before a start: plan, bench and equipment held against each other. Rules PRE-1 and following are in README.md;
 * every rule gives exactly one line, so that a sheet shows what was looked at as well as what was found.
 */
import { guardedReading } from '../bench/guard-signals.ts';
import type { BenchCapabilities, BenchIdentity } from '../bench/port.ts';
import { fluidTemperatures } from '../bench/readings.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { certificatesOn, lotAgeDays, notOfController } from '../equipment/standing.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import { celsius, kilopascals, milliseconds, pascals, toKilopascals, toMilliseconds } from '../quantities/quantity.ts';
import type { Seconds } from '../quantities/quantity.ts';
import type { MeterStanding, PreflightLine, QualificationStanding } from './preflight-line.ts';
import { ohmOfType } from './coil-of-type.ts';
import { assumedStaticFlow, expectedFlow, statedStaticFlow } from './flow-of-type.ts';
import type { ExpectedFlow } from './flow-of-type.ts';
import { hasLook } from './look.ts';
import { estimateRun, expectedEdgeRate, expectedWindow } from './estimate.ts';
import type { RunTotals, SetPoint } from './estimate.ts';
import { ofType } from './of-type.ts';
import type { Plan } from './plan.ts';
import { invarianceFindings } from './preflight-invariance.ts';
import { leakFindings } from './preflight-leak.ts';
import { recordFindings } from './preflight-record.ts';
import { typeFindings } from './preflight-type.ts';
import { windowFindings } from './preflight-window.ts';
import type { Point } from './points.ts';

export interface PreflightContext {
  /** null: no bench is connected, so what it can do is not known; its lines then say that they were not checked. */
  readonly capabilities: BenchCapabilities | null;
  readonly equipment: Equipment;
  /** Who the equipment record must belong to; null: no bench is connected. A simulated bench has no instruments that a certificate could be of. */
  readonly controller: (Pick<BenchIdentity, 'model' | 'serialNumber'> & { readonly simulated: boolean }) | null;
  /** Free space where the archive lies; null: not known. */
  readonly freeDiskBytes: number | null;
  /** ISO 8601 date, for the certificates. */
  readonly today: string;
  /** null: there is no archive to ask. */
  readonly meterChecks: MeterStanding | null;
  /** Of the connected bench; null: there is no archive to ask, or no bench is connected. */
  readonly qualification: QualificationStanding | null;
}

export interface Preflight {
  readonly lines: readonly PreflightLine[];
  /** Without repeats, holds and pauses. */
  readonly totals: RunTotals;
}

type Finding = Omit<PreflightLine, 'rule'>;

const pass = (text: string): Finding => ({ result: 'pass', text });
const warn = (text: string): Finding => ({ result: 'warn', text });
const refuse = (text: string): Finding => ({ result: 'refuse', text });
const unseen = (what: string): Finding => ({ ...warn(`Not checked, because no bench is connected: ${what}.`), awaitsBench: true });

/** Pulse trains that the controller will be asked for, each once: those of the points and the purge. */
interface Train {
  readonly width: Seconds;
  readonly period: Seconds;
}

/** Holds a plan against the bench and the lab's equipment; a run may start when no line says `refuse`. */
export function preflight(plan: Plan, points: readonly Point[], context: PreflightContext): Preflight {
  const flowOf = expectedFlow(plan);
  const totals = estimateRun(plan, points, context.equipment);
  const setPoints = distinct(
    points.filter((p) => p.role !== 'zero'),
    (p) => `${p.role === 'pair' || p.role === 'look' ? p.role : ''} ${flowOf(p.injector)} ${p.voltage} ${p.pressure} ${p.width} ${p.period}`,
  );
  const trains: readonly Train[] = distinct(
    [
      ...setPoints,
      ...(plan.purge.pulses > 0 ? [{ width: milliseconds(plan.purge.widthMs), period: milliseconds(plan.purge.periodMs) }] : []),
    ],
    (t) => `${t.width} ${t.period}`,
  );

  const assumption = assumedFlow(plan);
  const onBench = (what: string, look: (capabilities: BenchCapabilities) => Finding): Finding =>
    context.capabilities === null ? unseen(what) : look(context.capabilities);
  const findings: Readonly<Record<string, Finding>> = {
    'PRE-1': duration(totals.durationS),
    'PRE-2': pass(`${totals.points} points, about ${totals.pulses} pulses, without repeats.`),
    'PRE-3': pass(`About ${short(totals.fluidMl / 1e3)} L of ${context.equipment.fluid.name} will pass${assumption}. Have that much in circulation or in the tank.`),
    'PRE-4': onBench('whether the supply reaches the voltages', (c) => voltages(points, c)),
    'PRE-5': onBench('whether the regulator reaches the pressures', (c) => pressures(points, plan, c)),
    'PRE-6': onBench('whether the controller times these widths and periods', (c) => timerLimits(plan, trains, c)),
    'PRE-7': onBench('whether widths and periods are whole ticks of the controller', (c) => timerResolution(trains, c)),
    'PRE-8': duty(trains.filter((t) => t.width !== t.period || (plan.static.replicates === 0 && !hasLook(plan))), plan),
    'PRE-9': onBench('whether the driver channels are there', (c) => channels(plan, c)),
    'PRE-10': onBench('whether the controller counts far enough', (c) => burstLength(plan, trains, c)),
    'PRE-11': disk(totals.diskBytes, context.freeDiskBytes),
    'PRE-12': certificates(context.equipment, context.today),
    'PRE-13': onBench("whether the watchdog's time can be set", (c) => deadMan(plan, c)),
    'PRE-14': onBench('whether the controller sends that many frames', (c) => telemetry(plan, c)),
    'PRE-15': window(plan, setPoints, context.equipment, flowOf, assumption),
    'PRE-16': guardsPresent(plan),
    'PRE-17': guardsAgainstPlan(plan, points),
    'PRE-18': waitsAgainstAcceptance(plan),
    'PRE-19': densityRange(plan, points, context.equipment),
    ...leakFindings(plan, points, { capabilities: context.capabilities, equipment: context.equipment, flowOf, durationS: totals.durationS }),
    'PRE-40': controllerNamed(context.equipment, context.controller),
    'PRE-41': decidesDeadTime(context.equipment),
    'PRE-42': fluidLot(context.equipment, context.today),
    'PRE-50': firstLook(plan),
    ...windowFindings(plan, setPoints, context.equipment, flowOf),
    ...recordFindings(setPoints, context.equipment, flowOf, assumption),
    ...invarianceFindings(plan, points, { capabilities: context.capabilities, equipment: context.equipment, durationS: totals.durationS }),
    ...typeFindings(plan, points),
    'PRE-66': qualified(plan, context.qualification),
    'PRE-63': meterChecked(context.meterChecks, setPoints.map((point) => expectedEdgeRate(flowOf(point.injector), context.equipment, point))),
  };
  return { lines: Object.entries(findings).map(([rule, finding]) => ({ rule, ...finding })), totals };
}

/** Of which injectors the flow was assumed, to be added to a sentence; empty: of none. PLAN-94 */
function assumedFlow(plan: Plan): string {
  const unknown = [...new Set(plan.injectors.map(({ type }) => type))].filter((type) => statedStaticFlow(ofType(plan, type)) === null);
  if (unknown.length === 0) return '';
  const whose = plan.injectors.every(({ type }) => unknown.includes(type)) ? '' : ` for ${unknown.join(', ')}`;
  return `, assuming a static flow of ${short(assumedStaticFlow * 6e4)} g/min at 400 kPa${whose}`;
}

/** What each injector's coil and flow can be held against in the first look. */
function firstLook(plan: Plan): Finding {
  const { injectors } = plan;
  if (!hasLook(plan)) return pass('The plan has no first look (look.windowS is 0): an injector that does not work, or is connected to another channel, is found out only by its results.');
  const known = injectors.filter((i) => i.coilResistanceOhm !== undefined || ohmOfType(plan, i.type) !== null);
  const alone = injectors.filter((i) => !known.includes(i) && injectors.every((other) => other === i || other.type !== i.type));
  const registered = injectors.filter((i) => i.coilResistanceOhm !== undefined).length;
  const swaps = registered < 2 ? ' Two injectors of one type on each other\'s channel can be told only by coil resistances in the list of injectors.' : '';
  if (alone.length > 0) {
    return warn(`A first look at each injector begins the run. The coil of ${alone.map((i) => i.serialNumber).join(', ')} cannot be judged: no resistance is given, and there is no other of its type. Give coilResistanceOhm, types[].resistanceOhm or look.coilOhm.${swaps}`);
  }
  return pass(`A first look at each injector begins the run; ${known.length} of ${injectors.length} coils are compared with a given resistance, the others with those of their type.${swaps}`);
}

function duration(durationS: number): Finding {
  const text = `The run takes about ${hours(durationS)}, without repeats, holds and pauses.`;
  return durationS > 86_400
    ? warn(`${text} That is more than a day: consider fewer replicates or several plans, and refill and supervision over that time.`)
    : pass(text);
}

function voltages(points: readonly Point[], { minSupply, maxSupply }: BenchCapabilities): Finding {
  const all = sorted(points.map((p) => p.voltage));
  const outside = all.filter((v) => v < minSupply || v > maxSupply);
  const reach = `The supply of this bench reaches ${minSupply} to ${maxSupply} V`;
  return outside.length > 0
    ? refuse(`${reach}; ${listed(outside)} V ${is(outside)} out of reach. Take ${them(outside)} out of the plan.`)
    : pass(`${reach}; the plan needs ${between(all)} V.`);
}

function pressures(points: readonly Point[], plan: Plan, { pressure }: BenchCapabilities): Finding {
  const all = sorted(points.map((p) => Math.round(p.pressure)));
  const shown = listed(all.map((p) => p / 1e3));
  if (pressure.commandable) {
    const outside = all.filter((p) => p < pressure.min || p > pressure.max).map((p) => p / 1e3);
    const reach = `The regulator of this bench reaches ${toKilopascals(pressure.min)} to ${toKilopascals(pressure.max)} kPa`;
    return outside.length > 0
      ? refuse(`${reach}; ${listed(outside)} kPa ${is(outside)} out of reach. Take ${them(outside)} out of the plan.`)
      : pass(`${reach}; the plan needs ${shown} kPa.`);
  }
  const changes = points.filter((p, i) => i === 0 || points[i - 1]?.pressure !== p.pressure).length;
  return warn(
    changes === 1
      ? `This bench cannot set the rail pressure by itself. Set the regulator to ${shown} kPa (+/- ${plan.condition.pressureToleranceKpa} kPa) before the start.`
      : `This bench cannot set the rail pressure by itself. The plan needs ${shown} kPa and will ask the operator ${changes} times to set the regulator; somebody must be there.`,
  );
}

function timerLimits(plan: Plan, trains: readonly Train[], c: BenchCapabilities): Finding {
  const widths = sorted(trains.map((t) => t.width)).filter((w) => w < c.minWidth || w > c.maxWidth);
  const periods = sorted(trains.map((t) => t.period)).filter((p) => p < c.minPeriod || p > c.maxPeriod);
  const reach = `The controller times pulses of ${ms(c.minWidth)} to ${ms(c.maxWidth)} ms in periods of ${ms(c.minPeriod)} to ${ms(c.maxPeriod)} ms`;
  if (widths.length === 0 && periods.length === 0) return pass(`${reach}; the plan stays inside.`);
  const outside = [
    ...(widths.length > 0 ? [`pulse widths of ${listed(widths.map(ms))} ms`] : []),
    ...(periods.length > 0 ? [`periods of ${listed(periods.map(ms))} ms`] : []),
  ].join(' and ');
  const pairs = plan.pair.windows > 0 && periods.some((p) => p > c.maxPeriod) ? ' Period pairs run at twice the period: pair.windows 0 leaves them out.' : '';
  return refuse(`${reach}; ${outside} lie outside. Take them out of the plan.${pairs}`);
}

function timerResolution(trains: readonly Train[], { timerResolution: tick }: BenchCapabilities): Finding {
  const offGrid = (s: number) => Math.abs(s / tick - Math.round(s / tick)) > 1e-6;
  const widths = sorted(trains.map((t) => t.width)).filter(offGrid);
  const periods = sorted(trains.map((t) => t.period)).filter(offGrid);
  if (widths.length === 0 && periods.length === 0) return pass(`Every width and period is a whole number of ticks of ${short(tick * 1e6)} us.`);
  const shown = listed([...widths, ...periods].map(ms));
  return warn(
    `The controller counts ticks of ${short(tick * 1e6)} us; ${shown} ms ${widths.length + periods.length === 1 ? 'is' : 'are'} between two ticks and will be rounded. Use whole ticks, or accept up to ${short(tick * 5e5)} us of difference.`,
  );
}

function duty(trains: readonly Train[], plan: Plan): Finding {
  const [worst] = trains.toSorted((a, b) => b.width / b.period - a.width / a.period);
  if (worst === undefined) return pass('No pulses, no duty.');
  const percent = (100 * worst.width) / worst.period;
  const what = `The highest duty is ${short(percent)} % (${ms(worst.width)} ms in ${ms(worst.period)} ms)`;
  // As in parse.ts, the last bits of the quotient must not decide.
  if (percent > 100 * (1 + 1e-9)) return refuse(`${what}: a pulse does not fit into its period. Make the period longer.`);
  if (percent > plan.limits.dutyPercent * (1 + 1e-9)) return refuse(`${what}; the plan allows ${plan.limits.dutyPercent} %. Make the period longer or the pulse shorter.`);
  return pass(`${what}; the plan allows ${plan.limits.dutyPercent} %.`);
}

function channels(plan: Plan, { channels: there }: BenchCapabilities): Finding {
  const missing = plan.injectors.filter((i) => i.channel > there);
  return missing.length > 0
    ? refuse(`This bench has driver channels 1 to ${there}; the plan has ${missing.map((i) => `${i.serialNumber} on channel ${i.channel}`).join(', ')}. Correct the channels or take these injectors out.`)
    : pass(`Every injector is connected to one of the ${there} driver channels. Check that each is connected to the one that the plan names.`);
}

function burstLength(plan: Plan, trains: readonly Train[], { maxCount }: BenchCapabilities): Finding {
  const shortest = Math.min(...trains.map((t) => t.period));
  const longest = Math.max(plan.purge.pulses, Math.ceil((plan.settleS + plan.window.maxS) / shortest));
  return longest > maxCount
    ? refuse(`The longest pulse train may need ${longest} pulses; the controller counts to ${maxCount}. Shorten window.maxS, settleS or the purge.`)
    : pass(`The longest pulse train may need ${longest} pulses; the controller counts to ${maxCount}.`);
}

function disk(needed: number, free: number | null): Finding {
  const need = `The archive of this run needs about ${megabytes(needed)}`;
  if (free === null) return warn(`${need}; how much is free could not be found out. Make sure that there is room.`);
  if (free < needed) return refuse(`${need}, but only ${megabytes(free)} are free. Make room or choose another place for the archive.`);
  if (free < 2 * needed) return warn(`${need}, and only ${megabytes(free)} are free. Repeats may fill the disk: make room before a long run.`);
  return pass(`${need}; ${megabytes(free)} are free.`);
}

function certificates(equipment: Equipment, today: string): Finding {
  const { stale, ending } = certificatesOn(equipment, today);
  if (stale.length > 0) return untraceable(`Not in calibration on ${today}: ${stale.join('; ')}.`, 'Have it calibrated and give the new certificate');
  if (ending.length > 0) return warn(`Calibration ends soon: ${ending.join('; ')}. Order a calibration.`);
  return pass(`All four instruments are in calibration on ${today}.`);
}

/** Rates that the plan is expected to use may lie outside the checked ones by so much (the expectation is no better). */
const nearlyChecked = 1.25;

function meterChecked(standing: MeterStanding | null, rates: readonly number[]): Finding {
  if (standing === null) return warn('Not checked, because no archive is open: whether a check of the flow meter speaks against it.');
  if (standing.result === 'untraceable') return untraceable(standing.text, 'Calibrate the meter');
  const { checkedHertz } = standing;
  if (standing.result === 'warn' || checkedHertz === null) return standing.result === 'warn' ? warn(standing.text) : pass(standing.text);
  const used = rates.filter((rate) => rate > 0);
  const outside = used.filter((rate) => rate < checkedHertz.lowest / nearlyChecked || rate > checkedHertz.highest * nearlyChecked);
  if (outside.length === 0) return pass(standing.text);
  return warn(`${standing.text} It was checked from ${short(checkedHertz.lowest)} to ${short(checkedHertz.highest)} Hz, and the plan needs about ${short(Math.min(...used))} to ${short(Math.max(...used))} Hz. Check it at the rates that are used; until then the uncertainty grows beyond the checked rates.`);
}

function fluidLot(equipment: Equipment, today: string): Finding {
  const { name, lot, openedOn, useWithinDays } = equipment.fluid;
  const what = `Lot ${lot} of ${name} was opened on ${openedOn}`;
  const age = lotAgeDays(equipment, today);
  if (age < 0) return untraceable(`${what}, which is after today (${today}).`, 'Correct the date in the record');
  if (useWithinDays === undefined) return pass(`${what}, ${age} days ago; the record sets no limit to that.`);
  if (age > useWithinDays) return untraceable(`${what}, ${age} days ago; the record allows ${useWithinDays} days.`, 'Open a new lot and enter it in the record');
  return pass(`${what}, ${age} days ago; the record allows ${useWithinDays} days.`);
}

/** A plan that requires a qualification is not started without one that holds. */
function qualified({ qualification }: Plan, standing: QualificationStanding | null): Finding {
  if (qualification === 'not-required') return pass(`The plan requires no qualification of the bench.${standing === null ? '' : ` ${standing.text}`}`);
  if (standing === null) return warn('Not checked, because no bench is connected or no archive is open: whether the bench is qualified, which the plan requires.');
  return standing.holds ? pass(standing.text) : refuse(`${standing.text} The plan requires a qualification that holds: qualify the bench, on the page Equipment or by the command qualification.`);
}

/** What cannot be traced is measured only where a person has chosen so (RUN-110). */
function untraceable(found: string, remedy: string): Finding {
  return { ...refuse(`${found} ${remedy}, or choose to measure all the same: every result of the run will then say that it is not traceable, and why.`), untraceable: found };
}

function controllerNamed(equipment: Equipment, controller: PreflightContext['controller']): Finding {
  if (controller === null) return unseen('whether the equipment record is that of the controller');
  const not = notOfController(equipment, controller);
  if (not === null) return pass(`The equipment record "${equipment.name}" names the connected controller, ${controller.model} ${controller.serialNumber}.`);
  return controller.simulated
    ? warn(`The bench is simulated, so this does not refuse a start. ${not}`)
    : refuse(not);
}

function decidesDeadTime(equipment: Equipment): Finding {
  if (equipment.equipmentVersion === 1) {
    return warn('The equipment record is of version 1 and does not state the clamp of the drivers, the resistance between supply and coil, or the time base of the controller: dead times are stated as if all three were known exactly.');
  }
  const { driver, wiring, timeBase } = equipment;
  return pass(
    `Dead times hold for ${driver.type} with a clamp of ${driver.clampV} V to ground and for the voltage at the coil (read back at ${wiring.sensedAt}, ${wiring.harnessOhm} ohm from there to the coil and back); the controller counts time by ${timeBase.kind}.`,
  );
}

function deadMan(plan: Plan, { deadManMin, deadManMax }: BenchCapabilities): Finding {
  const { deadManMs } = plan.link;
  const reach = `The watchdog of this bench can be set to ${ms(deadManMin)} to ${ms(deadManMax)} ms`;
  return deadManMs < toMilliseconds(deadManMin) || deadManMs > toMilliseconds(deadManMax)
    ? refuse(`${reach}; the plan wants ${deadManMs} ms. Correct link.deadManMs.`)
    : pass(`${reach}; the plan wants ${deadManMs} ms. It is proved before the first point.`);
}

function telemetry(plan: Plan, { telemetryMaxHz }: BenchCapabilities): Finding {
  const { telemetryHz } = plan.link;
  if (telemetryHz > telemetryMaxHz) return refuse(`The controller sends ${telemetryMaxHz} frames a second at most; the plan wants ${telemetryHz}. Correct link.telemetryHz.`);
  if (telemetryHz < 5) return warn(`At ${telemetryHz} frames a second a fault is seen late and steadiness is hard to judge. Use 5 or more (20 is usual).`);
  return pass(`${telemetryHz} frames a second; the controller can send ${telemetryMaxHz}.`);
}

function window(plan: Plan, setPoints: readonly SetPoint[], equipment: Equipment, flowOf: ExpectedFlow, assumption: string): Finding {
  const late = setPoints
    .map((point) => ({ point, rate: expectedEdgeRate(flowOf(point.injector), equipment, point) }))
    .filter(({ point, rate }) => !expectedWindow(plan, rate, point.role).reached);
  const { minEdges, maxS } = plan.window;
  const [first] = late.toSorted((a, b) => a.rate - b.rate);
  if (first === undefined) return pass(`Every set point should give ${minEdges} meter edges within ${maxS} s${assumption}.`);
  const { voltage, width } = first.point;
  const count = late.length === 1 ? 'One set point' : `${late.length} of ${setPoints.length} set points`;
  const worst = first.rate > 0 ? `about ${short(first.rate)} edges a second` : 'no flow at all';
  return warn(
    `${count} may not give ${minEdges} meter edges within ${maxS} s${assumption}: at ${voltage} V and ${ms(width)} ms ${worst} is expected. Leave such widths out, allow a longer window.maxS or ask for fewer window.minEdges; otherwise these points may fail.`,
  );
}

function guardsPresent({ guards }: Plan): Finding {
  const stops = (signals: readonly string[]) => guards.some((g) => g.level !== 'note' && signals.includes(g.signal));
  const missing = [
    ...(stops(['pressure-deviation-kpa', 'pressure-kpa']) ? [] : ['the rail pressure']),
    ...(stops(fluidTemperatures.flatMap(({ guard }) => guard ?? [])) ? [] : ['the fluid temperature']),
  ];
  return missing.length > 0
    ? warn(`No guard of level hold or trip watches ${missing.join(' or ')}. Add one, so that the run stops by itself when it goes wrong.`)
    : pass(`${guards.length} guards; rail pressure and fluid temperature are watched.`);
}

// eslint-disable-next-line complexity -- one comparison for each guard against what the plan asks for
function guardsAgainstPlan(plan: Plan, points: readonly Point[]): Finding {
  const used = sorted(points.map((p) => Math.round(p.pressure)));
  const lowest = (used[0] ?? NaN) / 1e3;
  const highest = (used.at(-1) ?? NaN) / 1e3;
  const impossible: string[] = [];
  const tight: string[] = [];
  for (const guard of plan.guards) {
    const low = guard.low ?? -Infinity;
    const high = guard.high ?? Infinity;
    switch (guard.signal) {
      case 'pressure-kpa':
        if (high < highest) impossible.push(`${guard.id} stops above ${high} kPa, but the plan goes to ${highest} kPa`);
        if (low > lowest) impossible.push(`${guard.id} stops below ${low} kPa, but the plan goes down to ${lowest} kPa`);
        break;
      case 'pressure-deviation-kpa':
        if (low > 0 || high < 0) impossible.push(`${guard.id} allows no pressure at its set point`);
        else if (Math.min(-low, high) < plan.condition.pressureToleranceKpa) tight.push(`${guard.id} is tighter than the wait for pressure (condition.pressureToleranceKpa, ${plan.condition.pressureToleranceKpa} kPa)`);
        break;
      case 'supply-deviation-v':
        if (low > 0 || high < 0) impossible.push(`${guard.id} allows no supply at its set point`);
        else if (Math.min(-low, high) < plan.supply.toleranceV) tight.push(`${guard.id} is tighter than the wait for the supply (supply.toleranceV, ${plan.supply.toleranceV} V)`);
        break;
      case 'current-a':
      case 'idle-flow-ml-min':
        if (high <= 0) impossible.push(`${guard.id} allows no positive reading`);
        break;
      default:
        if (guardedReading(guard.signal)?.band === 'temperature' && (high < plan.condition.temperatureMinC || low > plan.condition.temperatureMaxC)) {
          impossible.push(`${guard.id} allows none of the temperatures at which a point may be measured (${plan.condition.temperatureMinC} to ${plan.condition.temperatureMaxC} degC)`);
        }
        break;
    }
  }
  if (impossible.length > 0) return refuse(`A guard would stop the run as soon as it measures: ${impossible.join('; ')}. Correct its limits.`);
  if (tight.length > 0) return warn(`A guard may act where a wait would be content: ${tight.join('; ')}. Widen the guard or tighten the wait.`);
  return pass('The limits of the guards leave room for every set point.');
}

function waitsAgainstAcceptance({ condition, accept, supply }: Plan): Finding {
  const looser = [
    ...(condition.pressureToleranceKpa > accept.pressureKpa ? [`pressure (wait +/- ${condition.pressureToleranceKpa} kPa, acceptance +/- ${accept.pressureKpa} kPa)`] : []),
    ...(supply.toleranceV > accept.supplyV ? [`supply (wait +/- ${supply.toleranceV} V, acceptance +/- ${accept.supplyV} V)`] : []),
    ...(condition.temperatureMinC < accept.temperatureMinC || condition.temperatureMaxC > accept.temperatureMaxC
      ? [`temperature (wait ${condition.temperatureMinC} to ${condition.temperatureMaxC} degC, acceptance ${accept.temperatureMinC} to ${accept.temperatureMaxC} degC)`]
      : []),
  ];
  return looser.length > 0
    ? warn(`The wait before a window is content with more than the acceptance after it: ${looser.join('; ')}. Points will be measured only to be rejected; make the wait as tight.`)
    : pass('The waits before a window are as tight as the acceptance after it.');
}

function densityRange(plan: Plan, points: readonly Point[], equipment: Equipment): Finding {
  const temperatures = [plan.accept.temperatureMinC, plan.accept.temperatureMaxC, plan.reduction.referenceC];
  const absolute = sorted(points.map((p) => p.pressure)).map((p) => pascals(p + kilopascals(equipment.ambientKpa)));
  const known = temperatures.every((t) => absolute.every((p) => densityOfRun(equipment, celsius(t), p) !== null));
  return known
    ? pass(`The density of ${equipment.fluid.name} is known over the temperatures and pressures of the plan${equipment.fluid.measuredDensity === undefined ? ', from its equation of state' : ', scaled to the measured value'}.`)
    : refuse(`The density of ${equipment.fluid.name} is known from -10 to 60 degC and from 50 kPa to 10 MPa absolute; the plan's temperature limits, its reference temperature, its pressures or the measured density go beyond. Correct them: no mass could be computed.`);
}

function distinct<T>(items: readonly T[], key: (item: T) => string): readonly T[] {
  return [...new Map(items.map((item) => [key(item), item])).values()];
}

function sorted(values: readonly number[]): readonly number[] {
  return [...new Set(values)].toSorted((a, b) => a - b);
}

const ms = (s: number): number => Number((s * 1e3).toPrecision(9));
const short = (n: number): string => String(Number(n.toPrecision(3)));
const is = (list: readonly unknown[]): string => (list.length === 1 ? 'is' : 'are');
const them = (list: readonly unknown[]): string => (list.length === 1 ? 'it' : 'them');
const megabytes = (bytes: number): string => `${short(bytes / 1e6)} MB`;

/** At most ten values in words; a plan may have hundreds. */
function listed(values: readonly number[]): string {
  const shown = values.slice(0, 10).map((v) => String(Number(v.toPrecision(9))));
  if (values.length > shown.length) return `${shown.join(', ')} and ${values.length - shown.length} more`;
  return shown.length > 1 ? `${shown.slice(0, -1).join(', ')} and ${shown.at(-1) ?? ''}` : shown.join('');
}

function between(ascending: readonly number[]): string {
  const [first, last] = [ascending[0], ascending.at(-1)];
  return first === last ? String(first) : `${String(first)} to ${String(last)}`;
}

function hours(s: number): string {
  const minutes = Math.max(1, Math.round(s / 60));
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}
