/** Units, decimal sign and dates by choice: what is typed is what is driven and stored. */
import { readFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Page } from 'playwright';
import { samplePath } from '../../main/samples/samples.ts';
import { browserPath, chooseSettings, goToPage, keepScreen, openWindow, violations, workUnder, type OpenedWindow } from '../builders/window.ts';

const tile = (page: Page, name: string) => page.locator('.reading', { hasText: name }).first();

describe.skipIf(browserPath === null)('units by choice', { timeout: 240_000 }, () => {
  let opened: OpenedWindow;
  let german: Page;
  /** What the window has asked its host. */
  const sent: string[] = [];
  beforeAll(async () => {
    opened = await openWindow({});
    german = await (await opened.browser.newContext({ locale: 'de-DE', viewport: { width: 1366, height: 768 } })).newPage();
    german.on('websocket', (socket) => socket.on('framesent', ({ payload }) => sent.push(String(payload))));
    await german.goto(opened.host.address);
    await workUnder(german, 'B. Tester');
    await german.getByRole('button', { name: 'Take control' }).click();
  }, 120_000);
  afterAll(() => opened.close());

  test('WIN-33, WIN-34: in a German browser with comma, bar and degF, 1,5 is 1.5 ms and 3 bar is 300 kPa, as a window in kPa beside it shows', async () => {
    await chooseSettings(german, { Pressure: 'bar', Temperature: 'degF', 'Decimal sign': 'comma', 'Dates and times': 'de' });
    await german.getByRole('button', { name: 'Connect', exact: true }).click();
    await german.getByRole('heading', { name: 'Readings' }).waitFor();
    await german.getByLabel('Rail pressure, gauge').fill('3');
    await german.getByRole('button', { name: 'Set pressure' }).click();
    await expect.poll(() => tile(opened.page, 'Rail pressure').textContent(), { timeout: 30_000 }).toContain('300 kPa');
    await expect.poll(() => tile(german, 'Rail pressure').textContent()).toMatch(/\d,\d{2,} *\u00a0bar/u);
    expect(await tile(german, 'Rail pressure').textContent()).toContain('3 bar');
    expect(await tile(german, 'Rail temperature').textContent()).toMatch(/[67]\d,\d+\u00a0°F/u);
    await german.getByLabel('Rail pressure, gauge').fill('30');
    expect(await german.getByRole('button', { name: 'Set pressure' }).getAttribute('aria-disabled')).toBe('true');
    await german.getByLabel('Supply', { exact: true }).fill('13,5');
    await german.getByRole('button', { name: 'Set supply' }).click();
    await expect.poll(() => tile(opened.page, 'Supply').textContent(), { timeout: 30_000 }).toContain('13.5 V');
    await german.getByLabel('Pulse width').fill('1,5');
    await german.getByLabel('Count').fill('3000');
    await german.getByRole('button', { name: /^Fire 3000/u }).click();
    await expect.poll(() => sent.find((text) => text.includes('manual.burst')), { timeout: 30_000 }).toMatch(/"widthMs":1\.5,"periodMs":20,"count":3000/u);
    expect(sent.find((text) => text.includes('manual.pressure'))).toContain('"kpa":300}');
    expect(await violations(german)).toEqual([]);
    await keepScreen(german, 'units-bench');
  });

  test('WIN-34: 145 psi in a plan is stored in kPa, shown again as 145 psi, and what was there is not moved by it', async () => {
    await chooseSettings(german, { Pressure: 'psi' });
    await goToPage(german, 'Plans');
    await german.getByRole('button', { name: 'New sweep' }).click();
    const field = german.locator('[id="plan:axes.pressureKpa"]');
    await field.fill('145');
    await field.press('Enter');
    await german.getByRole('option', { name: /^145 psi/u }).or(german.getByRole('button', { name: /^145 psi/u })).first().waitFor();
    await chooseSettings(german, { Pressure: 'kPa' });
    await expect.poll(() => german.getByLabel(/^999\.739\d* kPa/u).count(), { timeout: 20_000 }).toBe(1);
    expect(await german.getByLabel(/^400 kPa/u).count()).toBe(1);
    await keepScreen(german, 'units-plan');
  });

  test('WIN-131: a record that is opened in psi and degF and saved with another name is the same but for its name, and what is typed there is stored in kPa', async () => {
    await chooseSettings(german, { Pressure: 'psi', Temperature: 'degF' });
    await goToPage(german, 'Equipment');
    const change = async (label: string, text: string): Promise<Readonly<Record<string, unknown>>> => {
      await german.getByRole('button', { name: 'Change the record' }).click();
      const before = sent.length;
      await german.getByLabel(label, { exact: true }).first().fill(text);
      await german.getByLabel('Why it is changed').fill('tried in psi');
      await german.getByRole('button', { name: 'Save one change …' }).click();
      await german.getByRole('button', { name: 'Save it', exact: true }).click();
      await german.getByText(/^.*Version \d was saved/u).waitFor();
      const frame = sent.slice(before).find((text) => text.includes('"equipment.save"')) ?? '';
      return (/"document":(\{.*\}),"by"/u.exec(frame)?.[1] === undefined ? {} : JSON.parse(/"document":(\{.*\}),"by"/u.exec(frame)?.[1] ?? '')) as Readonly<Record<string, unknown>>;
    };
    const first = await change('Name of the record', 'Bench one');
    const sample = JSON.parse(readFileSync(samplePath('equipment'), 'utf8')) as Readonly<Record<string, unknown>>;
    expect({ ...first, name: sample['name'], changed: undefined }).toEqual({ ...sample, changed: undefined });
    const second = await change('Below the mean while an injector is open, at most, psi', '0,5');
    expect(second['pressure']).toEqual({ ...(sample['pressure'] as object), whileOpenKpa: 3.44737864658 });
    await keepScreen(german, 'units-equipment');
  });

  test('WIN-33, WIN-35, WIN-36: names that were given are offered, and dates follow the choice on every page that has one', async () => {
    await german.getByRole('button', { name: /^Settings/u }).click();
    await german.getByRole('textbox', { name: 'Operator' }).fill('C. Tester');
    await german.getByRole('button', { name: /^Close: /u }).click();
    await german.getByRole('button', { name: /^Settings/u }).click();
    await german.getByLabel('Who has worked here').selectOption('B. Tester');
    expect(await violations(german)).toEqual([]);
    await keepScreen(german, 'units-settings');
    await german.getByRole('button', { name: /^Close: /u }).click();
    await german.getByRole('button', { name: 'Settings (B. Tester)' }).waitFor();
  });
});
