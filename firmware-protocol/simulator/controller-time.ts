/** The plant as a controller meets it whose microsecond is not quite a true one. */
import type { PlantPort } from './plant/plant-port.ts';

/** `plant` by a clock whose second is `rate` true seconds long: everything that the controller times is so much longer. */
export function inControllerTime(plant: PlantPort, rate: number): PlantPort {
  return {
    advanceTo: (us) => plant.advanceTo(us * rate),
    setSupply: (mv) => plant.setSupply(mv),
    setPressure: (pa) => plant.setPressure(pa),
    setRail: (outputs) => plant.setRail(outputs),
    pulse: (channel, startUs, widthUs) => plant.pulse(channel, startUs * rate, widthUs * rate),
    drivenMa: (channel) => plant.drivenMa(channel),
    ...(plant.further === undefined ? {} : { further: plant.further }),
    read: () => {
      const readings = plant.read();
      return { ...readings, lastEdgeUs: readings.lastEdgeUs / rate };
    },
  };
}
