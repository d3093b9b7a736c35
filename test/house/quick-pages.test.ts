/** What a person waits for at charts and grid, in a browser: not how long, but that nothing of it comes later than it has to. */
import { execFileSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { BrowserContext, Page, Route } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan } from '../builders/in-process.ts';
import { browserPath, goToPage, keepScreen, type OpenedWindow, openWindow } from '../builders/window.ts';

const cli = (archives: string, ...rest: readonly string[]): string => execFileSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), ...rest, '--archive', join(archives, 'archive.sqlite')], { encoding: 'utf8', stdio: 'pipe' });
const voltageV = Array.from({ length: 18 }, (_, i) => 8 + i / 2);
let opened: OpenedWindow | undefined;
let folder = '';
let page: Page;

const latestRun = (): string => (JSON.parse(cli(folder, 'runs', '--json').split('\n')[0] ?? '') as { readonly id: string }).id;

/** A run of two injectors whose sheet has 36 rows: more than can be seen at once. */
function runInto(archives: string): void {
  const small = samplePlan('small-plan');
  const plan = join(archives, 'plan.json');
  writeFileSync(plan, JSON.stringify({
    ...small, axes: { ...small.axes, voltageV, widthMs: [3, 5, 8] }, reduction: { ...small.reduction, linearFromMs: 3 },
    zero: { windowS: 0 }, pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 0 },
  }));
  cli(archives, 'sweep', plan, '--operator', 'A. Tester', '--quiet');
}

const resultsAddress = (): string => `${opened?.host.address ?? ''}#/results/${latestRun()}/line`;

/** A page of another profile, what it sends to the host, and where its programs came from. */
async function coldPage(): Promise<{ readonly context: BrowserContext; readonly page: Page; readonly sent: string[]; readonly programs: string[] }> {
  if (opened === undefined) throw new Error('There is no browser.');
  const context = await opened.browser.newContext({ viewport: { width: 1366, height: 768 } });
  const cold = await context.newPage();
  const sent: string[] = [];
  const programs: string[] = [];
  cold.on('websocket', (socket) => socket.on('framesent', ({ payload }) => sent.push(String(payload))));
  cold.on('response', (response) => {
    if (response.url().endsWith('.js')) programs.push(response.url());
  });
  return { context, page: cold, sent, programs };
}

/** What is asked for waits until it is released. */
function held(): { readonly route: (route: Route) => Promise<void>; readonly release: () => void } {
  let release = (): void => undefined;
  const released = new Promise<void>((resolve) => {
    release = resolve;
  });
  return { route: (route) => released.then(() => route.continue()), release };
}

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: runInto });
  ({ page, folder } = opened);
}, 600_000);
afterAll(() => opened?.close());

