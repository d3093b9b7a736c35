/** Where Electron begins: the real calls, and the places of what was built. */
import { join } from 'node:path';
import * as electron from 'electron';
import { startShell } from './shell.ts';

const { app } = electron;

startShell(electron, {
  hostFolder: import.meta.dirname,
  windowFolder: join(import.meta.dirname, '..', 'window'),
  archivePath: app.commandLine.getSwitchValue('archive') || join(app.getPath('userData'), 'railhouse.sqlite'),
});
