/** Nothing that is typed is lost: a real browser at a real host, reloaded and killed while somebody types. */
import { rmSync } from 'node:fs';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { browserPath, goToPage, HostProcess, keepScreen, openWindow, sweepInto, violations, workUnder, type OpenedWindow } from '../builders/window.ts';

const nav = (page: Page, name: string) => page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name, exact: true });

describe.skipIf(browserPath === null)('what is typed', { timeout: 300_000 }, () => {
  let opened: OpenedWindow;
  let host: HostProcess;
  const asked: string[] = [];
  beforeAll(async () => {
    opened = await openWindow({ prepare: sweepInto });
    ({ host } = opened);
    opened.page.on('dialog', (dialog) => {
      asked.push(dialog.type());
      void dialog.accept();
    });
  }, 120_000);
  afterAll(async () => {
    await opened.browser.close();
    await host.end();
    rmSync(opened.folder, { recursive: true, force: true });
  });

  const firstSerial = (page: Page) => page.locator('input[id$=":serialNumber"]').last();

  test('WIN-28, WIN-32: is there after a reload at each of ten moments, at once after the key; the page is marked, and leaving asks', async () => {
    const { page } = opened;
    const reload = async (what: string): Promise<void> => {
      const before = asked.length;
      await page.reload();
      expect(asked.slice(before), `asked: ${what}`).toEqual(['beforeunload']);
    };
    // Nothing begun: nothing is asked.
    await page.getByRole('heading', { name: 'Bench', exact: true }).waitFor();
    await page.reload();
    expect(asked).toEqual([]);

    await goToPage(page, 'Injectors');
    await page.getByRole('button', { name: 'Book in an injector' }).click();
    await page.locator('input[id$=":type"]').last().fill('ZZ-9');
    await firstSerial(page).fill('SN-é"1');
    await reload('1, a row');
    expect(await firstSerial(page).inputValue()).toBe('SN-é"1');
    expect(await nav(page, 'Injectors').getAttribute('title')).toContain('Not saved: 1 injector');

    await firstSerial(page).focus();
    await opened.context.grantPermissions(['clipboard-read', 'clipboard-write']);
    await page.evaluate("navigator.clipboard.writeText('P-1\\t12.1\\nP-2\\t12.2\\nP-3\\t12.3')");
    await page.keyboard.press('Control+V');
    await page.getByText('3 rows pasted').first().waitFor();
    await reload('2, a paste');
    expect(await firstSerial(page).inputValue()).toBe('P-3');
    expect(await nav(page, 'Injectors').getAttribute('title')).toContain('Not saved: 3 injectors');

    await page.getByRole('button', { name: 'Remove: new row P-2' }).click();
    await reload('3, a removal');
    await page.locator('input[id$=":serialNumber"]').first().waitFor();
    const serials = (): Promise<string[]> => page.locator('input[id$=":serialNumber"]').evaluateAll((all) => all.map((one) => (one as unknown as { readonly value: string }).value));
    expect((await serials()).filter((one) => one.startsWith('P-'))).toEqual(['P-1', 'P-3']);
    // The page itself is left and come back to: nothing asks, nothing is gone.
    await goToPage(page, 'Archive');
    await goToPage(page, 'Injectors');
    await expect.poll(async () => (await serials()).filter((one) => one.startsWith('P-'))).toEqual(['P-1', 'P-3']);

    await goToPage(page, 'Plans');
    await page.getByRole('button', { name: 'New sweep' }).click();
    await page.locator('[id="plan:name"]').fill('Half a plan');
    await reload('4, a plan');
    expect(await page.locator('[id="plan:name"]').inputValue()).toBe('Half a plan');
    expect(await nav(page, 'Plans').getAttribute('title')).toContain('Plan Half a plan');

    await page.locator('[id="plan:axes.voltageV"]').fill('9, 12-');
    await reload('5, a list half typed');
    expect(await page.locator('[id="plan:axes.voltageV"]').inputValue()).toBe('9, 12-');

    await goToPage(page, 'Bench');
    await page.getByRole('button', { name: 'Connect', exact: true }).click();
    await page.getByLabel('Pulse width').fill('1,5');
    await reload('6, a value by hand');
    expect(await page.getByLabel('Pulse width').inputValue()).toBe('1,5');
    await page.getByLabel('Period').fill('2o');
    await reload('7, what is no number');
    expect(await page.getByLabel('Period').inputValue()).toBe('2o');
    expect(await page.getByText('"2o" is not a number', { exact: false }).count()).toBeGreaterThan(0);

    await goToPage(page, 'Equipment');
    await page.getByRole('button', { name: 'Change the record' }).click();
    await page.getByLabel('Why it is changed').fill('New certificate, not yet');
    await reload('8, a change of the record');
    expect(await page.getByLabel('Why it is changed').inputValue()).toBe('New certificate, not yet');

    await page.getByRole('link', { name: 'Meter checks' }).click();
    await page.getByRole('button', { name: 'New check' }).click();
    await page.getByLabel('Number of the check').fill('C-2026-7');
    await reload('9, a check of the meter');
    expect(await page.getByLabel('Number of the check').inputValue()).toBe('C-2026-7');

    await goToPage(page, 'Results');
    await page.getByRole('link', { name: 'Attempts', exact: true }).click();
    await page.getByRole('table').or(page.getByRole('grid')).first().waitFor();
    const openFirst = async (): Promise<void> => {
      const row = page.locator('[role="row"][tabindex]').nth(1);
      await row.focus();
      await page.keyboard.press('Enter');
    };
    await openFirst();
    await page.getByRole('button', { name: /^Exclude/u }).first().click();
    await page.getByLabel('Reason').fill('A bubble was seen in the li');
    await reload('10, a reason half written');
    await expect.poll(() => nav(page, 'Results').getAttribute('title'), { timeout: 20_000 }).toContain('Reason for attempt');
    await page.getByRole('link', { name: 'Attempts', exact: true }).click();
    await openFirst();
    expect(await page.getByLabel('Reason').inputValue()).toBe('A bubble was seen in the li');
    expect(await violations(page)).toEqual([]);
  });

  test('WIN-28, WIN-29: a host that is killed loses nothing of it; what was typed while it was away is there too, and at another address it is offered', async () => {
    const { page, folder, browser } = opened;
    await goToPage(page, 'Plans');
    await page.locator('[id="plan:name"]').fill('Before the kill');
    await host.kill();
    await page.locator('[id="plan:name"]').fill('After the kill');
    const { port } = new URL(host.address);
    host = await HostProcess.start(folder, {}, Number(port));
    await page.goto(host.address);
    await goToPage(page, 'Plans');
    await expect.poll(() => page.locator('[id="plan:name"]').inputValue(), { timeout: 20_000 }).toBe('After the kill');
    expect(await nav(page, 'Injectors').getAttribute('title')).toContain('Not saved: 2 injectors');

    // Killed again while all of it is with the host; another browser, another port.
    await page.waitForTimeout(1500);
    await host.kill();
    await page.context().close();
    host = await HostProcess.start(folder, {});
    const next = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await next.goto(host.address);
    await workUnder(next, 'B. Tester');
    await next.getByText('Not saved in a window that was closed:').waitFor();
    expect(await next.locator('.frame-notices').textContent()).toContain('Plan After the kill (Plans, A. Tester');
    expect(await violations(next)).toEqual([]);
    await keepScreen(next, 'typed-left');
    // Its own plan stands, and is not written over.
    await goToPage(next, 'Plans');
    await next.getByRole('button', { name: 'New sweep' }).click();
    await next.locator('[id="plan:name"]').fill('Mine');
    await next.getByRole('button', { name: 'Go on with it here' }).click();
    await next.getByText('Not taken over, because there is one here already: Plan After the kill').waitFor();
    expect(await next.locator('[id="plan:name"]').inputValue()).toBe('Mine');
    await goToPage(next, 'Injectors');
    await next.locator('input[id$=":serialNumber"]').first().waitFor();
    expect(await next.locator('input[id$=":serialNumber"]').evaluateAll((all) => all.map((one) => (one as unknown as { readonly value: string }).value))).toEqual(['P-1', 'P-3']);
    expect(await next.locator('.frame-notices').textContent()).toContain('Plan After the kill');
    await keepScreen(next, 'typed-injectors');

    // A second window beside it: each has its own over a reload.
    const beside = await (await browser.newContext()).newPage();
    await beside.goto(host.address);
    await workUnder(beside, 'C. Tester');
    await goToPage(beside, 'Plans');
    await beside.getByRole('button', { name: 'New sweep' }).click();
    await beside.locator('[id="plan:name"]').fill('Theirs');
    await goToPage(next, 'Plans');
    await next.locator('[id="plan:name"]').fill('Mine still');
    await beside.reload();
    await next.reload();
    await expect.poll(() => beside.locator('[id="plan:name"]').inputValue(), { timeout: 20_000 }).toBe('Theirs');
    await expect.poll(() => next.locator('[id="plan:name"]').inputValue(), { timeout: 20_000 }).toBe('Mine still');
  });

  test('WIN-31: a paste, a removal and a value of a plan are taken back one by one', async () => {
    const page = await (await opened.browser.newContext()).newPage();
    await page.goto(host.address);
    await workUnder(page, 'D. Tester');
    await goToPage(page, 'Plans');
    await page.getByRole('button', { name: 'New sweep' }).click();
    const axis = page.getByRole('listbox', { name: /Supply voltage/u }).or(page.getByRole('list', { name: /Supply voltage/u })).first();
    const before = await axis.textContent();
    await page.locator('[id="plan:axes.voltageV"]').fill('17');
    await page.locator('[id="plan:axes.voltageV"]').press('Enter');
    await expect.poll(() => axis.textContent()).toContain('17');
    await page.locator('[id="plan:name"]').fill('X');
    await page.getByRole('button', { name: 'Undo: Name' }).click();
    expect(await page.locator('[id="plan:name"]').inputValue()).toBe('New sweep');
    await page.getByRole('button', { name: /^Undo: a value of Supply voltage added/u }).click();
    await expect.poll(() => axis.textContent()).toBe(before);
    await page.context().close();
  });
});
