import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { questionWords } from '../../../app/results/recognise.ts';
import { goTo, pathTo } from '../../address/route.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { ask, useWhenUp } from '../../host/host.ts';

type Question = AnswerTo<'run.recognise'>['questions'][number] & { readonly run?: string };

/** Whether an injector is really the one that its number says. WIN-84 */
export function Questions({ about }: { readonly about: readonly Question[] }) {
  return about.map((question) => {
    const { serialNumber, like, ownRun, ownAt, likeAt, run } = question;
    return (
      <Notice key={`${run ?? ''} ${serialNumber}`} tone="note" action={<Button onPress={() => goTo('injectors', like)}>Life of {like}</Button>}>
        {shownText(questionWords(question, (id) => dateTimeText(id === ownRun ? ownAt : likeAt)))}
        {run !== undefined && (
          <>
            {' '}
            <a href={pathTo('results', run)}>The run in which it is asked</a>
          </>
        )}
      </Notice>
    );
  });
}

/** Of a run that rests, asked once when it is shown: earlier runs are read for it. */
export function QuestionsOfRun({ id }: { readonly id: string }) {
  const [found, setFound] = useState<AnswerTo<'run.recognise'> | null>(null);
  useWhenUp(() => {
    void ask('run.recognise', { id }).then((reply) => setFound(reply.ok ? reply.value : null));
  });
  return found === null ? null : <Questions about={found.questions} />;
}
