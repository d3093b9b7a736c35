/** A small part of what `npm run show -- damage` tries. */
import { expect, test } from 'vitest';
import { damaged, killDeeds } from './damage.ts';

test('ARC-10 no bit that is flipped alters what is read without being found, and no cut of the file is missed', async () => {
  const { flips, cuts } = await damaged(25, 8, 2);
  expect([...flips.undetected, ...flips.defects, ...cuts.undetected, ...cuts.defects]).toEqual([]);
  expect(flips.found).toBeGreaterThan(5);
  expect(cuts.found).toBe(8);
}, 120_000);

test('ARC-5, ARC-18 a process that is killed while it migrates, backs up or exports has lost and mixed nothing', async () => {
  expect((await killDeeds(2, 2)).flatMap((one) => one.problems)).toEqual([]);
}, 120_000);
