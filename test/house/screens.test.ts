/**
 * Every page and view at both sizes, in both themes, and at 200 % zoom: nothing is wider than the window, nothing that can be used is covered, no label is cut.
 * The pictures are kept for a person to look at (test/.out/screens).
 */
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { goToPlace, labInto, overAnyPage, places, runIn } from '../builders/places.ts';
import { browserPath, keepScreen, openWindow, violations, workUnder } from '../builders/window.ts';
import type { OpenedWindow } from '../builders/window.ts';

const sizes = [[1366, 768], [1920, 1080]] as const;

/**
 * In the page: what can be used and is not reached by a press into its middle when it has been scrolled to, and what is too narrow for its own words. What is scrolled inside of a box
 * of its own is brought into sight like the rest.
 */
const coveredOrCut = `(() => {
  const found = [];
  // Over a page a dialog alone can be used, and STOP.
  const dialog = document.querySelector('[role=dialog]');
  const usable = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [role=slider]')].filter((one) => dialog === null || dialog.contains(one) || one.closest('.stop') !== null);
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

/**
 * In the page: what is covered, or out of sight, when the focus comes to it by the keyboard, from above and from below: the browser scrolls it just into sight (WCAG 2.2, 2.4.11).
 */
const coveredInFocus = `(() => {
  const found = new Set();
  const usable = [...document.querySelectorAll('#content a[href], #content button, #content input:not([type=hidden]), #content select, #content textarea, #content summary')].filter((one) => one.checkVisibility({ visibilityProperty: true }) && one.tabIndex >= 0 && !one.disabled && !one.closest('.unseen'));
  for (const start of [0, document.documentElement.scrollHeight]) {
    for (const element of usable) {
      scrollTo({ top: start, behavior: 'instant' });
      document.activeElement?.blur();
      element.focus();
      const box = element.getClientRects()[0];
      if (box === undefined || box.width < 1 || box.height < 1) continue;
      const name = (element.getAttribute('aria-label') || element.innerText || element.name || element.tagName).trim().slice(0, 40);
      const seen = [0.1, 0.5, 0.9].some((part) => {
        const hit = document.elementFromPoint(box.left + box.width * part, box.top + box.height / 2);
        return hit !== null && (element.contains(hit) || hit.contains(element) && hit.closest('label, button, a') !== null || hit.closest('label')?.contains(element));
      });
      if (!seen) found.add('the focus is out of sight on ' + name);
    }
  }
  scrollTo(0, 0);
  return [...found];
})()`;

/** Days in a form that the language of the browser decides (WIN-220), and lists of a plan that have to be scrolled sideways (WIN-221). */
const plainDaysAndTables = `[
  ...[...document.querySelectorAll('input[type="date"]')].map(() => 'a day is typed in the form of the browser'),
  ...[...document.querySelectorAll('.plan-scroll')].filter((box) => box.scrollWidth > box.clientWidth + 1).map((box) => box.getAttribute('aria-label') + ' is wider than its place'),
]`;

describe.skipIf(browserPath === null)('every page', { timeout: 600_000 }, () => {
  let window: OpenedWindow;
  let page: Page;
  let run = '';
  beforeAll(async () => {
    window = await openWindow({ prepare: labInto });
    page = window.page;
    run = runIn(window.folder);
  }, 120_000);
  afterAll(() => window.close());

  const at = (width: number, height: number): Promise<void> => page.setViewportSize({ width, height });

  const themed = (theme: 'light' | 'dark'): Promise<void> => page.emulateMedia({ colorScheme: theme });
  const themes = ['light', 'dark'] as const;
  const usable = async (page: Page, where: string): Promise<string[]> => (await page.evaluate<string[]>(coveredOrCut)).map((one) => `${where}: ${one}`);

  const looked = async (name: string): Promise<string[]> => {
    const wrong: string[] = [];
    for (const [width, height] of sizes) {
      await at(width, height);
      // From its top: elsewhere the head, which stays in sight, lies over a part of some field, whose rest may be less than a target has to be.
      await page.evaluate('scrollTo({ top: 0, behavior: "instant" })');
      for (const theme of themes) {
        await themed(theme);
        await keepScreen(page, `page-${name}-${width}-${theme}`);
        if (width === 1366 && theme === 'light') wrong.push(...(await page.evaluate<string[]>(plainDaysAndTables)).map((one) => `${name}: ${one}`));
        if (width === 1366) wrong.push(...(await violations(page)).map((one) => `${name} in ${theme}: ${one}`));
      }
      wrong.push(...(await usable(page, `${name} at ${width}`)));
    }
    await at(...sizes[0]);
    return wrong;
  };

  // In parts, so that each ends in time on a busy machine.
  const part = Math.ceil(places.length / 4);
  const parts = [0, 1, 2, 3].map((i) => places.slice(i * part, (i + 1) * part)).map((some) => ({ from: some[0]?.name, to: some.at(-1)?.name, some }));

  test.each(parts)('WIN-93, WIN-181, WIN-220, WIN-221 at 1366 x 768 and 1920 x 1080, in both themes, nothing is covered, cut or wider than the window, and WCAG 2.2 A and AA hold, from $from to $to', async ({ some }) => {
    const wrong: string[] = [];
    for (const place of some) {
      await at(...sizes[0]);
      await goToPlace(page, place, run);
      wrong.push(...(await looked(place.name)));
    }
    expect(wrong).toEqual([]);
    expect(window.complaints).toEqual([]);
  });

  test('WIN-93, WIN-181 so do search, help and settings', async () => {
    const wrong: string[] = [];
    for (const { name, open } of overAnyPage) {
      await open(page);
      await page.getByRole('dialog').waitFor();
      wrong.push(...(await looked(name)));
      // What closed by itself was not looked at.
      if (!(await page.getByRole('dialog').isVisible())) wrong.push(`${name} is gone`);
      await page.keyboard.press('Escape');
      await page.getByRole('dialog').waitFor({ state: 'hidden' });
    }
    expect(wrong).toEqual([]);
  });

  test('WIN-93, WIN-181 at 200 % zoom neither, in both themes; and what has the focus is never covered', async () => {
    // A zoom of 200 % leaves half of the pixels that the style sheet counts.
    const small = await (await window.browser.newContext({ viewport: { width: 683, height: 384 } })).newPage();
    await small.goto(window.host.address);
    await workUnder(small, 'C. Tester');
    await small.getByRole('button', { name: 'Take control' }).click();
    const wrong: string[] = [];
    for (const place of places) {
      await goToPlace(small, place, run);
      for (const theme of themes) {
        await small.emulateMedia({ colorScheme: theme });
        await keepScreen(small, `page-${place.name}-zoom-${theme}`);
        wrong.push(...(await usable(small, `${place.name} at 200 % in ${theme}`)));
      }
      for (const one of await small.evaluate<string[]>(coveredInFocus)) wrong.push(`${place.name} at 200 %: ${one}`);
    }
    expect(wrong).toEqual([]);
    await small.close();
    await page.getByRole('button', { name: 'Take control' }).click();
  });

  test('WIN-181 at 200 % zoom the head and what a window that watches is told leave at least half of the screen to the page', async () => {
    await at(683, 384);
    await goToPlace(page, { hash: '#/run/RUN' }, run);
    const other = await (await window.browser.newContext()).newPage();
    await other.goto(window.host.address);
    await workUnder(other, 'B. Tester');
    await other.getByRole('button', { name: 'Take control' }).click();
    await page.getByText(/holds control/u).first().waitFor();
    for (const hash of ['#/run/RUN', '#/bench', '#/plans', '#/results/RUN/line']) {
      await goToPlace(page, { hash }, run);
      await page.evaluate('scrollTo(0, 0)');
      await keepScreen(page, `watching-zoom-${hash.split('/')[1] ?? ''}`);
      expect(await page.evaluate<number>(`document.querySelector('#content').getBoundingClientRect().top`), hash).toBeLessThanOrEqual(384 / 2);
    }
    await other.close();
    await page.getByRole('button', { name: 'Take control' }).click();
  });

  test('WIN-94 the head has two lines from 1280 pixels on, whatever page and whatever is not saved', async () => {
    for (const width of [1280, 1366, 1920]) {
      await at(width, 768);
      const heights = new Set<number>();
      for (const hash of ['#/bench', '#/injectors', '#/run', '#/archive', `#/results/${run}/line`]) {
        await goToPlace(page, { hash }, run);
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
