import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { LineSplitter } from './line-splitter.ts';

function split(longest: number, ...pieces: (string | Uint8Array)[]): { lines: string[]; overlong: number } {
  const lines: string[] = [];
  const splitter = new LineSplitter(longest, (line) => lines.push(line));
  for (const piece of pieces) splitter.push(typeof piece === 'string' ? Buffer.from(piece, 'latin1') : piece);
  return { lines, overlong: splitter.overlong };
}

describe('line splitter', () => {
  it('LINE-1 a line ends with LF, however the bytes are cut', () => {
    fc.assert(
      fc.property(fc.array(fc.string({ maxLength: 30 }).map((s) => s.replace(/[\r\n]|[^\x00-\xff]/g, '.'))), fc.array(fc.nat(200)), (texts, cuts) => {
        const bytes = Buffer.from(texts.map((t) => `${t}\n`).join(''), 'latin1');
        const at = [...new Set([0, ...cuts.map((c) => Math.min(c, bytes.length)), bytes.length])].sort((a, b) => a - b);
        const pieces = at.slice(1).map((end, i) => bytes.subarray(at[i], end));
        expect(split(32, ...pieces)).toEqual({ lines: texts.filter((t) => t !== ''), overlong: 0 });
      }),
    );
  });

  it('LINE-2 one CR before LF is removed, any other stays, empty lines are nothing', () => {
    expect(split(20, 'a\r\nb\rc\n\n\r\nd\r', '\r\n').lines).toEqual(['a', 'b\rc', 'd\r']);
  });

  it('LINE-3 the bound counts LF and a CR before it', () => {
    expect(split(5, 'abcd\n')).toEqual({ lines: ['abcd'], overlong: 0 });
    expect(split(5, 'abcde\n')).toEqual({ lines: [], overlong: 1 });
    expect(split(5, 'abcd\r\n')).toEqual({ lines: [], overlong: 1 });
  });

  it('LINE-4 an over-long line is dropped up to its LF and counted once', () => {
    expect(split(5, 'abc', 'defgh', 'ijk', 'lm\nok\n', 'x'.repeat(1000), '\nok2\n')).toEqual({ lines: ['ok', 'ok2'], overlong: 2 });
  });

  it('LINE-4 a stream without LF needs no more memory than the longest line', () => {
    const splitter = new LineSplitter(360, () => {
      throw new Error('there is no line');
    });
    const chunk = new Uint8Array(65_536).fill(120);
    global.gc?.();
    const before = process.memoryUsage().arrayBuffers;
    for (let i = 0; i < 2_000; i += 1) splitter.push(chunk);
    expect(splitter.overlong).toBe(1);
    expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(1_000_000);
  });

  it('forgets an unfinished or over-long line on restart', () => {
    const lines: string[] = [];
    const splitter = new LineSplitter(5, (line) => lines.push(line));
    splitter.push(Buffer.from('ab'));
    splitter.restart();
    splitter.push(Buffer.from('c\nxxxxxxxxx'));
    splitter.restart();
    splitter.push(Buffer.from('d\n'));
    expect(lines).toEqual(['c', 'd']);
  });
});
