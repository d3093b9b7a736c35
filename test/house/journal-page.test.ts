/** The page Journal in a browser: what happened in a run, and what its bench read, by mouse and by keys. */
import { readFileSync } from 'node:fs';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { HostProcess} from '../builders/window.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, sweepInto, violations } from '../builders/window.ts';

let opened: OpenedWindow | undefined;
let host: HostProcess;
let page: Page;
let complaints: string[];

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: sweepInto, name: 'B. Reader' });
  ({ host, page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

const saved = async (name: RegExp): Promise<{ readonly name: string; readonly data: Buffer }> => {
  const download = page.waitForEvent('download');
  await page.getByRole('button', { name }).click();
  const done = await download;
  return { name: done.suggestedFilename(), data: readFileSync(await done.path()) };
};
const strips = () => page.getByRole('slider', { name: /^Instant of the run/ });
const valueText = async (): Promise<string> => (await strips().getAttribute('aria-valuetext')) ?? '';

describe.skipIf(browserPath === null)('the page Journal', () => {
  it('WIN-45 says who did what and when, filtered, and keeps it as a text', async () => {
    await page.keyboard.press('Alt+j');
    await page.getByRole('heading', { name: 'Journal', level: 1 }).waitFor();
    const status = page.getByText(/^\d+ of \d+ events$/);
    await status.waitFor({ timeout: 60_000 });
    const [shown = 0, all = 0] = ((await status.textContent()) ?? '').match(/\d+/g)?.map(Number) ?? [];
    expect(all).toBeGreaterThan(shown);
    await page.getByRole('combobox', { name: /^Who/ }).selectOption('A. Tester');
    await expect.poll(() => page.getByRole('row', { name: /A\. Tester/ }).allTextContents()).toEqual([expect.stringMatching(/^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d\.\dA\. Tester.*The run was opened/), expect.stringMatching(/Start\.$/)]);
    await page.getByRole('combobox', { name: /^Who/ }).selectOption('');
    await page.getByLabel('Steps of attempts').focus();
    await page.keyboard.press('Space');
    await page.getByText(`${all} of ${all} events`).waitFor();
    await page.getByLabel('Contains').fill('ACCEPTED');
    await expect.poll(() => page.getByRole('row', { name: /attempt 1: accepted/ }).count()).toBeGreaterThan(3);
    expect(await violations(page)).toEqual([]);
    const { name, data } = await saved(/^Save as text/);
    expect(name).toMatch(/^Small-plan.*_\d{4}-\d\d-\d\d_[0-9a-f]{8}-journal\.txt$/);
    const lines = data.toString().trimEnd().split('\n');
    expect(lines[0]).toBe('instant (UTC)\tevent\twho\twhat');
    expect(lines.slice(1).every((line) => /^\d{4}-\d\d-\d\dT[\d:.]+Z\t\d+\t[^\t]*\t.*accepted/.test(line))).toBe(true);
    await page.getByLabel('Contains').fill('');
  }, 200_000);

  it('WIN-46 shows the stored readings with one cursor, by keys: the supply of a point is what the plan asked for', async () => {
    await expect.poll(() => page.locator('.strips-drawing path').count(), { timeout: 60_000 }).toBe(4);
    await strips().focus();
    await page.keyboard.press('Home');
    await expect.poll(valueText).toMatch(/UTC, pressure .* kPa, rail temperature .* °C, supply .* V, flow at the meter/);
    // To the instant of a point: an event leads there.
    await page.getByLabel('Contains').fill('Point 3, attempt 1: accepted');
    await page.getByRole('row', { name: /Point 3, attempt 1: accepted/ }).focus();
    await page.keyboard.press('Enter');
    await strips().focus();
    for (const key of ['+', '+', '+']) await page.keyboard.press(key);
    await page.keyboard.press('ArrowLeft');
    await expect.poll(valueText).toMatch(/supply (\d+\.\d+ to )?\d+\.\d+ V/);
    expect(await page.locator('.strips-reading').textContent()).toContain('Point 3, attempt 1');
    // Voltages of the small plan; the readings of a point lie at its set point.
    const supply = Number(/supply (\d+\.\d+)/.exec(await valueText())?.[1]);
    expect([9, 10, 12, 14, 16].some((volts) => Math.abs(supply - volts) < 0.2)).toBe(true);
    await keepScreen(page, 'journal-1366');
    const link = page.getByRole('link', { name: /^Link to/ });
    const href = (await link.getAttribute('href')) ?? '';
    const before = await valueText();
    await page.keyboard.press('0');
    await page.getByRole('button', { name: 'Whole run' }).waitFor();
    // The link opens there, in another window of the browser.
    const other = await page.context().newPage();
    await other.goto(`${host.address}${href}`);
    await other.locator('.strips-reading', { hasText: 'Point 3, attempt 1' }).waitFor({ timeout: 60_000 });
    expect((await other.getByRole('slider').getAttribute('aria-valuetext'))?.slice(0, 21)).toBe(before.slice(0, 21));
    await other.close();
    expect(await violations(page)).toEqual([]);
  }, 200_000);

  it('WIN-46 a stretch is chosen by the mouse and gone through by keys, and the marks of alarms and points are there', async () => {
    const box = (await strips().boundingBox()) ?? { x: 0, y: 0, width: 0, height: 0 };
    const span = async (): Promise<number> => Number(await strips().getAttribute('aria-valuemax')) - Number(await strips().getAttribute('aria-valuemin'));
    const whole = await span();
    await page.mouse.move(box.x + 0.4 * box.width, box.y + 120);
    await page.mouse.down();
    await page.mouse.move(box.x + 0.6 * box.width, box.y + 140, { steps: 4 });
    await page.mouse.up();
    await expect.poll(span).toBeLessThan(0.3 * whole);
    const at = Number(await strips().getAttribute('aria-valuemin'));
    await strips().focus();
    await page.keyboard.press('PageDown');
    expect(Number(await strips().getAttribute('aria-valuemin'))).toBeGreaterThan(at);
    await page.keyboard.press('-');
    await page.keyboard.press('0');
    await expect.poll(span).toBe(whole);
    expect(await page.locator('.strips-drawing').textContent()).toMatch(/✓/);
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'journal-1920');
    expect(await page.evaluate('document.documentElement.scrollWidth - innerWidth')).toBeLessThanOrEqual(0);
    await page.setViewportSize({ width: 1366, height: 768 });
  }, 200_000);

  it('WIN-47 the drawing is kept as SVG that stands by itself, and as PNG', async () => {
    const svg = await saved(/^Save as SVG/);
    expect(svg.name).toMatch(/^Small-plan.*-readings\.svg$/);
    const text = svg.data.toString();
    expect(text).toMatch(/<svg[^>]* xmlns="http:\/\/www\.w3\.org\/2000\/svg"/);
    expect(text).toContain('Pressure, kPa');
    expect(text).not.toContain('var(--');
    expect(text).toMatch(/<path [^>]*fill="rgb/);
    const png = await saved(/^Save as PNG/);
    expect([...png.data.subarray(0, 4)]).toEqual([0x89, 0x50, 0x4e, 0x47]);
    // Twice the width of the strips on the page.
    expect(png.data.readUInt32BE(16)).toBeGreaterThan(2000);
    expect(complaints).toEqual([]);
  }, 200_000);
});
