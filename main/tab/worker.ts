/** What Node's code finds without asking must be there before any of it is loaded. */
import './node/globals.ts';

await import('./host-here.ts');
