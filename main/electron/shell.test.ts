/**
 * The items are those of Electron's published checklist (docs/tutorial/security.md of electron/electron; 1 to 17 read there, 18
 * to 20 from memory). Not applicable: 2 (no remote content at all), 11 and 12 beyond refusing every webview, 15
 * (shell.openExternal is not among the calls).
 */
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { chromium, _electron, type Page } from 'playwright';
import { build } from 'vite';
import type { MenuItemConstructorOptions } from 'electron';
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import { parse } from 'yaml';
import { openArchive } from '../archive/archive.ts';
import { keptHeads, makeHeadKey, publicHeadKey } from '../archive/heads-file.ts';
import { readSample } from '../samples/samples.test-helper.ts';
import { canRunElectron } from './can-run.ts';
import { givenPlaces } from './given-places.ts';
import { endSwitch, portWanted } from './messages.ts';
import { isOwn, startShell } from './shell.ts';
import { electronDouble, HostThread, Preventable, type PortDouble } from './shell.test-helper.ts';

const house = join(import.meta.dirname, '..', '..');
let folder: string;
let windowFolder: string;

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-shell-'));
  windowFolder = join(folder, 'window');
  mkdirSync(windowFolder);
  writeFileSync(join(windowFolder, 'index.html'), '<!doctype html><title>window</title><h1>?</h1><script type="module" src="./page.js"></script>');
  writeFileSync(join(folder, 'secret.txt'), 'secret');
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

const hostile = [
  'https://evil.example/', 'http://127.0.0.1/', 'file:///etc/passwd', 'data:text/html,<script>1</script>', 'javascript:alert(1)', 'about:blank', 'chrome://gpu',
  'railhouse://evil/', 'railhouse://window.evil.example/', 'railhouse://window@evil.example/', 'railhouse://user@window/', 'railhouse://window:8080/', 'railhouse:window', 'railhouse:///window/',
  'railhouses://window/', 'view-source:railhouse://window/', 'blob:https://evil.example/1', 'filesystem:railhouse://window/x', '', 'window', '//window/',
];

async function started(...how: Parameters<typeof electronDouble>) {
  const double = electronDouble(...how);
  startShell(double.electron, { hostFolder: join(folder, 'host'), windowFolder, archivePath: join(folder, 'archive.sqlite') });
  await new Promise((resolve) => setImmediate(resolve));
  const window = double.state.windows[0];
  return { ...double, window: window as NonNullable<typeof window>, host: () => double.state.hosts.at(-1) as NonNullable<(typeof double.state.hosts)[number]> };
}

