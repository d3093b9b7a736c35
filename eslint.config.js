import tseslint from 'typescript-eslint';

const handedIn = 'Time and chance are handed in (main/clock), so that all of it can be run again from a seed.';
const restricted = (names, message) => names.map((name) => ({ name, message }));
/** What brings the machine's own time or chance. */
const machineImports = {
  paths: [
    ...restricted(['node:timers', 'timers', 'node:timers/promises', 'timers/promises', 'node:perf_hooks', 'perf_hooks'], handedIn),
    ...['node:crypto', 'crypto'].map((name) => ({
      name, message: handedIn,
      importNames: ['randomBytes', 'randomInt', 'randomUUID', 'randomFill', 'randomFillSync', 'getRandomValues', 'webcrypto'],
    })),
    { name: 'uuidv7', allowImportNames: ['V7Generator'], message: handedIn },
  ],
};
const machineClocks = [
  { group: ['**/clock/machine.ts'], message: handedIn },
  { group: ['**/clock/clock.ts'], importNames: ['WallClock'], message: handedIn },
];

/** A rule that is set aside says why, behind two dashes. */
const reasons = {
  rules: {
    'with-reason': {
      create: (context) => ({
        Program() {
          for (const comment of context.sourceCode.getAllComments()) {
            if (/^\s*eslint-disable/.test(comment.value) && !/\s--\s+\S/.test(comment.value)) context.report({ loc: comment.loc, message: 'Say why the rule is set aside: eslint-disable-next-line RULE -- reason.' });
          }
        },
      }),
    },
  },
};

export default tseslint.config(
  { ignores: ['node_modules/', '.cache/', 'dist/', 'test/.out/', '**/*.cjs', 'eslint.config.js', 'main/launch/*.mjs', 'main/tab/start.mjs'] },
  ...tseslint.configs.strictTypeChecked,
  {
    languageOptions: { parserOptions: { projectService: true, tsconfigRootDir: import.meta.dirname } },
    plugins: { disable: reasons },
    linterOptions: { reportUnusedDisableDirectives: 'error' },
    rules: {
      'disable/with-reason': 'error',
      '@typescript-eslint/restrict-template-expressions': ['error', { allowNumber: true, allowBoolean: true }],
      '@typescript-eslint/no-confusing-void-expression': ['error', { ignoreArrowShorthand: true }],
      '@typescript-eslint/switch-exhaustiveness-check': ['error', { considerDefaultExhaustiveForUnions: true }],
      '@typescript-eslint/consistent-type-imports': 'error',
    },
  },
  {
    // What a reader can hold in mind at once. Tests may be longer.
    files: ['{app,main,renderer,firmware-protocol}/**/*.{ts,tsx}'],
    ignores: ['**/*.test.ts', '**/*.test-helper.ts'],
    rules: { 'max-lines': ['error', 500], 'max-lines-per-function': ['error', 70], complexity: ['error', 20] },
  },
  {
    // app/ is pure: the time and chance of a run come in as arguments.
    files: ['app/**/*.ts'],
    ignores: ['**/*.test.ts'],
    rules: {
      'no-restricted-globals': ['error', 'Date', 'setTimeout', 'setInterval', 'performance', 'process', 'console', 'fetch'],
      'no-restricted-properties': ['error', { object: 'Math', property: 'random', message: 'Pass a seeded source in.' }],
    },
  },
  {
    files: ['main/**/*.ts', 'firmware-protocol/**/*.ts'],
    // What stands for Node in a tab is the machine there.
    ignores: ['main/clock/*.ts', 'main/tab/node/*.ts', '**/*.test.ts', '**/*.test-helper.ts'],
    rules: {
      'no-restricted-globals': ['error', ...restricted(['setTimeout', 'setInterval', 'setImmediate', 'performance', 'crypto'], handedIn)],
      'no-restricted-properties': [
        'error',
        ...[['Date', 'now'], ['Math', 'random'], ['process', 'hrtime'], ['process', 'uptime'], ['AbortSignal', 'timeout'], ['globalThis', 'crypto'], ['globalThis', 'performance']]
          .map(([object, property]) => ({ object, property, message: handedIn })),
      ],
      'no-restricted-syntax': [
        'error',
        { selector: "NewExpression[callee.name='Date'][arguments.length=0]", message: handedIn },
        { selector: "CallExpression[callee.name='Date']", message: handedIn },
      ],
      'no-restricted-imports': ['error', { ...machineImports, patterns: machineClocks }],
    },
  },
  {
    // Here the program is put together: a command, the desktop's process of the host, the shell that waits for it, the process of a desk, and the worker of a tab.
    files: ['main/cli/*.ts', 'main/electron/{host-process,shell}.ts', 'main/host/desk-worker.ts', 'main/tab/host-here.ts'],
    rules: { 'no-restricted-imports': ['error', machineImports] },
  },
);
