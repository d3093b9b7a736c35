/**
 * The table of injectors as it is typed into: rows of texts beside the parts they came from. Everything here is a pure
 * step from rows to rows; saving and focus are the page's.
 */
import type { Part } from '../../../app/contract/library-requests.ts';
import { numberIn, readNumber } from '../../settings/read-number.ts';

export const columns = ['order', 'type', 'serialNumber', 'coilResistance', 'condition', 'channel'] as const;
export type PartsColumn = (typeof columns)[number];
type Cells = Readonly<Record<PartsColumn, string>>;
export type KnownPart = Part & { readonly id: string };

export interface Row {
  /** Holds the row's place in the window. */
  readonly key: number;
  /** What is stored; null: a new row. */
  readonly stored: KnownPart | null;
  readonly cells: Cells;
}

export const columnWords: Readonly<Record<PartsColumn, { readonly label: string; readonly unit: string; readonly help: string }>> = {
  order: { label: 'Job', unit: '', help: 'Carried down to the next new part.' },
  type: { label: 'Type', unit: '', help: 'Or part number. Carried down too.' },
  serialNumber: { label: 'Serial number', unit: '', help: 'As marked on it. Columns of a spreadsheet can be pasted.' },
  coilResistance: { label: 'Coil', unit: 'Ω', help: 'May stay empty.' },
  condition: { label: 'Condition', unit: '', help: 'What was seen when it was booked in.' },
  channel: { label: 'Channel', unit: '', help: 'Place on the rail. Empty: not mounted.' },
};

function cellsOf(part: Part): Cells {
  return {
    order: part.order,
    type: part.type,
    serialNumber: part.serialNumber,
    coilResistance: part.coilResistanceOhm === null ? '' : String(part.coilResistanceOhm),
    condition: part.condition,
    channel: part.channel === null ? '' : String(part.channel),
  };
}

export function rowsOf(parts: readonly KnownPart[]): readonly Row[] {
  return parts.map((stored, key) => ({ key, stored, cells: cellsOf(stored) }));
}

/** What the host has now under the rows as they stand: what was being typed stays, what was not touched is brought up to date. */
export function refreshed(rows: readonly Row[], parts: readonly KnownPart[]): readonly Row[] {
  const byId = new Map(parts.map((part) => [part.id, part]));
  const kept = rows.flatMap((row): readonly Row[] => {
    if (row.stored === null) return [row];
    const now = byId.get(row.stored.id);
    byId.delete(row.stored.id);
    if (now === undefined) return isChanged(row) ? [{ ...row, stored: null }] : [];
    return [{ ...row, stored: now, cells: isChanged(row) ? row.cells : cellsOf(now) }];
  });
  let key = nextKey(rows);
  return [...kept, ...[...byId.values()].map((stored) => ({ key: key++, stored, cells: cellsOf(stored) }))];
}

function nextKey(rows: readonly Row[]): number {
  return rows.reduce((most, { key }) => Math.max(most, key), -1) + 1;
}

const ownColumns = ['serialNumber', 'coilResistance', 'condition'] as const;

/** A new row that nothing of its own was typed into (a channel may be given): it is not saved and says nothing wrong. */
export function isBlank(row: Row): boolean {
  return row.stored === null && ownColumns.every((column) => row.cells[column].trim() === '');
}

export function isChanged(row: Row): boolean {
  if (row.stored === null) return !isBlank(row);
  const before = cellsOf(row.stored);
  return columns.some((column) => !sameCell(column, before[column], row.cells[column]));
}

/** 12.50 and 12.5 ohm are the same; what differs only in blanks around it is the same. */
function sameCell(column: PartsColumn, a: string, b: string): boolean {
  if (column !== 'coilResistance' || a.trim() === '' || b.trim() === '') return a.trim() === b.trim();
  return numberIn(a) === numberIn(b);
}

/** What was typed of a row that is not saved. */
export interface Begun {
  /** Id of the injector that is changed; null: a new one. */
  readonly id: string | null;
  readonly cells: Cells;
}