describe("Electron's security checklist", () => {
  test('items 1 and 18: everything comes from the program by a scheme of its own; nothing is loaded from elsewhere', async () => {
    const { state, window } = await started();
    expect(window.loaded).toBe('railhouse://window/');
    expect(state.schemes).toEqual([{ scheme: 'railhouse', privileges: { standard: true, secure: true, supportFetchAPI: true } }]);
    const cancelled = (url: string): boolean => {
      let cancel = false;
      state.beforeRequest?.({ url }, (how) => {
        cancel = how.cancel;
      });
      return cancel;
    };
    expect(hostile.filter((url) => !cancelled(url))).toEqual([]);
    expect(cancelled('railhouse://window/assets/main.js')).toBe(false);
    expect(cancelled('blob:railhouse://window/1234')).toBe(false);
  });

  test('items 2, 3, 4, 6, 8, 9 and 10: isolation, sandbox and web security are on, nothing weakens them', async () => {
    const { state, window } = await started();
    expect(state.sandboxed).toBe(true);
    expect(window.options.webPreferences).toMatchObject({
      sandbox: true, contextIsolation: true, nodeIntegration: false, nodeIntegrationInWorker: false, nodeIntegrationInSubFrames: false,
      webSecurity: true, allowRunningInsecureContent: false, experimentalFeatures: false, devTools: false,
    });
    expect(window.options.webPreferences).not.toHaveProperty('enableBlinkFeatures');
    expect(window.options.webPreferences).not.toHaveProperty('additionalArguments');
  });

  test('item 5: every permission is denied, but for notifications of our own page', async () => {
    const { state } = await started();
    for (const permission of ['media', 'geolocation', 'notifications', 'serial', 'usb', 'hid', 'clipboard-read', 'openExternal', 'fullscreen', 'unknown']) {
      let answer: boolean | null = null;
      state.permissionRequest?.(null, permission, (may) => {
        answer = may;
      });
      expect(answer).toBe(false);
      for (const url of hostile) expect({ url, may: state.permissionCheck?.(null, permission, url) }).toEqual({ url, may: false });
    }
    expect(state.devicePermission?.({ deviceType: 'serial' })).toBe(false);
  });

  test('HOST-183 our own page may call by a notification: asked for by its window, checked by its origin, and by nothing else', async () => {
    const { state, window } = await started();
    const asked = (contents: unknown, permission: string): boolean[] => {
      const answers: boolean[] = [];
      state.permissionRequest?.(contents, permission, (may) => answers.push(may));
      return answers;
    };
    window.contents.mainFrame.url = 'railhouse://window/';
    expect(asked(window.contents, 'notifications')).toEqual([true]);
    expect(asked(window.contents, 'media')).toEqual([false]);
    for (const origin of ['railhouse://window/', 'railhouse://window']) {
      expect(state.permissionCheck?.(null, 'notifications', origin)).toBe(true);
      expect(state.permissionCheck?.(null, 'clipboard-read', origin)).toBe(false);
    }
  });

  test('HOST-183 Windows is told whose notifications they are: the name of the package, or that of the program file where it is not packaged; no other system is', () => {
    const named = (platform: NodeJS.Platform, isPackaged: boolean): string | null => {
      const { electron, double, state } = electronDouble();
      double.app.isPackaged = isPackaged;
      startShell(electron, { hostFolder: folder, windowFolder, archivePath: join(folder, 'archive.sqlite'), platform });
      return state.appId;
    };
    const { appId } = parse(readFileSync(join(house, 'electron-builder.yml'), 'utf8')) as { appId: string };
    expect([named('win32', true), named('win32', false), named('linux', true), named('darwin', false)]).toEqual([appId, process.execPath, null, null]);
  });

  test('item 7: each file has the policy in its header, without inline code and eval', async () => {
    const { state } = await started();
    const page = await state.serve(new Request('railhouse://window/'));
    expect(page.status).toBe(200);
    expect(page.headers.get('content-security-policy')).toContain("default-src 'none'; script-src 'self'; style-src 'self'");
    expect(page.headers.get('content-security-policy')).not.toMatch(/unsafe|\*|https?:|wss?:/);
    expect(page.headers.get('x-content-type-options')).toBe('nosniff');
  });

  test('items 7 and 18: the scheme serves the window and nothing beside it', async () => {
    const { state } = await started();
    for (const path of ['../secret.txt', '..%2fsecret.txt', '%2e%2e/secret.txt', '..%5csecret.txt', 'index.html%00', '.%2e/secret.txt']) {
      expect((await state.serve(new Request(`railhouse://window/${path}`))).status).not.toBe(200);
    }
    expect((await state.serve(new Request('railhouse://evil/'))).status).toBe(403);
    expect((await state.serve(new Request('railhouse://window/', { method: 'POST', body: 'x' }))).status).toBe(403);
  });

  test('items 11 and 12: no page is held inside the page', async () => {
    const { window } = await started();
    const event = new Preventable('railhouse://window/');
    window.contents.emit('will-attach-webview', event);
    expect(event.prevented).toBe(true);
    expect(window.options.webPreferences.webviewTag).toBe(false);
  });

  test('item 13: no navigation away, by link, by frame or by redirection', async () => {
    const { window } = await started();
    for (const name of ['will-navigate', 'will-frame-navigate', 'will-redirect']) {
      for (const url of hostile) {
        const event = new Preventable(url);
        window.contents.emit(name, event);
        expect(event.prevented, `${name} ${url}`).toBe(true);
      }
      const reload = new Preventable('railhouse://window/#/run');
      window.contents.emit(name, reload);
      expect(reload.prevented).toBe(false);
    }
    expect(hostile.filter(isOwn)).toEqual([]);
  });

  test('item 14: no new window, not even one of our own', async () => {
    const { window } = await started();
    for (const url of [...hostile, 'railhouse://window/']) expect(window.contents.openHandler({ url })).toEqual({ action: 'deny' });
  });

  test('item 16: one exact version of Electron for development and packaging', () => {
    const { devDependencies } = JSON.parse(readFileSync(join(house, 'package.json'), 'utf8')) as { devDependencies: Record<string, string> };
    const { electronVersion } = parse(readFileSync(join(house, 'electron-builder.yml'), 'utf8')) as { electronVersion: string };
    expect(devDependencies['electron']).toBe(electronVersion);
    expect(electronVersion).toMatch(/^\d+\.\d+\.\d+$/);
  });

  test('item 17: only the top frame of our window, showing our page, is heard', async () => {
    const { double, window, host } = await started();
    const ask = (senderFrame: unknown): void => {
      double.ipcMain.emit(portWanted, { sender: window.contents, senderFrame });
    };
    ask(null);
    ask({ url: 'railhouse://window/', parent: window.contents.mainFrame });
    ask({ url: 'https://evil.example/', parent: null });
    double.ipcMain.emit(portWanted, { sender: {}, senderFrame: { url: 'railhouse://window/', parent: null } });
    for (const url of hostile) {
      window.contents.mainFrame.url = url;
      ask(window.contents.mainFrame);
    }
    expect(window.contents.posted).toEqual([]);
    expect(host().said).toEqual([]);
    window.contents.mainFrame.url = 'railhouse://window/';
    ask(window.contents.mainFrame);
    expect(window.contents.posted).toHaveLength(1);
    expect(host().said).toEqual([{ kind: 'window' }]);
  });

  test('item 19: the fuses are set in the packaging', () => {
    const { electronFuses } = parse(readFileSync(join(house, 'electron-builder.yml'), 'utf8')) as { electronFuses: unknown };
    expect(electronFuses).toMatchObject({
      runAsNode: false, enableNodeOptionsEnvironmentVariable: false, enableNodeCliInspectArguments: false,
      enableEmbeddedAsarIntegrityValidation: true, onlyLoadAppFromAsar: true, enableCookieEncryption: true,
    });
  });
});

