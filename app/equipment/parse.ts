import { problemsOf } from '../boundary/problems.ts';
import type { Problem } from '../boundary/problems.ts';
import { equipmentSchema } from './equipment.ts';
import type { Equipment } from './equipment.ts';

export type EquipmentParsed =
  | { readonly ok: true; readonly equipment: Equipment }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/** An equipment record, or everything that is wrong with the document. */
export function parseEquipment(input: unknown): EquipmentParsed {
  const parsed = equipmentSchema.safeParse(input);
  if (!parsed.success) return { ok: false, problems: problemsOf(parsed.error, input) };
  const problems = betweenFields(parsed.data);
  return problems.length > 0 ? { ok: false, problems } : { ok: true, equipment: parsed.data };
}

function betweenFields(equipment: Equipment): readonly Problem[] {
  const { meter, pressure, temperature, supply, fluid } = equipment;
  const problems: Problem[] = [];
  meter.kFactor.forEach((point, index) => {
    const before = meter.kFactor[index - 1];
    if (before !== undefined && point.hertz <= before.hertz) {
      problems.push({
        path: `meter.kFactor[${index}].hertz`,
        text: `The points of the K-factor must rise in frequency, but ${point.hertz} Hz follows ${before.hertz} Hz.`,
      });
    }
  });
  for (const [path, { certificate }] of Object.entries({ meter, pressure, temperature, supply })) {
    if (certificate.validUntil < certificate.date) {
      problems.push({
        path: `${path}.certificate.validUntil`,
        text: `The certificate would end (${certificate.validUntil}) before it was issued (${certificate.date}).`,
      });
    }
  }
  const { measuredDensity } = fluid;
  if (measuredDensity !== undefined && measuredDensity.on < fluid.openedOn) {
    problems.push({
      path: 'fluid.measuredDensity.on',
      text: `The density was measured (${measuredDensity.on}) before this lot was opened (${fluid.openedOn}).`,
    });
  }
  if (equipment.equipmentVersion === 2 && equipment.driver.clampV <= 20) {
    problems.push({
      path: 'driver.clampV',
      text: `The clamp is stated from the switched terminal to ground, so it lies well above every supply voltage, but it is ${equipment.driver.clampV} V.`,
    });
  }
  return problems;
}
