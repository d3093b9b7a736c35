/**
 * The one door to the past: whatever was stored or sent as an event of a run comes into the program through here and nowhere else
 * (RUN-180). Journals of every version that was ever released pass, with what they lack filled in; anything else is refused in words.
 */
import { problemsOf } from '../boundary/problems.ts';
import { shown } from '../boundary/text.ts';
import { unixMillis } from '../quantities/quantity.ts';
import type { RunEvent, RunEventBody } from './events.ts';
import { isPlainly } from './plain.ts';
import { bodySchemas } from './schemas.ts';

export type Upcast =
  | { readonly ok: true; readonly event: RunEvent }
  /** `text`: what is wrong with it, as the end of a sentence that begins with where it stands. */
  | { readonly ok: false; readonly text: string };

const refused = (text: string): Upcast => ({ ok: false, text });

/** `input` is `{ seq, at, body }`: the place in the journal, from 0, Unix milliseconds, and the event as it was stored. */
export function upcast(input: unknown): Upcast {
  if (typeof input !== 'object' || input === null) return refused('is no event');
  const { seq, at, body } = input as { readonly seq?: unknown; readonly at?: unknown; readonly body?: unknown };
  if (!Number.isSafeInteger(seq) || (seq as number) < 0) return refused('has no place in its journal');
  if (!Number.isSafeInteger(at)) return refused('has no time');
  const stored = bodyOf(body);
  return 'refused' in stored ? refused(stored.refused) : { ok: true, event: { seq: seq as number, at: unixMillis(at as number), body: stored.body } };
}

function bodyOf(body: unknown): { readonly body: RunEventBody } | { readonly refused: string } {
  if (typeof body !== 'object' || body === null) return { refused: 'has no contents' };
  const { kind } = body as { readonly kind?: unknown };
  if (typeof kind !== 'string' || !Object.hasOwn(bodySchemas, kind)) return { refused: 'has a kind that this program does not know' };
  if (isPlainly(kind, body)) return { body: body as RunEventBody };
  const parsed = bodySchemas[kind as RunEventBody['kind']].safeParse(body);
  if (parsed.success) {
    // The schemas are held to the type of the event when they are compiled. What came in goes on, key by key as it was stored; only
    // documents are others than they were.
    const { data } = parsed;
    return { body: (data.kind === 'opened' ? { ...body, plan: data.plan, equipment: data.equipment } : body) as RunEventBody };
  }
  const [first] = problemsOf(parsed.error, body);
  return { refused: `is not what an event of the kind ${kind} is (${first === undefined ? 'for no reason that could be told' : shown(`${first.path}: ${first.text}`)})` };
}
