/** The room table of DEVELOPERS.md, enforced. Test files obey the same table, except those under test/. */
const room = (name, from, allowed) => ({
  name,
  severity: 'error',
  from: { path: from },
  to: { path: '^(app|main|renderer|firmware-protocol|test)/', pathNot: allowed },
});
module.exports = {
  forbidden: [
    room('app-imports-nothing-else', '^app/', '^app/'),
    {
      ...room('journal-knows-what-it-tells-of', '^app/journal/', '^app/(journal|bench|boundary|equipment|plan|quantities)/'),
      from: { path: '^app/journal/', pathNot: '\\.test\\.ts$' },
    },
    // The table of signals is plain data: names, units and scales, which the line and the lab share.
    room('firmware-protocol-knows-quantities-and-signals-only', '^firmware-protocol/', '^(firmware-protocol/|app/quantities/|app/bench/(signals|readings)\\.ts$)'),
    // The page of the bench in a tab puts window and host together, as index.html of the window does.
    { ...room('main-imports-app-and-protocol', '^main/', '^(main|app|firmware-protocol)/'), from: { path: '^main/', pathNot: '^main/tab/start\\.mjs$' } },
    room('renderer-imports-app-only', '^renderer/', '^(renderer|app)/'),
    {
      name: 'app-is-pure',
      comment: 'app/ runs anywhere: no Node, no Electron, no React.',
      severity: 'error',
      from: { path: '^app/', pathNot: '\\.test\\.ts$' },
      to: { dependencyTypes: ['core'] },
    },
    { name: 'no-circles', severity: 'error', from: {}, to: { circular: true } },
    { name: 'resolvable', severity: 'error', from: {}, to: { couldNotResolve: true } },
    {
      name: 'no-development-package-in-the-product',
      severity: 'error',
      // What runs inside Electron gets it from Electron. The emulated controller board is for tests only.
      from: { path: '^(app|main|firmware-protocol|renderer)/', pathNot: '\\.test\\.tsx?$|^main/electron/(main|preload|vite\\.config)\\.ts$|^(renderer|main/tab)/vite\\.config\\.ts$' },
      to: { dependencyTypes: ['npm-dev'], dependencyTypesNot: ['type-only'] },
    },
  ],
  options: {
    doNotFollow: { path: 'node_modules' },
    tsPreCompilationDeps: true,
    tsConfig: { fileName: 'tsconfig.json' },
    enhancedResolveOptions: { exportsFields: ['exports'], conditionNames: ['import', 'require', 'node', 'default'] },
  },
};
