/**
 * What the simulated injectors really do, without noise and without instruments, through the same physics. For tests
 * and for commands that judge the reduction; a measurement may never look here.
 */
import { simulatedBenchEquipment } from './plant/certificates.ts';
import { heptaneDensity } from './plant/fluid.ts';
import { coilResistance, openArea, simulatePulse } from './plant/injector.ts';
import { curvature } from './plant/injector-channel.ts';
import { drawInjector } from './plant/injector-type.ts';
import { drawInstrumentErrors } from './plant/instrument-errors.ts';
import { driveAt } from './plant/supply.ts';
import { settledRise } from './plant/thermal.ts';
import { LeakingPlace } from './plant/leak.ts';
import type { Scenario } from './plant/scenario.ts';

export interface TruthQuestion {
  readonly channel: number;
  /** At the coil's terminals while it is driven, whatever the current: nothing is lost on the way. The clamp is the certificate's. */
  readonly voltageV: number;
  /** At the injector, gauge, steady. */
  readonly pressureKpa: number;
  /** At least two different ones; the straight line goes through all of them, so give widths of the linear region. */
  readonly widthsMs: readonly number[];
  readonly periodMs: number;
  /** Fluid temperature. */
  readonly referenceC: number;
}

export interface Truth {
  /** Mass of a pulse of each width, mg, in a long train at the period (coil temperature settled). */
  readonly massesMg: readonly number[];
  /** Least-squares line m = k (w - t0) through them, all of equal weight. */
  readonly slopeMgPerMs: number;
  readonly deadTimeMs: number;
  /** Held open at constant pressure. */
  readonly staticMgPerS: number;
  /** Mean copper temperature before each pulse, degC, and coil resistance at 20 degC, ohm. */
  readonly coilC: readonly number[];
  readonly coilOhm: number;
}

export function truthOf(scenario: Scenario, question: TruthQuestion): Truth {
  const { parts } = drawInjector(scenario.seed, question.channel);
  const pressure = question.pressureKpa * 1e3;
  const absolute = pressure + simulatedBenchEquipment.ambientKpa * 1e3;
  const density = heptaneDensity(question.referenceC, absolute) * (1 + drawInstrumentErrors(scenario).density);
  /** kg/s for each m2. */
  const flux = Math.sqrt(2 * density * pressure);
  const drive = driveAt(question.voltageV, { series: 0, clamp: simulatedBenchEquipment.driver.clampV });

  const coilC: number[] = [];
  const massesMg = question.widthsMs.map((widthMs) => {
    const width = widthMs / 1e3;
    let temperature = question.referenceC;
    // Warmer copper takes less current: the fixed point is reached to a microkelvin in a few rounds.
    for (let round = 0; round < 6; round += 1) {
      const { heat } = simulatePulse(parts, drive, pressure, temperature, width);
      temperature = question.referenceC + settledRise(heat, width, question.periodMs / 1e3, scenario.imperfections.coil);
    }
    coilC.push(temperature);
    const { areaTime } = simulatePulse(parts, drive, pressure, temperature, width);
    return areaTime * curvature(areaTime / openArea(parts), scenario.imperfections.curvaturePercent) * flux * 1e6;
  });

  const n = massesMg.length;
  const meanWidth = question.widthsMs.reduce((sum, w) => sum + w, 0) / n;
  const meanMass = massesMg.reduce((sum, m) => sum + m, 0) / n;
  let sww = 0;
  let swm = 0;
  massesMg.forEach((mass, i) => {
    const w = (question.widthsMs[i] ?? 0) - meanWidth;
    sww += w * w;
    swm += w * (mass - meanMass);
  });
  const slope = swm / sww;
  return {
    massesMg,
    slopeMgPerMs: slope,
    deadTimeMs: meanWidth - meanMass / slope,
    staticMgPerS: openArea(parts) * flux * 1e6,
    coilC,
    coilOhm: coilResistance(parts, 20),
  };
}

/**
 * Volume flow, mL/min, of all leaks that the scenario begins at a bench time, at that time `atS` and gauge pressure while nothing is
 * driven. What begins with a burst is not known here and throws.
 */
export function trueLeak(scenario: Scenario, atS: number, pressureKpa: number): number {
  const leaks = scenario.faults
    .map(({ begins, forS, fault }) => {
      if (fault.kind !== 'injector-leaking' && fault.kind !== 'fitting-leaking') return null;
      if (!('atS' in begins)) throw new Error('this leak begins with a burst, and when that comes is not known here');
      return { from: begins.atS, to: begins.atS + (forS ?? Number.POSITIVE_INFINITY), fault };
    })
    .filter((leak) => leak !== null)
    .sort((a, b) => a.from - b.from);
  let flow = 0;
  leaks.forEach(({ from, to, fault }, i) => {
    if (from <= atS && atS < to) flow += new LeakingPlace(fault, from, i + 1, scenario).at(atS, pressureKpa * 1e3);
  });
  for (let channel = 1; channel <= scenario.injectors; channel += 1) flow += drawInjector(scenario.seed, channel).seatLeak * Math.sqrt(pressureKpa / 400);
  return flow * 60e6;
}