export function begunIn(rows: readonly Row[]): readonly Begun[] {
  return rows.filter(isChanged).map(({ stored, cells }) => ({ id: stored?.id ?? null, cells }));
}

/** Rows with what was typed in an earlier window: over the injector that it changes, or as a new row where that is not there any more. */
export function withBegun(rows: readonly Row[], begun: readonly Begun[]): readonly Row[] {
  return begun.reduce((now, { id, cells }): readonly Row[] => {
    const index = id === null ? -1 : now.findIndex(({ stored }) => stored?.id === id);
    const row = now[index];
    return row === undefined ? [...now, { key: nextKey(now), stored: null, cells }] : now.with(index, { ...row, cells });
  }, rows);
}

export function withCell(rows: readonly Row[], key: number, column: PartsColumn, text: string): readonly Row[] {
  return rows.map((row) => (row.key === key ? { ...row, cells: { ...row.cells, [column]: text } } : row));
}

/**
 * A new row in which something of its own stands gets order and type from the row above it, if it has neither yet.
 */
export function carriedDown(rows: readonly Row[], key: number): readonly Row[] {
  const index = rows.findIndex((row) => row.key === key);
  const row = rows[index];
  const above = rows[index - 1];
  if (row === undefined || above === undefined || row.stored !== null || isBlank(row)) return rows;
  if (row.cells.order.trim() !== '' || row.cells.type.trim() !== '') return rows;
  return rows.with(index, { ...row, cells: { ...row.cells, order: above.cells.order, type: above.cells.type } });
}

/** One more new row at the end; order and type are carried down from `from`, or from the last row. */
export function withNewRow(rows: readonly Row[], from?: Row): { readonly rows: readonly Row[]; readonly key: number } {
  const above = from ?? rows.at(-1);
  const key = nextKey(rows);
  const cells: Cells = { order: above?.cells.order ?? '', type: above?.cells.type ?? '', serialNumber: '', coilResistance: '', condition: '', channel: '' };
  return { rows: [...rows, { key, stored: null, cells }], key };
}

/** A new row for each driver channel of the bench, for taking in what hangs on the rail. */
export function rowsForChannels(rows: readonly Row[], channels: number): readonly Row[] {
  return Array.from({ length: channels }, (_, i) => String(i + 1)).reduce((all, channel) => {
    const made = withNewRow(all);
    return withCell(made.rows, made.key, 'channel', channel);
  }, rows);
}

export function withoutRow(rows: readonly Row[], key: number): readonly Row[] {
  return rows.filter((row) => row.key !== key);
}

/** As it is stored; a new row goes away. */
export function undone(rows: readonly Row[], key: number): readonly Row[] {
  return rows.flatMap((row) => (row.key !== key ? [row] : row.stored === null ? [] : [{ ...row, cells: cellsOf(row.stored) }]));
}

/**
 * Cells as a spreadsheet puts them on the clipboard: rows by line, columns by tab; a cell that holds a tab, a line or a
 * quotation mark is in quotation marks, doubled inside. The line end behind the last row is not a row.
 */
export function pastedCells(text: string): readonly (readonly string[])[] {
  const lines: string[][] = [[]];
  let cell = '';
  let quoted = false;
  let atStart = true;
  const endCell = () => {
    lines.at(-1)?.push(cell);
    cell = '';
    atStart = true;
  };
  const source = text.replace(/\r\n?/gu, '\n').replace(/\n$/u, '');
  for (let i = 0; i < source.length; i += 1) {
    const c = source.charAt(i);
    if (quoted) {
      if (c !== '"') cell += c;
      else if (source.charAt(i + 1) === '"') {
        cell += '"';
        i += 1;
      } else quoted = false;
    } else if (c === '"' && atStart && source.includes('"', i + 1)) {
      quoted = true;
      atStart = false;
    } else if (c === '\t') endCell();
    else if (c === '\n') {
      endCell();
      lines.push([]);
    } else {
      cell += c;
      atStart = false;
    }
  }
  endCell();
  return lines.map((line) => line.map((one) => one.trim()));
}

