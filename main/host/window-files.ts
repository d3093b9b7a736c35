/**
 * The files of the built window, with the headers they are served with. Only what stood in the folder when it was read
 * is served, by exact name: a path is looked up and never joined to a folder, so none can lead out of it.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

export interface WindowFile {
  readonly status: 200 | 404 | 503;
  readonly headers: Readonly<Record<string, string>>;
  readonly body: Buffer;
}

const types: Readonly<Record<string, string>> = {
  html: 'text/html; charset=utf-8',
  js: 'text/javascript; charset=utf-8',
  css: 'text/css; charset=utf-8',
  json: 'application/json; charset=utf-8',
  svg: 'image/svg+xml',
  png: 'image/png',
  ico: 'image/x-icon',
  woff2: 'font/woff2',
  txt: 'text/plain; charset=utf-8',
};

/**
 * No script, style or connection but the window's own; no inline code, no eval, no frame around it. `connect` names where
 * the window may connect to.
 */
export const securityHeaders = (connect: string): Readonly<Record<string, string>> => ({
  'content-security-policy': [
    "default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self' data:", "font-src 'self'", `connect-src ${connect}`,
    "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'", "object-src 'none'",
  ].join('; '),
  'x-content-type-options': 'nosniff',
  'x-frame-options': 'DENY',
  'referrer-policy': 'no-referrer',
  'cross-origin-opener-policy': 'same-origin',
  'cross-origin-resource-policy': 'same-origin',
  'permissions-policy': 'camera=(), microphone=(), geolocation=(), usb=(), serial=(), hid=(), payment=()',
});

export class WindowFiles {
  readonly #folder: string;
  readonly #headers: Readonly<Record<string, string>>;
  #names: ReadonlySet<string>;

  constructor(folder: string, headers: Readonly<Record<string, string>>) {
    this.#folder = folder;
    this.#headers = headers;
    this.#names = filesUnder(folder);
  }

  /** The file of a URL's path, or a page that says in a sentence why there is none. Never throws. */
  get(path: string): WindowFile {
    const name = path === '/' ? 'index.html' : path.slice(1);
    // The window may have been built, or built again, since.
    if (name === 'index.html') this.#names = filesUnder(this.#folder);
    if (!this.#names.has(name)) {
      return this.#names.size === 0
        ? this.#text(503, 'The window has not been built. Build it with "npm run build", then load this page again.')
        : this.#text(404, 'There is nothing at this address.');
    }
    let body: Buffer;
    try {
      body = readFileSync(join(this.#folder, name));
    } catch {
      return this.#text(404, 'This file has gone. Load the page again.');
    }
    const type = types[name.slice(name.lastIndexOf('.') + 1)] ?? 'application/octet-stream';
    // The builder puts a hash of its contents into the name of everything under assets/.
    const keep = name.startsWith('assets/') ? 'public, max-age=31536000, immutable' : 'no-store';
    return { status: 200, headers: { ...this.#headers, 'content-type': type, 'cache-control': keep }, body };
  }

  #text(status: 404 | 503, text: string): WindowFile {
    return { status, headers: { ...this.#headers, 'content-type': 'text/plain; charset=utf-8', 'cache-control': 'no-store' }, body: Buffer.from(`${text}\n`) };
  }
}

/** Names relative to the folder, with forward slashes; empty when the folder is not there. Links are not followed. */
function filesUnder(folder: string): ReadonlySet<string> {
  const names = new Set<string>();
  const walk = (below: string): void => {
    let entries;
    try {
      entries = readdirSync(join(folder, below), { withFileTypes: true });
    } catch {
      return;
    }
    for (const entry of entries) {
      const name = below === '' ? entry.name : `${below}/${entry.name}`;
      if (entry.isDirectory()) walk(name);
      else if (entry.isFile()) names.add(name);
    }
  };
  walk('');
  return names;
}
