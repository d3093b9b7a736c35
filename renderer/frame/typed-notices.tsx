import { useState } from 'react';
import { Button } from '../components/button.tsx';
import { dateTimeText } from '../components/dates.ts';
import { ConfirmBar } from '../components/dialog.tsx';
import { Notice } from '../components/status.tsx';
import { pages } from '../pages/index.ts';
import { pageOf, takeOverTyped, throwAway, useTypedView } from '../typed/typed.ts';
import type { LeftDraft } from '../typed/keeper.ts';

const titleOf = (name: string): string => pages.find(({ path }) => path === pageOf(name))?.title ?? '';

/** What was typed in a window that has gone, and what is not kept now (WIN-29, WIN-30). */
export function TypedNotices() {
  const { left, problem } = useTypedView();
  const [asking, setAsking] = useState(false);
  const [said, setSaid] = useState('');
  return (
    <>
      {problem !== '' && (
        <Notice tone="bad">
          <strong>What you type is not kept now. </strong>
          {problem}
        </Notice>
      )}
      {left.length > 0 && (
        <Notice
          tone="note"
          action={
            <div className="button-row">
              <Button onPress={() => void takeOverTyped(left).then(setSaid)}>Go on with it here</Button>
              <Button kind="quiet" onPress={() => setAsking(true)}>
                Throw it away
              </Button>
            </div>
          }
        >
          <strong>Not saved in a window that was closed: </strong>
          {left.map(inWords).join('; ')}. {said}
          {asking && (
            <ConfirmBar
              question={left.length === 1 ? 'What was typed there is gone then.' : `All ${left.length} are gone then.`}
              confirm="Throw it away"
              onLeave={() => setAsking(false)}
              onConfirm={() => {
                setAsking(false);
                void throwAway(left);
              }}
            />
          )}
        </Notice>
      )}
    </>
  );
}

const inWords = ({ name, title, by, at }: LeftDraft): string => `${title} (${[titleOf(name), by, dateTimeText(at)].filter((part) => part !== '').join(', ')})`;
