/**
 * SQLite in a tab: the same database, compiled to WebAssembly, behind the calls of the native module that the archive makes. A file is a database in memory
 * that all who open its path share; the archive's readers read between transactions, because everything here is done one after the other.
 */
import sqlite3InitModule from '@sqlite.org/sqlite-wasm';
import type { Database as Under, PreparedStatement, SqlValue } from '@sqlite.org/sqlite-wasm';
import { Buffer } from 'buffer';
import { existsSync, readFileSync, writeFileSync } from './fs.ts';

const sqlite3 = await sqlite3InitModule();
const { capi, wasm } = sqlite3;

/** As the native module's: `code` is SQLite's own name for what went wrong. */
class SqliteError extends Error {
  readonly code: string;
  constructor(message: string, code: string) {
    super(message);
    this.name = 'SqliteError';
    this.code = code;
  }
}

function withCode<T>(work: () => T): T {
  try {
    return work();
  } catch (error) {
    if (!(error instanceof sqlite3.SQLite3Error)) throw error;
    throw new SqliteError(error.message, capi.sqlite3_js_rc_str(error.resultCode));
  }
}

type Row = Record<string, unknown>;

interface Shared {
  readonly under: Under;
  users: number;
  depth: number;
}

const open = new Map<string, Shared>();

/** What lies at a path, as a database; an empty file is an empty one. */
function shared(path: string): Shared {
  const there = open.get(path);
  if (there !== undefined) return there;
  const made: Shared = { under: new sqlite3.oo1.DB(':memory:', 'c'), users: 0, depth: 0 };
  if (!existsSync(path)) writeFileSync(path, '');
  capi.sqlite3_extended_result_codes(made.under.pointer ?? 0, 1);
  const bytes = new Uint8Array(readFileSync(path) as Uint8Array);
  if (bytes.length > 0) {
    const place = wasm.allocFromTypedArray(bytes);
    const flags = capi.SQLITE_DESERIALIZE_FREEONCLOSE | capi.SQLITE_DESERIALIZE_RESIZEABLE;
    made.under.checkRc(capi.sqlite3_deserialize(made.under.pointer ?? 0, 'main', place, bytes.length, bytes.length, flags));
  }
  open.set(path, made);
  return made;
}

class Statement {
  readonly #under: PreparedStatement;
  readonly #database: Under;
  readonly #names: readonly (string | undefined)[];
  readonly reader: boolean;

  constructor(database: Under, text: string) {
    this.#database = database;
    this.#under = withCode(() => database.prepare(text));
    this.reader = this.#under.columnCount > 0;
    this.#names = Array.from({ length: this.#under.parameterCount }, (_, i) => capi.sqlite3_bind_parameter_name(this.#under.pointer ?? 0, i + 1)?.slice(1));
  }

