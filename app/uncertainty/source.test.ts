import { describe, expect, it } from 'vitest';
import { errorSource, labelOf, meaningOf, ownerOf } from './source.ts';

describe('RED-64: sources of error', () => {
  it('are told apart by what they are of and which of several they are, and not by their names', () => {
    const [whole, channel, other] = [errorSource('driver-clamp'), errorSource('driver-clamp-channel', '1'), errorSource('driver-clamp-channel', '2')];
    expect(new Set([whole, channel, other].map((s) => s.key)).size).toBe(3);
    expect([whole, channel, other].map(labelOf)).toEqual(['driver clamp', 'driver clamp of channel 1', 'driver clamp of channel 2']);
    expect([whole, channel, other].map(ownerOf)).toEqual(['drivers', 'drivers', 'drivers']);
    expect(errorSource('k-factor-point', '10')).toEqual(errorSource('k-factor-point', '10'));
  });

  it('keep the names that files of before have', () => {
    expect(
      [
        errorSource('edge-timing'), errorSource('steadiness'), errorSource('k-factor'), errorSource('k-factor-point', '10'), errorSource('fluid-density'), errorSource('rail-pressure'),
        errorSource('meter-temperature'), errorSource('rail-temperature'), errorSource('leak', '1'), errorSource('leak-change', '1, injector 2'), errorSource('leak-meter'), errorSource('leak-path', '2'),
        errorSource('supply-read-back'), errorSource('harness-resistance'), errorSource('harness-effect'), errorSource('time-base'), errorSource('coil-model'), errorSource('coil-over-rail'), errorSource('coil-late'),
      ].map(labelOf),
    ).toEqual([
      'edge timing', 'steadiness and meter in-rotation', 'meter K-factor', 'meter K-factor at 10 Hz', 'fluid density', 'rail pressure',
      'meter temperature', 'rail temperature', 'leak in block 1', 'leak change in block 1, injector 2', 'slip of the meter at the flow of the leak', 'leak path of injector 2',
      'supply read-back', 'harness resistance', 'effect of the harness', 'controller time base', 'coil temperature model', 'coil against rail temperature', 'coil that follows duty late',
    ]);
    expect(meaningOf(errorSource('leak-path', '2'))).toContain('the seat of this injector');
  });
});
