import { renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { sampleEquipment, samplePlan, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, complaintsOf, HostProcess, keepScreen, launchBrowser, violations } from '../builders/window.ts';

let browser: Browser;
let folder = '';
let host: HostProcess;
const folders: string[] = [];

/** Points fail at once, and there is no second pass: what fails is for a person to measure again. */
const strict = samplePlan('small-plan', (plan) => ({
  ...withoutLeakChecks(plan),
  axes: { ...plan.axes, voltageV: [14], widthMs: [3, 4, 5, 6, 8] },
  condition: { ...plan.condition, timeoutS: 3 },
  repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 },
  guards: [],
  // Points are to fail here, one after another for one cause, without anybody being called.
  byItself: { ...plan.byItself, sameCause: 0 },
}));
/** The rail falls a little short of its pressure for a while: points fail for it, and no guard stops the run. */
const pressureFault = { faults: [{ begins: { atBurst: 7 }, forS: 12, fault: { kind: 'pressure-loss', toKpa: 388 } }] };

beforeAll(async () => {
  if (browserPath === null) return;
  buildWindow();
  browser = await launchBrowser();
});
afterAll(async () => {
  if (browserPath === null) return;
  await browser.close();
  for (const old of folders) rmSync(old, { recursive: true, force: true });
});
beforeEach(() => {
  folder = scratchFolder();
  folders.push(folder);
});
afterEach(async ({ task }) => {
  for (const context of browser.contexts()) {
    // What was to be seen where it was waited for in vain.
    if (task.result?.state === 'fail') for (const page of context.pages()) await keepScreen(page, `failed-${task.name.slice(0, 40).replaceAll(/\W+/g, '-')}`);
    await context.close();
  }
  await host.end();
});

async function opened(address: string, locale = 'en-US', named = true): Promise<{ page: Page; complaints: string[] }> {
  const page = await (await browser.newContext({ viewport: { width: 1280, height: 900 }, acceptDownloads: true, locale })).newPage();
  page.setDefaultTimeout(20_000);
  const complaints = complaintsOf(page);
  await page.goto(address);
  await page.getByRole('heading', { level: 1 }).waitFor();
  // RUN-113: a window asks at first use, and goes by no name before.
  if (named) {
    await page.getByLabel('Your name').fill('A. Tester');
    await page.getByRole('button', { name: 'Work under this name' }).click();
    await page.getByRole('button', { name: 'Settings (A. Tester)' }).waitFor();
  }
  return { page, complaints };
}

const go = (page: Page, name: string): Promise<void> => page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name, exact: true }).click();

async function connect(page: Page, speed: number): Promise<void> {
  await go(page, 'Bench');
  await page.getByLabel('Speed', { exact: true }).fill(String(speed));
  await page.getByRole('button', { name: 'Connect', exact: true }).click();
  await page.getByRole('heading', { name: 'Readings' }).waitFor();
}

async function savePlan(page: Page, plan: object): Promise<void> {
  await go(page, 'Plans');
  const file = join(folder, 'plan.json');
  writeFileSync(file, JSON.stringify(plan));
  // The page Bench, which may still be there, takes a file too.
  await page.getByLabel('Plan file', { exact: true }).setInputFiles(file);
  await page.getByRole('button', { name: /^Save/ }).first().click();
  await page.getByText(/Saved as version 1/).waitFor();
}

async function startRun(page: Page): Promise<void> {
  await go(page, 'Run');
  await page.getByLabel('Operator', { exact: true }).fill('A. Tester');
  await page.getByRole('button', { name: 'Open the run and start' }).click();
  await page.getByRole('heading', { name: 'Points' }).waitFor();
}

const counts = (page: Page) => page.getByRole('main').getByText(/^\d+ of 10 points accepted/).first();

/** Points accepted so far; 0 while the page does not say. */
const accepted = async (page: Page): Promise<number> => ((await counts(page).count()) === 0 ? 0 : Number.parseInt(await counts(page).innerText(), 10));
const someAccepted = (page: Page, least: number): Promise<void> =>
  expect.poll(() => accepted(page), { timeout: 60_000 }).toBeGreaterThanOrEqual(least);

/** Runs in the page. */
const nameOfFocus = `(() => {
  const element = document.activeElement;
  const labels = [...(element?.labels ?? [])].map((label) => label.textContent);
  return [element?.getAttribute('aria-label'), ...labels, element?.textContent].find((text) => text?.trim())?.trim() ?? '';
})()`;

