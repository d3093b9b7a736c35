import type { PreflightLine } from '../../app/plan/preflight-line.ts';
import type { Tone } from './status.tsx';

/** How a result of the pre-flight sheet is marked. */
export const preflightTones: Readonly<Record<PreflightLine['result'], Tone>> = { pass: 'good', warn: 'note', refuse: 'bad' };

export interface SheetLines {
  readonly refused: readonly PreflightLine[];
  /** To be looked at before a start. */
  readonly warned: readonly PreflightLine[];
  /** Only a bench can tell, and none is connected. */
  readonly awaiting: readonly PreflightLine[];
  readonly passed: readonly PreflightLine[];
}

/** What a person has to do with each line, each in one place and in the order of their rules. WIN-205 */
export function sheetLinesOf({ lines }: { readonly lines: readonly PreflightLine[] }): SheetLines {
  const looked = lines.filter((line) => line.awaitsBench !== true);
  const of = (result: PreflightLine['result']): readonly PreflightLine[] => looked.filter((line) => line.result === result);
  return { refused: of('refuse'), warned: of('warn'), awaiting: lines.filter((line) => line.awaitsBench === true), passed: of('pass') };
}
