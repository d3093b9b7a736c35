/** Prints a report in a window that nobody sees (webContents.printToPDF). REP-39 */
import { writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import type * as Electron from 'electron';
import { papers } from '../../app/report/style.ts';
import type { ToPrint } from '../report/pdf-by-shell.ts';

/** Why it was not printed; empty: `file` is there. The page has no script, and may read nothing but itself. */
export async function printPage({ BrowserWindow, session }: Pick<typeof Electron, 'BrowserWindow' | 'session'>, { page, file, paper }: ToPrint): Promise<string> {
  const url = pathToFileURL(page).href;
  // Nothing of it is kept, and nothing of the window's own session is in it.
  const own = session.fromPartition('print', { cache: false });
  own.setPermissionRequestHandler((_contents, _permission, answer) => answer(false));
  own.webRequest.onBeforeRequest(({ url: asked }, answer) => answer({ cancel: asked !== url }));
  const window = new BrowserWindow({
    show: false,
    webPreferences: { session: own, sandbox: true, contextIsolation: true, nodeIntegration: false, javascript: false, webSecurity: true, webviewTag: false, navigateOnDragDrop: false, devTools: false },
  });
  try {
    await window.loadURL(url);
    writeFileSync(file, await window.webContents.printToPDF({ pageSize: paper === 'letter' ? 'Letter' : papers[paper], printBackground: true, preferCSSPageSize: true }));
    return '';
  } catch (error) {
    return (error as Error).message;
  } finally {
    window.destroy();
  }
}
