import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { afterSaving, carriedDown, isChanged, lotsToSave, noFilter, partOf, pastedCells, problemsOfRows, refreshed, rowsForChannels, rowsOf, shownRows, undone, withCell, withNewRow, withPasted } from './parts-grid.ts';
import type { PartsColumn, Row, KnownPart } from './parts-grid.ts';

const stored = (id: string, change: Partial<KnownPart> = {}): KnownPart => ({
  id, order: 'L-7', type: 'RH-P4', serialNumber: `S${id}`, coilResistanceOhm: 12.5, condition: '', channel: null, ...change,
});
const typed = (rows: readonly Row[], cells: Partial<Record<PartsColumn, string>>): readonly Row[] => {
  const made = withNewRow(rows);
  return Object.entries(cells).reduce((all, [column, text]) => withCell(all, made.key, column as PartsColumn, text), made.rows);
};
const texts = (rows: readonly Row[]) => problemsOfRows(rows).map(({ level, column, text }) => `${level} ${column}: ${text}`);

describe('typing parts in', () => {
  test('order and type are carried down, and a row with nothing else is blank', () => {
    const { rows } = withNewRow(rowsOf([stored('1')]));
    expect(rows.at(-1)?.cells).toEqual({ order: 'L-7', type: 'RH-P4', serialNumber: '', coilResistance: '', condition: '', channel: '' });
    expect(rows.some(isChanged)).toBe(false);
    expect(problemsOfRows(rows)).toEqual([]);
  });

  test('rows for the channels of a bench are blank until something is typed', () => {
    const rows = rowsForChannels([], 3);
    expect(rows.map(({ cells }) => cells.channel)).toEqual(['1', '2', '3']);
    expect(lotsToSave(rows)).toEqual([]);
    expect(lotsToSave(withCell(rows, 1, 'serialNumber', 'A')).flat().map(({ key }) => key)).toEqual([1]);
  });

  test('a part goes to the host as typed, without blanks around', () => {
    const row = typed(rowsOf([stored('1')]), { serialNumber: ' S2 ', coilResistance: '12,40', channel: '03', condition: 'new ' }).at(-1);
    if (row === undefined) throw new Error('there is a row');
    expect(partOf(row)).toEqual({ order: 'L-7', type: 'RH-P4', serialNumber: 'S2', coilResistanceOhm: 12.4, condition: 'new', channel: 3 });
  });

  test('12.50 for 12.5 is no change, another serial number is', () => {
    const rows = rowsOf([stored('1')]);
    expect(withCell(rows, 0, 'coilResistance', '12.50').some(isChanged)).toBe(false);
    expect(withCell(rows, 0, 'coilResistance', '12,5').some(isChanged)).toBe(false);
    expect(withCell(rows, 0, 'serialNumber', 'S9').some(isChanged)).toBe(true);
    expect(undone(withCell(rows, 0, 'serialNumber', 'S9'), 0)).toEqual(rows);
  });
});

