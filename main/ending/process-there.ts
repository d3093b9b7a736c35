/** Whether a process that left something behind is still there. */
import { hostname } from 'node:os';

/** Several machines, or containers, may share one folder; of a process of another nobody here can tell whether it lives. */
export const machineName = (): string => hostname().replaceAll(/\W/g, '_');

/** A process of another account is there too; where another has got its number, that one is taken for it. */
export function isProcessThere(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code !== 'ESRCH';
  }
}
