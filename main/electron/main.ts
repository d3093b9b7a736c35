/** Where Electron begins: the real calls, and the places of what was built. */
import { join } from 'node:path';
import * as electron from 'electron';
import { givenPlaces } from './given-places.ts';
import { endSwitch } from './messages.ts';
import { startShell } from './shell.ts';

const { archive, heads, headsKey } = givenPlaces(process.argv, process.cwd());

startShell(electron, {
  hostFolder: import.meta.dirname,
  windowFolder: join(import.meta.dirname, '..', 'window'),
  archivePath: archive ?? join(electron.app.getPath('userData'), 'railhouse.sqlite'),
  heads,
  headsKey,
  end: process.argv.includes(endSwitch),
});