describe('problems in words', () => {
  test.each([
    [{ serialNumber: 'S1' }, 'refuse serialNumber: Serial number S1 is there already (type RH-P4, job L-7).'],
    [{ serialNumber: 'S1', order: 'L-8' }, 'refuse serialNumber: Serial number S1 is there already (type RH-P4, job L-7).'],
    [{ serialNumber: 's1' }, 'warn serialNumber: Much the same serial number, S1, belongs to another part (type RH-P4, job L-7).'],
    [{ serialNumber: 'S 1' }, 'warn serialNumber: Much the same serial number, S1,'],
    [{ serialNumber: 'S1', type: 'X' }, 'warn serialNumber: Much the same serial number, S1,'],
    [{ serialNumber: 'S2', channel: '3' }, 'warn channel: Channel 3 has S1 now. Saving takes S1 off the rail.'],
    [{ serialNumber: 'S2', channel: '65' }, 'refuse channel: "65" is not a channel.'],
    [{ serialNumber: 'S2', channel: '1.5' }, 'refuse channel: "1.5" is not a channel.'],
    [{ serialNumber: 'S2', coilResistance: '1.2,5' }, 'refuse coilResistance: "1.2,5" cannot be read as one number.'],
    [{ serialNumber: 'S2', coilResistance: '12 ohm' }, 'refuse coilResistance: "12 ohm" is not a number.'],
    [{ serialNumber: 'S2', coilResistance: '0' }, 'refuse coilResistance: "0" is not a resistance.'],
    [{ serialNumber: 'S2', type: ' ' }, 'refuse type: The type is missing.'],
    [{ condition: 'new' }, 'refuse serialNumber: The serial number is missing.'],
    [{ serialNumber: 'x'.repeat(61) }, 'refuse serialNumber: This may have 60 characters at most, but it has 61.'],
  ])('%j', (cells, words) => {
    const found = texts(typed(rowsOf([stored('1', { channel: 3 })]), cells));
    expect(found).toHaveLength(1);
    expect(found[0]).toContain(words);
  });

  test('a good part has none, and what is stored is not complained about', () => {
    expect(texts(typed(rowsOf([stored('1')]), { serialNumber: 'S2', channel: '1', coilResistance: '12.5' }))).toEqual([]);
    expect(texts(rowsOf([stored('1'), stored('2', { serialNumber: 'S1' })]))).toEqual([]);
  });

  test('a dash of any kind is a hyphen', () => {
    for (const dash of ['–', '—', '‐', '−']) expect(texts(typed(rowsOf([stored('1', { serialNumber: 'QX-4401' })]), { serialNumber: `qx${dash}4401` }))).toEqual([expect.stringContaining('warn serialNumber: Much the same serial number, QX-4401,')]);
  });

  test('two new rows of the same serial number are both told', () => {
    expect(texts(typed(typed(rowsOf([stored('1')]), { serialNumber: 'N' }), { serialNumber: 'N' }))).toHaveLength(2);
  });
});

