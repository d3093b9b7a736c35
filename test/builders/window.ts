/** The built window in a real browser, at the real host on loopback with the simulated bench. */
import { execFileSync, spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { AxeBuilder } from '@axe-core/playwright';
import { chromium, type Browser, type BrowserContext, type Page } from 'playwright';
import type { Plan } from '../../app/plan/plan.ts';
import { buildWindow } from '../../main/cli/build.ts';
import { samplePlan, scratchFolder } from './in-process.ts';

const root = join(import.meta.dirname, '..', '..');
/** Ignored by git: for a person to look at after a test run. */
const screenshots = join(root, 'test', '.out', 'screens');

/** The browser of the machine; null: none, and why tests in a browser are left out. */
export const browserPath = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'].find((path) => existsSync(path)) ?? null;

/** Rejects where there is no browser. */
export async function launchBrowser(...args: readonly string[]): Promise<Browser> {
  if (browserPath === null) throw new Error('There is no browser on this machine. Install Chromium.');
  return chromium.launch({
    executablePath: browserPath,
    args: ['--no-sandbox', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--disable-quic', ...args],
  });
}

/** The host as a user starts it. */
export class HostProcess {
  readonly address: string;
  readonly #child: ChildProcess;

  private constructor(child: ChildProcess, address: string) {
    this.#child = child;
    this.address = address;
  }

  /** `listen` 'kept': where the last start was (HOST-107). */
  static async start(folder: string, scenario: object, listen: number | 'kept' = 0): Promise<HostProcess> {
    const scenarioFile = join(folder, 'scenario.json');
    writeFileSync(scenarioFile, JSON.stringify({ scenarioVersion: 1, ...scenario }));
    const child = spawn(
      process.execPath,
      [join(root, 'main/cli/main.ts'), 'window', '--archive', join(folder, 'archive.sqlite'), '--scenario', scenarioFile, ...(listen === 'kept' ? [] : ['--listen', String(listen)])],
      { stdio: ['ignore', 'pipe', 'inherit'] },
    );
    let said = '';
    const address = await new Promise<string>((resolve, reject) => {
      child.stdout.on('data', (bytes: Buffer) => {
        said += bytes.toString();
        const found = /http:\/\/\S+/.exec(said)?.[0];
        if (found !== undefined) resolve(found);
      });
      child.on('exit', (code) => {
        reject(new Error(`the host ended with code ${code ?? 'none'}: ${said}`));
      });
    });
    return new HostProcess(child, address);
  }

  /** As a power cut ends it. */
  async kill(): Promise<void> {
    this.#child.kill('SIGKILL');
    await once(this.#child, 'exit');
  }

  async end(): Promise<void> {
    if (this.#child.exitCode !== null || this.#child.signalCode !== null) return;
    this.#child.kill('SIGTERM');
    await once(this.#child, 'exit');
  }
}

/** A small run of two injectors, measured on the simulated bench into the archive of a folder: lines, static flow, tables. */
export function sweepInto(folder: string): void {
  const plan = join(folder, 'plan.json');
  const small = samplePlan('small-plan');
  writeFileSync(plan, JSON.stringify({ ...small, axes: { ...small.axes, widthMs: [2.5, 3, 5, 8] }, reduction: { ...small.reduction, linearFromMs: 3 } }));
  execFileSync(process.execPath, [join(root, 'main/cli/main.ts'), 'sweep', plan, '--operator', 'A. Tester', '--quiet', '--archive', join(folder, 'archive.sqlite')], { stdio: 'pipe' });
}

/** What a page must not do: errors on its console, errors thrown. Warnings of the browser about its own headers do not count. */
export function complaintsOf(page: Page): string[] {
  const complaints: string[] = [];
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(error.message));
  return complaints;
}

/** A host over an archive of its own, and a page of it in a browser at which somebody works. */
export interface OpenedWindow {
  readonly folder: string;
  readonly host: HostProcess;
  readonly browser: Browser;
  readonly context: BrowserContext;
  readonly page: Page;
  readonly complaints: string[];
  readonly close: () => Promise<void>;
}

interface WindowWish {
  /** What lies in the folder before the host begins. */
  readonly prepare?: (folder: string) => void;
  /** Of the simulated bench. */
  readonly scenario?: object;
  readonly name?: string;
}

/** The built window at 1366x768. Rejects where there is no browser. */
export async function openWindow({ prepare, scenario = {}, name = 'A. Tester' }: WindowWish): Promise<OpenedWindow> {
  buildWindow();
  const folder = scratchFolder();
  prepare?.(folder);
  const host = await HostProcess.start(folder, scenario);
  const browser = await launchBrowser();
  const context = await browser.newContext({ viewport: { width: 1366, height: 768 } });
  const page = await context.newPage();
  const complaints = complaintsOf(page);
  await page.goto(host.address);
  await workUnder(page, name);
  const close = async (): Promise<void> => {
    await browser.close();
    await host.end();
    rmSync(folder, { recursive: true, force: true });
  };
  return { folder, host, browser, context, page, complaints, close };
}

export async function workUnder(page: Page, name: string): Promise<void> {
  await page.getByLabel('Your name').fill(name);
  await page.getByRole('button', { name: 'Work under this name' }).click();
}

export const goToPage = (page: Page, name: string): Promise<void> => page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name, exact: true }).click();

/** Chooses in the settings, by what the fields are called: `{ Pressure: 'psi' }`. */
export async function chooseSettings(page: Page, wanted: Readonly<Record<string, string>>): Promise<void> {
  await page.getByRole('button', { name: /^Settings/u }).click();
  for (const [label, value] of Object.entries(wanted)) await page.getByRole('dialog').getByLabel(new RegExp(`^${label}`, 'u')).selectOption(value);
  await page.getByRole('button', { name: /^Close: /u }).click();
}

/** Connects the simulated bench from the page Bench, so many times as fast as the clock, saves the plan, and goes to the page Run. */
export async function readyToRun(page: Page, folder: string, plan: Plan, speed: number): Promise<void> {
  await page.getByLabel('Speed', { exact: true }).fill(String(speed));
  await page.getByRole('button', { name: 'Connect', exact: true }).click();
  await page.getByRole('heading', { name: 'Readings' }).waitFor();
  await goToPage(page, 'Plans');
  const file = join(folder, 'plan.json');
  writeFileSync(file, JSON.stringify(plan));
  await page.getByLabel('Plan file', { exact: true }).setInputFiles(file);
  await page.getByRole('button', { name: /^Save/ }).first().click();
  await page.getByText(/Saved as version 1/).waitFor();
  await goToPage(page, 'Run');
}

/** The same, and starts a run of it. */
export async function startRun(page: Page, folder: string, plan: Plan, speed: number): Promise<void> {
  await readyToRun(page, folder, plan, speed);
  await page.getByRole('button', { name: 'Open the run and start' }).click();
  await page.getByRole('heading', { name: 'Points', exact: true }).waitFor();
}

export async function keepScreen(page: Page, name: string): Promise<void> {
  mkdirSync(screenshots, { recursive: true });
  await page.screenshot({ path: join(screenshots, `${name}.png`), fullPage: true });
}

/** Violations of WCAG 2.2 A and AA that axe finds, in words. */
export async function violations(page: Page): Promise<string[]> {
  const { violations: found } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze();
  return found.flatMap((v) => v.nodes.map((node) => `${v.id} at ${node.target.join(' ')}: ${v.help}`));
}
