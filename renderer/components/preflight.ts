import type { PreflightLine } from '../../app/plan/preflight-line.ts';
import type { Tone } from './status.tsx';

/** How a result of the pre-flight sheet is marked. */
export const preflightTones: Readonly<Record<PreflightLine['result'], Tone>> = { pass: 'good', warn: 'note', refuse: 'bad' };

const gravity: readonly PreflightLine['result'][] = ['refuse', 'warn', 'pass'];

/** What stands against the start first; lines of one result stay in the order of their rules. */
export function gravestFirst(lines: readonly PreflightLine[]): readonly PreflightLine[] {
  return lines.toSorted((a, b) => gravity.indexOf(a.result) - gravity.indexOf(b.result));
}