describe.skipIf(browserPath === null)('pages that answer at once', () => {
  it('WIN-170 a chart is drawn whole, and the point under the pointer tells its numbers inside it', async () => {
    await goToPage(page, 'Results');
    const plot = page.getByRole('img', { name: /^Chart: deviation from the line/ });
    await plot.waitFor({ timeout: 60_000 });
    const points = plot.locator('.chart-point');
    expect(await points.count()).toBe(3);
    expect(await plot.locator('.chart-intervals').count()).toBe(1);
    const rows = page.getByRole('region', { name: /^Mass against width and deviation/ }).getByRole('row');
    for (const i of [0, 2]) {
      await points.nth(i).hover();
      const told = plot.locator('.chart-hover');
      await told.waitFor();
      const text = await told.innerText();
      const row = await rows.nth(i + 1).locator('th, td').allInnerTexts();
      expect(text).toContain(`Pulse width, ms: ${row[0]}`);
      const deviation = Number(/Deviation from the line, %: (\S+)/.exec(text)?.[1]?.replace('−', '-'));
      const [value, u95] = (row[4] ?? '').split(' ± ').map((one) => Number(one.replace('−', '-').replace('+', '')));
      expect(Math.abs(deviation - (value ?? Number.NaN))).toBeLessThan((u95 ?? 0) / 10);
      expect(text).toMatch(/95 %: \S+ to \S+/);
      const [box, inside] = [await told.boundingBox(), await plot.boundingBox()];
      expect(box !== null && inside !== null && box.x >= inside.x && box.x + box.width <= inside.x + inside.width && box.y >= inside.y && box.y + box.height <= inside.y + inside.height).toBe(true);
      await keepScreen(page, `chart-point-${i}`);
    }
    // Another choice draws another chart in the same place.
    await page.mouse.move(0, 0);
    await expect.poll(() => plot.locator('.chart-hover').count()).toBe(0);
    await page.getByRole('combobox', { name: 'Injector', exact: true }).selectOption({ index: 1 });
    await page.getByRole('heading', { name: /^Residuals from the line, RH4-0118/ }).waitFor();
    expect(await points.count()).toBe(3);
  }, 300_000);

  it('WIN-171 keys of the grid need no frame between them: rows and focus are there with the key', async () => {
    await page.evaluate(`location.hash = '#/run/${latestRun()}'`);
    const cell = page.locator('.run-grid [role="gridcell"][tabindex="0"]');
    await cell.focus({ timeout: 60_000 });
    // Three pages in one task: no frame is drawn between, so nothing that waits for one can help.
    const seen = await page.evaluate<{ readonly frames: number; readonly row: number; readonly focused: boolean; readonly inSight: boolean; readonly undrawn: number }>(`(async () => {
      const grid = document.querySelector('.run-grid');
      let frames = 0;
      const count = () => { frames += 1; requestAnimationFrame(count); };
      requestAnimationFrame(count);
      for (let i = 0; i < 3; i += 1) {
        document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key: 'PageDown', bubbles: true, cancelable: true }));
        for (let turn = 0; turn < 5; turn += 1) await Promise.resolve();
      }
      const cell = grid.querySelector('[role="gridcell"][tabindex="0"]');
      const [inside, box] = [grid.getBoundingClientRect(), cell?.getBoundingClientRect()];
      const rows = [...grid.querySelectorAll('tbody tr[aria-rowindex]')].map((row) => row.getBoundingClientRect());
      const head = grid.querySelector('thead th').getBoundingClientRect().bottom;
      return {
        frames, row: Number(cell?.parentElement?.getAttribute('aria-rowindex')), focused: document.activeElement === cell,
        inSight: box !== undefined && box.top >= head - 1 && box.bottom <= inside.bottom + 1,
        undrawn: Math.max(0, rows[0].top - head, inside.bottom - rows.at(-1).bottom),
      };
    })()`);
    // So many rows that what was drawn at first, with the rows that are kept ready below it, does not reach.
    const first = await page.evaluate<number>(`Math.ceil(document.querySelector('.run-grid').clientHeight / document.querySelector('.run-grid tbody tr[aria-rowindex]').getBoundingClientRect().height)`);
    expect(seen.row).toBeGreaterThan(Math.min(first + 6, 30));
    expect(seen).toMatchObject({ frames: 0, focused: true, inSight: true, undrawn: 0 });
  }, 300_000);

  it('WIN-172 WIN-175 the host is asked for the journal before the drawing part has come, which comes with the first part and not behind it; nothing is asked twice', async () => {
    const { context, page: cold, sent, programs } = await coldPage();
    const requested: string[] = [];
    cold.on('request', (request) => requested.push(request.url()));
    const [first, drawing] = [held(), held()];
    await cold.route(/\/assets\/index-[^/]*\.js$/, first.route);
    await cold.route(/\/assets\/draw-[^/]*\.js$/, drawing.route);
    await cold.goto(resultsAddress(), { waitUntil: 'commit' });
    await expect.poll(() => requested.some((url) => url.includes('/assets/draw-'))).toBe(true);
    expect(sent).toEqual([]);
    first.release();
    await expect.poll(() => sent.filter((text) => text.includes('"run.condensed"')).length).toBeGreaterThan(0);
    expect(await cold.getByRole('heading').count()).toBe(0);
    drawing.release();
    await cold.locator('dl.headline').waitFor();
    expect(sent.filter((text) => text.includes('"parts.list"'))).toHaveLength(1);
    // A package brings its messages in forty languages: nobody waits for them.
    const texts = await Promise.all(programs.map(async (url) => (await fetch(url)).text()));
    expect(texts.join('').length).toBeGreaterThan(500_000);
    expect(programs.filter((_, i) => texts[i]?.includes('Ungültige Eingabe') === true)).toEqual([]);
    await context.close();
    // Built under a test, which asks for a window to find faults in: it is the one for use all the same.
    expect(process.env['NODE_ENV']).toBe('test');
    expect(texts.some((text) => text.includes('Minified React error'))).toBe(true);
  }, 300_000);

  it('WIN-173 what reduces a run begins while its journal is waited for', async () => {
    const { context, page: cold } = await coldPage();
    // A window that is not drawn, and a host that never answers.
    const drawing = held();
    await cold.route(/\/assets\/draw-[^/]*\.js$/, drawing.route);
    await cold.routeWebSocket(/\/host/, () => undefined);
    const worker = cold.waitForEvent('worker', { predicate: (one) => one.url().includes('/reduce-worker-'), timeout: 60_000 });
    await cold.goto(resultsAddress(), { waitUntil: 'commit' });
    await worker;
    drawing.release();
    await context.close();
  }, 300_000);
});