/**
 * Writes pasted cells from (`key`, `column`) to the right and down over the rows that are shown (`visible`, their keys in
 * order); what does not fit begins new rows, which carry order and type down from the row above unless they are pasted.
 */
export function withPasted(rows: readonly Row[], visible: readonly number[], key: number, column: PartsColumn, pasted: readonly (readonly string[])[]): { readonly rows: readonly Row[]; readonly lastKey: number } {
  const firstColumn = columns.indexOf(column);
  const place = visible.indexOf(key);
  let result = rows;
  let lastKey = key;
  pasted.forEach((cells, offset) => {
    let target = visible[place + offset];
    if (target === undefined) {
      const made = withNewRow(result, result.find((row) => row.key === lastKey));
      result = made.rows;
      target = made.key;
    }
    lastKey = target;
    cells.forEach((text, across) => {
      const to = columns[firstColumn + across];
      if (to !== undefined) result = withCell(result, lastKey, to, text);
    });
    result = carriedDown(result, lastKey);
  });
  return { rows: result, lastKey };
}

export interface RowProblem {
  readonly key: number;
  readonly column: PartsColumn;
  readonly text: string;
  /** `refuse`: the row cannot be saved so. `warn`: a person should look. */
  readonly level: 'refuse' | 'warn';
}

const limits: Readonly<Partial<Record<PartsColumn, number>>> = { order: 120, type: 60, serialNumber: 60, condition: 500 };

/** What is wrong with the rows, in words. Rows that are stored and untouched are only held against the others. */
// eslint-disable-next-line complexity -- a list of independent checks of one row
export function problemsOfRows(rows: readonly Row[]): readonly RowProblem[] {
  const problems: RowProblem[] = [];
  const bySerial = new Map<string, Row[]>();
  const byChannel = new Map<string, Row[]>();
  for (const row of rows) {
    if (isBlank(row)) continue;
    const { cells, key } = row;
    const add = (column: PartsColumn, text: string, level: RowProblem['level'] = 'refuse') => {
      problems.push({ key, column, text, level });
    };
    if (cells.serialNumber.trim() === '') add('serialNumber', 'The serial number is missing. Type it as marked on the injector.');
    if (cells.type.trim() === '') add('type', 'The type is missing.');
    for (const column of columns) {
      const most = limits[column];
      if (most !== undefined && cells[column].trim().length > most) add(column, `This may have ${most} characters at most, but it has ${cells[column].trim().length}.`);
    }
    const coil = cells.coilResistance.trim();
    const coilRead = readNumber(coil);
    if (coilRead.kind === 'unreadable') add('coilResistance', coilRead.why);
    else if (coilRead.kind === 'number' && coilRead.value <= 0) add('coilResistance', `"${coil}" is not a resistance. Type a number above 0 in ohms, or leave it empty.`);
    const channel = cells.channel.trim();
    if (channel !== '' && (!/^\d+$/u.test(channel) || Number(channel) < 1 || Number(channel) > 64)) {
      add('channel', `"${channel}" is not a channel. Type a whole number from 1 to 64, or leave it empty.`);
    } else if (channel !== '') gather(byChannel, String(Number(channel)), row);
    if (cells.serialNumber.trim() !== '') gather(bySerial, folded(cells.serialNumber), row);
  }

  for (const same of bySerial.values()) {
    for (const row of same) {
      if (!isChanged(row)) continue;
      const serial = row.cells.serialNumber.trim();
      const others = same.filter((other) => other !== row);
      // One injector is type and serial number together; the archive takes it in once and keeps its history.
      const twin = others.find(({ cells }) => cells.serialNumber.trim() === serial && cells.type.trim() === row.cells.type.trim());
      const alike = twin ?? others[0];
      if (alike === undefined) continue;
      const type = alike.cells.type.trim() || '(none)';
      const where = `type ${type}${alike.cells.order.trim() === '' ? ', no job' : `, job ${alike.cells.order.trim()}`}`;
      if (twin !== undefined) {
        problems.push({
          key: row.key, column: 'serialNumber', level: 'refuse',
          text: `Serial number ${serial} is there already (${where}). If it is the same injector with a new job, change the job in that row; else correct one of them.`,
        });
      } else {
        problems.push({
          key: row.key, column: 'serialNumber', level: 'warn',
          text: `Much the same serial number, ${alike.cells.serialNumber.trim()}, belongs to another part (${where}). Two parts of one serial number cannot be in one plan.`,
        });
      }
    }
  }
  for (const [channel, same] of byChannel) {
    for (const row of same) {
      if (!isChanged(row)) continue;
      const others = same.filter((other) => other !== row);
      const typed = others.find(isChanged);
      const other = typed ?? others[0];
      if (other === undefined) continue;
      const name = other.cells.serialNumber.trim() || 'another part';
      problems.push(
        typed === undefined
          ? { key: row.key, column: 'channel', level: 'warn', text: `Channel ${channel} has ${name} now. Saving takes ${name} off the rail.` }
          : { key: row.key, column: 'channel', level: 'refuse', text: `Channel ${channel} is given to ${name} as well. Give each its own.` },
      );
    }
  }
  return problems;
}

