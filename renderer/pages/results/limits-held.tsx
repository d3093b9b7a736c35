import { useState } from 'react';
import type { Criterion } from '../../../app/journal/events.ts';
import { criterionShown } from '../../components/criterion-shown.ts';
import { shownText } from '../../components/shown-text.ts';
import { Notice, Status } from '../../components/status.tsx';
import { ask, useWhenUp } from '../../host/host.ts';

/** The limits that an attempt was held against, kept or not. They are read when it is looked at: of a whole run they are most of its journal (HOST-170). `seq`: place of its end. */
export function LimitsHeld({ id, seq }: { readonly id: string; readonly seq: number }) {
  const [criteria, setCriteria] = useState<readonly Criterion[] | null>(null);
  const [problem, setProblem] = useState('');
  useWhenUp(() => {
    void ask('run.journal', { id, fromSeq: seq, limit: 1 }).then((reply) => {
      const body = reply.ok ? reply.value.events[0]?.body : undefined;
      setProblem(reply.ok ? '' : reply.failure.text);
      if (body?.kind === 'attempt-ended') setCriteria(body.criteria);
    });
  });
  if (criteria === null) return problem === '' ? null : <Notice tone="note">The acceptance limits cannot be read: {problem}</Notice>;
  if (criteria.length === 0) return null;
  return (
    <div>
      <h3>Acceptance limits</h3>
      <ul className="criteria">
        {criteria.map((one) => (
          <li key={`${one.rule} ${one.text}`}>
            <Status tone={one.passed ? 'good' : 'bad'}>
              {one.passed ? 'kept' : 'not kept'}: {shownText(criterionShown(one))}
            </Status>
          </li>
        ))}
      </ul>
    </div>
  );
}
