/** What others stated, a type, a Monte Carlo and certificates of instruments, on the pages Results and Bench in a browser. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { ControllerDocument } from '../../app/handover/document.ts';
import { browserPath, keepScreen, type OpenedWindow, openWindow, sweepInto, violations } from '../builders/window.ts';

const command = join(import.meta.dirname, '../../main/cli/main.ts');
const samples = join(import.meta.dirname, '../../main/samples');
let opened: OpenedWindow | undefined;
let folder = '';
let page: Page;
let complaints: string[];

function tablesInto(archives: string): void {
  sweepInto(archives);
  execFileSync(process.execPath, [command, 'tables', '--archive', join(archives, 'archive.sqlite'), '--as', 'csv,json,dcc', '--monte-carlo', '--parties', join(samples, 'parties.json'), '--to', join(archives, 'made')], { stdio: 'pipe' });
}

beforeAll(async () => {
  if (browserPath === null) return;
  opened = await openWindow({ prepare: tablesInto });
  ({ folder, page, complaints } = opened);
}, 600_000);

afterAll(() => opened?.close());

const made = (name: string): string => join(folder, 'made', name);
const partner = (rows: readonly string[]): string => {
  const path = join(folder, 'partner.csv');
  writeFileSync(path, ['injector;quantity;unit;voltage_V;pressure_kPa;period_ms;value;U95', ...rows, ''].join('\r\n'));
  return path;
};

describe.skipIf(browserPath === null)('hand-over on the pages', () => {
  it('CMP-12: a run is held against tables, a certificate and the CSV of a partner, and what cannot be read is said', async () => {
    await page.getByRole('link', { name: 'Results' }).click();
    await page.getByRole('link', { name: 'Compare', exact: true }).click({ timeout: 60_000 });
    const compare = (path: string): Promise<void> => page.getByLabel('File of results to compare with').setInputFiles(path);
    for (const [name, known] of [['tables.json', 'are taken out by name'], ['certificate.dcc.xml', 'are taken out by name'], ['tables.csv', 'is not known']] as const) {
      await compare(made(name));
      // Its own numbers: nothing differs.
      await page.getByText(new RegExp(`They agree: no .En. of \\d+ is above 1.*${known}`)).waitFor({ timeout: 60_000 });
      await page.getByRole('region', { name: `This run less ${name}` }).waitFor();
    }
    const { tables } = JSON.parse(readFileSync(made('tables.json'), 'utf8')) as ControllerDocument;
    const table = tables.find((t) => t.quantity === 'dead-time' && t.axes.length === 1);
    const cell = table?.cells[0];
    const volts = table?.axes[0]?.values[0];
    if (table === undefined || cell === undefined || !('value' in cell) || volts === undefined) throw new Error('no dead time');
    const factor = table.unit === 'ms' ? 1e3 : 1;
    const shifted = (cell.value * factor + 1.1 * Math.hypot(cell.U95 * factor, 6)).toFixed(3).replace('.', ',');
    await compare(partner([`${table.of};dead-time;us;${volts};400;;${shifted};6`, `"=HYPERLINK(""x"")";slope;g/s;${volts};400;;4;0,1`, '<img src=x onerror=alert(1)>;slope;g/s;12;400;;4;0,1']));
    const row = page.getByRole('region', { name: 'This run less partner.csv' }).getByRole('row').nth(1);
    await row.waitFor({ timeout: 60_000 });
    expect(await row.innerText()).toMatch(/dead time.*\t[−-]1\.10\t.*DIFFER \(a warning signal/s);
    await page.getByText('2 results are in partner.csv alone.').waitFor();
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'results-compare-file-1366');
    await compare(partner(['x;slope;furlong;12;400;;4;0,1']));
    await page.getByText(/row 2: .* Nothing was compared\./).waitFor({ timeout: 60_000 });
    expect(await page.getByRole('region', { name: 'This run less partner.csv' }).count()).toBe(0);
  }, 240_000);

  it('CMP-13: a type over all runs, as the command says it', async () => {
    await page.getByRole('link', { name: 'Type', exact: true }).click();
    await page.getByRole('button', { name: 'Work it out over all runs' }).click();
    await page.getByRole('region', { name: 'Injectors of type' }).waitFor({ timeout: 60_000 });
    const type = await page.getByRole('combobox', { name: /^Type/ }).inputValue();
    const lines = execFileSync(process.execPath, [command, 'type-spread', type, '--archive', join(folder, 'archive.sqlite'), '--json'], { encoding: 'utf8' }).trim().split('\n').map((line) => JSON.parse(line) as { text: string });
    expect(lines.length).toBeGreaterThan(1);
    for (const { text } of lines) expect(await page.getByText(text, { exact: true }).count()).toBe(1);
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'results-type-1366');
  }, 240_000);

  it('TAB-56: at one press a Monte Carlo stands beside each number, the same as in the file', async () => {
    await page.getByRole('link', { name: 'For a controller' }).click();
    await page.getByRole('button', { name: 'Monte Carlo beside each number' }).click();
    await page.getByText(/intervals of 95 % agree with value ± U/).first().waitFor({ timeout: 120_000 });
    const { tables } = JSON.parse(readFileSync(made('tables.json'), 'utf8')) as ControllerDocument;
    const table = tables.find((t) => t.quantity === 'dead-time');
    const first = table?.cells[0];
    if (table === undefined || first === undefined || !('value' in first) || first.monteCarlo === undefined) throw new Error('no trials in the file');
    const shown = await page.getByRole('region', { name: `Monte Carlo of ${table.title} of ${table.of}` }).locator('tbody td').first().innerText();
    const [, low = Number.NaN, high = Number.NaN] = (/^([\d.]+) to ([\d.]+)/.exec(shown) ?? []).map(Number);
    expect(shown.includes('DIFFERS from')).toBe(first.monteCarlo.verdict === 'differs');
    expect(Math.abs(low - first.monteCarlo.low)).toBeLessThan(0.03 * first.U95);
    expect(Math.abs(high - first.monteCarlo.high)).toBeLessThan(0.03 * first.U95);
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'results-monte-carlo-1366');
  }, 240_000);

  it('TAB-55: an instrument\'s certificate is shown before it is taken over, and what it leaves open is asked for', async () => {
    const record = JSON.parse(readFileSync(join(samples, 'equipment.json'), 'utf8')) as { readonly pressure: { readonly serialNumber: string } };
    const list = (name: string, values: string, more = '') => `<dcc:quantity><dcc:name><dcc:content lang="en">${name}</dcc:content></dcc:name><si:realListXMLList><si:valueXMLList>${values}</si:valueXMLList><si:unitXMLList>\\kilo\\pascal</si:unitXMLList>${more}</si:realListXMLList></dcc:quantity>`;
    const unsure = '<si:expandedUncXMLList><si:uncertaintyXMLList>0.5</si:uncertaintyXMLList><si:coverageFactorXMLList>2</si:coverageFactorXMLList><si:coverageProbabilityXMLList>0.95</si:coverageProbabilityXMLList></si:expandedUncXMLList>';
    const own = readFileSync(made('certificate.dcc.xml'), 'utf8').replace(/<dcc:item id="item-1">[\s\S]*?<\/dcc:item>/, (item) => item.replace(/<dcc:value>.*<\/dcc:value>/, `<dcc:value>${record.pressure.serialNumber}</dcc:value>`));
    const results = (/<dcc:list>[\s\S]*?<\/dcc:list>/.exec(own)?.[0] ?? '');
    // Of ours: one list of one item, and no word of not being traceable.
    const xml = own.replace(/<dcc:statements>[\s\S]*?<\/dcc:statements>/, '').replace(results, `<dcc:list>${list('reference', '100 400')}${list('reading', '100.1 399.9', unsure)}</dcc:list>`).replace(/(<\/dcc:measurementResult>)[\s\S]*(<\/dcc:measurementResults>)/, '$1$2');
    writeFileSync(join(folder, 'pressure.xml'), xml);
    await page.getByRole('link', { name: 'Bench' }).click();
    const part = page.getByRole('group', { name: 'Certificate of an instrument' });
    await part.getByRole('combobox', { name: /^Certificate of/ }).selectOption('meter');
    const choose = (path: string): Promise<void> => part.getByLabel('Digital calibration certificate of an instrument').setInputFiles(path);
    await choose(join(folder, 'pressure.xml'));
    await part.getByText(/If the instrument was replaced, say so\. Nothing was changed\./).waitFor({ timeout: 30_000 });
    await part.getByRole('combobox', { name: /^Certificate of/ }).selectOption('pressure');
    await choose(join(folder, 'pressure.xml'));
    await part.getByText(/names no day until which it holds/).waitFor({ timeout: 30_000 });
    await part.getByLabel('Holds until').fill('2031-02-30');
    await part.getByText('Write a day like 2027-03-31.').first().waitFor();
    await part.getByLabel('Holds until').fill('2031-02-28');
    await part.getByRole('button', { name: 'Read pressure.xml again' }).click();
    const change = part.getByRole('table', { name: /the record now, and as the certificate has it/ });
    await change.waitFor({ timeout: 30_000 });
    expect(await change.innerText()).toMatch(/Holds until\t\S+\t2031-02-28/);
    await keepScreen(page, 'bench-certificate-1366');
    expect(await violations(page)).toEqual([]);
    // Shown, and not taken: the record is as it was.
    expect(await part.getByText('was taken over').count()).toBe(0);
    await page.reload();
    await part.getByRole('combobox', { name: /^Certificate of/ }).waitFor({ timeout: 30_000 });
    await part.getByRole('combobox', { name: /^Certificate of/ }).selectOption('pressure');
    await choose(join(folder, 'pressure.xml'));
    await part.getByLabel('Holds until').fill('2031-02-28');
    await part.getByRole('button', { name: 'Read pressure.xml again' }).click();
    await change.waitFor({ timeout: 30_000 });
    expect(await change.innerText()).toMatch(/Holds until\t(?!2031-02-28)\S+\t2031-02-28/);
    await part.getByRole('button', { name: 'Take it over' }).click();
    await part.getByText(/was taken over\. It holds for runs that are opened from now on\./).waitFor({ timeout: 30_000 });
    await choose(join(folder, 'pressure.xml'));
    await change.waitFor({ timeout: 30_000 });
    expect(await change.innerText()).toMatch(/Holds until\t2031-02-28\t2031-02-28/);
    expect(complaints).toEqual([]);
  }, 240_000);
});
