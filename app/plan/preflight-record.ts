/** What the equipment record knows of the conditions of a plan: PRE-53 to PRE-56. */
import type { Equipment } from '../equipment/equipment.ts';
import { takenForGranted } from '../equipment/standing.ts';
import { expectedEdgeRate } from './estimate.ts';
import type { SetPoint } from './estimate.ts';
import type { ExpectedFlow } from './flow-of-type.ts';
import type { PreflightLine } from './preflight-line.ts';

type Finding = Omit<PreflightLine, 'rule'>;

/** `assumption`: of the flow, in words, to be added to a sentence. */
export function recordFindings(setPoints: readonly SetPoint[], equipment: Equipment, flowOf: ExpectedFlow, assumption: string): Readonly<Record<'PRE-53' | 'PRE-54' | 'PRE-55' | 'PRE-56', Finding>> {
  const granted = takenForGranted(equipment);
  const known = (unknown: string | null, text: string): Finding => (unknown === null ? { result: 'pass', text } : { result: 'warn', text: unknown });
  const { pressure, supply, fluid } = equipment;
  return {
    'PRE-53': meterRange(setPoints, equipment, flowOf, assumption),
    'PRE-54': known(
      granted.pressure,
      pressure.whileOpenKpa === undefined
        ? 'How far the pressure may lie below its mean while an injector is open is told by the compliance of the rail.'
        : `While an injector is open the pressure lies below its mean by ${pressure.whileOpenKpa} kPa at most.`,
    ),
    'PRE-55': known(granted.supply, `Inside a pulse the supply sags by ${supply.insidePulseMv ?? 0} mV at most behind its read-back.`),
    'PRE-56': known(
      granted.fluid,
      fluid.measuredDensity === undefined ? `Lot ${fluid.lot} is ${fluid.purityPercent ?? 0} % ${fluid.name}; its density was not measured.` : `The density of lot ${fluid.lot} was measured on ${fluid.measuredDensity.on}.`,
    ),
  };
}

function meterRange(setPoints: readonly SetPoint[], equipment: Equipment, flowOf: ExpectedFlow, assumption: string): Finding {
  const calibrated = equipment.meter.kFactor.map((k) => k.hertz);
  const [lowest, highest] = [Math.min(...calibrated), Math.max(...calibrated)];
  // Where nothing flows PRE-15 speaks.
  const rates = setPoints.map((point) => expectedEdgeRate(flowOf(point.injector), equipment, point)).filter((rate) => rate > 0);
  const outside = rates.filter((rate) => rate < lowest || rate > highest);
  const range = `The certificate of the meter has ${calibrated.length === 1 ? 'one point' : `${calibrated.length} points`}, ${calibrated.length === 1 ? `at ${lowest}` : `from ${lowest} to ${highest}`} edges a second`;
  const [slowest, fastest] = [short(Math.min(...rates)), short(Math.max(...rates))];
  if (outside.length === 0) return { result: 'pass', text: rates.length === 0 ? `${range}.` : `${range}; the plan needs ${slowest} to ${fastest}${assumption}.` };
  return {
    result: 'warn',
    text: `${range}; the plan needs ${slowest} to ${fastest}${assumption}. Beyond its points the K-factor is taken to stay as it is, and results are the less certain the farther it goes. Have the meter calibrated over that range, or leave ${outside.length === 1 ? 'that set point' : `those ${outside.length} set points`} out.`,
  };
}

const short = (n: number): string => String(Number(n.toPrecision(3)));
