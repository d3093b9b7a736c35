import { useEffect, useMemo, useRef, useState } from 'react';
import type { KeyboardEvent } from 'react';
import { Button } from '../../components/button.tsx';
import { secondText } from '../../components/dates.ts';
import { Status } from '../../components/status.tsx';
import { thinned } from './film.ts';
import type { Film } from './film.ts';
import { speeds } from './use-playing.ts';
import type { Playing } from './use-playing.ts';
import { clockText } from './words.ts';

const stepMs = 10_000;

interface Steps {
  readonly attemptBefore: number | null;
  readonly attemptAfter: number | null;
  readonly incidentBefore: number | null;
  readonly incidentAfter: number | null;
  readonly step: (to: number | null) => void;
}

const keysOf = ({ instant, goTo, plays, play }: Playing, film: Film, { step, ...steps }: Steps) => (event: KeyboardEvent): void => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const by = event.shiftKey ? 6 * stepMs : stepMs;
  const actions: Readonly<Record<string, () => void>> = {
    ArrowLeft: () => goTo(instant - by), ArrowRight: () => goTo(instant + by), ArrowDown: () => goTo(instant - by), ArrowUp: () => goTo(instant + by),
    PageUp: () => step(steps.attemptBefore), PageDown: () => step(steps.attemptAfter), Home: () => goTo(film.from), End: () => goTo(film.to),
  };
  const incident = event.shiftKey ? steps.incidentBefore : steps.incidentAfter;
  const action = event.key === ' ' ? () => play(!plays) : event.key.toLowerCase() === 'i' ? () => step(incident) : actions[event.key];
  if (action === undefined) return;
  event.preventDefault();
  action();
};

interface FilmBarProps {
  readonly film: Film;
  readonly playing: Playing;
  /** ms since 1970; null: the run had not been started at the instant. */
  readonly startedAt: number | null;
}

/** What is shown and that it is the past; the instant on a line of the whole run, with what was not as it should be; play, steps and speed. */
export function FilmBar({ film, playing, startedAt }: FilmBarProps) {
  const { instant, goTo, plays, play, speed, setSpeed } = playing;
  const slider = useRef<HTMLInputElement>(null);
  // Whoever comes here looks for an instant: its keys work at once.
  useEffect(() => slider.current?.focus({ preventScroll: true }), []);
  const steps = {
    attemptBefore: film.attemptBeside(instant, -1), attemptAfter: film.attemptBeside(instant, 1),
    incidentBefore: film.incidentBeside(instant, -1), incidentAfter: film.incidentBeside(instant, 1),
  };
  const step = (to: number | null): void => {
    if (to !== null) goTo(to);
  };
  const onKeyDown = keysOf(playing, film, { ...steps, step });
  return (
    <section className="section film-bar" aria-label="Film">
      <div className="film-what">
        <strong className="film-sign">Film</strong>
        <Status tone="off">The past, from the archive. Nothing on this page reaches the bench.</Status>
        <p className="film-instant">
          <strong>{secondText(instant)}</strong>
          <span className="quiet"> {startedAt === null ? 'before the start' : `${clockText(Math.max(0, instant - startedAt) / 1e3)} after the start`}</span>
        </p>
      </div>
      <div className="film-line">
        <FilmMarks film={film} />
        <input
          ref={slider} type="range" min={film.from} max={film.to} step={1} value={instant} aria-label="Instant of the run" aria-valuetext={secondText(instant)}
          onChange={(event) => goTo(Number(event.target.value))} onKeyDown={onKeyDown}
        />
      </div>
      <div className="film-controls" role="group" aria-label="How the film goes on">
        <Button label={plays ? 'Stand still' : 'Play'} kind="primary" onPress={() => play(!plays)}>
          {plays ? '❚❚ Stand still' : '▶ Play'}
        </Button>
        <label className="film-speed">
          <span className="small quiet">Speed</span>
          <select className="field-frame" value={speed} onChange={(event) => setSpeed(speeds.find((one) => one === Number(event.target.value)) ?? speed)}>
            {speeds.map((one) => (
              <option key={one} value={one}>
                {one === 1 ? 'as it was' : `${one} times`}
              </option>
            ))}
          </select>
        </label>
        <Button label="Attempt before" against={steps.attemptBefore === null ? 'There is none before.' : ''} showAgainst={false} onPress={() => step(steps.attemptBefore)}>
          ◂ Attempt
        </Button>
        <Button label="Next attempt" against={steps.attemptAfter === null ? 'There is none after.' : ''} showAgainst={false} onPress={() => step(steps.attemptAfter)}>
          Attempt ▸
        </Button>
        <Button label="Incident before" against={steps.incidentBefore === null ? 'There is none before.' : ''} showAgainst={false} onPress={() => step(steps.incidentBefore)}>
          ◂ Incident
        </Button>
        <Button label="Next incident" against={steps.incidentAfter === null ? 'There is none after.' : ''} showAgainst={false} onPress={() => step(steps.incidentAfter)}>
          Incident ▸
        </Button>
      </div>
    </section>
  );
}

/** Pixels; closer marks are one. */
const leastApart = 3;
/** Half of the thumb: the line begins and ends under its middle. */
const inset = 8;

function FilmMarks({ film }: { readonly film: Film }) {
  const frame = useRef<SVGSVGElement>(null);
  const [width, setWidth] = useState(800);
  useEffect(() => {
    const element = frame.current;
    if (element === null) return undefined;
    const watch = new ResizeObserver(() => setWidth(Math.max(100, element.clientWidth)));
    watch.observe(element);
    return () => watch.disconnect();
  }, []);
  const { from, to } = film;
  const marks = useMemo(() => thinned(film.incidents(), (leastApart * (to - from)) / (width - 2 * inset)), [film, from, to, width]);
  return (
    <svg ref={frame} className="film-marks" aria-hidden="true" height={10}>
      {marks.map((at) => (
        <path key={at} d={`M${(inset + ((at - from) / Math.max(1, to - from)) * (width - 2 * inset)).toFixed(1)} 0 v9`} />
      ))}
    </svg>
  );
}
