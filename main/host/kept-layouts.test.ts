import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { keepLayout, keptLayouts, removeLayout } from './kept-layouts.ts';

let folder = '';
const archive = (): string => join(folder, 'archive.sqlite');
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-layouts-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

describe('TAB-52 layouts that are kept', () => {
  it('are there under their names, each once, and come back as they were', () => {
    expect(keptLayouts(archive())).toEqual({ folder: join(folder, 'layouts'), layouts: [], problem: '' });
    const documents = [{ layoutVersion: 1, name: 'A/b: ../é', axes: { voltagesV: [9, 12] } }, { layoutVersion: 1, name: 'A b' }, { layoutVersion: 1, name: 'a-b' }];
    for (const document of documents) expect(keepLayout(archive(), document)).toEqual({ problems: [] });
    const changed = { layoutVersion: 1, name: 'A b', csv: { separator: 'semicolon' } };
    expect(keepLayout(archive(), changed)).toEqual({ problems: [] });
    expect(keptLayouts(archive()).layouts.map((one) => one.document)).toEqual(expect.arrayContaining([documents[0], changed, documents[2]]));
    const names = readdirSync(join(folder, 'layouts'));
    expect(names.length).toBe(3);
    for (const name of names) expect(name).toMatch(/^[a-z0-9-]+\.json$/);
  });

  it('are not kept when they are wrong, and what is none is named and passed over', () => {
    expect(keepLayout(archive(), { layoutVersion: 1, name: 'x', axes: { voltagesV: [12, 9] } })).toMatchObject({ problems: [{ path: 'axes.voltagesV[1]' }] });
    expect(keptLayouts(archive()).layouts).toEqual([]);
    keepLayout(archive(), { layoutVersion: 1, name: 'x' });
    writeFileSync(join(folder, 'layouts', 'nonsense.json'), '{');
    writeFileSync(join(folder, 'layouts', 'other.json'), '{"layoutVersion":2}');
    const kept = keptLayouts(archive());
    expect(kept.layouts.map((one) => one.name)).toEqual(['x']);
    expect(kept.problem).toContain('nonsense.json, other.json');
    for (let i = 0; i < 200; i += 1) writeFileSync(join(folder, 'layouts', `more-${i}.json`), '{}');
    expect(keepLayout(archive(), { layoutVersion: 1, name: 'y' })).toContain('no other was kept');
    expect(keepLayout(archive(), { layoutVersion: 1, name: 'x' })).toEqual({ problems: [] });
  });

  it('TAB-54: are removed by their names, whatever their files are called, and nothing else is', () => {
    for (const name of ['A/b: ../x', 'c']) keepLayout(archive(), { layoutVersion: 1, name });
    writeFileSync(join(folder, 'layouts', 'by-hand.json'), '{"layoutVersion":1,"name":"d"}');
    writeFileSync(join(folder, 'layouts', 'nonsense.json'), '{');
    expect(removeLayout(archive(), 'A/b: ../x')).toBeNull();
    expect(removeLayout(archive(), 'd')).toBeNull();
    expect(removeLayout(archive(), '../archive.sqlite')).toContain('Nothing was removed');
    expect(removeLayout(archive(), 'd')).toContain('Nothing was removed');
    expect(readdirSync(join(folder, 'layouts')).map((name) => name.replace(/-[0-9a-f]{8}/, '')).sort()).toEqual(['c.json', 'nonsense.json']);
    expect(removeLayout(join(folder, 'no', 'archive.sqlite'), 'c')).toContain('was not removed');
  });

  it('say why they cannot be kept', () => {
    mkdirSync(join(folder, 'no'));
    writeFileSync(join(folder, 'no', 'layouts'), '');
    expect(keepLayout(join(folder, 'no', 'archive.sqlite'), { layoutVersion: 1, name: 'x' })).toContain('Save it as a file');
    expect(readFileSync(join(folder, 'no', 'layouts'), 'utf8')).toBe('');
    expect(keptLayouts(join(folder, 'no', 'archive.sqlite')).problem).toContain('cannot be read');
  });
});
