/** Commands of this program as children of a benchmark: none outlives it, however it ends. */
import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
/** In which a host makes safe and ends the long work that it is at. */
const END_MS = 30_000;

/** With a pipe whose end is that of this process, at which the program ends in order (HOST-2). */
export function startChild(args: readonly string[]): ChildProcess {
  return spawn(process.execPath, [command, ...args], { stdio: ['ignore', 'pipe', 'inherit', 'pipe'], env: { ...process.env, RAILHOUSE_LAUNCHER: '3' } });
}

/** Asks it to end. Resolves when it has; how long it took, s, and whether by itself. */
export async function endChild(child: ChildProcess): Promise<{ readonly seconds: number; readonly byItself: boolean }> {
  const began = performance.now();
  if (child.exitCode !== null || child.signalCode !== null) return { seconds: 0, byItself: true };
  child.kill('SIGTERM');
  const late = setTimeout(() => child.kill('SIGKILL'), END_MS);
  const [, signal] = (await once(child, 'exit')) as [number | null, NodeJS.Signals | null];
  clearTimeout(late);
  return { seconds: (performance.now() - began) / 1e3, byItself: signal === null };
}

/** MB, the most that a process had until now. */
export function peakOf(pid: number): number {
  const [, kB] = /VmHWM:\s+(\d+) kB/.exec(readFileSync(`/proc/${pid}/status`, 'utf8')) ?? [];
  return Number(kB) / 1e3;
}

/** ms of processor time that the thread had which does the work of a process. */
export const processorTimeOf = (pid: number): number => Number(readFileSync(`/proc/${pid}/task/${pid}/schedstat`, 'utf8').split(' ')[0]) / 1e6;

export const childrenOf = (pid: number): number[] =>
  readFileSync(`/proc/${pid}/task/${pid}/children`, 'utf8').trim().split(' ').filter((text) => text !== '').map(Number);