  #begin(given: readonly unknown[]): void {
    this.#rest();
    this.#under.clearBindings();
    const plain = given.filter((value) => !isNamed(value)).flat();
    const named = given.find(isNamed) ?? {};
    let next = 0;
    for (const [i, name] of this.#names.entries()) {
      const value = name === undefined || /^\d+$/.test(name) ? plain[name === undefined ? next++ : Number(name) - 1] : named[name];
      if (value === undefined) throw new RangeError(`The statement's value ${name ?? i + 1} is missing.`);
      // As the native module: a number is a real one, and a column that holds integers makes it one.
      if (typeof value === 'number') capi.sqlite3_bind_double(this.#under.pointer ?? 0, i + 1, value);
      else withCode(() => this.#under.bind(i + 1, value as SqlValue));
    }
  }

  /** Not the wrapper's own, which tells what the step told once more. */
  #rest(): void {
    capi.sqlite3_reset(this.#under.pointer ?? 0);
  }

  #row(): Row {
    const row: Row = {};
    for (let i = 0; i < this.#under.columnCount; i++) {
      const value = this.#under.get(i);
      row[this.#under.getColumnName(i)] = value instanceof Uint8Array ? Buffer.from(value) : value;
    }
    return row;
  }

  get(...given: readonly unknown[]): Row | undefined {
    this.#begin(given);
    try {
      return withCode(() => this.#under.step()) ? this.#row() : undefined;
    } finally {
      this.#rest();
    }
  }

  all(...given: readonly unknown[]): Row[] {
    return [...this.iterate(...given)];
  }

  *iterate(...given: readonly unknown[]): Generator<Row, void> {
    this.#begin(given);
    try {
      while (withCode(() => this.#under.step())) yield this.#row();
    } finally {
      this.#rest();
    }
  }

  run(...given: readonly unknown[]): { readonly changes: number; readonly lastInsertRowid: number | bigint } {
    this.#begin(given);
    try {
      withCode(() => this.#under.step());
    } finally {
      this.#rest();
    }
    return { changes: this.#database.changes(), lastInsertRowid: Number(capi.sqlite3_last_insert_rowid(this.#database.pointer ?? 0)) };
  }

  end(): void {
    this.#under.finalize();
  }
}

const isNamed = (value: unknown): value is Record<string, unknown> => typeof value === 'object' && value !== null && !Array.isArray(value) && !(value instanceof Uint8Array);

type Work<A extends unknown[], T> = (...given: A) => T;

export default class Database {
  static readonly SqliteError = SqliteError;
  readonly name: string;
  readonly #shared: Shared;
  readonly #statements: Statement[] = [];
  open = true;

  constructor(path: string, options: { readonly fileMustExist?: boolean } = {}) {
    if (options.fileMustExist === true && !existsSync(path)) throw new SqliteError('unable to open database file', 'SQLITE_CANTOPEN');
    this.name = path;
    this.#shared = withCode(() => shared(path));
    this.#shared.users += 1;
  }

  get inTransaction(): boolean {
    return capi.sqlite3_get_autocommit(this.#shared.under.pointer ?? 0) === 0;
  }

  prepare(text: string): Statement {
    const made = new Statement(this.#shared.under, text);
    this.#statements.push(made);
    return made;
  }

  exec(text: string): this {
    withCode(() => this.#shared.under.exec(text));
    return this;
  }

  pragma(text: string, options: { readonly simple?: boolean } = {}): unknown {
    const asked = new Statement(this.#shared.under, `PRAGMA ${text}`);
    try {
      const rows = asked.all();
      return options.simple === true ? Object.values(rows[0] ?? {})[0] : rows;
    } finally {
      asked.end();
    }
  }

  /** A transaction; within another one a savepoint of it. */
  transaction<A extends unknown[], T>(work: Work<A, T>): Work<A, T> & { readonly immediate: Work<A, T>; readonly deferred: Work<A, T>; readonly exclusive: Work<A, T> } {
    const how =
      (begin: string): Work<A, T> =>
      (...given) => {
        const outer = !this.inTransaction;
        this.exec(outer ? begin : `SAVEPOINT inner_${++this.#shared.depth}`);
        const inner = `inner_${this.#shared.depth}`;
        try {
          const result = work(...given);
          this.exec(outer ? 'COMMIT' : `RELEASE ${inner}`);
          return result;
        } catch (error) {
          if (this.inTransaction) this.exec(outer ? 'ROLLBACK' : `ROLLBACK TO ${inner}; RELEASE ${inner}`);
          throw error;
        } finally {
          if (!outer) this.#shared.depth -= 1;
        }
      };
    return Object.assign(how('BEGIN'), { deferred: how('BEGIN'), immediate: how('BEGIN IMMEDIATE'), exclusive: how('BEGIN EXCLUSIVE') });
  }

  /** The whole database as a file of the tab's disk. */
  backup(path: string): Promise<unknown> {
    writeFileSync(path, withCode(() => capi.sqlite3_js_db_export(this.#shared.under.pointer ?? 0)));
    return Promise.resolve();
  }

  close(): this {
    if (!this.open) return this;
    this.open = false;
    for (const statement of this.#statements) statement.end();
    this.#shared.users -= 1;
    if (this.#shared.users > 0) return this;
    open.delete(this.name);
    writeFileSync(this.name, capi.sqlite3_js_db_export(this.#shared.under.pointer ?? 0));
    this.#shared.under.close();
    return this;
  }
}
