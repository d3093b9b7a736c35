/** A window in a German browser with the decimal comma: no number that the window makes itself has a point. */
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { browserPath, keepScreen, openWindow, sweepInto, workUnder } from '../builders/window.ts';
import type { OpenedWindow } from '../builders/window.ts';

const places = [
  '#/bench', '#/injectors', '#/plans', '#/run', '#/run/RUN', '#/run/RUN/2', '#/run/RUN/film', '#/sets', '#/reports', '#/journal/RUN', '#/archive', '#/equipment', '#/quality', '#/injectors/RH4-0117',
  ...['line', 'short-pulses', 'all', 'dead-time', 'maps', 'controller', 'set', 'type', 'repeatability', 'drift', 'self-checks', 'attempts', 'compare'].map((view) => `#/results/RUN/${view}`),
];

/** In the page: texts that are seen, of charts too, with a number that has a point; versions, paths and what a person typed are none of the window's. */
const withPoint = `(() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const found = new Set();
  while (walker.nextNode()) {
    const { parentElement: holder, data } = walker.currentNode;
    if (holder.closest('.frame-foot, textarea, script, style') || !holder.checkVisibility()) continue;
    const text = data.replaceAll(/(railhouse|firmware) [\\d.]+|\\d\\d:\\d\\d:\\d\\d\\.\\d|\\S+\\.(sqlite|json|csv)\\b|\\d\\d\\.\\d\\d\\.\\d{4}/g, '');
    if (/(?<![\\w.])\\d+\\.\\d/.test(text)) found.add(data.trim().slice(0, 120) + ' <' + holder.tagName + '.' + (holder.getAttribute('class') ?? '') + '>');
  }
  return [...found];
})()`;

describe.skipIf(browserPath === null)('the decimal comma', { timeout: 300_000 }, () => {
  let window: OpenedWindow;
  let page: Page;
  let run = '';
  beforeAll(async () => {
    window = await openWindow({ prepare: sweepInto });
    const opened = openArchive(join(window.folder, 'archive.sqlite'), { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    run = opened.archive.latestRun()?.id ?? '';
    opened.archive.close();
    const context = await window.browser.newContext({ locale: 'de-DE', viewport: { width: 1366, height: 768 } });
    page = await context.newPage();
    await page.goto(window.host.address);
    await workUnder(page, 'B. Tester');
    await page.getByRole('button', { name: /^Settings/u }).click();
    await page.getByRole('dialog').getByLabel('Decimal sign').selectOption('comma');
    await page.keyboard.press('Escape');
  }, 120_000);
  afterAll(() => window.close());

  test('WIN-95 stands in chart axes, strips, tables and sentences of every page', async () => {
    const wrong: string[] = [];
    for (const hash of places) {
      await page.evaluate(`window.location.hash = ${JSON.stringify(hash.replace('RUN', run))}`);
      await page.locator('#content h1').waitFor();
      await expect.poll(async () => /(?:is|are) being (?:read|reduced|loaded|listed|worked out)|Looking for/u.test(await page.locator('#content').innerText()), { timeout: 30_000 }).toBe(false);
      await page.waitForTimeout(150);
      for (const text of await page.evaluate<string[]>(withPoint)) wrong.push(`${hash.replace('RUN/', '')}: ${text}`);
      if (hash.endsWith('/line')) await keepScreen(page, 'results-line-comma');
    }
    expect(wrong).toEqual([]);
  });
});
