/** The bench in a tab: the built page on a web server that knows nothing, in a real browser. */
import { createServer, type Server } from 'node:http';
import { readFileSync } from 'node:fs';
import { extname, join } from 'node:path';
import type { AddressInfo } from 'node:net';
import type { Browser, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildTab, houseFolder } from '../../main/cli/build.ts';
import { browserPath, complaintsOf, goToPage, keepScreen, launchBrowser } from '../builders/window.ts';
import { seededRunHere } from './seeded-run.ts';

const tabFolder = join(houseFolder, 'dist', 'tab');
const kinds: Readonly<Record<string, string>> = { '.html': 'text/html', '.js': 'text/javascript', '.css': 'text/css', '.wasm': 'application/wasm', '.svg': 'image/svg+xml' };

describe.skipIf(browserPath === null)('the bench in a tab', () => {
  let server: Server;
  let browser: Browser;
  let page: Page;
  let wrong: string[] = [];

  beforeAll(async () => {
    buildTab();
    server = createServer(({ url = '/' }, answer) => {
      const path = new URL(url, 'http://x').pathname;
      try {
        const bytes = readFileSync(join(tabFolder, path === '/' ? 'index.html' : path));
        answer.setHeader('content-type', kinds[extname(path === '/' ? '.html' : path)] ?? (path === '/' ? 'text/html' : 'application/octet-stream'));
        answer.end(bytes);
      } catch {
        answer.statusCode = 404;
        answer.end();
      }
    });
    await new Promise<void>((resolve) => void server.listen(0, '127.0.0.1', resolve));
    browser = await launchBrowser();
    page = await browser.newPage({ viewport: { width: 1366, height: 768 } });
    wrong = complaintsOf(page);
    await page.goto(`http://127.0.0.1:${(server.address() as AddressInfo).port}/`);
  }, 240_000);

  afterAll(async () => {
    await browser.close();
    server.close();
  });

  it('HOST-121 a sweep is under way when the window comes, and its first point is accepted', async () => {
    await goToPage(page, 'Run');
    await expect.poll(async () => page.locator('main').textContent(), { timeout: 120_000 }).toMatch(/[1-9]\d* of 17/);
    expect(await page.getByText('Everything here is simulated').isVisible()).toBe(true);
    await keepScreen(page, 'tab-run');
    expect(wrong).toEqual([]);
  }, 240_000);

  it('HOST-120 the seeded run comes to the journal of the program', async () => {
    const here = await seededRunHere(7);
    expect(here).toMatchObject({ accepted: here.points, verified: true });
    await page.getByRole('button', { name: 'Hold this tab against the program' }).click();
    await expect.poll(async () => page.locator('#tab-said').textContent(), { timeout: 120_000 }).toContain(`SHA-256 over its journal ${here.head}`);
    expect(await page.locator('#tab-said').textContent()).toContain(`${here.points} of ${here.points} points; its archive passes verify`);
    // Another seed is another journal: the number says something.
    expect((await seededRunHere(8)).head).not.toBe(here.head);
    expect(wrong).toEqual([]);
  }, 240_000);

  it('HOST-121 it goes on to its end; results and the check of the archive are those of any host', async () => {
    await expect.poll(async () => page.locator('main').textContent(), { timeout: 180_000, interval: 500 }).toMatch(/17 of 17/);
    await goToPage(page, 'Results');
    await expect.poll(async () => page.locator('main').textContent(), { timeout: 30_000 }).toMatch(/Dead time/);
    await keepScreen(page, 'tab-results');
    await goToPage(page, 'Archive');
    await page.getByRole('button', { name: 'Verify the archive' }).click();
    await expect.poll(async () => page.locator('main').textContent(), { timeout: 30_000 }).toMatch(/The archive is whole: all \d+ checks passed/);
    await keepScreen(page, 'tab-archive');
    expect(wrong).toEqual([]);
  }, 300_000);
});
