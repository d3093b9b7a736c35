/** How far the targets of a run are, worked out anew whenever another window counts. */
import { useEffect, useMemo, useRef, useState } from 'react';
import type { RunState } from '../../../app/journal/state.ts';
import { outlookInput } from '../../../app/schedule/outlook.ts';
import type { Outlook } from '../../../app/schedule/outlook.ts';
import { countingKey } from '../results/results.ts';
import type { TargetsAnswer } from './targets-worker.ts';

export interface TargetsView {
  /** null: none was worked out yet, or the plan states no targets. */
  readonly outlook: Outlook | null;
  /** When it was, ms since 1970: the expected rest counts from there. */
  readonly at: number;
  readonly problem: string;
}

const nothingYet: TargetsView = { outlook: null, at: 0, problem: '' };

/** At most one question under way; what changes meanwhile is asked about after it. A run without targets asks nothing. */
export function useTargets(state: RunState): TargetsView {
  const [view, setView] = useState<TargetsView & { readonly key: string }>({ ...nothingYet, key: '' });
  const worker = useRef<Worker | null>(null);
  const [asking, setAsking] = useState(false);
  const wanted = state.plan.targets !== undefined;
  const key = useMemo(() => (wanted ? `${countingKey(state)} ${state.setPoints.length} ${JSON.stringify(state.plan.targets)} ${[...state.out.keys()].join()}` : ''), [wanted, state]);

  useEffect(() => {
    if (!wanted) return undefined;
    const made = new Worker(new URL('./targets-worker.ts', import.meta.url), { type: 'module' });
    worker.current = made;
    return () => {
      worker.current = null;
      made.terminate();
    };
  }, [wanted]);

  useEffect(() => {
    const asked = worker.current;
    if (!wanted || asked === null || asking || view.key === key) return;
    const at = Date.now();
    asked.onmessage = ({ data }: MessageEvent<TargetsAnswer>) => {
      setView(data.ok ? { key, at, outlook: data.outlook, problem: '' } : { key, at, outlook: null, problem: data.text });
      setAsking(false);
    };
    asked.onerror = (event) => {
      setView({ key, at, outlook: null, problem: event.message });
      setAsking(false);
    };
    setAsking(true);
    asked.postMessage(outlookInput(state));
  }, [wanted, asking, view.key, key, state]);

  return wanted ? view : nothingYet;
}
