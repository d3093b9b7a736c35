/**
 * The physical bench behind the controller's pins: injectors on a rail, regulator, fluid, supply, flow meter, and the
 * sensors with their errors. What happens depends on the scenario and on what is asked of it and when, not on how often
 * it is looked at (sensor noise aside: every look takes new).
 */
import { simulatedBenchEquipment } from './certificates.ts';
import type { PlantPort, PlantReadings, RailOutputs } from './plant-port.ts';
import type { Input } from '../../line/messages.ts';
import { RandomSource } from './random.ts';
import { SCALES } from './scales.ts';
import { interlockBit } from './scenario.ts';
import type { Fault, Scenario } from './scenario.ts';
import { heptaneDensity } from './fluid.ts';
import { InjectorChannel, type Draw } from './injector-channel.ts';
import { drawInjector } from './injector-type.ts';
import { InPulse, IN_PULSE } from './in-pulse.ts';
import { drawInstrumentErrors } from './instrument-errors.ts';
import { LeakingPlace } from './leak.ts';
import { Meter } from './meter.ts';
import { Rail } from './rail.ts';
import { circuitOf, SOURCE_OHM, Supply } from './supply.ts';
import { Creep, FLUID_C, METER_WARMER_K } from './thermal.ts';
import { Wander } from './wander.ts';

type FaultKind = Fault['fault'];
type Sensor = Extract<FaultKind, { kind: 'sensor-stuck' }>['sensor'];

export interface Plant extends PlantPort {
  /** A scripted fault begins; faults of the line and the controller are none of the plant's business and are ignored. */
  begin(fault: FaultKind): void;
  /** The same object ends. */
  end(fault: FaultKind): void;
}

const AMBIENT_PA = simulatedBenchEquipment.ambientKpa * 1e3;
/** Where the bench's regulator stands until it is told otherwise, and where it always stands if it cannot be told. */
const HOME_PA = 400e3;
/** The supply's own limit. */
const MOST_CURRENT_A = 10;
const REGULATOR_MAX_PA = 700e3;
/** Slow things (regulator, speed of the meter, warming) move in steps of this, the creep of the room every so many. */
const TICK_US = 20_000;
const TICKS_PER_CREEP = 50;
/** A flow that lasts longer than this follows the pressure in steps of it. */
const LONGEST_DRAW_US = 20_000;
const PRESSURE_CREEP = { amplitude: 400, longestPeriodS: 5400 };
const FLUID_CREEP = { amplitude: 0.6, longestPeriodS: 14_000 };
const METER_CREEP = { amplitude: 0.08, longestPeriodS: 9000 };
/** The supply's ammeter averages over this. */
const AMMETER_TAU_S = 0.05;
/** A heater that ran away warms the fluid with this time constant. */
const WARMING_TAU_S = 3;
/** Standard deviations of single readings, in the unit of the wire. */
const SENSOR_NOISE: Readonly<Record<Sensor, number>> = {
  supply: 1,
  current: 3,
  pressure: 120,
  'rail-temperature': 10,
  'meter-temperature': 10,
};

const INPUT_OF: Readonly<Record<Sensor, Input>> = {
  supply: 'supply', current: 'current', pressure: 'pressure', 'rail-temperature': 'rail', 'meter-temperature': 'meter',
};

interface PendingPulse {
  readonly channel: number;
  readonly startUs: number;
  readonly widthUs: number;
}

interface ActiveDraw extends Draw {
  readonly channel: number;
  /** The flow is worked out anew here; before the draw begins this is its beginning. */
  nextUs: number;
  /** kg/s. */
  flow: number;
}

/** A bench at rest: supply off, nothing flowing; no pressure where the pump or a relief valve is commanded, else 400 kPa. */
export function createPlant(scenario: Scenario): Plant {
  return new SimulatedPlant(scenario);
}

class SimulatedPlant implements Plant {
  readonly #scenario: Scenario;
  readonly #errors;
  readonly #channels: readonly InjectorChannel[];
  /** null: the controller does not read the supply inside pulses. */
  readonly #inPulse: InPulse | null;
  readonly #supply: Supply;
  readonly #rail: Rail;
  readonly #meter: Meter;
  readonly #sensorNoise: RandomSource | null;
  readonly #pressureCreep: Creep | null;
  readonly #fluidCreep: Creep | null;
  readonly #meterCreep: Creep | null;

