/** The built window in a real browser, at the real host on loopback with the simulated bench. */
import { execFileSync, spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { AxeBuilder } from '@axe-core/playwright';
import { chromium, type Browser, type Page } from 'playwright';
import { samplePlan } from './in-process.ts';

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

  static async start(folder: string, scenario: object, listen = 0): Promise<HostProcess> {
    const scenarioFile = join(folder, 'scenario.json');
    writeFileSync(scenarioFile, JSON.stringify({ scenarioVersion: 1, ...scenario }));
    const child = spawn(
      process.execPath,
      [join(root, 'main/cli/main.ts'), 'window', '--archive', join(folder, 'archive.sqlite'), '--scenario', scenarioFile, '--listen', String(listen)],
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

export async function keepScreen(page: Page, name: string): Promise<void> {
  mkdirSync(screenshots, { recursive: true });
  await page.screenshot({ path: join(screenshots, `${name}.png`), fullPage: true });
}

/** Violations of WCAG 2.2 A and AA that axe finds, in words. */
export async function violations(page: Page): Promise<string[]> {
  const { violations: found } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze();
  return found.flatMap((v) => v.nodes.map((node) => `${v.id} at ${node.target.join(' ')}: ${v.help}`));
}