describe('the life of the program', () => {
  test('a second program ends at once and brings the first to the front', async () => {
    const second = await started(undefined, false);
    expect(second.state).toMatchObject({ quits: 1, windows: [], hosts: [] });
    const first = await started();
    first.double.app.emit('second-instance', {}, []);
    expect(first.window.focused).toBe(1);
  });

  test('CLI-32 a start with --end ends the one that is open, in order and without asking, and opens nothing where there is none', async () => {
    const first = await started();
    first.host().emit('message', { kind: 'activity', active: true });
    first.double.app.emit('second-instance', {}, ['electron', '.', endSwitch]);
    expect(first.host().said).toEqual([{ kind: 'end' }]);
    expect(first.state.questions).toEqual([]);
    expect(first.window.focused).toBe(0);
    first.host().emit('exit', 0);
    const alone = electronDouble();
    startShell(alone.electron, { hostFolder: join(folder, 'host'), windowFolder, archivePath: join(folder, 'archive.sqlite'), end: true });
    await new Promise((resolve) => setImmediate(resolve));
    expect(alone.state).toMatchObject({ quits: 1, windows: [], hosts: [] });
  });

  test('the machine is kept from sleeping for as long as a run is going on', async () => {
    const { state, host } = await started();
    host().emit('message', { kind: 'activity', active: true });
    host().emit('message', { kind: 'activity', active: true });
    expect(state.blockers.size).toBe(1);
    host().emit('message', { kind: 'activity', active: false });
    expect(state.blockers.size).toBe(0);
    host().emit('message', { kind: 'activity', active: true });
    host().emit('exit', 1);
    expect(state.blockers.size).toBe(0);
  });

  test('quitting without a run ends the host first', async () => {
    const { double, state, host } = await started();
    double.app.quit();
    await new Promise((resolve) => setImmediate(resolve));
    expect(state.questions).toEqual([]);
    expect(host().said).toEqual([{ kind: 'end' }]);
    expect(state.over).toBe(false);
    host().emit('message', { kind: 'ended', safe: true, text: '' });
    await new Promise((resolve) => setImmediate(resolve));
    expect(state.over).toBe(true);
    expect(state.errors).toEqual([]);
  });

  test('closing the window during a run asks; the safe answer is the one that a stray key gives', async () => {
    const { state, window, host } = await started();
    host().emit('message', { kind: 'activity', active: true });
    const close = new Preventable();
    window.emitter.emit('close', close);
    await new Promise((resolve) => setImmediate(resolve));
    expect(close.prevented).toBe(true);
    expect(state.questions).toHaveLength(1);
    expect(state.questions[0]).toMatchObject({ defaultId: 0, cancelId: 0, buttons: ['Keep the run going', 'Pause the run and quit'] });
    expect(host().said).toEqual([]);
    state.answer = 1;
    window.emitter.emit('close', new Preventable());
    await new Promise((resolve) => setImmediate(resolve));
    expect(host().said).toEqual([{ kind: 'end' }]);
    host().emit('message', { kind: 'ended', safe: false, text: 'Look at the bench.' });
    await new Promise((resolve) => setImmediate(resolve));
    expect(state.errors).toEqual(['Look at the bench.']);
    expect(state.over).toBe(true);
    const last = new Preventable();
    window.emitter.emit('close', last);
    expect(last.prevented).toBe(false);
  });

  test('sleep pauses, shutdown and the end of the session make safe without asking', async () => {
    const asleep = await started();
    asleep.double.powerMonitor.emit('suspend');
    expect(asleep.host().said).toEqual([{ kind: 'rest', why: 'The machine went to sleep.' }]);
    asleep.double.powerMonitor.emit('resume');
    expect(asleep.host().said).toHaveLength(1);

    const ending = await started();
    ending.host().emit('message', { kind: 'activity', active: true });
    const shutdown = new Preventable();
    ending.double.powerMonitor.emit('shutdown', shutdown);
    expect(shutdown.prevented).toBe(true);
    expect(ending.host().said).toEqual([{ kind: 'end' }]);
    expect(ending.state.questions).toEqual([]);

    const loggedOff = await started();
    loggedOff.host().emit('message', { kind: 'activity', active: true });
    const query = new Preventable();
    loggedOff.window.emitter.emit('query-session-end', query);
    expect(query.prevented).toBe(true);
    expect(loggedOff.host().said).toEqual([{ kind: 'end' }]);
  });

  test('a host that dies is started again, a few times', async () => {
    const { state, host } = await started();
    for (let i = 0; i < 4; i += 1) host().emit('exit', 1);
    expect(state.hosts).toHaveLength(5);
    expect(state.over).toBe(false);
    host().emit('exit', 1);
    expect(state).toMatchObject({ over: true, exitCode: 1 });
    expect(state.errors[0]).toMatch(/bench has NOT confirmed that it is safe.*watchdog/);
  });

  test('a host that cannot be says why; what is no message of it is dropped', async () => {
    const { state, host } = await started();
    for (const rubbish of [null, 'activity', { kind: 'activity' }, { kind: 'quit' }, { kind: 'failed' }]) host().emit('message', rubbish);
    expect(state.errors).toEqual([]);
    host().emit('message', { kind: 'failed', text: 'The archive is already being written by process 7.' });
    expect(state).toMatchObject({ errors: ['The archive is already being written by process 7.'], exitCode: 1 });
  });
});