  #now = 0;
  #nextTick = TICK_US;
  readonly #pending: PendingPulse[] = [];
  #draws: ActiveDraw[] = [];
  #pressureSet = HOME_PA;
  #vented: boolean;
  #fluidC = FLUID_C;
  #meterC = FLUID_C + METER_WARMER_K;
  #heated = 0;
  #ticks = 0;
  #creepPa = 0;
  #creepFluidK = 0;
  #creepMeterK = 0;
  #meanCurrent = 0;
  #meterDensity = 0;
  #railDensity = 0;
  /** kg/s: all that runs out without a pulse, and of it what drips through the seat of an injector while it is shut. */
  #leak = 0;
  readonly #seatLeaks = new Map<number, number>();
  readonly #leaks = new Map<FaultKind, LeakingPlace>();
  #leaksBegun = 0;
  /** Edges a second that do not come from the meter, and how many there were. */
  #rattle = 0;
  #rattled = 0;
  /** Channels whose injector opened and does not shut any more, and those whose driver always conducts. */
  readonly #hanging = new Set<number>();
  #shorted: readonly number[] = [];

  readonly #faults: FaultKind[] = [];
  readonly #stuckAt = new Map<FaultKind, number>();
  readonly #faultNoise: RandomSource;

  constructor(scenario: Scenario) {
    this.#scenario = scenario;
    this.#errors = drawInstrumentErrors(scenario);
    const chance = (name: string) => (scenario.noise ? RandomSource.named(scenario.seed, name) : null);
    const creep = (name: string, shape: { amplitude: number; longestPeriodS: number }) => {
      const random = chance(name);
      return random === null ? null : new Creep(random, shape.amplitude, shape.longestPeriodS);
    };
    this.#channels = Array.from(
      { length: scenario.injectors },
      (_, i) => new InjectorChannel(drawInjector(scenario.seed, i + 1), circuitOf(scenario, i + 1), chance(`scatter ${i + 1}`), scenario.imperfections),
    );
    this.#supply = new Supply(this.#errors.supplyV);
    this.#inPulse = scenario.readsInPulses ? new InPulse(SOURCE_OHM + (scenario.imperfections.sagOhm ?? 0)) : null;
    this.#vented = scenario.rail.relief;
    const { rail: filled, inRotationPercent } = scenario.imperfections;
    const dead = scenario.rail.pump || scenario.rail.relief;
    this.#rail = new Rail(dead ? 0 : HOME_PA - this.#errors.pressurePa, filled === undefined ? undefined : { compliance: filled.complianceMlPerMpa * 1e-12 * 684, tauS: filled.refillMs * 1e-3 });
    this.#rail.cutOff(scenario.rail.pump && !this.#vented);
    this.#meter = new Meter(chance('meter'), this.#errors.kFactor, scenario.meterLeastHertz);
    if (Object.keys(scenario.imperfections).length > 0) this.#meter.wander = new Wander(scenario);
    if (inRotationPercent !== undefined) this.#meter.inRotation = inRotationPercent / 100;
    this.#sensorNoise = chance('sensors');
    this.#faultNoise = RandomSource.named(scenario.seed, 'noisy sensor');
    this.#pressureCreep = creep('pressure creep', PRESSURE_CREEP);
    this.#fluidCreep = creep('fluid creep', FLUID_CREEP);
    this.#meterCreep = creep('meter creep', METER_CREEP);
    this.#tick();
  }

  advanceTo(us: number): void {
    while (this.#now < us) {
      let next = Math.min(us, this.#nextTick);
      const pulse = this.#pending[0];
      if (pulse !== undefined && pulse.startUs < next) next = pulse.startUs;
      for (const draw of this.#draws) if (draw.nextUs < next) next = draw.nextUs;
      this.#pass(next);
      if (pulse !== undefined && pulse.startUs <= next) this.#fire(pulse);
      if (this.#draws.length > 0) this.#updateDraws();
      if (next >= this.#nextTick) {
        this.#nextTick += TICK_US;
        this.#tick();
      }
    }
  }

  setSupply(mv: number): void {
    this.#supply.command(this.#now, mv / 1e3);
  }

  setPressure(pa: number): void {
    if (!this.#scenario.pressureCommandable) return;
    this.#pressureSet = Math.min(pa, REGULATOR_MAX_PA);
  }

  /** The relief valve sits on the rail, behind the shut-off valve: a rail that is vented is vented whatever else is shut. */
  setRail({ pump, reliefShut, shutOff }: RailOutputs): void {
    const { rail } = this.#scenario;
    this.#vented = rail.relief && !reliefShut;
    this.#rail.cutOff(!this.#vented && ((rail.pump && !pump) || (rail.shutOff && shutOff)));
  }

  pulse(channel: number, startUs: number, widthUs: number): void {
    const pulse = { channel, startUs: Math.max(startUs, this.#now), widthUs };
    let i = this.#pending.length;
    while (i > 0 && (this.#pending[i - 1]?.startUs ?? 0) > pulse.startUs) i -= 1;
    this.#pending.splice(i, 0, pulse);
  }

  read(): PlantReadings {
    const read = (sensor: Sensor) => Math.round(this.#reading(sensor));
    const open = this.#faults.reduce((bits, f) => bits | interlockBit(f), 0);
    return {
      supplyMv: Math.max(0, read('supply')),
      currentMa: Math.max(0, read('current')),
      pressurePa: read('pressure'),
      railMilliC: read('rail-temperature'),
      meterMilliC: read('meter-temperature'),
      ...this.#inPulse?.read(this.#now, this.#meanCurrent, () => this.#reading('supply')),
      edges: this.#meter.edges + Math.floor(this.#rattled),
      lastEdgeUs: this.#rattle > 0 ? this.#now : this.#meter.lastEdgeUs,
      frozen: this.#faults.flatMap((f) => (f.kind === 'sensor-stuck' || f.kind === 'sensor-lost' ? [INPUT_OF[f.sensor]] : [])),
      interlocks: 0b111 & ~open,
    };
  }

  get further(): readonly string[] {
    return this.#inPulse === null ? [] : IN_PULSE;
  }

  drivenMa(channel: number): number {
    const driven = this.#wiredTo(channel);
    const injector = this.#channels[driven - 1];
    const supplyV = this.#supply.at(this.#now);
    if (injector === undefined || supplyV === 0) return 0;
    return this.#isShort(driven) ? MOST_CURRENT_A * 1e3 : (1e3 * supplyV) / injector.coilOhm;
  }

  #isShort(channel: number): boolean {
    return this.#faults.some((fault) => fault.kind === 'coil-shorted' && fault.channel === channel);
  }

  begin(fault: FaultKind): void {
    if (fault.kind === 'sensor-stuck') this.#stuckAt.set(fault, this.#reading(fault.sensor));
    if (fault.kind === 'injector-leaking' || fault.kind === 'fitting-leaking') {
      this.#leaksBegun += 1;
      this.#leaks.set(fault, new LeakingPlace(fault, this.#now / 1e6, this.#leaksBegun, this.#scenario));
    }
    this.#faults.push(fault);
    this.#applyFaults();
  }

  end(fault: FaultKind): void {
    const i = this.#faults.indexOf(fault);
    if (i < 0) return;
    this.#faults.splice(i, 1);
    this.#stuckAt.delete(fault);
    this.#leaks.delete(fault);
    this.#applyFaults();
  }

  /** Faults that change a part are set on the part; the others are looked up where they matter. */
  // eslint-disable-next-line max-lines-per-function, complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
  #applyFaults(): void {
    let maxV: number | null = null;
    let stopped = false;
    let silent = false;
    let rattle = 0;
    const shut = new Set<number>();
    const shorted: number[] = [];
    const coils = new Map<number, number>();
    const passes = new Map<number, number>();
    const erratic = new Map<number, number>();
    for (const fault of this.#faults) {
      switch (fault.kind) {
        case 'supply-out-of-reach':
          maxV = Math.min(maxV ?? fault.maxV, fault.maxV);
          break;
        case 'emergency-stop':
          stopped = true;
          break;
        case 'meter-silent':
          silent = true;
          break;
        case 'injector-stuck-shut':
          shut.add(fault.channel);
          break;
        case 'driver-shorted':
          shorted.push(fault.channel);
          break;
        case 'coil-resistance':
          coils.set(fault.channel, fault.ohm);
          break;
        case 'injector-clogged':
          passes.set(fault.channel, fault.flowPercent / 100);
          break;
        case 'injector-erratic':
          erratic.set(fault.channel, fault.percent / 100);
          break;
        case 'meter-rattling':
          rattle += fault.hertz;
          break;
        case 'coil-shorted':
        case 'sensor-lost':
        case 'converter-stopped':
        case 'channels-swapped':
        case 'interlock-open':
        case 'injector-stuck-open':
        case 'pressure-loss':
        case 'over-temperature':
        case 'over-current':
        case 'injector-leaking':
        case 'fitting-leaking':
        case 'sensor-stuck':
        case 'sensor-noisy':
        case 'lines-lost':
        case 'lines-garbled':
        case 'lines-repeated':
        case 'line-silent':
        case 'controller-reset':
        case 'controller-misbehaves':
          break;
        default:
          fault satisfies never;
      }
    }
    this.#supply.limit(this.#now, maxV);
    this.#supply.cut(this.#now, stopped);
    this.#meter.silent = silent;
    this.#channels.forEach((channel, i) => {
      channel.stuckShut = shut.has(i + 1);
      channel.coil = coils.get(i + 1) ?? null;
      channel.passes = passes.get(i + 1) ?? 1;
      channel.erratic = erratic.get(i + 1) ?? 0;
    });
    this.#shorted = shorted;
    this.#rattle = rattle;
    for (const channel of this.#hanging) if (!this.#hangs(channel)) this.#hanging.delete(channel);
    this.#refreshLeak();
  }

  /** Time passes to `us` with all flows constant. */
  #pass(us: number): void {
    const dt = (us - this.#now) / 1e6;
    if (dt <= 0) return;
    this.#rattled += this.#rattle * dt;
    let flow = this.#leak;
    let current = 0;
    for (const draw of this.#draws) {
      if (draw.fromUs > this.#now) continue;
      flow += draw.flow;
      if (draw.area > 0 && this.#seatLeaks.size > 0) flow -= this.#seatLeaks.get(draw.channel) ?? 0;
      current += draw.current;
    }
    const density = this.#meterDensity;
    this.#meter.pass(this.#now, dt, (t) => this.#rail.inflowAfter(t, flow) / density);
    this.#rail.advance(dt, flow);
    this.#meanCurrent = current + (this.#meanCurrent - current) * Math.exp(-dt / AMMETER_TAU_S);
    this.#now = us;
  }

  #fire(pulse: PendingPulse): void {
    this.#pending.shift();
    const driven = this.#wiredTo(pulse.channel);
    if (!this.#shorted.includes(driven)) this.#drive({ ...pulse, channel: driven });
  }

  /** Which injector's channel the harness leads to. */
  #wiredTo(channel: number): number {
    for (const fault of this.#faults) {
      if (fault.kind !== 'channels-swapped') continue;
      if (fault.channel === channel) return fault.with;
      if (fault.with === channel) return fault.channel;
    }
    return channel;
  }

  #hangs(channel: number): boolean {
    return this.#faults.some((fault) => fault.kind === 'injector-stuck-open' && fault.channel === channel);
  }

  #drive(pulse: PendingPulse): void {
    const channel = this.#channels[pulse.channel - 1];
    if (channel === undefined || pulse.widthUs <= 0) return;
    const supplyV = this.#supplyBeforeCoils();
    if (supplyV === 0) return;
    if (this.#isShort(pulse.channel)) {
      const toUs = pulse.startUs + pulse.widthUs;
      this.#draws.push({ channel: pulse.channel, fromUs: pulse.startUs, toUs, area: 0, current: MOST_CURRENT_A, nextUs: pulse.startUs, flow: 0 });
      return;
    }
    const draw = channel.pulse(pulse.startUs, pulse.widthUs, supplyV, this.#rail.pressure, this.#fluidC);
    this.#inPulse?.drive(pulse.startUs, (draw.current * (draw.toUs - draw.fromUs)) / pulse.widthUs);
    if (draw.area > 0 && !this.#hanging.has(pulse.channel) && this.#hangs(pulse.channel)) {
      this.#hanging.add(pulse.channel);
      this.#refreshLeak();
    }
    // One that hangs open passes its flow all the time; a pulse adds current and nothing else.
    const area = this.#hanging.has(pulse.channel) ? 0 : draw.area;
    this.#draws.push({ ...draw, channel: pulse.channel, area, nextUs: draw.fromUs, flow: 0 });
  }

  /** A supply that sags is slow: it holds the mean of its read-back, and what is lost inside it comes on top of that. */
  #supplyBeforeCoils(): number {
    const v = this.#supply.at(this.#now);
    return v === 0 ? 0 : v + (this.#scenario.imperfections.sagOhm ?? 0) * this.#meanCurrent;
  }

  /** Draws that begin or have run for long get their flow; those at their end go. */
  #updateDraws(): void {
    const now = this.#now;
    let ended = false;
    for (const draw of this.#draws) {
      if (draw.nextUs > now) continue;
      if (draw.toUs <= now) {
        ended = true;
        continue;
      }
      draw.nextUs = Math.min(draw.toUs, now + LONGEST_DRAW_US);
      // The flow lowers the pressure that drives it: two rounds are enough, the second changes it by parts in 1e5.
      let flow = draw.area * Math.sqrt(2 * this.#railDensity * this.#rail.pressure);
      for (let round = 0; round < 2; round += 1) {
        const mean = this.#rail.meanPressure((draw.nextUs - now) / 1e6, flow + this.#leak);
        flow = draw.area * Math.sqrt(2 * this.#railDensity * mean);
      }
      draw.flow = flow;
    }
    if (ended) this.#draws = this.#draws.filter((draw) => draw.toUs > now);
  }

  #tick(): void {
    const dt = TICK_US / 1e6;
    if (this.#ticks % TICKS_PER_CREEP === 0) {
      const s = this.#now / 1e6;
      this.#creepPa = this.#pressureCreep?.at(s) ?? 0;
      this.#creepFluidK = this.#fluidCreep?.at(s) ?? 0;
      this.#creepMeterK = this.#meterCreep?.at(s) ?? 0;
    }
    this.#ticks += 1;
    let lostTo: number | null = null;
    let hotter = 0;
    for (const fault of this.#faults) {
      if (fault.kind === 'pressure-loss') lostTo = Math.min(lostTo ?? Infinity, fault.toKpa * 1e3);
      if (fault.kind === 'over-temperature') hotter += fault.riseC;
    }
    this.#heated += (hotter - this.#heated) * (1 - Math.exp(-dt / WARMING_TAU_S));
    const before = this.#fluidC;
    this.#fluidC = FLUID_C + this.#creepFluidK + this.#heated;
    this.#rail.warm(this.#fluidC - before);
    this.#meterC = this.#fluidC + METER_WARMER_K + this.#creepMeterK;
    const wanted = this.#pressureSet - this.#errors.pressurePa + this.#creepPa;
    if (this.#vented) lostTo = 0;
    this.#rail.aim(lostTo === null ? wanted : Math.min(wanted, lostTo));
    this.#rail.follow(dt);
    this.#meter.tick(dt);
    const absolute = this.#rail.pressure + AMBIENT_PA;
    this.#railDensity = heptaneDensity(this.#fluidC, absolute) * (1 + this.#errors.density);
    this.#meterDensity = heptaneDensity(this.#meterC, absolute) * (1 + this.#errors.density);
    this.#refreshLeak();
    for (const channel of this.#shorted) this.#drive({ channel, startUs: this.#now, widthUs: TICK_US });
  }

  #refreshLeak(): void {
    let volume = 0;
    for (const channel of this.#channels) volume += channel.injector.seatLeak;
    let open = 0;
    for (const channel of this.#hanging) open += this.#channels[channel - 1]?.openArea ?? 0;
    const s = this.#now / 1e6;
    let leaking = 0;
    this.#seatLeaks.clear();
    for (const leak of this.#leaks.values()) {
      const flow = leak.at(s, this.#rail.pressure);
      leaking += flow;
      if (leak.channel !== null) this.#seatLeaks.set(leak.channel, (this.#seatLeaks.get(leak.channel) ?? 0) + flow * this.#railDensity);
    }
    this.#leak = (volume * Math.sqrt(this.#rail.pressure / HOME_PA) + leaking) * this.#railDensity + open * Math.sqrt(2 * this.#railDensity * this.#rail.pressure);
  }

  /** A sensor's value in the unit of the wire, with its error, noise and faults. */
  #reading(sensor: Sensor): number {
    for (const fault of this.#faults) {
      if (fault.kind === 'sensor-lost' && fault.sensor === sensor) return SCALES[INPUT_OF[sensor]][fault.end === 'low' ? 'zero' : 'full'];
    }
    for (const [fault, value] of this.#stuckAt) if (fault.kind === 'sensor-stuck' && fault.sensor === sensor) return value;
    let value = this.#true(sensor);
    let noise = this.#sensorNoise === null ? 0 : SENSOR_NOISE[sensor] * this.#sensorNoise.normal();
    for (const fault of this.#faults) {
      if (fault.kind === 'over-current' && sensor === 'current') value += 1e3 * fault.amperes;
      if (fault.kind === 'sensor-noisy' && fault.sensor === sensor) noise += fault.sd * this.#faultNoise.normal();
    }
    return value + noise;
  }

  /** With the instrument's error, without noise. */
  #true(sensor: Sensor): number {
    switch (sensor) {
      case 'supply':
        return 1e3 * this.#supply.readback(this.#now, this.#meanCurrent);
      case 'current':
        return 1e3 * this.#meanCurrent;
      case 'pressure':
        return this.#rail.sensed + this.#errors.pressurePa;
      case 'rail-temperature':
        return 1e3 * (this.#fluidC + this.#errors.railK);
      case 'meter-temperature':
        return 1e3 * (this.#meterC + this.#errors.meterK);
    }
  }
}
