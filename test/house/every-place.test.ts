/** What every page and view holds to: units by choice, numbers that are rounded, and targets for gloves. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { goToPlace, labInto, places, runIn } from '../builders/places.ts';
import { browserPath, chooseSettings, keepScreen, openWindow, workUnder, type OpenedWindow } from '../builders/window.ts';

/** In the page: the texts that are seen, those of drawings and what stands in fields too. Hashes, ids, addresses, paths and times are none of a quantity. */
const seenTexts = `(() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const found = [];
  const tell = (text, holder) => { if (text.trim() !== '') found.push(text.trim().slice(0, 300) + ' <' + holder.tagName + '.' + (holder.getAttribute('class') ?? '') + '>'); };
  while (walker.nextNode()) {
    const { parentElement: holder, data } = walker.currentNode;
    if (holder.closest('.frame-foot, script, style, option:not(:checked), #result-of-nothing') || !(holder.tagName === 'OPTION' || holder.checkVisibility())) continue;
    tell(data, holder);
  }
  for (const field of document.querySelectorAll('input:not([type=hidden]):not([type=file]):not([type=range]), textarea')) if (field.checkVisibility()) { tell(field.value, field); tell(field.placeholder ?? '', field); }
  return found;
})()`;

/** Numbers with decimals and more than seven digits that count; times, days, ids, hashes and versions taken away. A whole number is a count, and no figure that was not rounded. */
function tooLong(text: string): readonly string[] {
  const plain = text
    .replaceAll(/[0-9a-f]{8}-[0-9a-f]{4}-\S+|\b(?=[0-9a-f]*[a-f])[0-9a-f]{8,}\b|\d{4}-\d\d-\d\d(?:T[\d:.]+Z?)?|\d\d:\d\d(?::\d\d(?:\.\d+)?)?|\S+\.(?:sqlite|json|csv)\b/gu, ' ')
    .match(/(?<![\w.,-])\d+[.,]\d+(?![\w.,]*\w)/gu);
  return (plain ?? []).filter((number) => number.replace(/[.,]/u, '').replace(/^0+/u, '').length > 7);
}

/** A definition that is bound to its unit; lines of a file, which say theirs. */
const definitions = /20 °C|100 kPa|pressure_kPa/u;

/** In the page: what is used by a finger and is smaller than 44 pixels either way. A box to tick counts with its label; a link inside of a sentence or of a table is none. */
const small = `(() => {
  const found = [];
  for (const element of document.querySelectorAll('button, a.button, summary, select, textarea, input:not([type=hidden]):not([type=file]), nav a, [data-point], [role=slider], .table-opens, .search-row')) {
    if (!element.checkVisibility({ visibilityProperty: true }) || element.closest('.skip-to, .unseen')) continue;
    const target = (element.type === 'checkbox' || element.type === 'radio') ? element.closest('label') ?? element : element.closest('.field-frame') ?? element;
    const { width, height } = target.getBoundingClientRect();
    if (width > 1 && (width < 43.5 || height < 43.5)) found.push((element.getAttribute('aria-label') ?? element.textContent ?? '').trim().slice(0, 40) + ' <' + element.tagName + '.' + (element.getAttribute('class') ?? '') + '> ' + Math.round(width) + ' x ' + Math.round(height));
  }
  const wide = document.documentElement.scrollWidth - innerWidth;
  if (wide > 0) found.push('the page is ' + wide + ' pixels wider than the window');
  return [...new Set(found)];
})()`;

/** Numbers of our own rules, and words that are none of the trade. */
const ourOwn = /\b(?:RUN|PRE|PLAN|RED|WIN|HOST|EQ|SCH|CMP|MA|ST|CH|LINE|ARC|REP)-\d+\b|dead-man|left over beside|put the run away|held against|stands? against|instruments leave|looks and self|changed nuisance|\bno such thing\b/iu;

describe.skipIf(browserPath === null)('every page and view', { timeout: 600_000 }, () => {
  let opened: OpenedWindow;
  let run = '';
  beforeAll(async () => {
    opened = await openWindow({ prepare: labInto });
    run = runIn(opened.folder);
  }, 120_000);
  afterAll(() => opened.close());

  test('WIN-130, WIN-132, WIN-183 with psi and degF no page shows kPa or degC, no number of a rule or word of our own, and no number is longer than seven digits', async () => {
    const page = await (await opened.browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await page.goto(opened.host.address);
    await workUnder(page, 'B. Tester');
    await page.getByRole('button', { name: 'Take control' }).click();
    await chooseSettings(page, { Pressure: 'psi', Temperature: 'degF' });
    const wrong: string[] = [];
    for (const place of places) {
      await goToPlace(page, place, run);
      for (const text of await page.evaluate<string[]>(seenTexts)) {
        if (ourOwn.test(text)) wrong.push(`${place.name}: ${text}`);
        if (/kPa|°C|degC/u.test(text.replace(/<[^>]*>$/u, '')) && !definitions.test(text)) wrong.push(`${place.name}: ${text}`);
        for (const number of tooLong(text)) wrong.push(`${place.name}: ${number} in ${text}`);
      }
      await keepScreen(page, `psi-${place.name}`);
    }
    expect(wrong).toEqual([]);
    await page.close();
  });

  test('WIN-132, WIN-138 in kPa and degC no number is longer than seven digits, and with targets for gloves nothing is smaller than 44 pixels', async () => {
    const { page } = opened;
    // Where another window has had it.
    const take = page.getByRole('button', { name: 'Take control' });
    if (await take.isVisible()) await take.click();
    await chooseSettings(page, { Targets: 'gloves' });
    const [long, little]: [string[], string[]] = [[], []];
    for (const place of places) {
      await goToPlace(page, place, run);
      for (const text of await page.evaluate<string[]>(seenTexts)) for (const number of tooLong(text)) long.push(`${place.name}: ${number} in ${text}`);
      for (const one of await page.evaluate<string[]>(small)) little.push(`${place.name}: ${one}`);
      await keepScreen(page, `gloves-${place.name}`);
    }
    for (const [name, key] of [['search', '/'], ['help', '?']] as const) {
      await page.keyboard.press('Escape');
      await page.locator('h1').first().click();
      await page.keyboard.press(key);
      await page.getByRole('dialog').waitFor();
      for (const one of await page.evaluate<string[]>(small)) little.push(`${name}: ${one}`);
      await keepScreen(page, `gloves-${name}`);
      await page.keyboard.press('Escape');
    }
    await page.getByRole('button', { name: /^Settings/u }).click();
    await page.getByRole('dialog').waitFor();
    for (const one of await page.evaluate<string[]>(small)) little.push(`settings: ${one}`);
    await keepScreen(page, 'gloves-settings');
    expect({ long, little }).toEqual({ long: [], little: [] });
    expect(opened.complaints).toEqual([]);
  });
});
