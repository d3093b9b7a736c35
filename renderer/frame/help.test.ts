/** Help and keys against the source of the window itself: what is heard there is listed, and what is listed is heard. */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { help } from '../pages/help.ts';
import { pages } from '../pages/index.ts';
import { keyRows } from './key-list.ts';

const root = join(import.meta.dirname, '..');
const sources = readdirSync(root, { recursive: true, encoding: 'utf8' })
  .map((name) => name.replaceAll('\\', '/'))
  .filter((name) => /\.tsx?$/u.test(name) && !/\.test/u.test(name) && name !== 'frame/key-list.ts')
  .map((name) => ({ name, text: readFileSync(join(root, name), 'utf8') }));

const named = String.raw`Arrow(?:Up|Down|Left|Right)|Page(?:Up|Down)|Home|End|Enter|Escape|Delete|Backspace|Tab|F\d{1,2}`;
/** The forms in which a key is asked for here. */
const forms: readonly RegExp[] = [
  new RegExp(String.raw`\b(?:\w+\.)?key(?:\.toLowerCase\(\))? [!=]== '(${named}|.)'`, 'gu'),
  new RegExp(String.raw`case '(${named}|.)':`, 'gu'),
  new RegExp(String.raw`(?:[{,]|^)\s*'?(${named}|[+\-?/]|\d)'?: (?!string)`, 'gmu'),
  /'((?:Alt|\$mod|Control|Shift)\+\w+)'/gu,
  /\bkey: '(Key[A-Z])'/gu,
  /stopKey = '(F\d)'/gu,
  /\bview\('[\w-]+', .*?, '([A-Z])'/gu,
  /const key = '([A-Z])'/gu,
];
const hearsKeys = /onKeyDown=|'keydown'|\bonWindowKeys\(|\bonPlainKeys\(|\bKeyboardEvent\b|pressed\.key|\bkey: string\): boolean|\bletter: string|readonly key: string;\n  readonly load/u;
const heardIn = ({ text }: { readonly text: string }): ReadonlySet<string> => new Set(hearsKeys.test(text) ? forms.flatMap((form) => [...text.matchAll(form)].map(([, key = '']) => key)) : []);

describe('WIN-51', () => {
  it('every page has help: what it is for, and how one works with it', () => {
    for (const { path, title } of pages) {
      expect(help[path]?.what, `help for the page ${title} is missing in pages/help.ts`).toMatch(/^[A-Z].{20,}\.$/u);
      expect(help[path]?.steps.length, title).toBeGreaterThanOrEqual(2);
      for (const step of help[path]?.steps ?? []) expect(step).toMatch(/^[A-Z].*\.$/u);
    }
    const paths = new Set(pages.map(({ path }) => path));
    expect(Object.keys(help).filter((path) => !paths.has(path))).toEqual([]);
  });
});

describe('WIN-52', () => {
  it('every key that is heard stands in the list', () => {
    const missing = sources.flatMap((source) => {
      const listed = new Set(keyRows.filter(({ file }) => file === source.name).flatMap(({ heard }) => heard));
      return [...heardIn(source)].filter((key) => !listed.has(key)).map((key) => `${source.name} hears ${key}, which frame/key-list.ts does not list`);
    });
    expect(missing).toEqual([]);
  });

  it('every key of the list is heard where it says', () => {
    const unheard = keyRows.flatMap(({ file, heard }) => {
      const source = sources.find(({ name }) => name === file);
      const there = source === undefined ? new Set<string>() : heardIn(source);
      return heard.filter((key) => !there.has(key)).map((key) => `${file} does not hear ${key}`);
    });
    expect(unheard).toEqual([]);
  });

  it('no place hears keys in a form that this test cannot read', () => {
    const places = sources.filter(({ text }) => /onKeyDown=|addEventListener\('keydown'|\bonWindowKeys\(|\bonPlainKeys\(/u.test(text));
    // These pass on what others name.
    const passOn = new Set(['components/keys.ts', 'frame/frame.tsx', 'pages/run/command-bar.tsx']);
    expect(places.length).toBeGreaterThan(10);
    expect(places.filter((source) => heardIn(source).size === 0 && !passOn.has(source.name)).map(({ name }) => name)).toEqual([]);
  });

  it('each key means one thing at one place, and STOP is never another', () => {
    for (const where of new Set(keyRows.map((row) => row.where))) {
      const plain = keyRows.filter((row) => row.where === where && /^(Alt|Ctrl)\+\w+$|^F\d+$/u.test(row.keys)).map(({ keys }) => keys);
      expect(plain.length).toBe(new Set(plain).size);
    }
    const everywhere = new Set(keyRows.filter((row) => row.where === 'everywhere').map(({ keys }) => keys));
    expect(keyRows.filter((row) => row.where !== 'everywhere' && everywhere.has(row.keys) && row.keys !== 'Esc').map(({ keys, where }) => `${keys} on ${where}`)).toEqual([]);
    expect(keyRows.filter(({ heard }) => heard.includes('F9'))).toHaveLength(1);
  });
});
