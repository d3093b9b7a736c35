import { expect, test } from 'vitest';
import { crcBitByBit, fuzz } from './fuzz.ts';

// Catalogue of parametrised CRC algorithms (G. Cook), CRC-16/IBM-3740: check value 0x29B1 for "123456789".
test('the independent checksum has the published check value', () => {
  expect(crcBitByBit('123456789')).toBe(0x29b1);
});

test('20 000 damaged lines: no crash, nothing accepted with a wrong checksum, memory flat, both ends work on', async () => {
  const report = await fuzz(20_000, 7);
  expect(report.violations).toEqual([]);
  // Every way of damaging and every reason of refusal took part, or the run has shown nothing.
  expect(Object.values(report.byMutation).every((count) => count > 500)).toBe(true);
  expect(Object.values(report.bad).every((count) => count > 0)).toBe(true);
  expect(report.accepted).toBeGreaterThan(1000);
  expect(report.link.taken).toBeGreaterThan(500);
  expect(report.link.requestsAnswered).toBeGreaterThan(20);
  expect(report.controller.answers).toBeGreaterThan(500);
});