/** The entry of the menu with this label. */
function entry(menu: readonly MenuItemConstructorOptions[], label: string): MenuItemConstructorOptions {
  const found = menu.flatMap((item) => [item, ...(Array.isArray(item.submenu) ? item.submenu : [])]).find((item) => item.label === label);
  if (found === undefined) throw new Error(`the menu has no ${label}`);
  return found;
}
const click = (item: MenuItemConstructorOptions): void => {
  item.click?.({} as never, undefined, {});
};
const turn = (): Promise<void> => new Promise((resolve) => setImmediate(resolve));

test('HOST-124 a page with unsaved work holds up neither a reload nor the end', async () => {
  const { window } = await started();
  // Electron takes the page's question for a refusal, unless it is told to let it go.
  const asked = new Preventable();
  window.contents.emit('will-prevent-unload', asked);
  expect(asked.prevented).toBe(true);
});

describe('HOST-32 a page that dies or hangs', () => {
  test('is shown by a new process, within bounds; then a person is told natively and may have it again', async () => {
    const { state, window, host } = await started();
    host().emit('message', { kind: 'activity', active: true });
    state.answer = 0;
    for (let i = 1; i <= 3; i += 1) {
      window.contents.emit('render-process-gone', {}, { reason: 'crashed', exitCode: 5 });
      expect(window.contents.reloads).toBe(i);
    }
    expect(state.questions).toEqual([]);
    window.contents.emit('render-process-gone', {}, { reason: 'oom', exitCode: 5 });
    expect(window.contents.reloads).toBe(3);
    expect(state.questions).toHaveLength(1);
    expect(state.questions[0]?.detail).toMatch(/4 times within 10 minutes\. The run goes on without it, and nobody sees it\. .*STOP is in the menu Bench; the emergency stop of the bench always works/);
    await turn();
    expect(window.contents.reloads).toBe(4);
    // Of all this the host hears nothing, and it is not ended.
    expect(host().said).toEqual([]);
    expect(state).toMatchObject({ over: false, quits: 0 });
  });

  test('that hangs is ended after a while and shown anew; one that comes back by itself is left alone', async () => {
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'performance'] });
    try {
      const { window } = await started();
      window.emitter.emit('unresponsive');
      vi.advanceTimersByTime(3000);
      window.emitter.emit('responsive');
      vi.advanceTimersByTime(60_000);
      expect(window.contents.endedProcesses).toBe(0);
      window.emitter.emit('unresponsive');
      vi.advanceTimersByTime(5000);
      expect(window.contents).toMatchObject({ endedProcesses: 1, reloads: 0 });
      window.contents.emit('render-process-gone', {}, { reason: 'killed', exitCode: 9 });
      expect(window.contents.reloads).toBe(1);
      vi.advanceTimersByTime(60_000);
      expect(window.contents).toMatchObject({ endedProcesses: 1, reloads: 1 });
      // One whose end is not told is shown anew all the same.
      window.emitter.emit('unresponsive');
      vi.advanceTimersByTime(10_000);
      expect(window.contents).toMatchObject({ endedProcesses: 2, reloads: 2 });
    } finally {
      vi.useRealTimers();
    }
  });

  test('after the end nothing is shown any more; by the menu it is shown at any time', async () => {
    const { state, window, host, double } = await started();
    click(entry(state.menu, 'Load the page again'));
    expect(window.contents.reloads).toBe(1);
    double.app.quit();
    await turn();
    host().emit('message', { kind: 'ended', safe: true, text: '' });
    await turn();
    window.contents.emit('render-process-gone', {}, { reason: 'clean-exit', exitCode: 0 });
    expect(window.contents.reloads).toBe(1);
  });
});

