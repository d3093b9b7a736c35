/** Imported before anything that makes a schema: zod must not try to compile them, the window's policy forbids it. */
import { config } from 'zod';

config({ jitless: true });