describe('pasting', () => {
  test.each([
    ['A\nB\nC\n', [['A'], ['B'], ['C']]],
    ['A\tB\r\nC\tD\r\n', [['A', 'B'], ['C', 'D']]],
    ['"a\tb ""c"""\tD', [['a\tb "c"', 'D']]],
    ['5" hose', [['5" hose']]],
    ['"open', [['"open']]],
    ['A\n\nB', [['A'], [''], ['B']]],
    ['', [['']]],
  ])('%j', (text, cells) => expect(pastedCells(text)).toEqual(cells));

  test('cells of a spreadsheet come back whatever is in them', () => {
    const cell = fc.string({ unit: fc.constantFrom('a', '"', '\t', '\n', 'é') }).map((text) => `x${text}x`);
    const quoted = (text: string) => (/["\t\n]/u.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
    fc.assert(
      fc.property(fc.array(fc.array(cell, { minLength: 1, maxLength: 4 }), { minLength: 1, maxLength: 5 }), (lines) => {
        expect(pastedCells(`${lines.map((line) => line.map(quoted).join('\t')).join('\r\n')}\r\n`)).toEqual(lines);
      }),
    );
  });

  test('a column of serial numbers fills rows downwards and makes the rows that are missing', () => {
    const { rows, key } = withNewRow(rowsOf([stored('1')]));
    const pasted = withPasted(rows, [0, key], key, 'serialNumber', [['A'], ['B'], ['C']]);
    expect(pasted.rows.map(({ cells }) => [cells.order, cells.type, cells.serialNumber])).toEqual([
      ['L-7', 'RH-P4', 'S1'], ['L-7', 'RH-P4', 'A'], ['L-7', 'RH-P4', 'B'], ['L-7', 'RH-P4', 'C'],
    ]);
    expect(pasted.rows.at(-1)?.key).toBe(pasted.lastKey);
  });

  test('blank rows that are filled get order and type from the row above, typed or pasted', () => {
    const first = withCell(withCell(rowsForChannels([], 4), 0, 'order', 'L-7'), 0, 'type', 'T');
    expect(carriedDown(first, 1)).toBe(first);
    expect(carriedDown(withCell(first, 1, 'serialNumber', 'A'), 1)[1]?.cells).toMatchObject({ order: 'L-7', type: 'T', serialNumber: 'A', channel: '2' });
    const pasted = withPasted(first, [0, 1, 2, 3], 0, 'serialNumber', [['A', '12'], ['B'], ['C']]).rows;
    expect(pasted.map(({ cells }) => [cells.order, cells.type, cells.serialNumber])).toEqual([['L-7', 'T', 'A'], ['L-7', 'T', 'B'], ['L-7', 'T', 'C'], ['', '', '']]);
    const own = withCell(withCell(first, 1, 'serialNumber', 'A'), 1, 'type', 'U');
    expect(carriedDown(own, 1)).toBe(own);
  });

  test('only rows that are shown are written over; columns past the last are dropped', () => {
    const rows = rowsOf([stored('1'), stored('2'), stored('3')]);
    const pasted = withPasted(rows, [0, 2], 0, 'condition', [['x', '1', 'z'], ['y', '2', 'z']]);
    expect(pasted.rows.map(({ cells }) => [cells.condition, cells.channel])).toEqual([['x', '1'], ['', ''], ['y', '2']]);
  });
});

describe('saving and filtering', () => {
  test('two parts that are typed onto one channel are both told, and exchanged channels are right', () => {
    const rows = rowsOf([stored('1', { channel: 1 }), stored('2', { channel: 2 })]);
    const exchanged = withCell(withCell(rows, 0, 'channel', '2'), 1, 'channel', '1');
    expect(problemsOfRows(exchanged)).toEqual([]);
    const both = withCell(withCell(rows, 0, 'channel', '3'), 1, 'channel', '03');
    expect(problemsOfRows(both).map(({ level, text }) => `${level} ${text}`)).toEqual([
      'refuse Channel 3 is given to S2 as well. Give each its own.',
      'refuse Channel 3 is given to S1 as well. Give each its own.',
    ]);
  });

  test('changed rows are saved in lots', () => {
    const rows = typed(typed(rowsOf([stored('1')]), { serialNumber: 'A' }), { serialNumber: 'B' });
    expect(lotsToSave(rows, 1).map((lot) => lot.map(({ cells }) => cells.serialNumber))).toEqual([['A'], ['B']]);
    expect(lotsToSave(rows)).toHaveLength(1);
  });

  test('after saving, rows are as stored, with whatever else that changed; what was typed meanwhile stays', () => {
    const rows = typed(rowsOf([stored('1', { channel: 3 })]), { order: 'O', type: 'T', serialNumber: 'A', channel: '3' });
    const [lot = []] = lotsToSave(rows);
    const answer = [stored('1'), stored('9', { serialNumber: 'A', order: 'O', type: 'T', coilResistanceOhm: null, channel: 3 })];
    const quiet = afterSaving(rows, lot, answer);
    expect(quiet.map((row) => [row.stored?.id, row.cells.serialNumber, row.cells.channel])).toEqual([['1', 'S1', ''], ['9', 'A', '3']]);
    expect(quiet.some(isChanged)).toBe(false);
    const busy = afterSaving(withCell(rows, 1, 'condition', 'new'), lot, answer);
    expect(busy[1]).toMatchObject({ stored: { id: '9' }, cells: { condition: 'new' } });
    expect(busy.filter(isChanged)).toHaveLength(1);
  });

  test('what another window saved comes in without taking what is being typed', () => {
    const rows = withCell(rowsOf([stored('1'), stored('2')]), 0, 'condition', 'mine');
    const now = refreshed(rows, [stored('1', { channel: 1 }), stored('2', { channel: 2 }), stored('3')]);
    expect(now.map(({ cells }) => [cells.serialNumber, cells.condition, cells.channel])).toEqual([['S1', 'mine', ''], ['S2', '', '2'], ['S3', '', '']]);
    expect(new Set(now.map(({ key }) => key)).size).toBe(3);
  });

  test('the filter shows what matches and what is not saved', () => {
    const rows = typed(rowsOf([stored('1'), stored('2', { order: 'M-1', channel: 4 })]), { serialNumber: 'new' });
    const serials = (filter: Partial<typeof noFilter>) => shownRows(rows, { ...noFilter, ...filter }).map(({ cells }) => cells.serialNumber);
    expect(serials({})).toEqual(['S1', 'S2', 'new']);
    expect(serials({ order: 'm-' })).toEqual(['S2', 'new']);
    expect(serials({ type: 'rh', serialNumber: '1' })).toEqual(['S1', 'new']);
    expect(serials({ mountedOnly: true })).toEqual(['S2', 'new']);
  });
});
