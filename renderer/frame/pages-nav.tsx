import { pathTo } from '../address/route.ts';
import { pageGroups } from '../pages/index.ts';
import { useUnsaved } from '../typed/typed.ts';

/** The ways to the pages, in groups; a dot stands where something is not saved. Nothing in it moves (WIN-94). */
export function PagesNav({ current }: { readonly current: string | undefined }) {
  const unsaved = useUnsaved();
  return (
    <nav className="frame-nav" aria-label="Pages">
      {pageGroups.map((group) => (
        <div key={group.title} role="group" aria-label={group.title} className="frame-group">
          {group.pages.map(({ path, title, key }) => {
            const here = unsaved.filter((one) => one.page === path).map((one) => one.title);
            return (
              <a key={path} href={pathTo(path)} data-title={title} aria-current={path === current ? 'page' : undefined} aria-keyshortcuts={`Alt+${key.replace('Key', '')}`} title={`Alt+${key.replace('Key', '')}${here.length === 0 ? '' : `. Not saved: ${here.join('; ')}`}`}>
                {title}
                {here.length > 0 && <span className="frame-unsaved" aria-hidden="true" />}
              </a>
            );
          })}
        </div>
      ))}
    </nav>
  );
}
