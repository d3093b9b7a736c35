/** Where Electron begins: the real calls, and the places of what was built. */
import { join, resolve } from 'node:path';
import * as electron from 'electron';
import { startShell } from './shell.ts';

const { app } = electron;

/** Of the command line, absolute; undefined: not given. Known to the packaged program too. */
const given = (name: string): string | undefined => {
  const path = app.commandLine.getSwitchValue(name);
  return path === '' ? undefined : resolve(path);
};

startShell(electron, {
  hostFolder: import.meta.dirname,
  windowFolder: join(import.meta.dirname, '..', 'window'),
  archivePath: given('archive') ?? join(app.getPath('userData'), 'railhouse.sqlite'),
  heads: given('heads'),
  headsKey: given('heads-key'),
  end: app.commandLine.hasSwitch('end'),
});
