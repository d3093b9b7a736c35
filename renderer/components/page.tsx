import { useEffect, useRef } from 'react';
import type { ReactNode } from 'react';
import { titleOfPage } from './window-title.ts';

/** The layout of a page: its title (which takes the focus when the page is gone to), a sentence beneath, actions beside. `dense`: the head takes one line and the page the whole width. */
export function Page({ title, lead, actions, dense = false, children }: { readonly title: string; readonly lead?: ReactNode; readonly actions?: ReactNode; readonly dense?: boolean; readonly children: ReactNode }) {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    titleOfPage(title);
    heading.current?.focus({ preventScroll: true });
    window.scrollTo({ top: 0 });
  }, [title]);
  return (
    <div className={dense ? 'page page-dense' : 'page'}>
      <header className="page-head">
        <div>
          <h1 ref={heading} tabIndex={-1}>
            {title}
          </h1>
          {lead !== undefined && <p className="lead">{lead}</p>}
        </div>
        {actions !== undefined && <div className="actions">{actions}</div>}
      </header>
      {children}
    </div>
  );
}

/** A part of a page with its own heading. `wide`: over the whole width of the page's grid. */
export function Section({ title, aside, wide = false, children }: { readonly title: string; readonly aside?: ReactNode; readonly wide?: boolean; readonly children: ReactNode }) {
  return (
    <section className={wide ? 'section section-wide' : 'section'} aria-label={title}>
      <header className="section-head">
        <h2>{title}</h2>
        {aside}
      </header>
      {children}
    </section>
  );
}
