/** An export while another program holds one of its files, or a folder, and what is said of the earlier export then. */
import { spawnSync } from 'node:child_process';
import { mkdir, mkdtemp, readdir, readFile, rm, symlink, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { realDisk, writeSet, type ExportDisk, type FileToWrite, type WriteResult } from './files.ts';

let directory = '';
let to = '';

beforeEach(async () => {
  directory = await mkdtemp(join(tmpdir(), 'held-'));
  to = join(directory, 'tables');
});
afterEach(() => rm(directory, { recursive: true, force: true }));

const names = ['attempts.csv', 'maps.csv', 'reduction.json'];
const files = (mark: string): FileToWrite[] => names.map((name) => ({ name, pieces: [`${mark} ${name}`] }));
const write = (mark: string, disk?: ExportDisk): Promise<WriteResult> =>
  writeSet(to, { files: files(mark), closing: (written) => ({ name: 'manifest.json', pieces: [JSON.stringify(written)] }) }, disk);

/** Which set lies in a folder, by the mark of each of its files; null: there is no folder. */
async function setIn(folder: string): Promise<string | null> {
  const found = await readdir(folder).catch(() => null);
  if (found === null) return null;
  const texts = await Promise.all(names.filter((name) => found.includes(name)).map((name) => readFile(join(folder, name), 'utf8')));
  return `${[...new Set(texts.map((text) => text.split(' ')[0]))].join('+')} ${texts.length}${found.includes('manifest.json') ? '' : ' without manifest'}`;
}

const refusal = (code: string): Error => Object.assign(new Error(`made for the test: ${code}`), { code });
const failed = (result: WriteResult): Extract<WriteResult, { kind: 'failed' }> => {
  if (result.kind !== 'failed') throw new Error('should have failed');
  return result;
};

/** A system on which another program keeps names from being changed, as Windows does while a spreadsheet has a file open. `times`: so often, then it has let go. */
function holding(code: string, which: { readonly rename?: RegExp; readonly unlink?: RegExp; readonly held?: readonly string[] }, times = Infinity): ExportDisk & { readonly waited: () => number } {
  let left = times;
  let waited = 0;
  const refuse = (pattern: RegExp | undefined, path: string): boolean => pattern?.test(path) === true && left-- > 0;
  return {
    ...realDisk,
    rename: (from, name) => (refuse(which.rename, `${basename(from)} > ${basename(name)}`) ? Promise.reject(refusal(code)) : realDisk.rename(from, name)),
    unlink: (path) => (refuse(which.unlink, path) ? Promise.reject(refusal(code)) : realDisk.unlink(path)),
    isHeld: (path) => Promise.resolve(which.held?.includes(basename(path)) === true),
    pause: (ms) => {
      waited += ms;
      return Promise.resolve();
    },
    waited: () => waited,
  };
}

describe('EXP-3 a file of the export is open in another program', () => {
  it.each(['EBUSY', 'EPERM', 'EACCES'])('%s: the earlier export stays whole in its folder, the file is named, and it is said what to do', async (code) => {
    await write('old');
    const answer = failed(await write('new', holding(code, { rename: /^tables > /, held: ['maps.csv'] })));
    expect(answer.reason).toBe('held');
    expect(answer.text).toBe(
      `The export could not take its place, because maps.csv in ${to} is held open by another program (${code}). The measured data in the archive are not touched, and the earlier export in ${to} is still there, whole. Close it there, and export again, or export to another folder.`,
    );
    expect(await setIn(to)).toBe('old 3');
    expect(await readdir(directory)).toEqual(['tables']);
    // Once it is closed.
    expect((await write('new')).kind).toBe('written');
    expect(await setIn(to)).toBe('new 3');
  });

  it('a folder that is held, and no file of it: said so', async () => {
    await write('old');
    const answer = failed(await write('new', holding('EBUSY', { rename: /^tables > / })));
    expect(answer.text).toMatch(/because tables in .* is held by another program \(a spreadsheet or viewer with one of its files open, a terminal that stands in it\)/);
    expect(await setIn(to)).toBe('old 3');
  });

  it('only the earlier one cannot be removed: the new one is whole in its place, what is left is said, and goes with the next', async () => {
    await write('old');
    const written = await write('new', holding('EBUSY', { unlink: /old.*maps\.csv$/ }));
    expect(written).toMatchObject({ kind: 'written', note: expect.stringMatching(/new export is in its place, whole\. The earlier one could not be removed \(EBUSY\).*tables\.export-old, and goes with the next/) as string });
    expect(await setIn(to)).toBe('new 3');
    // What is left of the earlier one is never taken for a whole one, even where the new one was taken away meanwhile.
    expect([await setIn(`${to}.export-before`), await setIn(`${to}.export-old`)]).toEqual([null, expect.stringMatching(/^old [12]/)]);
    await rm(to, { recursive: true });
    await write('third', { ...realDisk, create: () => Promise.reject(refusal('ENOSPC')) });
    expect(await setIn(to)).toBeNull();
    expect((await write('third')).kind).toBe('written');
    expect(await readdir(directory)).toEqual(['tables']);
    expect(await setIn(to)).toBe('third 3');
  });

  it('nor can its folder change its name: the same, and it stays whole', async () => {
    await write('old');
    const written = await write('new', holding('EPERM', { rename: / > tables\.export-old$/ }));
    expect(written).toMatchObject({ kind: 'written', note: expect.stringMatching(/tables\.export-before, and goes with the next/) as string });
    expect([await setIn(to), await setIn(`${to}.export-before`)]).toEqual(['new 3', 'old 3']);
    expect((await write('third')).kind).toBe('written');
    expect(await readdir(directory)).toEqual(['tables']);
  });

  it.each([['.~lock.maps.csv#', 'maps.csv'], ['~$maps.csv', 'maps.csv']])('the mark that a spreadsheet lays beside it (%s): nothing is begun', async (mark, name) => {
    await write('old');
    await writeFile(join(to, mark), ',somebody,');
    const answer = failed(await write('new'));
    expect(answer.reason).toBe('held');
    expect(answer.text).toContain(`because ${name} in ${to} is open in a spreadsheet (it keeps ${mark} beside it)`);
    expect(answer.text).toMatch(/earlier export in .* is still there, whole\. Close it there/);
    expect(await setIn(to)).toBe('old 3');
    expect(await readdir(directory)).toEqual(['tables']);
  });

  it.skipIf(process.platform === 'win32')('a link to the folder of the export stays a link', async () => {
    const elsewhere = join(directory, 'elsewhere');
    await mkdir(elsewhere);
    await symlink(elsewhere, to);
    expect((await write('old')).kind).toBe('written');
    expect(await write('new')).toMatchObject({ kind: 'written', note: null, files: [...names, 'manifest.json'].map((name) => join(to, name)) });
    expect(await setIn(elsewhere)).toBe('new 3');
    expect((await readdir(directory)).sort()).toEqual(['elsewhere', 'tables']);
  });

  // A mount point cannot change its name (rename(2): EBUSY); the system refuses it for real.
  const unshare = 'unshare';
  const ownNamespace = (script: string): ReturnType<typeof spawnSync> => spawnSync(unshare, ['-rm', 'sh', '-c', script], { encoding: 'utf8' });
  const mayMount = process.platform === 'linux' && ownNamespace('mount -t tmpfs -o size=1m none /mnt').status === 0;
  it.skipIf(!mayMount)('a folder that the system itself holds (a mount point, Linux)', async () => {
    await mkdir(to);
    const script = join(directory, 'write.mjs');
    await writeFile(script, `import { writeSet, realDisk } from ${JSON.stringify(join(import.meta.dirname, 'files.ts'))};
const set = { files: [{ name: 'maps.csv', pieces: ['new'] }], closing: () => ({ name: 'manifest.json', pieces: ['{}'] }) };
console.log(JSON.stringify(await writeSet(${JSON.stringify(to)}, set, { ...realDisk, pause: () => Promise.resolve() })));\n`);
    const done = ownNamespace(`mount -t tmpfs -o size=1m none '${to}' && echo old > '${to}/maps.csv' && '${process.execPath}' '${script}' && cat '${to}/maps.csv' && ls '${directory}'`);
    const [answer = '', ...rest] = String(done.stdout).trim().split('\n');
    expect(JSON.parse(answer), String(done.stderr)).toMatchObject({ kind: 'failed', reason: 'held', text: expect.stringMatching(/EBUSY.*earlier export in .* is still there, whole/) as string });
    expect(rest).toEqual(['old', 'tables', 'write.mjs']);
  });
});

describe('EXP-4 a refusal that passes by itself', () => {
  it.each(['EBUSY', 'EPERM', 'EACCES'])('%s while a virus scanner looks into what was just written is waited out', async (code) => {
    await write('old');
    const disk = holding(code, { rename: /next > tables$/ }, 5);
    expect(await write('new', disk)).toMatchObject({ kind: 'written', note: null });
    expect(disk.waited()).toBe(500);
    expect(await setIn(to)).toBe('new 3');
  });

  it('one that stays is given up after 2 s, and another error is not waited for', async () => {
    await write('old');
    const held = holding('EBUSY', { rename: /^tables > / });
    await write('new', held);
    expect(held.waited()).toBe(2000);
    const broken = holding('EIO', { rename: /^tables > / });
    expect(failed(await write('new', broken)).reason).toBe('other');
    expect(broken.waited()).toBe(0);
  });
});

describe('EXP-5 what is said of the earlier export is so', () => {
  it('the new one could not be put in its place: the earlier one is back', async () => {
    await write('old');
    const answer = failed(await write('new', holding('EIO', { rename: /next > tables$/ })));
    expect(answer.text).toContain(`the earlier export in ${to} is still there, whole`);
    expect(await setIn(to)).toBe('old 3');
  });

  it('nor could the earlier one be put back: it is said where it lies, and the next export puts it back', async () => {
    await write('old');
    const answer = failed(await write('new', holding('EPERM', { rename: / > tables$/ })));
    expect(answer.text).toContain(`The earlier export is whole and lies in ${to}.export-before now; the next export to ${to} puts it back first.`);
    expect([await setIn(to), await setIn(`${to}.export-before`)]).toEqual([null, 'old 3']);
    expect(failed(await write('new', { ...realDisk, create: () => Promise.reject(refusal('ENOSPC')) })).text).toMatch(/disk .* is full.*is still there, whole/);
    expect(await setIn(to)).toBe('old 3');
  });

  it('there was none: nothing is said to be there', async () => {
    expect(failed(await write('new', { ...realDisk, create: () => Promise.reject(refusal('EACCES')) })).text).toContain(`there was no earlier export in ${to}, and there is none now`);
    expect(await readdir(directory)).toEqual([]);
  });

  it('the new one is in its place and the disk does not confirm it', async () => {
    await write('old');
    const answer = failed(await write('new', { ...realDisk, sync: (path) => (path === directory ? Promise.reject(refusal('EIO')) : realDisk.sync(path)) }));
    expect(answer.text).toContain(`The new export lies in ${to}, whole, but it is not certain that it outlasts a power cut now.`);
    expect(await setIn(to)).toBe('new 3');
    expect((await write('third')).kind).toBe('written');
    expect(await readdir(directory)).toEqual(['tables']);
  });
});
