/** The results of a run, worked out anew whenever another attempt counts. */
import { useEffect, useMemo, useRef, useState } from 'react';
import { useCondensedRun } from '../../host/host.ts';
import type { JournalView } from '../../host/journal-feed.ts';
import type { ReduceAnswer, ReduceQuestion } from './reduce-worker.ts';
import { countingAttempts } from '../../../app/reduce/counting.ts';
import { countingKey } from './results.ts';
import type { RunResults } from '../../../app/results/run-results.ts';

export interface ResultsView {
  readonly journal: JournalView;
  /** The last that were worked out; null: none yet. */
  readonly results: RunResults | null;
  /** They are being worked out again. */
  readonly reducing: boolean;
  readonly problem: string;
}

interface Answered {
  readonly id: string;
  readonly key: string;
  readonly results: RunResults | null;
  readonly problem: string;
}

/** `id` null: no run. One worker for each caller, with at most one question under way; questions between are left out. */
export function useResults(id: string | null): ResultsView {
  const journal = useCondensedRun(id);
  const { state, phase } = journal;
  const [answered, setAnswered] = useState<Answered | null>(null);
  const worker = useRef<Worker | null>(null);
  const asked = useRef<{ readonly ask: number; readonly id: string; readonly key: string } | null>(null);
  const [free, setFree] = useState(0);

  const key = useMemo(() => (state === null || phase === 'loading' ? null : countingKey(state)), [state, phase]);

  useEffect(() => {
    const made = new Worker(new URL('./reduce-worker.ts', import.meta.url), { type: 'module' });
    made.onmessage = ({ data }: MessageEvent<ReduceAnswer>) => {
      const question = asked.current;
      asked.current = null;
      if (question !== null) setAnswered({ id: question.id, key: question.key, results: data.ok ? data.results : null, problem: data.ok ? '' : data.text });
      setFree(data.ask);
    };
    made.onerror = (event) => {
      const question = asked.current;
      asked.current = null;
      if (question !== null) setAnswered({ id: question.id, key: question.key, results: null, problem: event.message });
    };
    worker.current = made;
    return () => {
      worker.current = null;
      asked.current = null;
      made.terminate();
    };
  }, []);

  useEffect(() => {
    if (id === null || key === null || state === null || worker.current === null || asked.current !== null) return;
    if (answered?.id === id && answered.key === key) return;
    asked.current = { ask: free + 1, id, key };
    const question: ReduceQuestion = { ask: free + 1, request: { id, plan: state.plan, equipment: state.equipment, points: state.setPoints, attempts: countingAttempts(state) } };
    worker.current.postMessage(question);
  }, [id, key, state, answered, free]);

  const mine = answered?.id === id ? answered : null;
  return { journal, results: mine?.results ?? null, reducing: id !== null && mine?.key !== key, problem: mine?.problem ?? '' };
}
