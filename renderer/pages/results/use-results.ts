/** The results of a run, worked out anew whenever another attempt counts. */
import { useEffect, useMemo, useRef, useState } from 'react';
import { useCondensedRun } from '../../host/host.ts';
import type { JournalView } from '../../host/journal-feed.ts';
import type { ReduceAnswer, ReducedOfRun, ReduceQuestion } from './reduce-worker.ts';
import { countingAttempts } from '../../../app/reduce/counting.ts';
import { countingKey } from './results.ts';
import type { RunResults, RunToReduce } from '../../../app/results/run-results.ts';

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

let ahead: Worker | null = null;
const newWorker = (): Worker => new Worker(new URL('./reduce-worker.ts', import.meta.url), { type: 'module' });

/** Begins the worker of whoever looks at results first: its program is read while the journal comes (WIN-173). */
export function beginToReduce(): void {
  ahead ??= newWorker();
}

function workerToReduce(): Worker {
  const worker = ahead ?? newWorker();
  ahead = null;
  return worker;
}

/** `id` null: no run. One worker for each caller, with at most one question under way; questions between are left out. */
export function useResults(id: string | null): ResultsView {
  const journal = useCondensedRun(id);
  const { state, phase } = journal;
  const [answered, setAnswered] = useState<Answered | null>(null);
  const worker = useRef<Worker | null>(null);
  const asked = useRef<{ readonly ask: number; readonly request: RunToReduce; readonly key: string } | null>(null);
  const [free, setFree] = useState(0);

  const key = useMemo(() => (state === null || phase === 'loading' ? null : countingKey(state)), [state, phase]);

  useEffect(() => {
    const made = workerToReduce();
    const take = (results: ReducedOfRun | null, problem: string): void => {
      if (asked.current === null) return;
      const { request, key } = asked.current;
      const { id, plan, equipment, points } = request;
      asked.current = null;
      setAnswered({ id, key, results: results === null ? null : { id, plan, equipment, points, ...results }, problem });
    };
    made.onmessage = ({ data }: MessageEvent<ReduceAnswer>) => {
      take(data.ok ? data.results : null, data.ok ? '' : data.text);
      setFree(data.ask);
    };
    made.onerror = (event) => take(null, event.message);
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
    const request: RunToReduce = { id, plan: state.plan, equipment: state.equipment, points: state.setPoints, attempts: countingAttempts(state) };
    asked.current = { ask: free + 1, request, key };
    const question: ReduceQuestion = { ask: free + 1, request };
    worker.current.postMessage(question);
  }, [id, key, state, answered, free]);

  const mine = answered?.id === id ? answered : null;
  return { journal, results: mine?.results ?? null, reducing: id !== null && mine?.key !== key, problem: mine?.problem ?? '' };
}
