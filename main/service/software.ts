import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';

const { name, version } = z
  .object({ name: z.string(), version: z.string() })
  .parse(JSON.parse(readFileSync(join(import.meta.dirname, '..', '..', 'package.json'), 'utf8')));

/** Name and version, as every run stores them. */
export const software = `${name} ${version}`;