describe('HOST-33 STOP without a page', () => {
  test('the menu has it always, and it goes to the host directly', async () => {
    const { state, window, host } = await started();
    for (let i = 0; i < 9; i += 1) window.contents.emit('render-process-gone', {}, { reason: 'crashed', exitCode: 5 });
    click(entry(state.menu, 'STOP'));
    expect(host().said).toEqual([{ kind: 'stop', id: 1, origin: 'menu' }]);
    host().emit('message', { kind: 'stopped', id: 1, accepted: true, text: 'The bench is being made safe.' });
    expect(entry(state.menu, 'STOP')).toMatchObject({ accelerator: 'CommandOrControl+Shift+F9', registerAccelerator: false });
    expect(entry(state.menu, 'STOP').enabled).not.toBe(false);
    expect(window.focused).toBe(1);
  });

  test('the key is had exactly as long as a bench is connected', async () => {
    const { state, host, double } = await started();
    expect(state.keys.size).toBe(0);
    host().emit('message', { kind: 'bench', connected: true });
    expect([...state.keys.keys()]).toEqual(['CommandOrControl+Shift+F9']);
    state.keys.get('CommandOrControl+Shift+F9')?.();
    expect(host().said).toEqual([{ kind: 'stop', id: 1, origin: 'shortcut' }]);
    host().emit('message', { kind: 'stopped', id: 1, accepted: true, text: '' });
    host().emit('message', { kind: 'bench', connected: false });
    expect(state.keys.size).toBe(0);
    host().emit('message', { kind: 'bench', connected: true });
    host().emit('exit', 1);
    expect(state.keys.size).toBe(0);
    host().emit('message', { kind: 'bench', connected: true });
    expect(state.keys.size).toBe(1);
    double.app.quit();
    await turn();
    host().emit('message', { kind: 'ended', safe: true, text: '' });
    await turn();
    expect(state).toMatchObject({ over: true, keys: new Map() });
    expect(state.questions).toEqual([]);
  });

  test('a key that the system does not give is said once, with what works', async () => {
    const { state, host } = await started();
    state.keysAreTaken = true;
    for (const connected of [true, false, true]) host().emit('message', { kind: 'bench', connected });
    expect(state.questions).toHaveLength(1);
    expect(state.questions[0]?.detail).toMatch(/does not give .*Shift\+F9 .*STOP works by the key F9 .* and in the menu Bench/);
  });

  test('a host that is gone, does not answer, or refuses is said, with what to do', async () => {
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'performance'] });
    try {
      const { state, host } = await started();
      const stop = entry(state.menu, 'STOP');
      click(stop);
      vi.advanceTimersByTime(1999);
      expect(state.questions).toEqual([]);
      vi.advanceTimersByTime(1);
      expect(state.questions.at(-1)).toMatchObject({ message: 'STOP was not confirmed', detail: expect.stringContaining('Press the emergency stop of the bench') as string });
      click(stop);
      host().emit('message', { kind: 'stopped', id: 2, accepted: false, text: 'No.' });
      expect(state.questions.at(-1)).toMatchObject({ message: 'STOP was not carried out', detail: expect.stringMatching(/^No\. Press the emergency stop/) as string });
      vi.advanceTimersByTime(60_000);
      expect(state.questions).toHaveLength(2);
      for (let i = 0; i < 5; i += 1) host().emit('exit', 1);
      click(stop);
      expect(state.questions.at(-1)).toMatchObject({ message: 'STOP was not sent', detail: expect.stringContaining('Press the emergency stop of the bench') as string });
    } finally {
      vi.useRealTimers();
    }
  });
});

