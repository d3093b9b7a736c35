import { useEffect, useState } from 'react';
import { Button } from '../components/button.tsx';
import { Dialog } from '../components/dialog.tsx';
import { onPlainKeys } from '../components/keys.ts';
import { help } from '../pages/help.ts';
import { pages } from '../pages/index.ts';
import { useRoute } from '../address/route.ts';
import { takeGuide } from './guide.tsx';
import { keyRows, type KeyRow } from './key-list.ts';

/** Help for the page that is shown, and the list of keys, behind `?` and a button that is always there (WIN-51, WIN-52). */
export function HelpButton() {
  const [open, setOpen] = useState(false);
  const { page } = useRoute();
  const { path, title } = pages.find((one) => one.path === page) ?? pages[0] ?? { path: '', title: '' };
  useEffect(() => onPlainKeys({ '?': () => setOpen(true), F1: () => setOpen(true) }), []);
  const text = help[path];
  return (
    <>
      <Button kind="quiet" onPress={() => setOpen(true)}>
        Help
      </Button>
      <Dialog wide title={`Help: ${title}`} open={open} onClose={() => setOpen(false)}>
        {text !== undefined && (
          <>
            <p>{text.what}</p>
            <ol>
              {text.steps.map((step) => (
                <li key={step}>{step}</li>
              ))}
            </ol>
          </>
        )}
        <div className="button-row">
          <Button
            onPress={() => {
              takeGuide('on');
              setOpen(false);
            }}
          >
            First sweep, step by step
          </Button>
        </div>
        <div className="help-keys">
          <KeyTable title={`Keys on ${title}`} rows={keyRows.filter(({ where }) => where === path)} />
          <KeyTable title="Keys everywhere" rows={keyRows.filter(({ where }) => where === 'everywhere')} />
          <KeyTable title="In fields" rows={keyRows.filter(({ where }) => where === 'fields')} />
          <KeyTable title="In tables" rows={keyRows.filter(({ where }) => where === 'tables')} />
        </div>
        <Others path={path} />
      </Dialog>
    </>
  );
}

function KeyTable({ title, rows }: { readonly title: string; readonly rows: readonly KeyRow[] }) {
  if (rows.length === 0) return null;
  return (
    <section aria-label={title}>
      <h3>{title}</h3>
      <table className="plain">
        <tbody>
          {rows.map(({ keys, does }) => (
            <tr key={`${keys} ${does}`}>
              <th scope="row">
                <kbd>{keys}</kbd>
              </th>
              <td>{does}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

/** The keys of the other pages, so that this is the whole list. */
function Others({ path }: { readonly path: string }) {
  const others = pages.filter((page) => page.path !== path && keyRows.some(({ where }) => where === page.path));
  return (
    <details>
      <summary>Keys on other pages</summary>
      <div className="help-keys">
        {others.map((page) => (
          <KeyTable key={page.path} title={`Keys on ${page.title}`} rows={keyRows.filter(({ where }) => where === page.path)} />
        ))}
      </div>
    </details>
  );
}
