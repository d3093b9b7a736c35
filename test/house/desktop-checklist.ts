/**
 * `npm run show -- desktop-checklist [PACKAGED-FOLDER]`: what the desktop program needs in order to run packaged, line by line. The
 * lines of configuration and build are checked anywhere; those of a packaged program (a folder that electron-builder made, such as
 * dist/packages/linux-unpacked) where it is named; those of the running program where Electron can run. HOST-35.
 */
import { existsSync, openSync, closeSync, readdirSync, readFileSync, readSync, statSync } from 'node:fs';
import { isBuiltin } from 'node:module';
import { join } from 'node:path';
import { parse } from 'yaml';
import { canRunElectron } from '../../main/electron/can-run.ts';
import { securityHeaders } from '../../main/host/window-files.ts';
import { fail, unless, type Line, type Outcome } from './checklist-line.ts';
import { liveLines } from './desktop-live.ts';

/** As electron-builder names them, in the order of Electron's fuse wire (@electron/fuses, FuseV1Options; index 6 is of V8 and left as it comes). */
const fuses: Readonly<Record<string, { readonly at: number; readonly on: boolean; readonly what: string }>> = {
  runAsNode: { at: 0, on: false, what: 'the program cannot be run as Node' },
  enableCookieEncryption: { at: 1, on: true, what: 'cookies are encrypted' },
  enableNodeOptionsEnvironmentVariable: { at: 2, on: false, what: 'NODE_OPTIONS is not obeyed' },
  enableNodeCliInspectArguments: { at: 3, on: false, what: '--inspect is not obeyed' },
  enableEmbeddedAsarIntegrityValidation: { at: 4, on: true, what: 'its archive is held against its hash (macOS, Windows)' },
  onlyLoadAppFromAsar: { at: 5, on: true, what: 'it loads its own archive and nothing else' },
  grantFileProtocolExtraPrivileges: { at: 7, on: false, what: 'pages from file: have no rights of their own' },
};

/** What the shell and the host load; without one of them nothing begins. */
const built = ['host/main.js', 'host/host-process.js', 'host/desk-worker.js', 'host/preload.cjs', 'window/index.html'];
/** What may be loaded from packages at run time. */
const native = ['better-sqlite3', 'serialport'];

// ------------------------------------------------------------------ configuration

/** The lines about electron-builder.yml and package.json in the folder `house`. */
export function configurationLines(house: string): Line[] {
  const yml = parse(readFileSync(join(house, 'electron-builder.yml'), 'utf8')) as {
    electronFuses?: Record<string, unknown>; asar?: unknown; asarUnpack?: unknown; files?: unknown; electronVersion?: unknown; npmRebuild?: unknown;
  };
  const manifest = JSON.parse(readFileSync(join(house, 'package.json'), 'utf8')) as { main?: string; dependencies?: Record<string, string>; devDependencies?: Record<string, string> };
  const listed = (list: unknown): readonly unknown[] => (Array.isArray(list) ? list : []);
  return [
    ...Object.entries(fuses).map(([name, { on, what }]): Line => ({
      what: `configured: ${what} (${name}: ${on})`,
      check: () => unless(yml.electronFuses?.[name] !== on, `electron-builder.yml has ${name}: ${String(yml.electronFuses?.[name])}`),
    })),
    { what: 'configured: everything lies in one archive (asar)', check: () => unless(yml.asar !== true, `asar is ${String(yml.asar)}`) },
    { what: 'configured: native files lie outside of it', check: () => unless(!listed(yml.asarUnpack).includes('**/*.node'), 'asarUnpack does not name **/*.node') },
    ...['package.json', 'dist/host/**', 'dist/window/**'].map((name): Line => ({ what: `configured: ${name} is packaged`, check: () => unless(!listed(yml.files).includes(name), 'files does not name it') })),
    { what: 'configured: the program begins with dist/host/main.js', check: () => unless(manifest.main !== 'dist/host/main.js', `package.json says ${String(manifest.main)}`) },
    { what: 'configured: one exact version of Electron', check: () => unless(yml.electronVersion !== manifest.devDependencies?.['electron'] || !/^\d+\.\d+\.\d+$/.test(String(yml.electronVersion)), `${String(yml.electronVersion)} is packaged, ${String(manifest.devDependencies?.['electron'])} is installed`) },
    ...native.map((name): Line => ({
      what: `configured: ${name} is packaged and brings its binary for ${process.platform}-${process.arch}`,
      check: () => {
        if (manifest.dependencies?.[name] === undefined) return fail('it is no dependency, so it is left out');
        const folder = join(house, 'node_modules', name === 'serialport' ? '@serialport/bindings-cpp' : name);
        if (!existsSync(folder)) return { result: 'not checked', why: 'the packages are not installed' };
        return unless(!nativeFiles(folder).some((file) => file.includes(`${process.platform}-${process.arch}`)), 'it has none');
      },
    })),
  ];
}

