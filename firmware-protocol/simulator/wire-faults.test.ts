import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { WireFaults, type Direction } from './wire-faults.ts';
import type { Fault } from './plant/scenario.ts';

type WireFault = Parameters<WireFaults['begin']>[0];

const line = '? 17 burst channel=3 width-ns=2500000 period-us=20000 count=500 #BBFA\n';

function passing(fault: WireFault, direction: Direction = 'to-host', times = 2_000, seed = 1): string[] {
  const wire = new WireFaults(seed, direction);
  wire.begin(fault);
  return Array.from({ length: times }, () => wire.pass(line));
}

describe('wire faults', () => {
  it('a clear wire passes every line as it is, before a fault and after it', () => {
    const wire = new WireFaults(1, 'to-host');
    const silent: WireFault = { kind: 'line-silent', direction: 'both' };
    expect(wire.clear).toBe(true);
    wire.begin(silent);
    expect([wire.clear, wire.pass(line)]).toEqual([false, '']);
    wire.end(silent);
    expect([wire.clear, wire.pass(line)]).toEqual([true, line]);
  });

  it('a fault of the other direction does nothing', () => {
    for (const direction of ['to-host', 'to-controller'] as const) {
      const other = direction === 'to-host' ? 'to-controller' : 'to-host';
      expect(passing({ kind: 'line-silent', direction: other }, direction, 1)).toEqual([line]);
      expect(passing({ kind: 'line-silent', direction }, direction, 1)).toEqual(['']);
    }
  });

  it('lines are lost and repeated about as often as the scenario says', () => {
    // 2000 draws at 0.3: standard deviation 20.5; the band is five of them.
    const lost = passing({ kind: 'lines-lost', direction: 'both', probability: 0.3 }).filter((l) => l === '').length;
    expect(Math.abs(lost - 600)).toBeLessThan(103);
    const repeated = passing({ kind: 'lines-repeated', direction: 'both', probability: 0.3 });
    expect(Math.abs(repeated.filter((l) => l === line + line).length - 600)).toBeLessThan(103);
    expect(repeated.every((l) => l === line || l === line + line)).toBe(true);
  });

  it('a garbled line is changed, short, long or cut, and no longer what it was', () => {
    const garbled = passing({ kind: 'lines-garbled', direction: 'to-host', probability: 1 });
    expect(garbled.filter((l) => l === line)).toEqual([]);
    expect(garbled.some((l) => l.length === line.length)).toBe(true);
    expect(garbled.some((l) => l.length === line.length + 1)).toBe(true);
    expect(garbled.some((l) => l.length === line.length - 1 && l.endsWith('\n'))).toBe(true);
    expect(garbled.some((l) => l.length < line.length - 1)).toBe(true);
    expect(garbled.every((l) => /^[\u0000-\u00ff]*$/.test(l))).toBe(true);
  });

  it('the same seed gives the same mischief, another seed another, and the two directions differ', () => {
    fc.assert(
      fc.property(fc.nat(0xffffffff), (seed) => {
        const fault: Fault['fault'] & WireFault = { kind: 'lines-garbled', direction: 'both', probability: 0.5 };
        expect(passing(fault, 'to-host', 30, seed)).toEqual(passing(fault, 'to-host', 30, seed));
        expect(passing(fault, 'to-host', 30, seed)).not.toEqual(passing(fault, 'to-host', 30, (seed + 1) % 0xffffffff));
        expect(passing(fault, 'to-host', 30, seed)).not.toEqual(passing(fault, 'to-controller', 30, seed));
      }),
      { numRuns: 30 },
    );
  });
});