/** Presses Tab until what has the focus is called so; fails when a whole round does not come to it. */
async function tabTo(page: Page, name: RegExp): Promise<void> {
  for (let i = 0; i < 300; i += 1) {
    await page.keyboard.press('Tab');
    const called = await page.evaluate<string>(nameOfFocus);
    if (name.test(called)) return;
  }
  throw new Error(`Tab does not come to ${String(name)}.`);
}

describe.skipIf(browserPath === null)('the window, at the real host and the simulated bench', () => {
  it('plans a sweep, runs it, measures again what a pressure fault failed, shows results and exports them', async () => {
    host = await HostProcess.start(folder, pressureFault);
    const { page, complaints } = await opened(host.address);
    await connect(page, 20);
    await savePlan(page, strict);
    await startRun(page);
    await page.getByText(/^Ended: /).waitFor();
    const failed = page.getByRole('gridcell', { name: /failed/ });
    expect(await failed.count()).toBeGreaterThan(0);
    await failed.first().click();
    await expect.poll(() => page.getByRole('region', { name: 'Point', exact: true }).innerText()).toMatch(/pressure/i);
    await keepScreen(page, 'run-with-failed-points');

    await page.getByRole('button', { name: /^Measure all \d+ failed again/ }).click();
    await someAccepted(page, 10);
    expect(await failed.count()).toBe(0);
    // What failed is kept beside what was measured again.
    await page.getByRole('gridcell', { name: /2 attempts/ }).first().click();
    await expect.poll(() => page.getByRole('region', { name: 'Point', exact: true }).innerText()).toMatch(/Attempt 1: rejected[\s\S]*|Attempt 2: accepted/);
    await keepScreen(page, 'run-measured-again');

    await page.getByRole('link', { name: 'Results', exact: true }).last().click();
    await page.getByRole('heading', { name: 'Results', level: 1 }).waitFor();
    await page.getByRole('main').getByRole('table').first().waitFor();
    await keepScreen(page, 'results');

    await go(page, 'Archive');
    await page.getByText('Small plan').first().waitFor();
    await keepScreen(page, 'archive');
    await page.getByRole('row', { name: /Small plan/ }).click();
    await page.getByRole('button', { name: /^Export/ }).click();
    const download = page.waitForEvent('download');
    await page.getByRole('button', { name: 'Save attempts.csv' }).click();
    expect(await (await download).failure()).toBeNull();
    expect(complaints).toEqual([]);
  });

  it('goes on when the browser is closed and opened again in mid run', async () => {
    host = await HostProcess.start(folder, {});
    const first = await opened(host.address);
    await connect(first.page, 4);
    await savePlan(first.page, strict);
    await startRun(first.page);
    await someAccepted(first.page, 1);
    await first.page.context().close();

    const { page, complaints } = await opened(host.address);
    await go(page, 'Run');
    await someAccepted(page, 2);
    await someAccepted(page, 10);
    expect(complaints).toEqual([]);
  });

  it('WIN-15 WIN-58 continues a run whose host was killed', async () => {
    host = await HostProcess.start(folder, {});
    const first = await opened(host.address);
    await connect(first.page, 4);
    await savePlan(first.page, strict);
    await startRun(first.page);
    await someAccepted(first.page, 2);
    await host.kill();
    await keepScreen(first.page, 'host-gone');
    await first.page.context().close();

    host = await HostProcess.start(folder, {});
    const { page, complaints } = await opened(host.address);
    await connect(page, 20);
    // The first page leads to it.
    await go(page, 'Bench');
    await keepScreen(page, 'bench-after-kill');
    await page.getByRole('button', { name: 'To the unfinished run' }).click();
    await page.getByText(/unfinished and is shown from the archive/).waitFor();
    // WIN-58: nothing is being measured any more, and it says what was when the program ended.
    await page.getByText(/The program that measured ended without a word after .*, during attempt \d+ of point \d+/).waitFor();
    expect(await page.locator('.run-left').getByText(/\d running/).count()).toBe(0);
    expect(await page.getByText(/Attempt \d+: going on/).count()).toBe(0);
    await keepScreen(page, 'run-found-unfinished');
    await page.getByRole('button', { name: 'Open it on the bench' }).click();
    await page.getByRole('button', { name: /^Resume/ }).click();
    await someAccepted(page, 10);
    expect(complaints).toEqual([]);
  });

  it('is worked by the keyboard alone: connect, new sweep, run, pause, resume, finish, measure a point again', async () => {
    host = await HostProcess.start(folder, {});
    const { page, complaints } = await opened(host.address);
    const press = (key: string): Promise<void> => page.keyboard.press(key);
    await press('Alt+b');
    await tabTo(page, /^Speed/);
    await press('Control+a');
    await page.keyboard.type('20');
    await tabTo(page, /^Connect$/);
    await press('Enter');
    await page.getByRole('heading', { name: 'Readings' }).waitFor();
    await press('Alt+i');
    await tabTo(page, /^Book in an injector/);
    await press('Enter');
    // The serial number has the focus, because order and type mostly stay; here they are typed too.
    await press('Shift+Tab');
    await press('Shift+Tab');
    for (const text of ['K-1', 'RH-P4', 'RH4-0117', '12', 'new', '1']) {
      await page.keyboard.type(text);
      await press('Tab');
    }
    await tabTo(page, /^Save/);
    await press('Enter');
    await page.getByText(/1 of 1 shown, 1 mounted/).waitFor();
    await press('Alt+p');
    await page.getByText('No plan is saved yet').waitFor();
    await tabTo(page, /^New sweep/);
    await press('Enter');
    // The sheet of the new plan is worked out first.
    await expect.poll(() => page.getByRole('button', { name: /^Save/ }).first().isEnabled(), { timeout: 30_000 }).toBe(true);
    await tabTo(page, /^Save/);
    await press('Enter');
    await page.getByText(/Saved as version 1/).waitFor();
    await press('Alt+r');
    await tabTo(page, /^Operator/);
    await page.keyboard.type('A. Tester');
    // The button says that the plan is being checked, until it is.
    await expect.poll(() => page.getByRole('button', { name: 'Open the run and start' }).isEnabled(), { timeout: 30_000 }).toBe(true);
    await tabTo(page, /^Open the run and start/);
    await press('Enter');
    await page.getByRole('heading', { name: 'Points', exact: true }).waitFor();
    await page.getByRole('main').getByText(/Proving the watchdog|Measuring/).first().waitFor();
    await press('Alt+s');
    await page.getByText('Paused', { exact: true }).waitFor();
    await press('Alt+g');
    await page.getByText('Paused', { exact: true }).waitFor({ state: 'detached' });
    await expect.poll(() => page.getByRole('gridcell', { name: /accepted/ }).count(), { timeout: 90_000 }).toBeGreaterThan(0);
    await press('Alt+l');
    await tabTo(page, /^Finish/);
    await press('Enter');
    await page.getByText(/^Ended: /).waitFor({ timeout: 60_000 });
    // The first cell of the sheet on which the run was last; how often it was measured until then is chance.
    await tabTo(page, /: (accepted|planned|failed|cut short)/);
    await press('Control+Home');
    const cell = page.getByRole('grid').getByRole('gridcell').first();
    const name = (await cell.getAttribute('aria-label')) ?? '';
    const attempts = Number(/(\d+) attempts?$/.exec(name)?.[1] ?? 0);
    await expect.poll(() => page.evaluate<string>(nameOfFocus)).toBe(name);
    await press('m');
    await expect.poll(() => page.evaluate<string>(nameOfFocus), { timeout: 90_000 }).toMatch(new RegExp(`${attempts + 1} attempts?$`));
    await keepScreen(page, 'run-by-keyboard');
    expect(complaints).toEqual([]);
  });

  it('RUN-113 RUN-110 asks who works here, loads an equipment record, and measures out of date by a choice that every page repeats', async () => {
    host = await HostProcess.start(folder, {});
    const { page, complaints } = await opened(host.address, 'en-US', false);
    await page.getByText('Who is the operator?').waitFor();
    await connect(page, 20);
    const record = join(folder, 'equipment.json');
    const load = async (change: object): Promise<void> => {
      writeFileSync(record, JSON.stringify({ ...sampleEquipment(), ...change }));
      await page.getByLabel('Equipment record file', { exact: true }).setInputFiles(record);
    };
    await load({ driver: undefined });
    await page.getByText(/equipment.json was not taken. driver: This field is missing/).waitFor();
    const { pressure } = sampleEquipment();
    await load({ pressure: { ...pressure, certificate: { number: 'P-1', date: '2020-01-01', validUntil: '2021-01-01' } } });
    await page.getByText('equipment.json was taken.').waitFor();
    await keepScreen(page, 'equipment-record');

    await page.getByLabel('Your name').fill('A. Tester');
    await page.keyboard.press('Enter');
    await savePlan(page, strict);
    await go(page, 'Run');
    await page.getByText(/P-1, ended on 2021-01-01/).first().waitFor();
    await page.getByLabel(/Measure although instruments or fluid are out of date/).check();
    await page.getByRole('button', { name: 'Open the run and start' }).click();
    await someAccepted(page, 1);
    for (const name of ['Run', 'Results']) {
      await go(page, name);
      await page.getByText('Not traceable.').waitFor();
    }
    await go(page, 'Archive');
    await page.getByRole('row', { name: /Small plan/ }).click();
    await page.getByText('Not traceable.').waitFor();
    await keepScreen(page, 'not-traceable');
    expect(complaints).toEqual([]);
  });

  it('WIN-2 WIN-13 stops by its key from inside a field and with a dialog open, without a question', async () => {
    host = await HostProcess.start(folder, {});
    const { page } = await opened(host.address);
    await connect(page, 2);
    await savePlan(page, strict);
    await startRun(page);
    await page.getByText(/Measuring|Pulsing|Settling|Setting|Waiting/i).first().waitFor();
    await page.getByRole('button', { name: /^Settings/ }).click();
    await page.getByRole('dialog').waitFor();
    await page.keyboard.press('F9');
    await page.keyboard.press('Escape');
    // The banner ends when the readings show a safe bench, and goes.
    await page.getByText(/The readings of the bench show pulses off/).waitFor();
    // STOP is not called the emergency stop, and the end of the run carries no tick.
    await page.getByText('Ended: stopped with STOP', { exact: true }).waitFor();
    expect(await page.getByRole('main').innerText()).not.toMatch(/(by|Stopped by) (an )?emergency stop/i);
    await page.getByText(/STOP was pressed by/).first().waitFor();
    expect(await page.getByText(/Nothing has gone wrong/).count()).toBe(0);
    expect(await page.locator('.frame-now .status-good').filter({ hasText: 'Run' }).count()).toBe(0);
    await keepScreen(page, 'stopped-run');
    await page.getByText(/The readings of the bench show/).waitFor({ state: 'detached' });
    await go(page, 'Bench');
    await page.getByText(/Disarmed/).first().waitFor();
    await keepScreen(page, 'stopped');
  });

  it.each(['en-US', 'de-DE'])('WIN-1: drives what was typed, with a point and with a comma, in a browser of %s', async (locale) => {
    host = await HostProcess.start(folder, {});
    const { page, complaints } = await opened(host.address, locale);
    await connect(page, 4);
    // What the host says that it did, as it says it.
    let heard: string[] = [];
    page.on('websocket', (socket) => socket.on('framereceived', ({ payload }) => heard.push(payload.toString())));
    await page.reload();
    await page.getByRole('heading', { name: 'Readings' }).waitFor();
    const typed = async (field: string, text: string): Promise<void> => {
      await page.getByLabel(field, { exact: true }).fill('');
      await page.getByLabel(field, { exact: true }).pressSequentially(text);
      await page.keyboard.press('Tab');
    };
    /** Asks until it is granted: a supply and a burst before it take their time. What was done in all that time is judged. */
    const done = async (button: RegExp, what: RegExp): Promise<string[]> => {
      heard = [];
      const found = (): string[] => heard.flatMap((text) => what.exec(text)?.[0] ?? []);
      await expect.poll(async () => {
        await page.getByRole('button', { name: button }).click();
        await page.waitForTimeout(200);
        return found().length;
      }, { timeout: 30_000 }).toBeGreaterThan(0);
      return [...new Set(found())];
    };
    const supply = /The supply is set to [\d.]+ V/;
    const burst = /\d+ pulses of [\d.]+ ms every [\d.]+ ms were started/;
    // Each of them ten times as much would be done as well, so what is said is what decides.
    await typed('Supply', '12');
    await done(/^Set supply/, supply);
    await typed('Count', '50');
    const driven: string[][] = [];
    for (const width of ['1,5', '1.6']) {
      await typed('Pulse width', width);
      driven.push(await done(/^Fire 50 pulses/, burst));
    }
    for (const volts of ['1,2', '1.4']) {
      await typed('Supply', volts);
      driven.push(await done(/^Set supply/, supply));
    }
    expect(driven).toEqual([
      ['50 pulses of 1.5 ms every 20 ms were started'], ['50 pulses of 1.6 ms every 20 ms were started'],
      ['The supply is set to 1.2 V'], ['The supply is set to 1.4 V'],
    ]);
    // What cannot be read stays, is named, and drives nothing.
    await typed('Pulse width', '1.000,5');
    expect(await page.getByLabel('Pulse width', { exact: true }).inputValue()).toBe('1.000,5');
    await page.getByText(/"1\.000,5" cannot be read as one number/).waitFor();
    expect(await page.getByRole('button', { name: /^Fire/ }).getAttribute('aria-disabled')).toBe('true');
    await keepScreen(page, `bench-comma-${locale}`);
    // WIN-3: a comma in a list of the plan.
    await savePlan(page, strict);
    const entry = page.getByRole('textbox', { name: /^Pulse width in ms/ });
    const widths = (): Promise<string[]> => page.getByRole('list', { name: 'Values of Pulse width' }).getByRole('button').allInnerTexts();
    await entry.fill('1,8');
    await entry.press('Enter');
    await page.getByRole('button', { name: 'It means 1.8', exact: true }).click();
    await entry.fill('2,2; 10,5');
    await entry.press('Enter');
    await expect.poll(async () => (await widths()).map(Number.parseFloat)).toEqual([3, 4, 5, 6, 8, 1.8, 2.2, 10.5]);
    await entry.fill('7,9');
    await entry.press('Enter');
    await page.getByText(/Does it mean 7\.9, or 7 and 9\?/).first().waitFor();
    await keepScreen(page, `plans-comma-${locale}`);
    expect(complaints).toEqual([]);
  });

  it('WIN-10, WIN-16, RUN-150: a trip by the emergency stop has its own words, pressing twice does not drive the bench, and a refusal goes with its cause', async () => {
    host = await HostProcess.start(folder, { faults: [{ begins: { atBurst: 3 }, forS: 4, fault: { kind: 'emergency-stop' } }] });
    const { page, complaints } = await opened(host.address);
    await connect(page, 2);
    await savePlan(page, strict);
    await startRun(page);
    await page.getByText('Tripped', { exact: true }).waitFor();
    await page.getByText(/The emergency stop (of the bench )?is pressed/).first().waitFor();
    expect(await page.getByRole('main').innerText()).not.toMatch(/Close the interlock/i);
    await page.setViewportSize({ width: 1366, height: 768 });
    await keepScreen(page, 'tripped-by-emergency-stop');
    await page.waitForTimeout(2500);
    // The key that goes on does nothing here, and the key that acknowledges does not go on.
    await page.keyboard.press('Alt+g');
    await page.getByText(/The run has tripped; find the cause and acknowledge it first/).waitFor();
    await page.keyboard.press('Alt+k');
    await page.keyboard.press('Alt+k');
    await page.keyboard.press('Alt+g');
    await page.getByText('Paused', { exact: true }).waitFor();
    await page.getByText(/The run has tripped; find the cause and acknowledge it first/).waitFor({ state: 'detached' });
    await page.keyboard.press('Alt+g');
    await page.getByText(/rests for 2 s after an acknowledgement/).waitFor();
    await page.waitForTimeout(1500);
    expect(await page.getByText('Paused', { exact: true }).count()).toBe(1);
    await page.keyboard.press('Alt+g');
    await page.getByText(/rests for 2 s after an acknowledgement/).waitFor({ state: 'detached' });
    await someAccepted(page, 10);
    expect(complaints).toEqual([]);
  });

  it('WIN-11: an armed bench is told in words on every page', async () => {
    host = await HostProcess.start(folder, {});
    const { page, complaints } = await opened(host.address);
    await connect(page, 4);
    const header = page.getByRole('group', { name: 'How things stand' });
    await header.getByText('Disarmed', { exact: true }).waitFor();
    await page.getByRole('button', { name: /^Set supply/ }).click();
    for (const name of ['Bench', 'Injectors', 'Plans', 'Run', 'Results', 'Reports', 'Archive']) {
      await go(page, name);
      await page.getByRole('heading', { name, level: 1 }).waitFor();
      await header.getByText('ARMED: drivers are energised').waitFor();
    }
    await keepScreen(page, 'armed-on-archive');
    await page.keyboard.press('F9');
    await header.getByText('Disarmed', { exact: true }).waitFor();
    expect(complaints).toEqual([]);
  });

  it('WIN-14: after an abort one press measures every point that has no result', async () => {
    host = await HostProcess.start(folder, {});
    const { page, complaints } = await opened(host.address);
    await connect(page, 4);
    await savePlan(page, strict);
    await startRun(page);
    await someAccepted(page, 2);
    await page.keyboard.press('Alt+x');
    await page.getByRole('button', { name: 'Abort the run' }).last().click();
    await page.getByText('Ended: aborted', { exact: true }).waitFor();
    await keepScreen(page, 'aborted');
    // Also from the archive, where nothing is open on the bench.
    await page.getByRole('button', { name: /Close the run/ }).click();
    await page.getByRole('row', { name: /Small plan/ }).click();
    await page.getByText(/This run has ended and is shown from the archive/).waitFor();
    await keepScreen(page, 'aborted-from-archive');
    await page.getByRole('button', { name: /^Measure the \d points that have no result/ }).click();
    await someAccepted(page, 10);
    await page.getByText('Ended: complete', { exact: true }).waitFor();
    expect(await page.getByRole('button', { name: /no result/ }).count()).toBe(0);
    expect(complaints).toEqual([]);
  });

  it('ARC-45: says on every page that the archive has gone astray, opens no run meanwhile, and is well again when the file lies there again', async () => {
    host = await HostProcess.start(folder, { faults: [] });
    const { page, complaints } = await opened(host.address);
    const notice = page.getByText(/^Archive\. The archive .* was removed or renamed while this program had it open/);
    await connect(page, 20);
    await savePlan(page, strict);
    expect(await notice.count()).toBe(0);
    const file = join(folder, 'archive.sqlite');
    renameSync(file, `${file}.elsewhere`);
    await notice.waitFor();
    expect(await notice.innerText()).toMatch(/No run can be opened and nothing can be saved until it lies there again\. All that was committed until then was saved to .* and read back/);
    for (const name of ['Bench', 'Injectors', 'Plans', 'Run', 'Results', 'Reports', 'Archive']) {
      await go(page, name);
      await page.getByRole('heading', { name, level: 1 }).waitFor();
      expect(await notice.count(), name).toBe(1);
    }
    expect(await violations(page)).toEqual([]);
    await keepScreen(page, 'archive-astray');
    // Also a window that comes now is told.
    await page.reload();
    await notice.waitFor();
    await go(page, 'Run');
    await page.getByLabel('Operator', { exact: true }).fill('A. Tester');
    await page.getByRole('button', { name: 'Open the run and start' }).click();
    // Once in the notice, and once as the answer.
    await expect.poll(() => page.getByText(/was removed or renamed while this program had it open/).count()).toBe(2);
    await keepScreen(page, 'archive-astray-run-refused');
    renameSync(`${file}.elsewhere`, file);
    await notice.waitFor({ state: 'detached' });
    await page.getByRole('button', { name: 'Open the run and start' }).click();
    await page.getByRole('heading', { name: 'Points' }).waitFor();
    expect(complaints).toEqual([]);
  });

  it('has no violation of WCAG 2.2 AA that axe finds, on any page, in both themes', async () => {
    host = await HostProcess.start(folder, pressureFault);
    const { page, complaints } = await opened(host.address);
    await connect(page, 20);
    await savePlan(page, strict);
    await startRun(page);
    await page.getByText(/^Ended: /).waitFor();
    for (const scheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme: scheme });
      for (const name of ['Bench', 'Injectors', 'Plans', 'Run', 'Results', 'Reports', 'Archive']) {
        await go(page, name);
        await page.getByRole('heading', { name, level: 1 }).waitFor();
        await page.waitForTimeout(400);
        await keepScreen(page, `${name.toLowerCase()}-${scheme}`);
        expect(await violations(page), `${name}, ${scheme}`).toEqual([]);
      }
    }
    expect(complaints).toEqual([]);
  });
});
