/** The page Equipment in a browser: the record read and changed, its history, and the checks of the meter, by mouse and by keys. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { HostProcess} from '../builders/window.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, sweepInto, violations } from '../builders/window.ts';

let opened: OpenedWindow | undefined;
let browser: Browser;
let host: HostProcess;
let page: Page;
let complaints: string[];

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: sweepInto });
  ({ host, browser, page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

const row = (name: string) => page.getByRole('row', { name: new RegExp(`^${name}`) });
/** Nothing is wider than the window. */
const tooWide = (): Promise<number> => page.evaluate('document.documentElement.scrollWidth - innerWidth');

describe.skipIf(browserPath === null)('the page Equipment', () => {
  it('WIN-40 says of each instrument how it stands today', async () => {
    await page.keyboard.press('Alt+e');
    await page.getByRole('heading', { name: 'Equipment', level: 1 }).waitFor();
    await expect.poll(() => row('Flow meter').textContent(), { timeout: 30_000 }).toMatch(/SIM-FM-01.*SIM-26-001.*2026-01-05.*2099-12-31.*✓ ?valid, \d+ days left/);
    await keepScreen(page, 'equipment-1366');
    expect(await violations(page)).toEqual([]);
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'equipment-1920');
    expect(await tooWide()).toBeLessThanOrEqual(0);
    await page.setViewportSize({ width: 1366, height: 768 });
  }, 120_000);

  it('WIN-42 changes the record by keys alone, takes nothing wrong, and loses nothing by a reload', async () => {
    await page.getByRole('button', { name: 'Change the record' }).focus();
    await page.keyboard.press('Enter');
    const pressure = page.getByRole('region', { name: 'Pressure transducer' });
    const until = pressure.getByLabel('Valid until');
    await until.focus();
    await page.keyboard.press('Control+a');
    await page.keyboard.type('2020-01-01');
    expect(await pressure.textContent()).toContain('would end (2020-01-01) before it was issued');
    const save = page.getByRole('button', { name: /^Save/ });
    expect(await save.getAttribute('aria-disabled')).toBe('true');
    await page.keyboard.press('Control+a');
    await page.keyboard.type('2026-12-01');
    await pressure.getByLabel('Uncertainty, kPa').focus();
    await page.keyboard.press('Control+a');
    await page.keyboard.type('0,5x');
    expect(await pressure.textContent()).toContain('"0,5x" is not a number');
    await save.focus();
    await page.keyboard.press('Enter');
    expect(await page.getByRole('alertdialog').count()).toBe(0);
    await pressure.getByLabel('Uncertainty, kPa').focus();
    await page.keyboard.press('Backspace');
    const curve = page.getByRole('region', { name: 'Flow meter' }).getByLabel(/^K-factor/);
    await curve.fill(`${await curve.inputValue()}\n600;47999,5 0.01`);
    await page.getByLabel('Why it is changed').fill('Calibrated again.');
    expect(await page.getByRole('region', { name: 'The change that is not saved yet' }).textContent()).toMatch(/K-factor.*17 points: 0\.5 47737; .*18 points: 0\.5 47737; .*512 47999; 600 47999\.5 0\.01.*Valid until.*2099-12-31.*2026-12-01.*Uncertainty \(kPa\).*0\.4.*0\.5/);
    await keepScreen(page, 'equipment-change-1366');
    expect(await violations(page)).toEqual([]);
    // Another page, and the browser again.
    await page.keyboard.press('Alt+b');
    await page.reload();
    await page.keyboard.press('Alt+e');
    await page.getByRole('link', { name: 'Record (not saved)' }).waitFor();
    expect(await pressure.getByLabel('Uncertainty, kPa').inputValue()).toBe('0,5');
    await page.getByRole('button', { name: 'Save 3 changes …' }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('alertdialog').waitFor();
    await page.getByRole('button', { name: 'Save it' }).focus();
    await page.keyboard.press('Enter');
    await page.getByText('Version 1 was saved').waitFor();
    expect(await row('Pressure transducer').textContent()).toMatch(/2026-12-01.*(▲ ?ends|✕ ?ended|✓ ?valid).*0\.5 kPa/);
    expect(await page.getByText('Last changed by A. Tester: Calibrated again.').count()).toBe(1);
  }, 120_000);

  it('WIN-42 does not save a change that another version has overtaken', async () => {
    await page.getByRole('button', { name: 'Change the record' }).click();
    await page.getByRole('region', { name: 'Bench' }).getByLabel(/^Pressure of the room/).fill('99');
    await page.getByLabel('Why it is changed').fill('Barometer.');
    // Another window has control and saves meanwhile.
    const other = await (await browser.newContext()).newPage();
    await other.goto(host.address);
    await other.getByLabel('Your name').fill('B. Other');
    await other.getByRole('button', { name: 'Work under this name' }).click();
    await other.getByRole('button', { name: 'Take control' }).click();
    await other.keyboard.press('Alt+e');
    await other.getByRole('button', { name: 'Change the record' }).click();
    await other.getByLabel('Name of the record').fill('Bench one');
    await other.getByLabel('Why it is changed').fill('Its name.');
    await other.getByRole('button', { name: 'Save one change …' }).click();
    await other.getByRole('button', { name: 'Save it' }).click();
    await other.getByText('Version 2 was saved').waitFor();
    await other.context().close();
    await page.getByRole('button', { name: 'Take control' }).click();
    await page.getByRole('button', { name: 'Save one change …' }).click();
    await page.getByRole('button', { name: 'Save it' }).click();
    await page.getByText('Version 2 of the record was saved meanwhile').waitFor();
    await page.getByRole('button', { name: 'Drop the change' }).click();
    await page.getByRole('button', { name: 'Drop it', exact: true }).click();
  }, 120_000);

  it('WIN-41 the history says who, when, why and what', async () => {
    await page.getByRole('link', { name: 'History' }).click();
    await page.reload();
    await expect.poll(() => page.getByRole('row', { name: /B\. Other/ }).textContent()).toMatch(/^2.*simulated-bench SIM-0001.*Its name\..*1.*0$/);
    await page.getByRole('row', { name: /A\. Tester/ }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Version 1' }).waitFor();
    await page.getByRole('row', { name: /B\. Other/ }).click();
    await expect.poll(() => page.getByRole('region', { name: 'Version 2' }).textContent()).toMatch(/Bench: Name of the record.*Simulated bench.*Bench one/);
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'equipment-history-1366');
  }, 120_000);

  const chooseUnits = async (pressure: string, temperature: string): Promise<void> => {
    await page.getByRole('button', { name: /^Settings/u }).click();
    await page.getByRole('dialog').getByLabel(/^Pressure/u).selectOption(pressure);
    await page.getByRole('dialog').getByLabel(/^Temperature/u).selectOption(temperature);
    await page.keyboard.press('Escape');
  };

  it('WIN-43, WIN-44, WIN-190 a check is worked out, its lines in the units of the settings, kept, and its K-factor comes into the record by a change', async () => {
    await page.getByRole('link', { name: 'Meter checks' }).click();
    await page.getByRole('button', { name: 'New check' }).click();
    const keep = page.getByRole('button', { name: 'Keep it …' });
    // Typed, with the windows of a run: the weights are missing still.
    await page.getByLabel('Edges and times of a run').selectOption({ index: 1 });
    const take = page.getByRole('button', { name: 'Take its windows' });
    await expect.poll(() => take.getAttribute('aria-disabled'), { timeout: 30_000 }).not.toBe('true');
    await take.click();
    expect(await page.getByLabel(/^Runs, one a line/).inputValue()).toMatch(/^1\t\d+\t\d+\.\d{4}\t\?\t\?\t2\d\.\d\d\t\d{3}\.\d/);
    expect(await page.getByRole('region', { name: 'New check of the meter' }).textContent()).toContain('"?" is not a number');
    // In the units of the settings, which stand above the lines; a paste is read in them (WIN-190).
    const runs = page.getByLabel(/^Runs, one a line/);
    const inKpa = await runs.inputValue();
    await chooseUnits('psi', 'degF');
    expect(await page.getByText(/^Runs, one a line/).textContent()).toBe('Runs, one a line: rate no., edges, time s, start g, end g, temperature °F, pressure psi');
    expect(await runs.inputValue()).toMatch(/^1\t\d+\t\d+\.\d{4}\t\?\t\?\t[67]\d(\.\d+)?\t5\d(\.\d+)?$/m);
    await keepScreen(page, 'equipment-new-check-psi-1366');
    await runs.fill('1\t5000\t60\t?\t?\t77\t58.01509512');
    await chooseUnits('kPa', 'degC');
    expect((await runs.inputValue()).split('\t').slice(5).map((text) => Number(Number(text).toFixed(4)))).toEqual([25, 400]);
    await runs.fill(inKpa);
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'equipment-new-check-1366');
    await page.getByLabel('File of a meter check').setInputFiles(join(import.meta.dirname, '../../main/samples/meter-check.json'));
    expect(await keep.getAttribute('aria-disabled')).toBe('true');
    await page.getByRole('button', { name: 'Work it out' }).focus();
    await page.keyboard.press('Enter');
    await page.getByText('nothing is kept yet').waitFor();
    await keep.focus();
    await page.keyboard.press('Enter');
    await page.getByRole('button', { name: 'Keep it', exact: true }).focus();
    await page.keyboard.press('Enter');
    await page.getByText('Check 1 was kept.').waitFor();
    expect(await row('1').first().textContent()).toMatch(/SIM-MC-26-01.*calibration.*✓ ?within.*came into force/);
    await page.getByRole('img', { name: /change of the K-factor from the certificate/ }).waitFor();
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'equipment-checks-1366');
    await page.setViewportSize({ width: 1920, height: 1080 });
    await keepScreen(page, 'equipment-checks-1920');
    expect(await tooWide()).toBeLessThanOrEqual(0);
    await page.getByRole('button', { name: 'Take it into the record …' }).click();
    await page.getByRole('region', { name: 'The change that is not saved yet' }).getByText('Flow meter: K-factor').waitFor();
    await page.getByRole('button', { name: /^Save \d changes …$/ }).click();
    await page.getByRole('button', { name: 'Save it' }).click();
    await page.getByText('Version 3 was saved').waitFor();
    expect(await row('Flow meter').textContent()).toContain('SIM-MC-26-01');
    // A check that is outside suspends, and says which runs are in doubt.
    const sample = JSON.parse(readFileSync(join(import.meta.dirname, '../../main/samples/meter-check.json'), 'utf8')) as { flowRates: { runs: { edges: number }[] }[] };
    const bad = { ...sample, purpose: 'verification', certificate: { number: 'BAD-1', date: new Date().toISOString().slice(0, 10), validUntil: '2099-12-31' }, flowRates: sample.flowRates.map(({ runs }) => ({ runs: runs.map((run) => ({ ...run, edges: Math.round(run.edges * 1.02) })) })) };
    await page.getByRole('link', { name: 'Meter checks' }).click();
    await page.getByRole('button', { name: 'New check' }).click();
    await page.getByLabel('File of a meter check').setInputFiles({ name: 'bad.json', mimeType: 'application/json', buffer: Buffer.from(JSON.stringify(bad)) });
    await page.getByRole('button', { name: 'Work it out' }).click();
    await keep.click();
    expect(await page.getByRole('alertdialog').textContent()).toContain('It suspends the meter');
    await page.getByRole('button', { name: 'Keep it', exact: true }).click();
    await page.getByText('in doubt: one run').waitFor();
    await keepScreen(page, 'equipment-suspended-1920');
    expect(await violations(page)).toEqual([]);
    expect(complaints).toEqual([]);
  }, 240_000);
});
