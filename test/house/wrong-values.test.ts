/** What forms say of numbers that are outside of their limits, in the units that a person chose. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { goToPlace, labInto, places, runIn } from '../builders/places.ts';
import { browserPath, chooseSettings, goToPage, keepScreen, openWindow, type OpenedWindow } from '../builders/window.ts';

const formsIn = ['plan-editor', 'equipment-form', 'type-form', 'meter-check-form', 'qualification-sheet', 'visit-form', 'layout-editor', 'results-maps', 'report-details'];

/** In the page: every problem that is seen beside a field or in a list, with the unit of its field where that is one of choice. */
const seenProblems = `(() => [...document.querySelectorAll('.field-problem, .plan-problem-list li, [slot=errorMessage], .react-aria-FieldError, .field-hint, [slot=description]')].filter((one) => one.checkVisibility()).map((one) => one.innerText.trim()).filter((text) => text !== ''))()`;

/** In the page: types a text into every field that takes one, as the browser tells of it. */
const typeEverywhere = (text: string): string => `(async () => {
  const set = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value').set;
  for (const field of [...document.querySelectorAll('#content input:not([type]), #content input[type=text]')]) {
    if (!field.checkVisibility() || field.disabled || field.placeholder.startsWith('add,')) continue;
    set.call(field, ${JSON.stringify(text)});
    field.dispatchEvent(new Event('input', { bubbles: true }));
    await new Promise((done) => setTimeout(done));
  }
})()`;

describe.skipIf(browserPath === null)('numbers outside of their limits', { timeout: 600_000 }, () => {
  let opened: OpenedWindow;
  let run = '';
  beforeAll(async () => {
    opened = await openWindow({ prepare: labInto });
    run = runIn(opened.folder);
  }, 120_000);
  afterAll(() => opened.close());

  test('WIN-206: every form names limits and what was typed in psi and degF, with the unit, and fields by their labels', async () => {
    const { page } = opened;
    page.setDefaultTimeout(20_000);
    await chooseSettings(page, { Pressure: 'psi', Temperature: 'degF' });
    await page.getByRole('button', { name: 'Connect', exact: true }).click();
    await page.getByRole('heading', { name: 'Readings' }).waitFor();
    const problems = new Map<string, string[]>();
    const pictured = ['plan-editor', 'meter-check-form', 'report-details'];
    const keep = async (name: string): Promise<void> => void problems.set(name, [...(problems.get(name) ?? []), ...(await page.evaluate<string[]>(seenProblems))]);
    await page.getByLabel('Rail pressure, gauge').fill('99999');
    await keep('by-hand');
    for (const place of places.filter(({ name }) => formsIn.includes(name))) {
      for (const text of ['-99999', '9999999']) {
        await goToPlace(page, text.startsWith('-') ? place : { hash: place.hash }, run);
        if (place.name === 'report-details' && text.startsWith('-')) await page.getByRole('button', { name: 'Another limit' }).click();
        await page.evaluate(typeEverywhere(text));
        await keep(place.name);
        if (text.startsWith('-') && pictured.includes(place.name)) await keepScreen(page, `wrong-${place.name}`);
      }
      await goToPage(page, 'Archive');
    }
    const all = [...problems].flatMap(([name, texts]) => texts.map((text) => `${name}: ${text}`));
    const house = all.filter((text) => /kPa|°C|degC/u.test(text) && !/20 °C|100 kPa/u.test(text));
    const codes = all.filter((text) => /\b[a-z]+[A-Z]\w*|\w\[\d+\]/u.test(text.replaceAll(/\b(?:kPa|mL|mV|mA|mg)\b/gu, '')));
    expect({ house, codes }).toEqual({ house: [], codes: [] });
    for (const [name, unit] of [['by-hand', 'psi'], ['plan-editor', 'psi'], ['equipment-form', 'psi'], ['type-form', 'psi'], ['meter-check-form', 'psi'], ['qualification-sheet', 'psi'], ['report-details', 'psi']] as const) {
      expect(problems.get(name)?.filter((text) => text.includes(` ${unit}`) && /but it is|^Give /u.test(text)), name).not.toEqual([]);
    }
    expect(opened.complaints).toEqual([]);
  });
});
