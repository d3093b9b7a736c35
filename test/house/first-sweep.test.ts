/** From an empty archive to the results of a first sweep, and the simulated bench as it is chosen, in a browser at a real host. */
import type { Page } from 'playwright';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { browserPath, keepScreen, openWindow, violations, type OpenedWindow } from '../builders/window.ts';

describe.skipIf(browserPath === null)('the simulated bench in the window', { timeout: 240_000 }, () => {
  let opened: OpenedWindow;
  let page: Page;
  beforeEach(async () => {
    opened = await openWindow({});
    ({ page } = opened);
  }, 240_000);
  afterEach(async () => opened.close());

  const step = (n: number) => page.getByText(new RegExp(`First sweep, step ${n} of 5`));
  const press = (name: string) => page.getByRole('button', { name, exact: true }).click();

  it('WIN-53 the guide leads from nothing to the results of a finished sweep; it is left and taken up where things stand', async () => {
    await page.getByText('There is no run in this archive yet.').waitFor();
    await keepScreen(page, 'guide-offer');
    await press('Begin the guide');
    await step(1).waitFor();
    await press('Connect it');
    await step(2).waitFor();
    await page.getByRole('heading', { name: 'Readings' }).waitFor();
    await press('Record two examples');
    await step(3).waitFor();
    await page.getByRole('heading', { name: 'Injectors', level: 1 }).waitFor();
    await press('Leave the guide');
    await step(3).waitFor({ state: 'detached' });
    await page.reload();
    await page.getByRole('heading', { name: 'Injectors', level: 1 }).waitFor();
    expect(await page.getByText(/First sweep, step|no run in this archive/).count()).toBe(0);
    await page.getByRole('button', { name: 'Help', exact: true }).click();
    await press('First sweep, step by step');
    await step(3).waitFor();
    await press('Save the plan');
    await step(4).waitFor();
    await page.getByRole('heading', { name: 'Plans', level: 1 }).waitFor();
    await keepScreen(page, 'guide-plan');
    await press('Start it');
    await page.getByText('The run is going on. The next step comes when it has ended.').waitFor();
    await keepScreen(page, 'guide-running');
    await step(5).waitFor({ timeout: 120_000 });
    await press('Show the results');
    await page.getByRole('heading', { name: 'Results', level: 1 }).waitFor();
    await page.getByText(/dead time/i).first().waitFor();
    expect(await page.getByText(/First sweep, step/).count()).toBe(0);
    await keepScreen(page, 'guide-results');
    expect(await violations(page)).toEqual([]);
    expect(opened.complaints).toEqual([]);
  });

  it('WIN-50 WIN-57 scenario, numbers and seed are chosen by name; speed is set while it is connected, and the header says which time is which', async () => {
    await press('Not now');
    await page.getByLabel('What goes wrong').selectOption('Emergency stop pressed');
    await page.getByText(/With the tenth burst somebody presses the emergency stop/).waitFor();
    await page.getByText('Numbers of its own').click();
    await page.getByLabel('Drift of the flow reading').fill('99');
    await page.getByRole('button', { name: 'Connect', exact: true }).click({ force: true });
    await page.getByText('Drift of the flow reading must be 0 to 20 % in an hour.').first().waitFor();
    await page.getByLabel('Drift of the flow reading').fill('1,5');
    await keepScreen(page, 'bench-scenario');
    await press('Connect');
    await page.getByRole('heading', { name: 'Simulated bench', exact: true }).waitFor();
    await page.getByText('Emergency stop pressed, with numbers of its own').waitFor();
    expect(await page.getByText(/connected \(\d+×\)/).count()).toBe(0);
    await page.getByLabel('Speed now').fill('20');
    await press('Set the speed');
    await page.locator('.frame-now-bench').getByText(/Simulated bench \S+ connected \(20×\)/).waitFor();
    await page.getByText(/Its time passes 20 times as fast as the clock/).waitFor();
    await page.getByLabel('What goes wrong').selectOption('A sound bench');
    await press('Put this bench in its place');
    await page.locator('.section-head').getByText('A sound bench').waitFor();
    await keepScreen(page, 'bench-simulated');
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'bench-simulated-1920');
    expect(await violations(page)).toEqual([]);
  });
});
