/**
 * The lines of the desktop's checklist that need the running program. It is driven from outside over Chromium's own door for
 * debuggers, which no fuse shuts, on an archive and with settings of its own, so a packaged program is checked as it is shipped.
 */
import { spawn, type ChildProcess } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium, type Browser, type Page } from 'playwright';
import { fail, pass, unless, type Line, type Outcome } from './checklist-line.ts';

type Evaluate = Pick<Page, 'evaluate'>;

const START_MS = 30_000;

/** The lines about what the page is and has; asked of the page itself. */
export const pageLines: readonly { readonly what: string; readonly check: (page: Evaluate) => Promise<Outcome> }[] = [
  {
    what: 'the page has no Node and no Electron',
    check: async (page) => {
      const has = await page.evaluate(() => ['require', 'process', 'module', 'Buffer', 'electron'].filter((name) => typeof Reflect.get(globalThis, name) !== 'undefined'));
      return unless(has.length > 0, `it has ${has.join(', ')}`);
    },
  },
  {
    what: 'the page gets a way to its host and nothing else',
    check: async (page) => {
      const has = await page.evaluate(() => Object.keys((Reflect.get(globalThis, 'railhouseHost') as object | undefined) ?? {}).toSorted().join(', '));
      return unless(has !== 'listen, post', `it gets ${has === '' ? 'nothing' : has}`);
    },
  },
  {
    what: 'the page cannot make code from text',
    check: async (page) => {
      // Only what runs after this question is under the page's policy: a debugger's own code may make code from text.
      const made = await page.evaluate<string[]>(`new Promise((resolve) => setTimeout(resolve)).then(() => {
        const tag = document.createElement('script');
        tag.textContent = 'globalThis.inlineRan = true';
        document.head.append(tag);
        tag.remove();
        let evaluated = false;
        try { evaluated = new Function('return true')() === true; } catch { /* As it should be. */ }
        return [evaluated ? 'eval' : '', globalThis.inlineRan === true ? 'a script in its text' : ''].filter((one) => one !== '');
      })`);
      return unless(made.length > 0, `it ran ${made.join(' and ')}`);
    },
  },
  {
    what: 'the page gets no permission',
    check: async (page) => {
      const got = await page.evaluate<string[]>(`(async () => {
        const names = ['geolocation', 'notifications', 'camera', 'microphone'];
        const states = await Promise.all(names.map(async (name) => [name, (await navigator.permissions.query({ name }).catch(() => null))?.state]));
        return states.filter(([, state]) => state === 'granted').map(([name]) => name);
      })()`);
      return unless(got.length > 0, `it has ${got.join(', ')}`);
    },
  },
  { what: 'the page opens no other window', check: async (page) => unless(await page.evaluate<boolean>(`window.open('about:blank') !== null`), 'it did') },
];

/** A request over the bridge, with its answer. The page's own line is let go of for it; it looks for its host again. */
async function ask(page: Evaluate, requests: readonly (readonly [name: string, params: object])[], until = ''): Promise<{ readonly results: readonly unknown[]; readonly events: readonly string[] }> {
  return page.evaluate(
    ([list, event]) =>
      new Promise((resolve) => {
        const host = Reflect.get(globalThis, 'railhouseHost') as { listen: (m: (message: { id?: number; result?: unknown; failure?: unknown; event?: string }) => void, c: (why: string) => void) => () => void; post: (message: object) => void };
        const results: unknown[] = [];
        const events: string[] = [];
        const look = (): void => {
          if (results.filter((one) => one !== undefined).length === list.length && (event === '' || events.includes(event))) over();
        };
        const leave = host.listen((message) => {
          if (message.event !== undefined) events.push(message.event);
          else if (message.id !== undefined) results[message.id] = message.result ?? { failure: message.failure };
          look();
        }, () => over());
        const timer = setTimeout(() => over(), 20_000);
        const over = (): void => {
          clearTimeout(timer);
          leave();
          resolve({ results, events });
        };
        list.forEach(([name, params], id) => host.post({ id, name, params }));
      }),
    [requests, until] as const,
  );
}

/** The running program, and what it takes to look into it. */
class Running {
  readonly #folder = mkdtempSync(join(tmpdir(), 'railhouse-desktop-'));
  readonly #program: readonly string[];
  #process: ChildProcess | null = null;
  #browser: Browser | null = null;

