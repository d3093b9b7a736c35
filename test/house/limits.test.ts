/**
 * What a reader can hold in mind at once: no file of the product is over 500 lines, no function over 70 lines or a complexity of 20 without a
 * reason beside it. The linter holds to it; here, that it does so for every file, that it can refuse, and that files it does not read are as short.
 */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { ESLint, Linter } from 'eslint';
import { beforeAll, describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '../..');
const limits: Linter.RulesRecord = { 'max-lines': ['error', 500], 'max-lines-per-function': ['error', 70], complexity: ['error', 20], 'disable/with-reason': 'error' };
const files = execFileSync('git', ['ls-files', '-z', 'app', 'main', 'renderer', 'firmware-protocol'], { cwd: root, encoding: 'utf8' }).split('\0');
const ofProduct = (path: string): boolean => !/\.test(-helper)?\.tsx?$/.test(path);
const typed = files.filter((path) => /\.tsx?$/.test(path) && ofProduct(path));
const lint = new ESLint({ cwd: root });

/** A file's part of the linter's configuration that limits length and complexity. */
let config: Linter.Config = {};
beforeAll(async () => {
  const { languageOptions, plugins } = (await lint.calculateConfigForFile(join(root, 'app/run/engine.ts'))) as Linter.Config;
  config = { files: ['**/*.ts'], plugins: { disable: plugins?.['disable'] ?? {} }, rules: limits, languageOptions: { parser: languageOptions?.['parser'] } };
});
const found = (text: string): readonly (string | null)[] => new Linter({ configType: 'flat' }).verify(text, [config], 'app/some.ts').map(({ ruleId, fatal }) => (fatal === true ? 'not read' : ruleId));
const body = (lines: number): string => `export function some(a: number): number {\n${'  a += 1;\n'.repeat(lines - 3)}  return a;\n}\n`;
const branches = (more: number): string => `export const some = (a: number): number => {\n${'  if (a > 1) a -= 1;\n'.repeat(more)}  return a;\n};\n`;

describe('length and complexity', () => {
  it('are limited in every file of the product', async () => {
    expect(typed.length).toBeGreaterThan(400);
    for (const path of typed) {
      const { rules = {} } = (await lint.calculateConfigForFile(join(root, path))) as Linter.Config;
      // 2: error.
      expect([rules['max-lines'], rules['max-lines-per-function'], rules['complexity'], rules['disable/with-reason']].map((rule) => JSON.stringify(rule)), path).toEqual(['[2,500]', '[2,70]', '[2,20]', '[2]']);
    }
  });

  it('that are beyond the limit are refused, and those at it are not', () => {
    expect(found(body(70))).toEqual([]);
    expect(found(body(71))).toEqual(['max-lines-per-function']);
    expect(found(branches(19))).toEqual([]);
    expect(found(branches(20))).toEqual(['complexity']);
    expect(found(`export const a = 1;\n${'\n'.repeat(500)}`)).toEqual(['max-lines']);
    expect(found(`export const a = 1;\n${'// one line\n'.repeat(498)}`)).toEqual([]);
  });

  it('a limit is set aside with a reason only, and no file sets it aside as a whole', () => {
    expect(found(`// eslint-disable-next-line max-lines-per-function -- a list\n${body(90)}`)).toEqual([]);
    expect(found(`// eslint-disable-next-line max-lines-per-function\n${body(90)}`)).toEqual(['disable/with-reason']);
    for (const path of typed) expect(readFileSync(join(root, path), 'utf8'), path).not.toMatch(/eslint-disable (?:.*\b)?(?:max-lines|complexity)\b|eslint (?:max-lines|complexity)/);
  });

  it('files of other languages are as short', () => {
    const others = files.filter((path) => /\.(?:c|h|mjs|js|css|html)$/.test(path));
    expect(others.length).toBeGreaterThan(15);
    for (const path of others) expect(readFileSync(join(root, path), 'utf8').split('\n').length - 1, path).toBeLessThanOrEqual(500);
  });
});