const nativeFiles = (folder: string): readonly string[] => readdirSync(folder, { recursive: true, encoding: 'utf8' }).filter((name) => name.endsWith('.node'));

// ------------------------------------------------------------------ what was built

/** The lines about dist/host and dist/window under `dist`. */
export function buildLines(dist: string): Line[] {
  const have = existsSync(join(dist, 'host')) && existsSync(join(dist, 'window'));
  const line = (what: string, check: () => Outcome): Line => ({ what: `built: ${what}`, check: () => (have ? check() : { result: 'not checked', why: 'nothing is built; "npm run build" does it' }) });
  const read = (name: string): string => readFileSync(join(dist, name), 'utf8');
  return [
    ...built.map((name) => line(`dist/${name} is there`, () => unless(!existsSync(join(dist, name)) || statSync(join(dist, name)).size === 0, 'it is not'))),
    line('the preload loads nothing but Electron, as the sandbox wants it', () => {
      const loaded = [...read('host/preload.cjs').matchAll(/require\(["']([^"']+)["']\)/g)].map(([, name]) => name).filter((name) => name !== 'electron');
      return unless(loaded.length > 0, `it loads ${loaded.join(', ')}`);
    }),
    line('the processes load only what is packaged', () => {
      const names = readdirSync(join(dist, 'host')).filter((name) => name.endsWith('.js'));
      const loaded = new Set(names.flatMap((name) => [...read(`host/${name}`).matchAll(/(?:^|\n)\s*import\s(?:[^'"]*?\sfrom\s)?["']([^."'/][^"']*)["']/g)].map(([, from]) => from ?? '')));
      const strange = [...loaded].filter((name) => name !== 'electron' && !native.includes(name) && !isBuiltin(name));
      return unless(strange.length > 0 || loaded.size === 0, loaded.size === 0 ? 'they load nothing' : `they load ${strange.join(', ')} from a package`);
    }),
    line('the page has no script or style in its own text, which its policy refuses', () => {
      const inline = /<script(?![^>]*\ssrc=)[^>]*>|<style\b|\son\w+=|\sstyle=/i.exec(read('window/index.html'));
      return unless(inline !== null, `it has ${inline?.[0] ?? ''}`);
    }),
  ];
}

/** The policy that each file of the page is served with. */
export function policyLines(headers: Readonly<Record<string, string>> = securityHeaders("'self'")): Line[] {
  const policy = headers['content-security-policy'] ?? '';
  return [
    ...["default-src 'none'", "script-src 'self'", "style-src 'self'", "connect-src 'self'", "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'", "object-src 'none'"].map((part): Line => ({
      what: `policy: ${part}`, check: () => unless(!policy.split('; ').includes(part), `it is ${policy === '' ? 'not there' : policy}`),
    })),
    { what: 'policy: nothing unsafe, no other origin', check: () => unless(policy === '' || /unsafe|\*|https?:|wss?:/.test(policy), `it is ${policy}`) },
    { what: 'policy: types are not guessed', check: () => unless(headers['x-content-type-options'] !== 'nosniff', 'nosniff is not there') },
  ];
}

// ------------------------------------------------------------------ a packaged program

interface Asar {
  readonly files?: Readonly<Record<string, Asar>>;
  readonly unpacked?: boolean;
}

/** Every file in the header of an asar archive, with whether it lies outside. Format: two pickles, of a number and of JSON (electron/asar, README). */
export function asarFiles(path: string): ReadonlyMap<string, boolean> {
  const file = openSync(path, 'r');
  try {
    const sizes = Buffer.alloc(16);
    readSync(file, sizes, 0, 16, 0);
    const json = Buffer.alloc(sizes.readUInt32LE(12));
    readSync(file, json, 0, json.length, 16);
    const all = new Map<string, boolean>();
    const walk = (node: Asar, at: string): void => {
      for (const [name, below] of Object.entries(node.files ?? {})) {
        const path = at === '' ? name : `${at}/${name}`;
        if (below.files === undefined) all.set(path, below.unpacked === true);
        else walk(below, path);
      }
    };
    walk(JSON.parse(json.toString('utf8')) as Asar, '');
    return all;
  } finally {
    closeSync(file);
  }
}

/** As `SENTINEL` in @electron/fuses: after it version, length, and a character for each fuse. */
const fuseSentinel = 'dL7pKGdnNz796PbbjQWNKmHXBZaB9tsX';

/** The fuses of an executable as the characters of its wire; null: it has none. */
export function fuseWire(executable: string): string | null {
  const bytes = readFileSync(executable);
  const at = bytes.indexOf(fuseSentinel);
  if (at < 0) return null;
  const from = at + fuseSentinel.length;
  return bytes.toString('latin1', from + 2, from + 2 + (bytes[from + 1] ?? 0));
}

/** Where the parts of a packaged program lie; null: it is none. */
export function packagedParts(folder: string): { readonly executable: string; readonly resources: string } | null {
  const mac = join(folder, 'Contents', 'MacOS');
  const resources = existsSync(mac) ? join(folder, 'Contents', 'Resources') : join(folder, 'resources');
  const names = existsSync(mac) ? [join(mac, 'Railhouse')] : ['railhouse', 'Railhouse', 'Railhouse.exe'].map((name) => join(folder, name));
  const executable = names.find((name) => existsSync(name));
  return executable === undefined || !existsSync(join(resources, 'app.asar')) ? null : { executable, resources };
}

/** The lines about a packaged program; `folder` null: none was named. */
export function packagedLines(folder: string | null): Line[] {
  const parts = folder === null ? null : packagedParts(folder);
  const line = (what: string, check: (parts: { readonly executable: string; readonly resources: string }) => Outcome): Line => ({
    what: `packaged: ${what}`,
    check: () => {
      if (folder === null) return { result: 'not checked', why: 'no packaged program was named; "npx electron-builder --dir" makes one' };
      return parts === null ? fail(`${folder} holds no packaged program (executable and resources/app.asar)`) : check(parts);
    },
  });
  return [
    ...Object.entries(fuses).map(([name, { at, on, what }]) =>
      line(`${what} (fuse ${name})`, ({ executable }) => {
        const wire = process.platform === 'darwin' ? fuseWire(join(executable, '..', '..', 'Frameworks', 'Electron Framework.framework', 'Electron Framework')) : fuseWire(executable);
        return unless(wire?.[at] !== (on ? '1' : '0'), wire === null ? 'the program has no fuses' : `the fuse is ${wire[at] ?? 'not there'}`);
      }),
    ),
    ...built.map((name) => line(`dist/${name} lies in the archive`, ({ resources }) => unless(asarFiles(join(resources, 'app.asar')).get(`dist/${name}`) !== false, 'it does not'))),
    ...native.map((name) =>
      line(`the binary of ${name} lies outside of the archive, where the system can load it`, ({ resources }) => {
        const folderOf = `node_modules/${name === 'serialport' ? '@serialport/bindings-cpp' : name}/`;
        const files = [...asarFiles(join(resources, 'app.asar'))].filter(([path]) => path.includes(folderOf) && path.endsWith('.node'));
        const wrong = files.find(([path, outside]) => !outside || !existsSync(join(resources, 'app.asar.unpacked', path)));
        return unless(files.length === 0 || wrong !== undefined, files.length === 0 ? 'it has none' : `${wrong?.[0] ?? ''} is not there`);
      }),
    ),
    line('no source, test or key came with it', ({ resources }) => {
      const strange = [...asarFiles(join(resources, 'app.asar')).keys()].filter((path) => !path.startsWith('node_modules/') && (/\.(ts|tsx|pem)$|\.test\./.test(path) || path.startsWith('test/')));
      return unless(strange.length > 0, strange.slice(0, 3).join(', '));
    }),
  ];
}

// ------------------------------------------------------------------ all of it

export async function runChecklist(lines: readonly Line[], say: (text: string) => void): Promise<Readonly<Record<Outcome['result'], number>>> {
  const counts = { pass: 0, fail: 0, 'not checked': 0 };
  for (const { what, check } of lines) {
    let outcome: Outcome;
    try {
      outcome = await check();
    } catch (error) {
      outcome = fail((error as Error).message);
    }
    counts[outcome.result] += 1;
    say(outcome.result === 'pass' ? `pass         ${what}` : outcome.result === 'fail' ? `FAIL         ${what}: ${outcome.why}` : `not checked: ${what}: ${outcome.why}`);
  }
  say(`${counts.pass} passed, ${counts.fail} failed, ${counts['not checked']} not checked`);
  return counts;
}

/** true: every line was checked and passes; null: none failed, and some could not be checked here. */
export async function showDesktopChecklist(args: readonly string[]): Promise<boolean | null> {
  const house = join(import.meta.dirname, '..', '..');
  const folder = args[0] ?? null;
  const packaged = folder === null ? null : packagedParts(folder);
  const electron = canRunElectron({ platform: process.platform, env: process.env, userId: process.getuid?.() ?? null, electronFolder: join(house, 'node_modules', 'electron'), ...(packaged === null ? {} : { packaged: packaged.executable }) });
  const start = !electron.can ? electron.why : packaged !== null ? [packaged.executable] : existsSync(join(house, 'dist', 'host', 'main.js')) ? [electron.executable, house] : 'dist/host has not been built ("npm run build" does it)';
  const counts = await runChecklist([...configurationLines(house), ...buildLines(join(house, 'dist')), ...policyLines(), ...packagedLines(folder), ...liveLines(start)], (text) => process.stdout.write(`${text}\n`));
  return counts.fail > 0 ? false : counts['not checked'] > 0 ? null : true;
}
