/** What the qualifications of a bench say of measuring with it now. EQ-23 in app/equipment/README.md, PRE-66. */
import type { QualificationStanding } from '../plan/preflight-line.ts';
import { evaluateQualification, parseQualification } from './qualification.ts';
import { minuteUtc, unixOf } from './utc.ts';

/** `latest`: the document of the latest sheet of this bench; null: there is none. `now`: Unix ms. The latest counts, whatever an earlier one said. */
export function qualificationStanding(latest: unknown, bench: string, now: number): QualificationStanding {
  if (latest === null) return { holds: false, text: `The archive holds no qualification of ${bench}.` };
  const parsed = parseQualification(latest);
  if (!parsed.ok) return { holds: false, text: `The latest qualification of ${bench} cannot be read by this program.` };
  const { doneAt, by } = parsed.qualification;
  const { until, text } = evaluateQualification(parsed.qualification);
  const whose = `of ${bench} on ${minuteUtc(unixOf(doneAt))} by ${by}`;
  if (until === null) return { holds: false, text: `The latest qualification ${whose}: ${text}` };
  if (now > until) return { holds: false, text: `The qualification ${whose} ended at ${minuteUtc(until)}.` };
  if (now < unixOf(doneAt) - 60_000) return { holds: false, text: `The qualification ${whose} is dated after now. Look at the clocks.` };
  return { holds: true, until, text: `The bench is qualified until ${minuteUtc(until)}, ${whose}.` };
}
