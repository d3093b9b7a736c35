import { describe, expect, test } from 'vitest';
import { calledOf, historyOf } from './invariance.ts';

describe('benches of another hand', () => {
  test('RED-112 RED-113 a sound one is not called, a slow coil and a leak that move results are', () => {
    for (const { row, members } of calledOf(['none', 'slow-coil 2', 'leak 0.2'], 3, 'alternating')) {
      const called = members.filter((m) => m.called).map((m) => m.of);
      if (row === 'none') expect(called).toEqual([]);
      if (row === 'slow-coil 2') expect(called).toContain('direction');
      if (row === 'leak 0.2') expect(called).toContain('period');
    }
  }, 120_000);

  test('RED-130 a slow coil moves no result where the order is shuffled', () => {
    const [slow] = calledOf(['slow-coil 2'], 3, 'shuffled');
    expect(slow).toMatchObject({ row: 'slow-coil 2', moved: false });
    expect(slow?.members.filter((m) => m.called)).toEqual([]);
  }, 120_000);

  test('RED-115 RED-118 blind windows scatter as the line says, and more where they are made to', () => {
    expect(historyOf(2, 1).spread).toBeLessThan(1.3);
    expect(historyOf(2, 2).spread).toBeGreaterThan(1.4);
  }, 120_000);
});
