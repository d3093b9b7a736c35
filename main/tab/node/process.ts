/** What is asked of `process` in a tab, where there is one and it is never ended by the program. */
type Work = (...given: unknown[]) => void;

export default {
  pid: 1,
  platform: 'browser',
  env: {} as Record<string, string | undefined>,
  argv: [],
  version: 'v24',
  /** The archive asks for the first before it opens a database. */
  versions: { napi: '10', node: '24' },
  on: () => undefined,
  once: () => undefined,
  off: () => undefined,
  cwd: () => '/',
  nextTick: (work: Work, ...given: unknown[]) => queueMicrotask(() => work(...given)),
  emitWarning: (text: unknown) => console.warn(text),
};
