#!/usr/bin/env node
// The commands under their own name: `npx railhouse ...` here, `railhouse ...` once it is linked or installed. Paths are those of the folder it is called in.
process.argv.splice(2, 0, 'cli');
// npx finds it in this folder alone, so that is how it is called again.
process.env.RAILHOUSE_CALLED = process.env.npm_command === 'exec' ? 'npx railhouse' : 'railhouse';
await import('./launch.mjs');
