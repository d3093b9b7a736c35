/** REP-39 with Electron's calls as doubles: no Electron can run where this is tested. That Chromium prints the page as it should is held by the tests of REP-22. */
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { shellPrinter } from '../report/pdf-by-shell.ts';
import { startShell } from './shell.ts';
import { electronDouble } from './shell.test-helper.ts';

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-print-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** The shell with a desk, and the printer of that desk. */
async function desk() {
  const { electron, state } = electronDouble();
  startShell(electron, { hostFolder: folder, windowFolder: folder, archivePath: join(folder, 'archive.sqlite') });
  await new Promise((resolve) => setImmediate(resolve));
  state.hosts[0]?.emit('message', { kind: 'desk-wanted', desk: 1, args: [] });
  const process = state.desks[0];
  if (process === undefined) throw new Error('no desk was started');
  const printer = shellPrinter((message) => process.emit('message', message));
  const before = process.postMessage.bind(process);
  process.postMessage = (message, ports) => {
    before(message, ports);
    printer.hear(message);
  };
  return { state, print: printer.print };
}

describe('REP-39 printing by the desktop program', () => {
  test('shows the page in a window that nobody sees, without script, network or the rights of the other', async () => {
    const { state, print } = await desk();
    const file = join(folder, 'report.pdf');
    const printing = print('<html><head></head><body>A report</body></html>', file, 'letter');
    expect(await printing).toEqual({ ok: true });
    expect(readFileSync(file, 'latin1')).toBe('%PDF-1.7 of a test');
    const [, window] = state.windows;
    if (window === undefined) throw new Error('no window was opened');
    expect(window.options).toMatchObject({ show: false, webPreferences: { sandbox: true, contextIsolation: true, nodeIntegration: false, javascript: false, webSecurity: true, session: { name: 'print' } } });
    expect(window.options.webPreferences).not.toHaveProperty('preload');
    expect(window.contents.prints).toEqual([{ pageSize: 'Letter', printBackground: true, preferCSSPageSize: true }]);
    expect(window.destroyed).toBe(true);
    expect(window.loaded).toMatch(/^file:.*report\.html$/);
    const refused = (url: string): boolean => {
      let cancel = false;
      state.beforeRequestOfPrint?.({ url }, (how) => {
        cancel = how.cancel;
      });
      return cancel;
    };
    expect(refused(window.loaded)).toBe(false);
    for (const url of ['file:///etc/passwd', 'https://evil.example/', 'railhouse://window/', `${window.loaded}?x`]) expect(refused(url)).toBe(true);
    // The copy that was printed is gone.
    expect(readdirSync(tmpdir()).filter((name) => window.loaded.includes(name) && name.startsWith('railhouse-report-'))).toEqual([]);
  });

  test('that fails is said, and nothing is left open', async () => {
    const { state, print } = await desk();
    const file = join(folder, 'failed.pdf');
    state.printingFails = 'no printer backend';
    const printed = await print('<html><head></head></html>', file, 'a4');
    expect(printed.ok ? '' : printed.text).toContain('the desktop program did not print (no printer backend)');
    expect(printed.ok ? '' : printed.text).toContain('The HTML file is whole');
    expect(existsSync(file)).toBe(false);
    expect(state.windows[1]?.destroyed).toBe(true);
  });

  test('a message that is none of its own is passed over', async () => {
    const { state } = await desk();
    state.desks[0]?.emit('message', { kind: 'print', id: 'x', page: 1 });
    state.desks[0]?.emit('message', { id: 1, answer: {} });
    expect(state.windows.length).toBe(1);
  });
});
