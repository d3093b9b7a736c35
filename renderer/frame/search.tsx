import { useEffect, useRef, useState } from 'react';
import type { KeyboardEvent } from 'react';
import type { AnswerTo } from '../../app/contract/contract.ts';
import type { FoundKind } from '../../app/contract/search.ts';
import { Button } from '../components/button.tsx';
import { dateTimeText } from '../components/dates.ts';
import { Dialog } from '../components/dialog.tsx';
import { onPlainKeys, onWindowKeys } from '../components/keys.ts';
import { Status } from '../components/status.tsx';
import { ask } from '../host/host.ts';
import { linkOf, pathOfFound } from '../address/places.ts';

type Found = AnswerTo<'search'>['found'][number];

const kindWords: Readonly<Record<FoundKind, string>> = {
  injector: 'Injectors', order: 'Jobs', type: 'Types', run: 'Runs', plan: 'Plans', report: 'Reports', examination: 'Examinations', note: 'Notes',
};
/** Typing is followed by a search once it rests for so long. ms */
const rest = 150;

/** One field over everything in the archive (WIN-54). Without a word: what is still to be looked at, and the latest runs. */
export function SearchButton() {
  const [open, setOpen] = useState(false);
  useEffect(() => {
    const show = (): void => setOpen(true);
    const ends = [
      onPlainKeys({ '/': show }),
      onWindowKeys({
        '$mod+KeyK': (event: KeyboardEvent | globalThis.KeyboardEvent) => {
          event.preventDefault();
          show();
        },
      }),
    ];
    return () => ends.forEach((end) => end());
  }, []);
  return (
    <>
      <Button kind="quiet" onPress={() => setOpen(true)}>
        Search
      </Button>
      <Dialog wide title="Search" open={open} onClose={() => setOpen(false)}>
        <SearchEverywhere onGone={() => setOpen(false)} />
      </Dialog>
    </>
  );
}

function useFound(text: string): { readonly found: readonly Found[] | null; readonly cut: boolean; readonly problem: string } {
  const [answer, setAnswer] = useState<{ readonly found: readonly Found[] | null; readonly cut: boolean; readonly problem: string }>({ found: null, cut: false, problem: '' });
  const latest = useRef(0);
  useEffect(() => {
    const handle = setTimeout(() => {
      const asked = (latest.current += 1);
      void ask('search', { text: text.slice(0, 200) }).then((reply) => {
        // An answer to what was typed before says nothing any more.
        if (asked === latest.current) setAnswer(reply.ok ? { ...reply.value, problem: '' } : { found: null, cut: false, problem: reply.failure.text });
      });
    }, rest);
    return () => clearTimeout(handle);
  }, [text]);
  return answer;
}

function SearchEverywhere({ onGone }: { readonly onGone: () => void }) {
  const [text, setText] = useState('');
  const [at, setAt] = useState(0);
  const { found, cut, problem } = useFound(text);
  const link = linkOf(text);
  const list = found ?? [];
  const current = Math.min(at, Math.max(0, list.length - 1));
  const go = (path: string): void => {
    window.location.hash = path;
    onGone();
  };
  const onKeyDown = (event: KeyboardEvent): void => {
    const chosen = list[current];
    if (event.key === 'ArrowDown') setAt(Math.min(current + 1, list.length - 1));
    else if (event.key === 'ArrowUp') setAt(Math.max(0, current - 1));
    else if (event.key === 'Enter' && link !== null) go(link);
    else if (event.key === 'Enter' && chosen !== undefined) go(pathOfFound(chosen));
    else return;
    event.preventDefault();
  };
  return (
    <div className="search-everywhere">
      <input
        className="field-frame"
        type="search"
        role="combobox"
        aria-expanded={list.length > 0}
        aria-controls="search-found"
        aria-activedescendant={list.length > 0 ? `found-${current}` : undefined}
        aria-label="Serial number, job, run, plan, type, report, examination or note"
        placeholder="Serial number, job, run, plan, type, report, examination or note; or a link"
        autoFocus
        value={text}
        onChange={(event) => {
          setText(event.target.value);
          setAt(0);
        }}
        onKeyDown={onKeyDown}
      />
      {link !== null && (
        <p>
          <a href={link} onClick={onGone}>
            Go to this link
          </a>
        </p>
      )}
      {problem !== '' && <p role="alert">{problem}</p>}
      {found !== null && list.length === 0 && link === null && (
        <p role="status" className="quiet">
          {text.trim() === '' ? 'Nothing is to be looked at, and there is no run yet.' : 'Nothing in this archive has these words. Try a part of a serial number, a job or a name.'}
        </p>
      )}
      <ul id="search-found" role="listbox" aria-label="Found" className="search-found">
        {list.map((item, index) => (
          <FoundRow key={`${item.kind} ${item.id} ${item.at ?? ''} ${index}`} item={item} index={index} selected={index === current} heading={item.kind !== list[index - 1]?.kind} onGo={() => go(pathOfFound(item))} />
        ))}
      </ul>
      {cut && <p className="small quiet">There is more of some kinds. Type more to narrow it down; all runs are on the page Archive.</p>}
    </div>
  );
}

interface FoundRowProps {
  readonly item: Found;
  readonly index: number;
  readonly selected: boolean;
  /** It is the first of its kind. */
  readonly heading: boolean;
  readonly onGo: () => void;
}

function FoundRow({ item, index, selected, heading, onGo }: FoundRowProps) {
  const row = useRef<HTMLLIElement>(null);
  useEffect(() => {
    if (selected) row.current?.scrollIntoView({ block: 'nearest' });
  }, [selected]);
  return (
    <>
      {heading && (
        <li role="presentation" className="search-kind">
          {kindWords[item.kind]}
        </li>
      )}
      {/* The keys are heard by the field. */}
      <li ref={row} id={`found-${index}`} role="option" aria-selected={selected} className="search-row" onClick={onGo}>
        <span className="one-line">
          {item.open && <Status tone="note">Look at this</Status>} <strong>{item.text}</strong>
        </span>
        <span className="one-line quiet">{item.detail}</span>
        <span className="small quiet">{item.at === null ? '' : dateTimeText(item.at)}</span>
      </li>
    </>
  );
}