  constructor(program: readonly string[]) {
    this.#program = program;
  }

  get archive(): string {
    return join(this.#folder, 'archive.sqlite');
  }

  start(more: readonly string[] = []): ChildProcess {
    const [executable = '', ...args] = this.#program;
    return spawn(executable, [...args, `--user-data-dir=${this.#folder}`, `--archive=${this.archive}`, ...more], { stdio: ['ignore', 'ignore', 'pipe'] });
  }

  /** The page, once it shows the window; throws where it does not come. */
  async page(): Promise<Page> {
    if (this.#browser === null) {
      this.#process = this.start(['--remote-debugging-port=0']);
      this.#browser = await chromium.connectOverCDP(await said(this.#process, /DevTools listening on (ws:\/\/\S+)/));
    }
    const pages = (): Page[] => this.#browser?.contexts().flatMap((context) => context.pages()) ?? [];
    const until = performance.now() + START_MS;
    for (;;) {
      const page = pages().find((one) => one.url().startsWith('railhouse://window/'));
      if (page !== undefined) return page;
      if (performance.now() > until) throw new Error(`no page of the window came; there are ${pages().map((one) => one.url()).join(', ') || 'none'}`);
      await new Promise((resolve) => setTimeout(resolve, 100));
    }
  }

  get pid(): number {
    return this.#process?.pid ?? 0;
  }

  /** By a signal that asks; false: it did not end in time and was killed. */
  async end(): Promise<boolean> {
    const process = this.#process;
    await this.#browser?.close().catch(() => undefined);
    const ended = process === null || (await exitOf(process, () => process.kill('SIGTERM'), 45_000)) !== null;
    if (!ended) process.kill('SIGKILL');
    rmSync(this.#folder, { recursive: true, force: true });
    return ended;
  }
}

function said(process: ChildProcess, pattern: RegExp): Promise<string> {
  return new Promise((resolve, reject) => {
    let text = '';
    const timer = setTimeout(() => reject(new Error(`it did not start within ${START_MS / 1000} s: ${text.slice(-200)}`)), START_MS);
    process.on('error', reject);
    process.on('exit', (code) => reject(new Error(`it ended with ${code}: ${text.slice(-200)}`)));
    process.stderr?.on('data', (bytes: Buffer) => {
      text += bytes.toString('utf8');
      const found = pattern.exec(text)?.[1];
      if (found === undefined) return;
      clearTimeout(timer);
      resolve(found);
    });
  });
}

/** null: it did not end in time. */
function exitOf(process: ChildProcess, begin: () => void, ms: number): Promise<number | null> {
  return new Promise((resolve) => {
    const timer = setTimeout(() => resolve(null), ms);
    process.on('exit', (code) => {
      clearTimeout(timer);
      resolve(code ?? 1);
    });
    begin();
  });
}

/** Every process under `pid` (Linux). */
function processesUnder(pid: number): readonly { readonly pid: number; readonly command: string }[] {
  const all = readdirSync('/proc').filter((name) => /^\d+$/.test(name)).flatMap((name) => {
    try {
      const parent = Number(/^PPid:\s*(\d+)/m.exec(readFileSync(`/proc/${name}/status`, 'utf8'))?.[1]);
      return [{ pid: Number(name), parent, command: readFileSync(`/proc/${name}/cmdline`, 'utf8') }];
    } catch {
      return [];
    }
  });
  const below = new Set([pid]);
  for (let before = 0; before !== below.size; ) {
    before = below.size;
    for (const one of all) if (below.has(one.parent)) below.add(one.pid);
  }
  return all.filter((one) => below.has(one.pid));
}

/** Those of them that show pages. */
const renderers = (pid: number): readonly number[] => processesUnder(pid).filter(({ command }) => command.includes('--type=renderer')).map((one) => one.pid);

/** `start`: executable and arguments, or why it cannot be started here. The lines are checked in their order. */
export function liveLines(start: readonly string[] | string): Line[] {
  const running = typeof start === 'string' ? null : new Running(start);
  const line = (what: string, check: (running: Running) => Promise<Outcome>): Line => ({
    what: `running: ${what}`,
    check: () => (running === null ? { result: 'not checked', why: String(start) } : check(running)),
  });
  const onLinux = (check: (running: Running) => Promise<Outcome>) => (at: Running): Promise<Outcome> =>
    process.platform === 'linux' ? check(at) : Promise.resolve({ result: 'not checked', why: 'processes are looked into on Linux only' });
  const answered = (one: unknown): boolean => one !== undefined && (one as { failure?: unknown }).failure === undefined;
  return [
    line('the window opens, served by the program itself', async (at) => unless((await at.page()).url() !== 'railhouse://window/', (await at.page()).url())),
    ...pageLines.map(({ what, check }) => line(what, async (at) => check(await at.page()))),
    line('the page goes nowhere else', async (at) => {
      const page = await at.page();
      await page.evaluate(`location.assign('https://example.invalid/')`).catch(() => undefined);
      await new Promise((resolve) => setTimeout(resolve, 1000));
      return unless(!page.url().startsWith('railhouse://window/'), `it went to ${page.url()}`);
    }),
    line('the page is shown in a sandbox (seccomp)', onLinux(async (at) => {
      await at.page();
      const open = renderers(at.pid).filter((pid) => !/^Seccomp:\s*2$/m.test(readFileSync(`/proc/${pid}/status`, 'utf8')));
      return unless(open.length > 0 || renderers(at.pid).length === 0, `${open.length} of ${renderers(at.pid).length} processes are not`);
    })),
    line('the host lives in its own process and has opened its archive (utility process, better-sqlite3)', async (at) => {
      const { results } = await ask(await at.page(), [['hello', { name: 'checklist' }]]);
      return unless(!answered(results[0]) || !existsSync(at.archive), `it said ${JSON.stringify(results[0])}`);
    }),
    line('ports can be listed (serialport)', async (at) => {
      const { results } = await ask(await at.page(), [['hello', { name: 'checklist' }], ['bench.ports', {}]]);
      return unless(!answered(results[1]), `it said ${JSON.stringify(results[1])}`);
    }),
    line('what reads much and what takes long is done, each by a process of its own beside the host (HOST-51)', async (at) => {
      const { results } = await ask(await at.page(), [['hello', { name: 'checklist' }], ['archive.head', {}], ['archive.verify', {}]]);
      if (!answered(results[1])) return fail(`it said ${JSON.stringify(results[1]).slice(0, 200)}`);
      if ((results[2] as { passed?: boolean } | undefined)?.passed !== true) return fail(`it said ${JSON.stringify(results[2]).slice(0, 200)}`);
      if (process.platform !== 'linux') return pass;
      const nodes = processesUnder(at.pid).filter(({ command }) => command.includes('node.mojom.NodeService'));
      return unless(nodes.length !== 3, `there are ${nodes.length} processes of the host and its desks instead of 3`);
    }),
    line('a simulated bench is connected and says how it is', async (at) => {
      const { events } = await ask(await at.page(), [['hello', { name: 'checklist' }], ['control.take', {}], ['bench.connect', { bench: { kind: 'simulated', speed: 1 } }]], 'frames');
      return unless(!events.includes('frames'), `of it came ${[...new Set(events)].join(', ') || 'nothing'}`);
    }),
    line('a second start ends by itself and leaves the first alone', async (at) => {
      await at.page();
      const second = at.start();
      const code = await exitOf(second, () => undefined, 20_000);
      if (code === null) second.kill('SIGKILL');
      return code === null ? fail('it goes on') : unless((await at.page()).isClosed(), 'the first has gone');
    }),
    line('a page whose process is killed comes back, and the host did not notice (HOST-32)', onLinux(async (at) => {
      await at.page();
      const before = renderers(at.pid);
      for (const pid of before) process.kill(pid, 'SIGKILL');
      const until = performance.now() + START_MS;
      while (!renderers(at.pid).some((pid) => !before.includes(pid))) {
        if (performance.now() > until) return fail('no other process came');
        await new Promise((resolve) => setTimeout(resolve, 100));
      }
      const { results } = await ask(await at.page(), [['hello', { name: 'checklist' }]]);
      return unless((results[0] as { bench?: { state?: string } } | undefined)?.bench?.state !== 'connected', 'the bench is not connected any more');
    })),
    line('asked to end, it makes safe and ends', async (at) => ((await at.end()) ? pass : fail('it did not end within 45 s and was killed'))),
  ];
}
