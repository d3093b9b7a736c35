/** The stability of the point that a run held longest, worked out again as windows come that tell more of it. WIN-207 */
import { useEffect, useRef, useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';

export type StabilityTold = AnswerTo<'run.stability'>;

export interface StabilityView {
  /** The latest; null: none yet. */
  readonly told: StabilityTold | null;
  readonly problem: string;
}

/** Between two questions: what is told moves by little with one window more, and a person reads it. */
const restMs = 5000;

/** `key`: of the windows that tell it. At most one question under way; what was told stays while it is asked again. */
export function useStability(id: string, key: string): StabilityView {
  const { line } = useHost();
  const [answered, setAnswered] = useState<StabilityView & { readonly key: string | null }>({ told: null, problem: '', key: null });
  const asking = useRef(false);
  const toldAt = useRef(Number.NEGATIVE_INFINITY);
  const isUp = line.state === 'up';
  // A host that came back may know what the one before could not say.
  useWhenUp(() => setAnswered((before) => ({ ...before, key: null })));
  useEffect(() => {
    if (!isUp || asking.current || answered.key === key) return undefined;
    const timer = setTimeout(
      () => {
        asking.current = true;
        void ask('run.stability', { id }).then((reply) => {
          asking.current = false;
          toldAt.current = performance.now();
          setAnswered((before) => (reply.ok ? { told: reply.value, problem: '', key } : { told: before.told, problem: reply.failure.text, key }));
        });
      },
      Math.max(0, toldAt.current + restMs - performance.now()),
    );
    return () => clearTimeout(timer);
  }, [id, key, isUp, answered.key]);
  return answered;
}
