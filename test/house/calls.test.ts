/** A run that needs a person, in a real browser and with a real receiver on this machine. */
import { rmSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import type { Browser } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { samplePlan, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';
import { browserPath, complaintsOf, goToPage, HostProcess, keepScreen, launchBrowser, startRun, violations, workUnder } from '../builders/window.ts';

const plan = samplePlan('small-plan', (one) => ({ ...withoutLeakChecks(one), axes: { ...one.axes, voltageV: [14], widthMs: [3, 4] } }));

/** Runs in the page before anything else: what was sounded and shown is counted where the browser is asked for it. */
const count = `
  window.heard = { tones: 0, notices: [] };
  const real = AudioContext.prototype.createOscillator;
  AudioContext.prototype.createOscillator = function () { window.heard.tones += 1; return real.call(this); };
  const Shown = window.Notification;
  window.Notification = class extends Shown { constructor(title, more) { super(title, more); window.heard.notices.push(title + ' | ' + more.body); } };
`;

describe.skipIf(browserPath === null)('a run that needs a person', () => {
  let browser: Browser;
  let folder = '';
  let host: HostProcess;
  const heard: { kind: string; text: string; run: { plan: string } | null }[] = [];
  const server = createServer((request, response) => {
    let body = '';
    request.on('data', (bytes: Buffer) => (body += bytes.toString('utf8')));
    request.on('end', () => {
      heard.push(JSON.parse(body) as (typeof heard)[number]);
      // The first answer of each kind is a refusal: it has to come again.
      response.writeHead(heard.filter(({ kind }) => kind === heard.at(-1)?.kind).length === 1 && heard.at(-1)?.kind === 'trip' ? 503 : 204).end();
    });
  });

  beforeAll(async () => {
    buildWindow();
    folder = scratchFolder();
    browser = await launchBrowser('--autoplay-policy=user-gesture-required');
    host = await HostProcess.start(folder, { faults: [{ begins: { atBurst: 3 }, forS: 4, fault: { kind: 'emergency-stop' } }] });
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  }, 120_000);
  afterAll(async () => {
    if (browserPath === null) return;
    await browser.close();
    await host.end();
    server.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('WIN-22 HOST-80: calls on every page by banner, title, sound and notification, and out of the house until it has arrived', async () => {
    const context = await browser.newContext({ viewport: { width: 1366, height: 768 }, permissions: ['notifications'] });
    await context.addInitScript(count);
    const page = await context.newPage();
    page.setDefaultTimeout(30_000);
    const complaints = complaintsOf(page);
    await page.goto(host.address);
    await workUnder(page, 'A. Tester');
    await page.getByRole('button', { name: /^Settings/ }).click();
    await page.getByLabel(/^Sound/).selectOption({ label: 'Horn' });
    await page.getByLabel('It is shown').selectOption({ label: 'Also as a notification of the system' });
    await page.getByRole('button', { name: 'Try sound and notification' }).click();
    await page.getByText(/It has sounded.*A notification was shown/).waitFor();
    await page.getByLabel('Webhook of whoever is on call').fill(`http://127.0.0.1:${(server.address() as AddressInfo).port}/ring`);
    await page.getByRole('button', { name: 'Keep this address' }).click();
    await page.getByText(/^Kept: calls are sent to/).waitFor();
    await page.getByRole('button', { name: 'Send a test call' }).click();
    await page.getByText(/it has arrived\.$/).waitFor();
    expect(heard.map(({ kind }) => kind)).toEqual(['test']);
    await keepScreen(page, 'settings-1366');
    expect(await violations(page)).toEqual([]);
    await page.keyboard.press('Escape');
    const tonesBefore = await page.evaluate<number>('window.heard.tones');

    await startRun(page, folder, plan, 4);
    await goToPage(page, 'Plans');
    const link = page.getByRole('link', { name: 'To the run' });
    await link.waitFor({ timeout: 60_000 });
    await expect.poll(() => page.title()).toMatch(/^▲ Tripped – Plans/);
    await expect.poll(() => page.evaluate<number>('window.heard.tones')).toBeGreaterThan(tonesBefore);
    expect(await page.evaluate<string[]>('window.heard.notices')).toContainEqual(expect.stringMatching(/^Railhouse: Tripped \| Tripped.*emergency stop/i) as string);
    // Refused once, it comes again.
    await expect.poll(() => heard.filter(({ kind }) => kind === 'trip').length, { timeout: 30_000 }).toBe(2);
    expect(heard.at(-1)).toMatchObject({ kind: 'trip', run: { plan: plan.name }, text: expect.stringMatching(/emergency stop/i) as string });
    for (const name of ['Bench', 'Injectors', 'Results', 'Reports', 'Archive']) {
      await goToPage(page, name);
      await link.waitFor();
      await expect.poll(() => page.title(), { message: name }).toBe(`▲ Tripped – ${name} – Railhouse`);
    }
    await keepScreen(page, 'calls-banner');
    expect(await violations(page)).toEqual([]);
    await page.getByRole('button', { name: 'I have heard it' }).click();
    const quiet = await page.evaluate<number>('window.heard.tones');
    await page.waitForTimeout(9000);
    expect(await page.evaluate<number>('window.heard.tones')).toBe(quiet);
    // The banner stays as long as what it calls for.
    await link.click();
    await page.keyboard.press('Alt+k');
    await page.getByText('Paused', { exact: true }).waitFor();
    await expect.poll(() => page.title()).toBe('Run – Railhouse');
    // A pause that somebody asked for, and an acknowledged trip, call nobody; the end does.
    await page.keyboard.press('Alt+l');
    await page.getByRole('button', { name: 'Finish early' }).last().click();
    await expect.poll(() => page.title(), { timeout: 30_000 }).toMatch(/^▲ Run ended/);
    await expect.poll(() => heard.filter(({ kind }) => kind === 'end').length, { timeout: 30_000 }).toBe(1);
    expect(new Set(heard.map(({ kind }) => kind))).toEqual(new Set(['test', 'trip', 'end']));
    expect(complaints).toEqual([]);
  });
});
