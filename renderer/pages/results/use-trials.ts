/** The Monte Carlo of the tables of one injector, when it is asked for, in a worker of its own. TAB-56 */
import { useEffect, useRef, useState } from 'react';
import type { ControllerTable } from '../../../app/handover/document.ts';
import type { ControllerLayout } from '../../../app/handover/layout.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import type { TrialsAnswer, TrialsQuestion } from './trials-worker.ts';

interface Trials {
  /** null: not asked for, or not there yet. */
  readonly tables: readonly ControllerTable[] | null;
  readonly busy: boolean;
  readonly problem: string;
  readonly begin: () => void;
}

export function useTrials(id: string, results: RunResults, injector: number, layout: ControllerLayout): Trials {
  const [found, setFound] = useState<{ readonly of: readonly unknown[]; readonly answer: TrialsAnswer } | null>(null);
  const [asked, setAsked] = useState<readonly unknown[] | null>(null);
  const worker = useRef<Worker | null>(null);
  const end = (): void => {
    worker.current?.terminate();
    worker.current = null;
  };
  // What is looked at has changed: what was asked of another is not waited for.
  useEffect(() => end, [results, injector, layout]);
  const isOf = (of: readonly unknown[] | undefined | null): boolean => of?.[0] === results && of[1] === injector && of[2] === layout;
  const begin = (): void => {
    end();
    const of = [results, injector, layout] as const;
    const made = new Worker(new URL('./trials-worker.ts', import.meta.url), { type: 'module' });
    const answered = (answer: TrialsAnswer): void => {
      setFound({ of, answer });
      setAsked(null);
      made.terminate();
    };
    made.onmessage = ({ data }: MessageEvent<TrialsAnswer>) => answered(data);
    made.onerror = (event) => answered(event.message);
    worker.current = made;
    setAsked(of);
    const { plan, equipment, reduction } = results;
    const question: TrialsQuestion = { results: { plan, equipment, reduction }, injector, layout, seed: id };
    made.postMessage(question);
  };
  const answer = isOf(found?.of) ? (found?.answer ?? null) : null;
  return { tables: answer === null || typeof answer === 'string' ? null : answer, busy: isOf(asked), problem: typeof answer === 'string' ? answer : '', begin };
}
