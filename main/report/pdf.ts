/** A report as PDF, printed by a Chromium of this machine: the file that is read on the screen, on paper of the size that was asked for. REP-22. */
import { spawn } from 'node:child_process';
import { accessSync, constants, mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { papers, type Paper } from '../../app/report/style.ts';

/** Prints HTML into `file`, which is there afterwards or was not made. Who prints is the business of whoever puts the program together. */
export type PdfPrinter = (html: string, file: string, paper: Paper) => Promise<Printed>;

export type Printed = { readonly ok: true } | { readonly ok: false; readonly text: string };

/** By what names systems know one; the first that is there is taken. */
const named = ['chromium', 'chromium-browser', 'google-chrome', 'google-chrome-stable', 'microsoft-edge', 'msedge.exe', 'chrome.exe'];
const places = [
  '/Applications/Chromium.app/Contents/MacOS/Chromium',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
  '/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge',
  'C:\\Program Files\\Google\\Chrome\\Application\\chrome.exe',
  'C:\\Program Files (x86)\\Microsoft\\Edge\\Application\\msedge.exe',
];

/** A report of 40 injectors with raw data takes some seconds. */
const LONGEST_MS = 120_000;

/** The browser that prints; null: there is none. `environment`: its `RAILHOUSE_CHROMIUM` names one before all others. */
export function chromiumPath(environment: Readonly<Record<string, string | undefined>> = process.env): string | null {
  const chosen = environment['RAILHOUSE_CHROMIUM'];
  if (chosen !== undefined && chosen !== '') return isProgram(chosen) ? chosen : null;
  const folders = (environment['PATH'] ?? '').split(delimiter).filter((folder) => folder !== '');
  return [...named.flatMap((name) => folders.map((folder) => join(folder, name))), ...places].find(isProgram) ?? null;
}

function isProgram(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return statSync(path).isFile();
  } catch {
    return false;
  }
}

/** The Chromium of the machine as the printer. */
export const chromiumPrinter = (chromium: string | null = chromiumPath()): PdfPrinter => (html, file, paper) => printPdf(html, file, paper, chromium);

/** The copy that is printed: the size of the paper is no part of the report and stands in it alone. */
export const printableHtml = (html: string, paper: Paper): string => html.replace('</head>', `<style>@page { size: ${papers[paper]}; }</style></head>`);

export async function printPdf(html: string, file: string, paper: Paper, chromium: string | null = chromiumPath()): Promise<Printed> {
  if (chromium === null) {
    return { ok: false, text: 'No PDF was made: there is no Chromium, Chrome or Edge on this machine (RAILHOUSE_CHROMIUM may name one). The HTML file is whole: open it in any browser and print it; page numbers come by themselves.' };
  }
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-report-'));
  try {
    const page = join(folder, 'report.html');
    writeFileSync(page, printableHtml(html, paper));
    const said = await run(chromium, [
      '--headless', '--disable-gpu', '--no-first-run', '--disable-extensions', '--disable-background-networking',
      // A container or a root account has no sandbox for it to use. The page has no script and asks for nothing.
      ...(process.getuid?.() === 0 ? ['--no-sandbox'] : []),
      `--user-data-dir=${join(folder, 'profile')}`, '--no-pdf-header-footer', `--print-to-pdf=${file}`, pathToFileURL(page).href,
    ]);
    if (statSync(file, { throwIfNoEntry: false })?.isFile() === true) return { ok: true };
    return { ok: false, text: `No PDF was made: ${chromium} did not print (${said}). The HTML file is whole: open it in any browser and print it.` };
  } finally {
    rmSync(folder, { recursive: true, force: true, maxRetries: 5, retryDelay: 200 });
  }
}

/** How it ended, with the last of what it said. */
function run(program: string, options: readonly string[]): Promise<string> {
  return new Promise((resolve) => {
    const child = spawn(program, options, { stdio: ['ignore', 'ignore', 'pipe'], timeout: LONGEST_MS, killSignal: 'SIGKILL' });
    let said = '';
    child.stderr.on('data', (data: Buffer) => {
      said = (said + data.toString('utf8')).slice(-400);
    });
    child.on('error', (error) => resolve(error.message));
    child.on('close', (code, signal) => resolve(`${signal === null ? `exit code ${code ?? '?'}` : `ended by ${signal}`}${said === '' ? '' : `: ${said.trim().split('\n').at(-1) ?? ''}`}`));
  });
}