test('HOST-34 HOST-184 a second start with other places says that they were not taken; the same places say nothing, however they are written', async () => {
  const { state, double } = await started();
  const again = (...given: readonly string[]): void => void double.app.emit('second-instance', {}, ['electron', '.', '--original-process-start-time=1', ...given], folder);
  for (const same of [join(folder, 'archive.sqlite'), 'archive.sqlite', './no/../archive.sqlite']) again(`--archive=${same}`);
  again('--archive=', '--heads=');
  again('--allow-file-access-from-files', '--no-sandbox');
  expect(state.questions).toEqual([]);
  again('--archive=/other.sqlite', '--heads=/disk/heads.txt', '--heads-key=key.pem');
  expect(state.questions[0]?.detail).toContain(`was not taken: --archive=${resolve('/other.sqlite')} --heads=${resolve('/disk/heads.txt')} --heads-key=${join(folder, 'key.pem')}.`);
});

test('HOST-184 the places of the desktop are read from its own arguments, of the folder that it was started in', () => {
  expect(givenPlaces(['/opt/railhouse', '--archive=a b/ä.sqlite', '--heads=', '--type=x', '--heads-key=/k', '--archives=no', 'archive=no'], folder)).toEqual({ archive: join(folder, 'a b', 'ä.sqlite'), heads: undefined, headsKey: resolve('/k') });
  // Chromium takes the last of two.
  expect(givenPlaces(['--archive=one', '--archive=two'], folder).archive).toBe(join(folder, 'two'));
  expect(givenPlaces([], folder)).toEqual({ archive: undefined, heads: undefined, headsKey: undefined });
});

