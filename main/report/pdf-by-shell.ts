/** On the desktop a report is printed by the desktop program itself: the process at the desk asks the shell for it, which alone has windows. REP-39 */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { z } from 'zod';
import { papers, type Paper } from '../../app/report/style.ts';
import { printableHtml, type PdfPrinter } from './pdf.ts';

/** From the desk to the shell: print this page, a file, into that one. */
export const toPrint = z.strictObject({ kind: z.literal('print'), id: z.int(), page: z.string(), file: z.string(), paper: z.enum(Object.keys(papers) as [Paper]) });
export type ToPrint = z.infer<typeof toPrint>;

/** Back: `text` is why it was not printed; empty: it was. */
const printedByShell = z.strictObject({ kind: z.literal('printed'), id: z.int(), text: z.string() });
export type PrintedByShell = z.infer<typeof printedByShell>;

/** `ask` sends to the shell; what the shell says is given to `hear`. */
export function shellPrinter(ask: (message: ToPrint) => void): { readonly print: PdfPrinter; readonly hear: (message: unknown) => void } {
  const waiting = new Map<number, (text: string) => void>();
  let last = 0;
  return {
    hear: (message) => {
      const said = printedByShell.safeParse(message);
      if (!said.success) return;
      waiting.get(said.data.id)?.(said.data.text);
      waiting.delete(said.data.id);
    },
    print: async (html, file, paper) => {
      const folder = mkdtempSync(join(tmpdir(), 'railhouse-report-'));
      try {
        const page = join(folder, 'report.html');
        writeFileSync(page, printableHtml(html, paper));
        const id = (last += 1);
        const text = await new Promise<string>((resolve) => {
          waiting.set(id, resolve);
          ask({ kind: 'print', id, page, file, paper });
        });
        return text === '' ? { ok: true } : { ok: false, text: `No PDF was made: the desktop program did not print (${text}). The HTML file is whole: open it in any browser and print it.` };
      } finally {
        rmSync(folder, { recursive: true, force: true });
      }
    },
  };
}