function gather(map: Map<string, Row[]>, key: string, row: Row): void {
  const there = map.get(key);
  if (there === undefined) map.set(key, [row]);
  else there.push(row);
}

/** For comparing what people type: case and blanks around do not tell two injectors apart. */
/** Every dash is a hyphen and blanks are none: what reads the same on an injector is the same. */
function folded(text: string): string {
  return text.normalize('NFKC').replaceAll(/[\u2010-\u2015\u2212]/gu, '-').replaceAll(/\s/gu, '').toLowerCase();
}

/** The row as the host stores it. The row must have no refusing problem. */
export function partOf(row: Row): Part {
  const { cells } = row;
  return {
    ...(row.stored === null ? {} : { id: row.stored.id }),
    order: cells.order.trim(),
    type: cells.type.trim(),
    serialNumber: cells.serialNumber.trim(),
    coilResistanceOhm: cells.coilResistance.trim() === '' ? null : numberIn(cells.coilResistance),
    condition: cells.condition.trim(),
    channel: cells.channel.trim() === '' ? null : Number(cells.channel),
  };
}

/** Changed rows in the lots in which they are saved. */
export function lotsToSave(rows: readonly Row[], most = 200): readonly (readonly Row[])[] {
  const changed = rows.filter(isChanged);
  return Array.from({ length: Math.ceil(changed.length / most) }, (_, i) => changed.slice(i * most, (i + 1) * most));
}

/** Rows after `lot` was saved; `parts` are all parts as the host has them then. What was typed meanwhile stays. */
export function afterSaving(rows: readonly Row[], lot: readonly Row[], parts: readonly KnownPart[]): readonly Row[] {
  const sent = new Map(lot.map((row) => [row.key, row]));
  const withStored = rows.map((row): Row => {
    const before = sent.get(row.key);
    if (before === undefined) return row;
    const { type, serialNumber } = partOf(before);
    const stored = parts.find((part) => (before.stored === null ? part.type === type && part.serialNumber === serialNumber : part.id === before.stored.id));
    return stored === undefined ? row : { ...row, stored, cells: row.cells === before.cells ? cellsOf(stored) : row.cells };
  });
  return refreshed(withStored, parts);
}

export interface Filter {
  readonly order: string;
  readonly type: string;
  readonly serialNumber: string;
  readonly mountedOnly: boolean;
}

export const noFilter: Filter = { order: '', type: '', serialNumber: '', mountedOnly: false };

/** Rows that match every part of the filter; what is not saved yet is always shown, so that it cannot be lost from sight. */
export function shownRows(rows: readonly Row[], filter: Filter): readonly Row[] {
  const has = (text: string, wanted: string) => folded(text).includes(folded(wanted));
  return rows.filter(
    (row) =>
      row.stored === null ||
      isChanged(row) ||
      (has(row.stored.order, filter.order) &&
        has(row.stored.type, filter.type) &&
        has(row.stored.serialNumber, filter.serialNumber) &&
        (!filter.mountedOnly || row.stored.channel !== null)),
  );
}
