import { useEffect, useState } from 'react';
import type { Call } from '../../app/run/status.ts';
import { goTo, pathTo, useRoute } from '../address/route.ts';
import { Button } from '../components/button.tsx';
import { shownText } from '../components/shown-text.ts';
import { Notice } from '../components/status.tsx';
import { markTitle } from '../components/window-title.ts';
import { useHostState } from '../host/host.ts';
import { settings } from '../settings/settings.ts';
import { play } from './sound.ts';

const words: Readonly<Record<Call['kind'], string>> = { trip: 'Tripped', hold: 'On hold', question: 'Waits for you', end: 'Run ended' };
/** How often it sounds until somebody has heard it, ms. */
const soundsEvery = 8000;

/**
 * What the run needs a person for: a banner with a way there on every page but its own, the title, a sound that comes again until somebody
 * has heard it or the cause is gone, and a notification of the system (WIN-22). An end is told once.
 */
export function Calls() {
  const kind = useHostState(({ status, line }) => (line.state === 'up' ? (status?.status.call?.kind ?? null) : null));
  const text = useHostState(({ status }) => status?.status.call?.text ?? '');
  const called = kind === null ? '' : `${kind} ${text}`;
  const [heard, setHeard] = useState('');
  const [silent, setSilent] = useState(false);
  const onRun = useRoute().page === 'run';

  useEffect(() => {
    markTitle(kind === null || (kind === 'end' && heard === called) ? '' : words[kind]);
    if (kind === null || heard === called) return undefined;
    const sound = (): void => void play(settings().sound).then((sounded) => setSilent(!sounded));
    sound();
    const timer = kind === 'end' ? undefined : setInterval(sound, soundsEvery);
    return () => clearInterval(timer);
  }, [kind, called, heard]);
  useEffect(() => {
    if (kind !== null) notify(words[kind], text);
  }, [kind, text]);
  useEffect(() => {
    if (kind === null) setHeard('');
  }, [kind]);

  const quiet = heard === called;
  // Its own page says it in full; there the banner only lets the sound be ended.
  if (kind === null || (quiet && (onRun || kind === 'end'))) return null;
  return (
    <Notice
      tone={kind === 'trip' ? 'bad' : 'note'}
      action={
        <>
          {!onRun && (
            <a className="button" href={pathTo('run')}>
              To the run
            </a>
          )}
          {!quiet && <Button onPress={() => setHeard(called)}>{kind === 'end' ? 'Close' : 'I have heard it'}</Button>}
        </>
      }
    >
      <strong>{words[kind]}. </strong>
      {onRun ? (kind === 'end' ? 'How it ended stands below.' : 'What happened and what to do stands below.') : shownText(text)}
      {silent && !quiet && ' The browser does not let this window sound until somebody has clicked in it.'}
    </Notice>
  );
}

function notify(title: string, text: string): void {
  if (!settings().notify || typeof Notification === 'undefined' || Notification.permission !== 'granted') return;
  const shown = new Notification(`Railhouse: ${title}`, { body: shownText(text), tag: 'railhouse-call' });
  shown.onclick = () => {
    window.focus();
    goTo('run');
    shown.close();
  };
}
