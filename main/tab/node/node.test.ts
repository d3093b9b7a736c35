/** HOST-122: what stands for Node in a tab, held against Node itself. */
import { createHash as nodeCreateHash, hash as nodeHash } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { isDeepStrictEqual as nodeEqual } from 'node:util';
import { deflateSync as nodeDeflate, inflateSync as nodeInflate } from 'node:zlib';
import Native from 'better-sqlite3';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createHash, hash, sign } from './crypto.ts';
import { mkdirSync } from './fs.ts';
import { isDeepStrictEqual } from './machine.ts';
import InTab from './sqlite.ts';
import { deflateSync, inflateSync } from './zlib.ts';

const bytes = fc.uint8Array({ maxLength: 300 });

describe('HOST-122 what stands for Node in a tab', () => {
  it('hashes alike', () => {
    fc.assert(
      fc.property(fc.constantFrom('sha1', 'sha256', 'sha384', 'sha512'), bytes, fc.string({ unit: 'grapheme' }), (name, data, text) => {
        expect(hash(name, data, 'hex')).toBe(nodeHash(name, data, 'hex'));
        expect(hash(name, text, 'hex')).toBe(nodeHash(name, text, 'hex'));
        expect(createHash(name).update(text).update(data).digest('base64')).toBe(nodeCreateHash(name).update(text).update(data).digest('base64'));
      }),
    );
    expect(() => createHash('md5')).toThrow(/no hash "md5"/);
    expect(() => sign()).toThrow(/no keys/);
  });

  it('reads the zlib streams of the other', () => {
    fc.assert(
      fc.property(bytes, (data) => {
        expect(nodeInflate(deflateSync(data, { level: 1 }))).toEqual(Buffer.from(data));
        expect(inflateSync(nodeDeflate(data, { level: 1, windowBits: 13, memLevel: 6 }))).toEqual(Buffer.from(data));
      }),
    );
  });

  it('finds the same things equal', () => {
    const plain = fc.anything({ withBigInt: true, maxDepth: 3 });
    const value = fc.oneof(plain, fc.array(fc.tuple(fc.string(), plain), { maxLength: 3 }).map((entries) => new Map(entries)), fc.array(fc.string(), { maxLength: 3 }).map((items) => new Set(items)));
    fc.assert(
      fc.property(value, value, (one, other) => {
        expect(isDeepStrictEqual(one, structuredClone(one))).toBe(nodeEqual(one, structuredClone(one)));
        expect(isDeepStrictEqual(one, other)).toBe(nodeEqual(one, other));
      }),
    );
    expect(isDeepStrictEqual({ a: 1, b: undefined }, { a: 1 })).toBe(false);
    expect(isDeepStrictEqual([0], [-0])).toBe(false);
  });

  /** The same on both; what it throws is told by SQLite's name for it. */
  function both(work: (db: Native.Database) => unknown): { readonly native: unknown; readonly tab: unknown } {
    const folder = mkdtempSync(join(tmpdir(), 'railhouse-tab-'));
    mkdirSync(folder, { recursive: true });
    try {
      const [native, tab] = [Native, InTab as unknown as typeof Native].map((Database) => {
        const db = new Database(join(folder, 'a.sqlite'));
        try {
          return work(db);
        } catch (error) {
          return { code: (error as { readonly code?: string }).code };
        } finally {
          db.close();
        }
      });
      return { native, tab };
    } finally {
      rmSync(folder, { recursive: true });
    }
  }
  const same = (work: (db: Native.Database) => unknown): unknown => {
    const { native, tab } = both(work);
    expect(tab).toEqual(native);
    return native;
  };

  it('keeps values as the native database does', () => {
    const value = fc.oneof(fc.integer(), fc.double({ noNaN: true, noDefaultInfinity: true }), fc.string({ unit: 'grapheme' }).filter((text) => !text.includes('\0')), bytes.map((data) => Buffer.from(data)), fc.constant(null));
    fc.assert(
      fc.property(fc.array(value, { maxLength: 5 }), (values) => {
        same((db) => {
          db.exec('CREATE TABLE t (id INTEGER PRIMARY KEY, v ANY) STRICT');
          const put = db.prepare('INSERT INTO t (v) VALUES (@v)');
          const changes = values.map((v) => put.run({ v }).changes);
          return [changes, db.prepare('SELECT * FROM t ORDER BY id').all(), db.prepare('SELECT v, typeof(v) AS kind FROM t WHERE id = ?').get(1), [...db.prepare('SELECT id FROM t WHERE id > ? ORDER BY id').iterate(1)]];
        });
      }),
      { numRuns: 40 },
    );
  });

  it('refuses by the same codes, and takes back what was begun', () => {
    const made = 'CREATE TABLE t (id INTEGER PRIMARY KEY, v INTEGER NOT NULL UNIQUE) STRICT';
    const rows = (db: Native.Database): unknown => db.prepare('SELECT v FROM t ORDER BY v').all();
    const begun = (db: Native.Database): Native.Statement<[number | string]> => db.exec(made).prepare('INSERT INTO t (v) VALUES (?)');
    expect(same((db) => [begun(db).run(1), db.prepare('INSERT INTO t (v) VALUES (?)').run(1)])).toEqual({ code: 'SQLITE_CONSTRAINT_UNIQUE' });
    expect(same((db) => begun(db).run('a'))).toEqual({ code: 'SQLITE_CONSTRAINT_DATATYPE' });
    expect(same((db) => db.prepare('SELECT * FROM nowhere'))).toEqual({ code: 'SQLITE_ERROR' });
    const outcome = same((db) => {
      const put = begun(db);
      const inner = db.transaction((v: number) => {
        put.run(v);
        if (v === 3) throw new Error('taken back');
        return db.inTransaction;
      });
      const outer = db.transaction(() => {
        put.run(1);
        const within = inner(2);
        try {
          inner(3);
        } catch {
          // Only the inner one is undone.
        }
        return within;
      });
      const lost = db.transaction(() => {
        put.run(9);
        throw new Error('all of it');
      });
      const within = outer.immediate();
      try {
        lost.immediate();
      } catch {
        // Nothing of it is left.
      }
      return [within, db.inTransaction, rows(db), db.pragma('user_version', { simple: true }), db.pragma('foreign_key_check')];
    });
    expect(outcome).toEqual([true, false, [{ v: 1 }, { v: 2 }], 0, []]);
  });

  it('has a file again as it was closed, and one that is open twice is one', () => {
    mkdirSync('/again', { recursive: true });
    const first = new InTab('/again/a.sqlite');
    first.exec('CREATE TABLE t (v INTEGER) STRICT; INSERT INTO t VALUES (5); PRAGMA user_version = 4');
    const beside = new InTab('/again/a.sqlite', { fileMustExist: true });
    expect(beside.prepare('SELECT v FROM t').get()).toEqual({ v: 5 });
    beside.close();
    first.close();
    const later = new InTab('/again/a.sqlite');
    expect(later.prepare('SELECT v FROM t').all()).toEqual([{ v: 5 }]);
    expect(later.pragma('user_version', { simple: true })).toBe(4);
    later.close();
    expect(() => new InTab('/again/none.sqlite', { fileMustExist: true })).toThrow(expect.objectContaining({ code: 'SQLITE_CANTOPEN' }) as Error);
  });
});
