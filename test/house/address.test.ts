/** The address of a window over starts of its host, in a browser: a tab that comes back, one that is too old, a link that was copied. */
import { rmSync } from 'node:fs';
import { createServer } from 'node:http';
import type { Browser, BrowserContext, Page } from 'playwright';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { browserPath, HostProcess, keepScreen, launchBrowser, workUnder } from '../builders/window.ts';

describe.skipIf(browserPath === null)('the address of a window', { timeout: 120_000 }, () => {
  let browser: Browser;
  let context: BrowserContext;
  let page: Page;
  let folder: string;
  let host: HostProcess;

  beforeAll(async () => {
    buildWindow();
    browser = await launchBrowser();
  }, 240_000);
  afterAll(async () => browser.close());
  beforeEach(async () => {
    folder = scratchFolder();
    host = await HostProcess.start(folder, {}, 'kept');
    context = await browser.newContext({ viewport: { width: 1366, height: 768 } });
    page = await context.newPage();
    await page.goto(host.address);
    await workUnder(page, 'A. Tester');
  });
  afterEach(async () => {
    await context.close();
    await host.end();
    rmSync(folder, { recursive: true, force: true });
  });

  it('HOST-107 an open tab comes back by itself after a restart, whichever way the host ended; a copied link opens in another tab', async () => {
    await page.goto(new URL('#/archive', page.url()).href);
    for (const end of [() => host.end(), () => host.kill()]) {
      await end();
      await page.getByText(/Railhouse is not running on this machine/).waitFor();
      const before = host.address;
      host = await HostProcess.start(folder, {}, 'kept');
      expect(host.address).toBe(before);
      await page.locator('.frame-now-bench').getByText('No bench connected').waitFor();
      await page.getByText(/Railhouse is not running/).waitFor({ state: 'detached' });
    }
    const link = page.url();
    expect(link).not.toContain('token');
    await page.close();
    const other = await context.newPage();
    await other.goto(link);
    await other.getByRole('heading', { name: 'Archive', level: 1 }).waitFor();
    await other.locator('.frame-now-bench').getByText('No bench connected').waitFor();
  });

  it('HOST-108 a tab of another key is told what it is and what to do, and shows nothing that could be taken for the host', async () => {
    const port = Number(new URL(host.address).port);
    await host.end();
    rmSync(`${folder}/archive.sqlite.address.json`);
    host = await HostProcess.start(folder, {}, port);
    await page.getByText(/This tab is of an earlier start of Railhouse\. Railhouse is running/).waitFor();
    await page.reload();
    await page.getByRole('heading', { name: 'This tab is not connected' }).waitFor();
    await page.getByText(/Open that address: it stands in the window where Railhouse was started/).waitFor();
    expect(await page.getByText(/cannot be reached|Take control|serial port/).count()).toBe(0);
    await keepScreen(page, 'address-old-key');
    await page.goto(host.address);
    await page.locator('.frame-now-bench').getByText('No bench connected').waitFor();
  });

  it('HOST-108 so is one where another program answers', async () => {
    const port = Number(new URL(host.address).port);
    await host.end();
    const other = createServer((_request, response) => response.writeHead(404).end('no'));
    await new Promise<void>((resolve) => other.listen(port, '127.0.0.1', resolve));
    await page.getByText(/Something else than Railhouse answers at this address/).waitFor();
    other.closeAllConnections();
    await new Promise((resolve) => other.close(resolve));
  });
});
