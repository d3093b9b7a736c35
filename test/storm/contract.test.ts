import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { handling } from '../../app/run/machine.ts';
import type { Mode } from '../../app/journal/state.ts';
import { cellOf, modes, type Row } from './contract.ts';
import { contractAsMarkdown, contractFile, contractReport } from './contract-show.ts';
import { contract } from './contract-windows.ts';
import { holdToContract, isContradicted } from './contract-trials.ts';
import { benchFaultKinds } from './draw.ts';

/** The report on the row with each of these cells says what is wrong with it. */
async function saysSo(row: Row, mode: Mode, otherwise: readonly (readonly [string, Row['cells']])[]): Promise<void> {
  for (const [said, cells] of otherwise) {
    const found = await holdToContract(1, 1, [{ ...row, cells }], [mode]);
    expect(found.some(isContradicted), said).toBe(true);
    expect(contractReport(found)).toContain(said);
  }
}

describe('the fault contract', () => {
  it('STORM-51 has one cell for each fault in each mode, with the rules that it is from', () => {
    const wrong = contract.flatMap((row) => modes.map((mode) => cellOf(row, mode))).filter((cell) => typeof cell === 'string');
    expect(wrong).toEqual([]);
    expect(new Set(contract.map((row) => row.id)).size).toBe(contract.length);
    expect(contract.length).toBeGreaterThanOrEqual(40);
    expect(modes).toEqual(Object.keys(handling));
    const seen = new Set(contract.map((row) => row.seenAs));
    for (const kind of benchFaultKinds()) expect(seen).toContain(kind);
    for (const input of Object.keys(handling.ready)) {
      if (!['frame', 'reply', 'tick', 'link'].includes(input)) expect(seen).toContain(`command ${input}`);
    }
  });

  // Every fault while it measures, and in one other mode; all pairs are for `npm run show -- fault-contract`.
  it('STORM-52 STORM-53 is kept by the program', async () => {
    const others = modes.filter((mode) => mode !== 'measuring');
    for (const [i, row] of contract.entries()) {
      const found = await holdToContract(1, 1, [row], ['measuring', others[i % others.length] ?? 'ready']);
      const contradicted = found.filter(isContradicted);
      expect(contradicted.length === 0 ? '' : contractReport(contradicted)).toBe('');
    }
  }, 600_000);

  it('STORM-54 says so when a cell is empty, doubtful, wrong, too hasty, silent or called impossible', async () => {
    const stop = contract.find((row) => row.id === 'emergency-stop');
    if (stop === undefined) throw new Error('no emergency stop');
    const cell = cellOf(stop, 'measuring');
    if (typeof cell === 'string' || !('outcomes' in cell)) throw new Error('no cell');
    const outcome = cell.outcomes[0];
    if (outcome === undefined) throw new Error('no outcome');
    const measuring = ['measuring'] as const;
    const otherwise: readonly (readonly [string, Row['cells']])[] = [
      ['has no cell for measuring', []],
      ['has an empty cell for measuring', [[measuring, { ...cell, outcomes: [] }]]],
      ['has 2 cells for measuring', [[measuring, cell], [measuring, cell]]],
      ['that no rule justifies', [[measuring, { ...cell, rules: 'because' }]]],
      ['the run does not go on', [[measuring, { ...cell, outcomes: [{ ...outcome, end: 'goes on' }] }]]],
      ['the run is not paused', [[measuring, { ...cell, outcomes: [{ ...outcome, end: 'paused' }] }]]],
      ['the bench was safe after', [[measuring, { ...cell, outcomes: [{ ...outcome, safeS: -1 }] }]]],
      ['the run is not tripped', [[measuring, { ...cell, outcomes: [{ ...outcome, endS: 0.01 }] }]]],
      ['nobody was told', [[measuring, { ...cell, outcomes: [{ ...outcome, said: ['All is well.'] }] }]]],
      ['the attempt that was going on was cut', [[measuring, { ...cell, outcomes: [{ ...outcome, attempt: 'judged' }] }]]],
      ['contradicted', [[measuring, { impossible: 'nobody presses it' }]]],
    ];
    await saysSo(stop, 'measuring', otherwise);
  }, 120_000);

  it('STORM-78 says so of windows too', async () => {
    const gone = contract.find((row) => row.id === 'by-hand-gone');
    if (gone === undefined) throw new Error('no window that goes');
    const paused = ['paused'] as const;
    const cell = cellOf(gone, 'paused');
    const [outcome] = typeof cell === 'string' || !('outcomes' in cell) ? [] : cell.outcomes;
    if (outcome === undefined || typeof cell === 'string' || !('outcomes' in cell)) throw new Error('no outcome');
    await saysSo(gone, 'paused', [
      ['has no cell for paused', []],
      ['has an empty cell for paused', [[paused, { ...cell, outcomes: [] }]]],
      ['the bench was safe after', [[paused, { ...cell, outcomes: [{ ...outcome, safeS: 6 }] }]]],
      ['the run is not ended', [[paused, { ...cell, outcomes: [{ ...outcome, end: 'ended' }] }]]],
      ['nobody was told', [[paused, { ...cell, outcomes: [{ ...outcome, said: ['All is well.'] }] }]]],
      ['contradicted', [[paused, { impossible: 'nobody closes a window' }]]],
    ]);
  }, 120_000);

  it('STORM-55 is there for people as it is', () => {
    expect(readFileSync(contractFile, 'utf8')).toBe(contractAsMarkdown());
  });
});