describe('as it was built, with the real preload in a real browser', () => {
  const hostFolder = join(house, 'dist', 'host-test');
  const page = `
    const heading = document.querySelector('h1');
    let n = 0;
    window.stopListening = window.railhouseHost.listen((message) => {
      if (message.id === 1) heading.textContent = message.result.software;
      if (message.id === 2) heading.dataset.bench = message.result.state;
      if (message.event === 'frames') heading.dataset.frames = String(n += message.data.frames.length);
    }, (why) => { heading.dataset.closed = why; });
    window.railhouseHost.post({ id: 1, name: 'hello', params: { name: 'page' } });
    window.railhouseHost.post({ id: 2, name: 'bench.connect', params: { bench: { kind: 'simulated', speed: 20 } } });
    window.evalWorks = (() => { try { return new Function('return 1')() === 1; } catch { return false; } })();
  `;

  beforeAll(async () => {
    const configFile = join(import.meta.dirname, 'vite.config.ts');
    for (const mode of ['production', 'preload']) await build({ configFile, mode, logLevel: 'error', build: { outDir: hostFolder } });
    writeFileSync(join(windowFolder, 'page.js'), page);
  });

  afterAll(() => rmSync(hostFolder, { recursive: true, force: true }));

  test('HOST-33 HOST-34 the real host: STOP by the key ends a run with its origin in the journal, and heads are kept, signed', async () => {
    const own = join(folder, 'heads');
    mkdirSync(own);
    const [heads, headsKey, archivePath] = [join(own, 'heads.txt'), join(own, 'key.pem'), join(own, 'archive.sqlite')];
    const key = makeHeadKey(headsKey);
    if (!key.ok) throw new Error(key.text);
    const { electron, state, double } = electronDouble((file, args) => new HostThread(file, args));
    startShell(electron, { hostFolder, windowFolder, archivePath, heads, headsKey });
    await turn();
    const [window] = state.windows;
    if (window === undefined) throw new Error('no window');
    try {
      const heard: { readonly id?: number; readonly event?: string; readonly data?: unknown; readonly result?: unknown }[] = [];
      double.ipcMain.emit(portWanted, { sender: window.contents, senderFrame: window.contents.mainFrame });
      const port = window.contents.posted[0]?.ports[0];
      if (port === undefined) throw new Error('no port');
      port.on('message', ({ data }: { data: never }) => heard.push(data));
      port.start();
      let id = 0;
      const ask = async (name: string, params: object): Promise<unknown> => {
        const mine = (id += 1);
        port.postMessage({ id: mine, name, params });
        await vi.waitUntil(() => heard.some((message) => message.id === mine), { timeout: 30_000 });
        return heard.find((message) => message.id === mine)?.result;
      };
      await ask('hello', { name: 'page' });
      expect(state.keys.size).toBe(0);
      await ask('bench.connect', { bench: { kind: 'simulated', speed: 20 } });
      await vi.waitUntil(() => state.keys.size === 1, { timeout: 10_000 });
      const run = (await ask('run.open', { document: readSample('small-plan'), operator: 'A' })) as { readonly id: string };
      for (const kind of ['accept-untraceable', 'start']) await ask('run.command', { id: run.id, command: { kind }, by: 'A', commandId: kind });
      // The page is gone; nobody but the key is left.
      window.contents.emit('render-process-gone', {}, { reason: 'crashed', exitCode: 5 });
      state.keys.get('CommandOrControl+Shift+F9')?.();
      await vi.waitUntil(() => JSON.stringify(heard).includes('"kind":"ended"'), { timeout: 30_000 });
      // Should it still hold the run for one that goes on.
      state.answer = 1;
      double.app.quit();
      await vi.waitUntil(() => state.over, { timeout: 40_000 });
      expect(state.errors).toEqual([]);
      expect(state.questions.filter(({ message }) => message.startsWith('STOP'))).toEqual([]);
    } finally {
      for (const host of [...state.hosts, ...state.desks]) host.kill();
    }
    const opened = openArchive(archivePath, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    const { archive } = opened;
    const [row] = [...archive.everyRun()];
    const commands = [...archive.events(row?.id ?? '')].flatMap(({ body }) => (body.kind === 'commanded' && body.command.kind === 'emergency-stop' ? [body] : []));
    expect(commands).toHaveLength(1);
    expect(commands[0]?.by).toMatch(/^STOP by the key .*Shift\+F9, heard by the desktop program$/);
    const kept = keptHeads(readFileSync(heads, 'utf8'), archive.archiveId(), publicHeadKey(key.publicKey));
    expect(kept.problems).toEqual([]);
    expect(kept.heads.length).toBeGreaterThan(0);
    expect(archive.verify(kept.heads.map(({ head }) => head)).passed).toBe(true);
    archive.close();
  }, 120_000);

  test.skipIf(!existsSync('/usr/bin/chromium'))('the page speaks with the real host over the bridge, and has nothing else', async () => {
    const double = electronDouble((file, args) => new HostThread(file, args));
    const { electron, state } = double;
    startShell(electron, { hostFolder, windowFolder, archivePath: join(folder, 'new', 'archive.sqlite') });
    await new Promise((resolve) => setImmediate(resolve));
    const [window] = state.windows;
    if (window === undefined) throw new Error('no window');
    expect(existsSync(window.options.webPreferences.preload ?? '')).toBe(true);
    const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] });
    try {
      const tab = await browser.newPage();
      const complaints: string[] = [];
      tab.on('console', (message) => {
        if (message.type() === 'error') complaints.push(message.text());
      });
      tab.on('pageerror', (error) => complaints.push(error.message));
      await carryPorts(tab, double, readFileSync(window.options.webPreferences.preload ?? '', 'utf8'));
      // Chromium alone has no scheme of ours: the same handler answers under a name that it knows.
      await tab.route('https://window.test/**', async (route) => {
        const answer = await state.serve(new Request(`railhouse://window${new URL(route.request().url()).pathname}`));
        await route.fulfill({ status: answer.status, headers: Object.fromEntries(answer.headers), body: Buffer.from(await answer.arrayBuffer()) });
      });
      await tab.goto('https://window.test/');
      const patient = { timeout: 30_000 };
      await expect.poll(() => tab.getAttribute('h1', 'data-bench'), patient).toBe('connected');
      await expect.poll(async () => Number(await tab.getAttribute('h1', 'data-frames')), patient).toBeGreaterThan(10);
      expect(await tab.textContent('h1')).toMatch(/^railhouse /);
      // Item 20: no Electron, Node or port in the page.
      expect(await tab.evaluate(() => [typeof Reflect.get(globalThis, 'require'), typeof Reflect.get(globalThis, 'process'), Object.keys(Reflect.get(globalThis, 'railhouseHost') as object).toSorted()])).toEqual(['undefined', 'undefined', ['listen', 'post']]);
      expect(await tab.evaluate(() => Reflect.get(globalThis, 'evalWorks') as unknown)).toBe(false);
      // The policy's own complaint about the eval that was tried.
      expect(complaints.filter((text) => !text.includes('unsafe-eval'))).toEqual([]);
      // The end: the host makes safe, says so, and the page hears that the host has gone.
      double.double.app.quit();
      await expect.poll(() => tab.getAttribute('h1', 'data-closed'), patient).not.toBeNull();
      while (!state.over) await new Promise((resolve) => setTimeout(resolve, 20));
      expect(state.errors).toEqual([]);
    } finally {
      await browser.close();
      for (const host of [...state.hosts, ...state.desks]) host.kill();
    }
  });
});

