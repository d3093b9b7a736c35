/** What is really wrong with the bench's instruments: drawn once from the scenario's seed, as the certificates allow. */
import { simulatedBenchEquipment } from './certificates.ts';
import { RandomSource } from './random.ts';
import type { Scenario } from './scenario.ts';

export interface InstrumentErrors {
  /** True K-factor over the certificate's, less one. */
  readonly kFactor: number;
  /** True density over the equation's, less one. */
  readonly density: number;
  /** Reading less truth. */
  readonly supplyV: number;
  readonly pressurePa: number;
  readonly railK: number;
  readonly meterK: number;
  /** True resistance between supply and coil less the record's, ohm. */
  readonly harnessOhm: number;
  /** True clamp less the record's, as far as all channels have it in common, V. */
  readonly clampV: number;
  /** True length of what the controller takes for a second, less one. */
  readonly timeBase: number;
}

export function drawInstrumentErrors(scenario: Scenario): InstrumentErrors {
  const random = RandomSource.named(scenario.seed, 'instruments');
  const draw = (standardUncertainty: number) => (scenario.instrumentErrors ? standardUncertainty * random.normal() : 0);
  const { meter, fluid, supply, pressure, temperature, wiring, driver, timeBase } = simulatedBenchEquipment;
  return {
    kFactor: draw(meter.relativeUncertaintyPercent / 100),
    density: draw(fluid.densityUncertaintyPercent / 100),
    supplyV: draw(supply.uncertaintyMv / 1e3),
    pressurePa: draw(pressure.uncertaintyKpa * 1e3),
    railK: draw(temperature.uncertaintyC),
    meterK: draw(temperature.uncertaintyC),
    harnessOhm: draw(wiring.harnessUncertaintyOhm),
    clampV: draw(driver.clampUncertaintyV),
    timeBase: draw(timeBase.uncertaintyPpm * 1e-6),
  };
}

/** What the clamp of one channel is off by itself, beside what all have in common, V. */
export function channelClampError(scenario: Scenario, channel: number): number {
  if (!scenario.instrumentErrors) return 0;
  return simulatedBenchEquipment.driver.channelUncertaintyV * RandomSource.named(scenario.seed, `driver ${channel}`).normal();
}
