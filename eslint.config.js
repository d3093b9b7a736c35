import tseslint from 'typescript-eslint';

export default tseslint.config(
  { ignores: ['node_modules/', '.cache/', 'dist/', 'test/.out/', '**/*.cjs', 'eslint.config.js', 'main/launch/*.mjs'] },
  ...tseslint.configs.strictTypeChecked,
  {
    languageOptions: { parserOptions: { projectService: true, tsconfigRootDir: import.meta.dirname } },
    rules: {
      '@typescript-eslint/restrict-template-expressions': ['error', { allowNumber: true, allowBoolean: true }],
      '@typescript-eslint/no-confusing-void-expression': ['error', { ignoreArrowShorthand: true }],
      '@typescript-eslint/switch-exhaustiveness-check': ['error', { considerDefaultExhaustiveForUnions: true }],
      '@typescript-eslint/consistent-type-imports': 'error',
    },
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
);
