/** The physical bench behind the controller's pins: injectors, rail, supply, flow meter and their sensors. */
import { simulatedBenchEquipment } from '../certificates.ts';
import type { PlantPort, PlantReadings } from '../plant-port.ts';
import type { Fault, Scenario } from '../scenario.ts';

export interface Plant extends PlantPort {
  /** A scripted fault begins; faults of the line and the controller are none of the plant's business and are ignored. */
  begin(fault: Fault['fault']): void;
  end(fault: Fault['fault']): void;
}

const TAU_RAIL_US = 60_000;

/** A bench at rest: supply off, rail at 400 kPa, nothing flowing. */
export function createPlant(scenario: Scenario): Plant {
  const edgesPerGram = simulatedBenchEquipment.meter.kFactor[5].edgesPerLitre / 684;
  let now = 0;
  let supplyMv = 0;
  let pressurePa = 400_000;
  let pendingG = 0;
  let total = 0;
  let edges = 0;
  let lastEdgeUs = 0;
  const faults = new Set<Fault['fault']>();
  const active = (kind: Fault['fault']['kind']) => [...faults].some((f) => f.kind === kind);
  return {
    advanceTo(us) {
      if (us <= now) return;
      const passed = pendingG * (1 - Math.exp(-(us - now) / TAU_RAIL_US));
      pendingG -= passed;
      const before = total;
      total += passed * edgesPerGram;
      const whole = Math.floor(total);
      if (whole > edges) {
        lastEdgeUs = Math.round(now + ((us - now) * (whole - before)) / (total - before));
        if (!active('meter-silent')) edges = whole;
      }
      now = us;
    },
    setSupply(mv) {
      supplyMv = Math.min(mv, 20_000);
    },
    setPressure(pa) {
      if (scenario.pressureCommandable) pressurePa = pa;
    },
    pulse(_channel, _startUs, widthUs) {
      if (supplyMv < 7000) return;
      const deadMs = 1.45 * (9000 / supplyMv) ** 1.7;
      pendingG += (Math.max(0, widthUs / 1000 - deadMs) * 3.95 * Math.sqrt(pressurePa / 400_000)) / 1000;
    },
    read(): PlantReadings {
      return {
        supplyMv,
        currentMa: 0,
        pressurePa,
        railMilliC: 20_400,
        meterMilliC: 20_600,
        edges,
        lastEdgeUs,
        interlocks: active('emergency-stop') ? 0b110 : 0b111,
      };
    },
    begin(fault) {
      faults.add(fault);
    },
    end(fault) {
      faults.delete(fault);
    },
  };
}
