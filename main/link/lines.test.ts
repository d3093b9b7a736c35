import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { LineSplitter } from '../../firmware-protocol/line/line-splitter.ts';
import { Lines } from './lines.ts';

const LONGEST = 8;

type Step = Uint8Array | 'restart';

function cut(cutter: LineSplitter | Lines, steps: readonly Step[]): void {
  for (const step of steps) {
    if (step === 'restart') cutter.restart();
    else cutter.push(step);
  }
}

/** Few kinds of bytes, so that ends of lines, CRs and over-long lines are common. */
const bytes = fc.array(fc.constantFrom(10, 10, 13, 97, 98, 0, 255), { maxLength: 40 }).map((list) => Uint8Array.from(list));
const step: fc.Arbitrary<Step> = fc.oneof({ arbitrary: bytes, weight: 8 }, { arbitrary: fc.constant('restart' as const), weight: 1 });

describe('lines of a channel', () => {
  it('LINE-1 LINE-2 LINE-3 LINE-4 are those that a controller sees in the same bytes, however they are cut', () => {
    fc.assert(
      fc.property(fc.array(step, { maxLength: 12 }), (steps) => {
        const seen: string[] = [];
        const expected: string[] = [];
        const lines = new Lines(LONGEST, (line) => seen.push(line));
        const splitter = new LineSplitter(LONGEST, (line) => expected.push(line));
        cut(lines, steps);
        cut(splitter, steps);
        expect(seen).toEqual(expected);
        expect(lines.overlong).toBe(splitter.overlong);
      }),
      { numRuns: 2000 },
    );
  });

  it('LINE-4 a stream without LF needs no more memory than the longest line', () => {
    const lines = new Lines(360, () => {
      throw new Error('there is no line');
    });
    const chunk = new Uint8Array(65_536).fill(120);
    global.gc?.();
    const before = process.memoryUsage().arrayBuffers;
    for (let i = 0; i < 2_000; i += 1) lines.push(chunk);
    expect(lines.overlong).toBe(1);
    expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(1_000_000);
  });

  it('what is heard because of a line comes after the lines that came with it', () => {
    const seen: string[] = [];
    const lines: Lines = new Lines(LONGEST, (line) => {
      seen.push(line);
      if (line === 'a') lines.push(Buffer.from('c\n'));
    });
    lines.push(Buffer.from('a\nb\n'));
    expect(seen).toEqual(['a', 'c', 'b']);
  });

  it('a line that makes its taker throw does not stay for the next', () => {
    const seen: string[] = [];
    const lines = new Lines(LONGEST, (line) => {
      if (line === 'a') throw new Error('no');
      seen.push(line);
    });
    expect(() => {
      lines.push(Buffer.from('a\n'));
    }).toThrow('no');
    lines.push(Buffer.from('b\n'));
    expect(seen).toEqual(['b']);
  });
});
