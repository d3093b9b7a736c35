/** Values with the uncertainty that is shown beside them. */
import { stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';

/** A value with its expanded uncertainty (95 %); null where replicates that could tell it are missing. */
export interface Estimate {
  readonly value: number;
  readonly u95: number | null;
}

/**
 * What is shown of a value. Null where the scatter of one of its parts is not known: windows of one width that were measured once and
 * fit a line exactly have no scatter to see, and a line of as many widths as it has parameters has none left (RED-68).
 */
export function estimateOf(of: Carried): Estimate {
  const random = [...of.parts.values()].filter((part) => part.kind === 'random');
  const known = random.length > 0 && random.every((part) => part.effect !== 0 && part.dof >= 1);
  return { value: of.value, u95: known ? stateCarried(of).expanded : null };
}
