import { createRequire } from 'node:module';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv } from 'ajv';
import { describe, expect, it } from 'vitest';
import { parse } from 'yaml';

const root = join(import.meta.dirname, '..', '..');
const require = createRequire(import.meta.url);

const configuration = parse(readFileSync(join(root, 'electron-builder.yml'), 'utf8')) as Record<string, unknown>;

/** electron-builder's own JSON Schema, as its package ships it. */
function validator() {
  const builder = createRequire(require.resolve('electron-builder'));
  const schema = JSON.parse(readFileSync(builder.resolve('app-builder-lib/scheme.json'), 'utf8')) as object;
  return new Ajv({ strict: false, allErrors: true, validateFormats: false }).compile(schema);
}

describe('electron-builder.yml', () => {
  it("is valid against electron-builder's own schema", () => {
    const validate = validator();
    const valid = validate(configuration);
    expect(validate.errors ?? []).toEqual([]);
    expect(valid).toBe(true);
  });

  it('is really held against it: an unknown option is an error', () => {
    expect(validator()({ ...configuration, npmRebuilt: false })).toBe(false);
  });

  it('HOST-16 shuts every door of Electron that the program does not use', () => {
    expect(configuration['electronFuses']).toEqual({
      runAsNode: false, enableCookieEncryption: true, enableNodeOptionsEnvironmentVariable: false, enableNodeCliInspectArguments: false,
      enableEmbeddedAsarIntegrityValidation: true, onlyLoadAppFromAsar: true, grantFileProtocolExtraPrivileges: false,
    });
  });

  it('compiles nothing and leaves native modules outside the archive', () => {
    expect(configuration['npmRebuild']).toBe(false);
    expect(configuration['asarUnpack']).toContain('**/*.node');
  });
});
