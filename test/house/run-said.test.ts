/** What the page Run says while a run goes on, in a browser: to a reader of the screen, and of the rail pressure before points are measured again. */
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, startRun } from '../builders/window.ts';

/** One injector at two pressures, one after the other: at each there is time enough to look at both. */
const plan = samplePlan('small-plan', (small) => ({
  ...withoutLeakChecks(small),
  injectors: small.injectors.slice(0, 1),
  axes: { ...small.axes, voltageV: [14], pressureKpa: [300, 400], widthMs: [3, 4, 5, 6, 7, 8], replicates: 2 },
  sequence: { ...small.sequence, kind: 'nested' },
  guards: [],
}));

let opened: OpenedWindow | undefined;

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({});
  await startRun(opened.page, opened.folder, plan, 10);
}, 300_000);

afterAll(() => opened?.close());

/** In the page: what a reader of the screen is told from now on, each text once it changes. */
const listen = `(() => {
  const place = document.querySelector('[role=status][aria-label="What has changed"]');
  globalThis.told = [place.textContent];
  new MutationObserver(() => { if (place.textContent !== globalThis.told.at(-1)) globalThis.told.push(place.textContent); }).observe(place, { childList: true, characterData: true, subtree: true });
})()`;

describe.skipIf(browserPath === null)('a run that goes on', { timeout: 120_000 }, () => {
  it('WIN-136 a reader of the screen is told that the run measures, and not of each accepted point', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page } = opened;
    await page.evaluate(listen);
    // The head counts them, and the page does.
    await page.locator('.frame-now-run').getByText(/, [3-9] of \d+ points accepted/u).waitFor({ timeout: 90_000 });
    const told = await page.evaluate<string[]>('globalThis.told');
    expect(told.at(-1)).toContain('Run: measuring');
    for (const text of told) expect(text).not.toMatch(/accepted/u);
    // Connected, proving and measuring: less than one for each point.
    expect(told.length).toBeLessThanOrEqual(3);
  });

  it('WIN-137 points of another pressure that are selected say, beside the button, to which pressure the rail goes for them and that it comes back; those of this pressure say nothing', async () => {
    if (opened === undefined) throw new Error('no window');
    const { page, complaints } = opened;
    /** What stands above the grid after the first point of a sheet was selected. */
    const saidOf = async (kpa: number): Promise<string> => {
      await page.getByRole('button', { name: new RegExp(`^(▶ )?${kpa} kPa`, 'u') }).click();
      const clear = page.getByRole('button', { name: 'Clear', exact: true });
      if ((await clear.getAttribute('aria-disabled')) !== 'true') await clear.click();
      await page.locator('[data-point]').first().click();
      await page.keyboard.press('Control+a');
      await page.getByRole('button', { name: /^Measure \d+ selected again/u }).waitFor();
      return page.locator('.run-column-title').innerText();
    };
    // Between two points there is no pressure of one.
    await expect.poll(async () => {
      const said = [await saidOf(300), await saidOf(400)];
      return said.map((text) => /The rail goes from (?<from>\d+) kPa to (?<to>\d+) kPa for it, and back/u.exec(text)?.groups ?? null).map((found) => found === null ? '' : `${found['from'] ?? ''} to ${found['to'] ?? ''}`).join('; ');
    }, { timeout: 60_000, interval: 50 }).toMatch(/^(?:; 300 to 400|400 to 300; )$/u);
    await keepScreen(page, 'run-rail-pressure');
    expect(complaints).toEqual([]);
  });
});
