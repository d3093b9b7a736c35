/** What the simulated controller answers a request. LINE-20 and following */
import { encodeRefusal, encodeReply, type Refusal, type RefusalCode, type Reply } from '../line/messages.ts';

export interface RefusedRequest {
  readonly refused: RefusalCode;
  readonly text: string;
}

export type RequestOutcome = Reply | RefusedRequest;

export function range(field: string, low: number, high: number): RefusedRequest {
  return { refused: 'range', text: `${field} must be from ${low} to ${high}.` };
}

export const unfitTexts = {
  unknown: 'This controller does not know that word.',
  form: 'The fields of this request are not those of the specification.',
} as const;

export function encodeOutcome(seq: number, word: Refusal['word'], outcome: RequestOutcome): string {
  return 'refused' in outcome
    ? encodeRefusal(seq, { word, code: outcome.refused, text: outcome.text })
    : encodeReply(seq, outcome);
}
