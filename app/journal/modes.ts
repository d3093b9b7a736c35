/** What each does with what comes from bench and clock, and which may follow which: `app/run/machine.ts`; with commands: `commands.ts`. */
export type Mode = 'ready' | 'proving' | 'measuring' | 'making-safe' | 'paused' | 'held' | 'tripped' | 'ended';