/** Gives the preload an Electron whose ports run over the test's connection to the page. */
async function carryPorts(tab: Page, { double, state }: ReturnType<typeof electronDouble>, preload: string): Promise<void> {
  const ports: PortDouble[] = [];
  const [window] = state.windows;
  if (window === undefined) throw new Error('no window');
  window.contents.onPosted = ([port]) => {
    if (port === undefined) return;
    const index = ports.push(port) - 1;
    port.on('message', ({ data }: { data: unknown }) => void tab.evaluate(([i, d]) => (Reflect.get(globalThis, 'deliver') as (i: number, d: unknown) => void)(i, d), [index, data] as const).catch(() => undefined));
    port.on('close', () => void tab.evaluate((i) => (Reflect.get(globalThis, 'deliverClose') as (i: number) => void)(i), index).catch(() => undefined));
    port.start();
    void tab.evaluate((i) => (Reflect.get(globalThis, 'deliverPort') as (i: number) => void)(i), index);
  };
  await tab.exposeFunction('ipcSend', (channel: string) => {
    double.ipcMain.emit(channel, { sender: window.contents, senderFrame: window.contents.mainFrame });
  });
  await tab.exposeFunction('portPost', (index: number, message: unknown) => ports[index]?.postMessage(message));
  await tab.addInitScript(`{
    const channels = [];
    const onPort = new Map();
    window.deliver = (i, data) => channels[i].postMessage(data);
    window.deliverClose = (i) => channels[i].mine.dispatchEvent(new Event('close'));
    window.deliverPort = (i) => {
      const { port1, port2 } = new MessageChannel();
      port1.onmessage = ({ data }) => window.portPost(i, data);
      channels[i] = port1;
      channels[i].mine = port2;
      onPort.get('host-port')({ ports: [port2] });
    };
    const require = () => ({
      contextBridge: { exposeInMainWorld: (name, api) => { window[name] = api; } },
      ipcRenderer: { on: (channel, listener) => onPort.set(channel, listener), send: (channel) => window.ipcSend(channel) },
    });
    ${preload}
  }`);
}

test('smoke test: the real desktop window', async (context) => {
  const machine = { platform: process.platform, env: process.env, userId: process.getuid?.() ?? null, electronFolder: join(house, 'node_modules', 'electron') };
  const electron = canRunElectron(machine);
  if (!electron.can || !existsSync(join(house, 'dist', 'host', 'main.js'))) {
    const why = electron.can ? 'dist/host has not been built' : electron.why;
    process.stdout.write(`SKIPPED: the desktop window was not opened, because ${why}.\n`);
    context.skip(why);
    return;
  }
  const desktop = await _electron.launch({ executablePath: electron.executable, args: [house, `--archive=${join(folder, 'smoke.sqlite')}`] });
  try {
    const window = await desktop.firstWindow();
    expect(window.url()).toBe('railhouse://window/');
    expect(await window.title()).toBe('Railhouse');
  } finally {
    await desktop.close();
  }
});
