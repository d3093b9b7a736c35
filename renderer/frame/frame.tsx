import { Component, useEffect, useMemo, useRef, useState } from 'react';
import type { ReactNode } from 'react';
import { deadManText } from '../../app/run/safe-words.ts';
import { Button } from '../components/button.tsx';
import { onWindowKeys } from '../components/keys.ts';
import { Page } from '../components/page.tsx';
import { Notice } from '../components/status.tsx';
import { ask, dismissStop, useHost, useHostState } from '../host/host.ts';
import { pages } from '../pages/index.ts';
import { LoadedPage } from './loaded-page.tsx';
import { PagesNav } from './pages-nav.tsx';
import { Calls } from './calls.tsx';
import { Guide } from './guide.tsx';
import { HelpButton } from './help.tsx';
import { NowLine } from './now-line.tsx';
import { SearchButton } from './search.tsx';
import { goTo, useRoute } from '../address/route.ts';
import { useSettings } from '../settings/settings.ts';
import { SettingsButton } from './settings-dialog.tsx';
import { StopButton } from './stop.tsx';
import { useTypedReady } from '../typed/typed.ts';
import { TypedNotices } from './typed-notices.tsx';
import { WhoWorks } from './who-works.tsx';

/** The window around its pages: name, the ways, how things stand, and the stop. */
export function Frame() {
  const { page } = useRoute();
  const current = pages.find((one) => one.path === page) ?? pages[0];
  useEffect(
    () => onWindowKeys(Object.fromEntries(pages.map(({ path, key }) => [`Alt+${key}`, (event: KeyboardEvent) => {
      event.preventDefault();
      goTo(path);
    }]))),
    [],
  );
  const { line, software } = useHost();
  const main = useRef<HTMLElement>(null);
  useEffect(() => onHeights(main.current), []);
  const ready = useTypedReady();
  // What is shown in other units or signs is drawn anew.
  const look = useSettings(({ pressureUnit, temperatureUnit, dates, decimal }) => [pressureUnit, temperatureUnit, dates, decimal].join(' '));
  return (
    <>
      <a className="skip-to" href="#content" onClick={(event) => {
        event.preventDefault();
        document.querySelector<HTMLElement>('#content h1')?.focus();
      }}>
        To the page
      </a>
      <header className="frame-head">
        <div>
          <div className="frame-top">
            <span className="frame-name">Railhouse</span>
            <PagesNav current={current?.path} />
            <SettingsButton />
          </div>
          <div className="frame-second">
            <NowLine />
            <div className="frame-tools">
              <SearchButton />
              <HelpButton />
            </div>
          </div>
        </div>
        <div className="frame-stop-place" />
      </header>
      <StopButton />
      <FrameNotices />
      <main id="content" ref={main}>
        {line.state === 'gone' && line.refused && software === '' ? (
          <Page title="This tab is not connected" lead="What to do stands above. Nothing on the bench or in the archive is concerned.">{null}</Page>
        ) : (
          <Failing key={`${current?.path ?? ''} ${look}`}>
            {current !== undefined && <LoadedPage entry={current} ready={ready} />}
          </Failing>
        )}
      </main>
      <FrameFoot />
    </>
  );
}

/** Tells the style sheet how high the head is, and what stands above the page, so that a page can fill its screen. */
function onHeights(main: HTMLElement | null): () => void {
  if (main === null) return () => undefined;
  const { style } = document.documentElement;
  const measure = (): void => {
    style.setProperty('--above', `${main.offsetTop}px`);
    style.setProperty('--head', `${document.querySelector<HTMLElement>('.frame-head')?.offsetHeight ?? 0}px`);
  };
  measure();
  const observer = new ResizeObserver(measure);
  for (const element of document.querySelectorAll('.frame-head, .frame-notices')) observer.observe(element);
  return () => observer.disconnect();
}

const stopTones = { sent: 'busy', safe: 'good', 'not-safe': 'bad' } as const;

/** What a person must see whatever the page: what became of a stop, an archive that is not where it was, a host that has gone, another window in control. */
function FrameNotices() {
  const { line, stop, control, archiveProblems } = useHost();
  const [problem, setProblem] = useState('');
  const take = async (): Promise<void> => {
    const reply = await ask('control.take', {});
    setProblem(reply.ok ? '' : reply.failure.text);
    if (reply.ok) useHostState.setState({ control: reply.value });
  };
  return (
    <div className="frame-notices">
      <WhoWorks />
      <Guide />
      {stop !== null && (
        <Notice tone={stopTones[stop.state]} action={<Button onPress={dismissStop}>Close</Button>}>
          <strong>STOP. </strong>
          {stop.text}
        </Notice>
      )}
      <Calls />
      <TypedNotices />
      {archiveProblems.map((problem) => (
        <Notice key={problem} tone="bad">
          <strong>Archive. </strong>
          {problem}
        </Notice>
      ))}
      {line.state === 'gone' && line.refused && <Notice tone="bad">{line.text}</Notice>}
      {line.state === 'gone' && !line.refused && (
        <Notice tone="bad">
          <strong>{line.text} </strong>
          What is shown is old. {deadManText()} If you are not sure, press the emergency stop of the bench.
        </Notice>
      )}
      {line.state === 'up' && !control.mine && (
        <Notice tone="note" action={<Button onPress={() => void take()}>Take control</Button>}>
          {control.holder === null ? 'Nobody holds control. Take it to work on the bench.' : `${control.holder} holds control; this window watches. STOP works from here too. The other window is told when you take control.`}
          {problem !== '' && ` ${problem}`}
        </Notice>
      )}
    </div>
  );
}

function FrameFoot() {
  const { software, archivePath } = useHost();
  const about = useMemo(() => [software, archivePath === '' ? '' : `Archive ${archivePath}`].filter((part) => part !== '').join(' · '), [software, archivePath]);
  return (
    <footer className="frame-foot">
      <p>
        Flammable fluid under pressure and energised drivers: ventilate, cover closed, no ignition source. STOP is a function of this program and not a safety function; the
        emergency stop of the bench is.
      </p>
      <p>{about}</p>
    </footer>
  );
}

/** A page that fails takes nothing else with it: the stop and the other pages go on. */
class Failing extends Component<{ readonly children: ReactNode }, { readonly problem: string | null }> {
  override state: { readonly problem: string | null } = { problem: null };

  static getDerivedStateFromError(error: unknown): { problem: string } {
    return { problem: error instanceof Error ? error.message : String(error) };
  }

  override render(): ReactNode {
    if (this.state.problem === null) return this.props.children;
    return (
      <div className="page">
        <Notice tone="bad" action={<Button onPress={() => this.setState({ problem: null })}>Show it again</Button>}>
          This page has failed: {this.state.problem} Nothing on the bench was changed by that. STOP and the other pages go on working; please report it.
        </Notice>
      </div>
    );
  }
}
