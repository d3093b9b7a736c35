/**
 * Every page and view at both sizes, in both themes, and at 200 % zoom: nothing is wider than the window, nothing that can be used is covered, no label is cut.
 * The pictures are kept for a person to look at (test/.out/screens).
 */
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { browserPath, keepScreen, openWindow, sweepInto } from '../builders/window.ts';
import type { OpenedWindow } from '../builders/window.ts';

const sizes = [[1366, 768], [1920, 1080]] as const;

/** Name of the picture, and the address; `RUN` stands for the run. */
const places: readonly (readonly [name: string, hash: string])[] = [
  ...['bench', 'injectors', 'plans', 'run', 'sets', 'reports', 'equipment', 'quality', 'archive'].map((page) => [page, `#/${page}`] as const),
  ['run-stored', '#/run/RUN'], ['run-film', '#/run/RUN/film'], ['run-point', '#/run/RUN/2'], ['journal', '#/journal/RUN'], ['injector-life', '#/injectors/RH4-0117'],
  ...['line', 'all', 'dead-time', 'maps', 'short-pulses', 'set', 'match', 'repeatability', 'drift', 'self-checks', 'attempts', 'compare', 'type', 'controller'].map((view) => [`results-${view}`, `#/results/RUN/${view}`] as const),
];

/**
 * In the page: what can be used and is not reached by a press into its middle when it has been scrolled to, and what is too narrow for its own words. What is scrolled inside of a box
 * of its own is brought into sight like the rest.
 */
const coveredOrCut = `(() => {
  const found = [];
  const usable = document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [role=slider]');
  for (const element of usable) {
    if (!element.checkVisibility({ visibilityProperty: true })) continue;
    const style = getComputedStyle(element);
    if (element.closest('.skip-to, .unseen')) continue;
    const name = (element.getAttribute('aria-label') || element.innerText || element.name || element.tagName).trim().slice(0, 40);
    element.scrollIntoView({ block: 'center', inline: 'center', behavior: 'instant' });
    const box = element.getBoundingClientRect();
    if (box.width < 1 || box.height < 1) continue;
    // A link over several lines has its middle between them.
    const at = element.getClientRects()[0];
    const hit = document.elementFromPoint(at.left + at.width / 2, at.top + at.height / 2);
    const own = hit !== null && (element.contains(hit) || hit.contains(element) && hit.closest('label, button, a') !== null || hit.closest('label')?.contains(element));
    if (!own) found.push('covered: ' + name + ' by ' + (hit === null ? 'the edge' : hit.className || hit.tagName));
    if (/^(BUTTON|A|SUMMARY)$/.test(element.tagName) && style.overflow !== 'visible' && style.textOverflow !== 'ellipsis' && element.scrollWidth > element.clientWidth + 1) found.push('cut: ' + name);
  }
  scrollTo(0, 0);
  const wide = document.documentElement.scrollWidth - innerWidth;
  if (wide > 0) found.push('the page is ' + wide + ' pixels wider than the window');
  return found;
})()`;

describe.skipIf(browserPath === null)('every page', { timeout: 600_000 }, () => {
  let window: OpenedWindow;
  let page: Page;
  let run = '';
  beforeAll(async () => {
    window = await openWindow({ prepare: sweepInto });
    page = window.page;
    const opened = openArchive(join(window.folder, 'archive.sqlite'), { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    run = opened.archive.latestRun()?.id ?? '';
    opened.archive.close();
  }, 120_000);
  afterAll(() => window.close());

  const go = async (hash: string): Promise<void> => {
    await page.evaluate(`window.location.hash = ${JSON.stringify(hash.replace('RUN', run))}`);
    await page.locator('#content h1').waitFor();
    // Until nothing is read or worked out any more.
    await expect.poll(async () => /(?:is|are) being (?:read|reduced|loaded|listed|worked out)|Looking for/u.test(await page.locator('#content').innerText()), { timeout: 30_000 }).toBe(false);
    await page.waitForTimeout(150);
  };
  const at = (width: number, height: number): Promise<void> => page.setViewportSize({ width, height });

  test('WIN-93 at 1366 x 768 and 1920 x 1080, in both themes, nothing is covered, cut or wider than the window', async () => {
    const wrong: string[] = [];
    for (const [name, hash] of places) {
      await at(...sizes[0]);
      await go(hash);
      for (const [width, height] of sizes) {
        await at(width, height);
        for (const theme of ['light', 'dark'] as const) {
          await page.emulateMedia({ colorScheme: theme });
          await keepScreen(page, `page-${name}-${width}-${theme}`);
        }
        for (const one of await page.evaluate<string[]>(coveredOrCut)) wrong.push(`${name} at ${width}: ${one}`);
      }
    }
    expect(wrong).toEqual([]);
    expect(window.complaints).toEqual([]);
  });

  test('WIN-93 at 200 % zoom neither', async () => {
    const wrong: string[] = [];
    await page.emulateMedia({ colorScheme: 'light' });
    for (const [name, hash] of places) {
      // A zoom of 200 % leaves half of the pixels that the style sheet counts.
      await at(1366 / 2, 768 / 2);
      await go(hash);
      await keepScreen(page, `page-${name}-zoom`);
      for (const one of await page.evaluate<string[]>(coveredOrCut)) wrong.push(`${name} at 200 %: ${one}`);
    }
    expect(wrong).toEqual([]);
  });

  test('WIN-94 the head has two lines from 1280 pixels on, whatever page and whatever is not saved', async () => {
    for (const width of [1280, 1366, 1920]) {
      await at(width, 768);
      const heights = new Set<number>();
      for (const hash of ['#/bench', '#/injectors', '#/run', '#/archive', `#/results/${run}/line`]) {
        await go(hash);
        heights.add(await page.evaluate<number>(`Math.round(document.querySelector('.frame-head').getBoundingClientRect().height)`));
      }
      expect([...heights], String(width)).toHaveLength(1);
      expect(Math.max(...heights), String(width)).toBeLessThanOrEqual(88);
      // Whatever is said of bench, run and control: a longer word moves nothing, and what the run does is not cut as long as anything else is left.
      const grown = await page.evaluate<{ height: number; runCut: boolean }>(`(() => {
        const said = (is, text) => { const words = document.querySelector('.frame-now-' + is + ' .status > :last-child'); const was = words.textContent; words.textContent = text; return () => { words.textContent = was; }; };
        const back = [said('bench', 'Simulated bench SIM-0005 connected (20×)'), said('run', 'Run ended: finished early, some failed, bench not confirmed safe, 1216 of 5239 points accepted'), said('control', 'Watching: Somebody With A Very Long Name Indeed Who Never Ends holds control, 12 other windows watch')];
        const run = document.querySelector('.frame-now-run');
        const seen = { height: Math.round(document.querySelector('.frame-head').getBoundingClientRect().height), runCut: run.scrollWidth > run.clientWidth + 1 };
        back.forEach((put) => put());
        return seen;
      })()`);
      expect(grown, String(width)).toEqual({ height: [...heights][0], runCut: false });
    }
  });
});
