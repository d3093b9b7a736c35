/** The picture at the beginning of the README: `npm run show -- picture` starts the sample sweep on the simulated bench in the built window, and takes it from the page Run. */
import { join } from 'node:path';
import { samplePlan } from '../builders/in-process.ts';
import { openWindow, startRun } from '../builders/window.ts';

/** Where the README has it from. */
export const picturePath = join(import.meta.dirname, '..', '..', 'renderer', 'picture.png');

export async function showPicture(): Promise<boolean> {
  const { page, folder, complaints, close } = await openWindow({});
  try {
    page.setDefaultTimeout(240_000);
    await page.emulateMedia({ colorScheme: 'light' });
    await startRun(page, folder, samplePlan('plan'), 20);
    await page.getByText(/^[6-9]\d of \d+ points accepted/).first().waitFor();
    // Of the window as a person sees it, and not of the whole page.
    await page.screenshot({ path: picturePath });
    return complaints.length === 0;
  } finally {
    await close();
  }
}
