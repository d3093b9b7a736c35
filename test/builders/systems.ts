/**
 * What not every system has. Tests that need it are skipped where it is not there, each by its name; test/house/systems.test.ts holds that none
 * was forgotten.
 *
 * Windows has no pseudo-terminal that another program can open, no signal that asks a process to end (SIGTERM and SIGINT end it at once),
 * no POSIX shell and no links without a right of their own.
 */
export const onWindows = process.platform === 'win32';
