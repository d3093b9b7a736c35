#!/usr/bin/env node
// The commands under their own name: `npx railhouse ...` here, `railhouse ...` once it is linked or installed. Paths are those of the folder it is called in.
process.argv.splice(2, 0, 'cli');
process.env.RAILHOUSE_CALLED = 'railhouse';
await import('./launch.mjs');
