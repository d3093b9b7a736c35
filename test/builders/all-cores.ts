/** Work that falls into independent pieces, each named by a number, on all cores: one process for each core. */
import { fork } from 'node:child_process';
import { availableParallelism } from 'node:os';

/** What `file` answers for each of `pieces`, in no order; `file` calls `answerPieces`. `args`: what the processes are started with. Rejects when one fails. */
export async function onAllCores<T>(file: string, pieces: readonly number[], args: readonly string[] = []): Promise<T[]> {
  const waiting = [...pieces];
  const answers: T[] = [];
  const one = (): Promise<void> =>
    new Promise((resolve, reject) => {
      const child = fork(file, args, { stdio: ['ignore', 'inherit', 'inherit', 'ipc'] });
      const next = (): void => {
        const piece = waiting.shift();
        if (piece === undefined) child.disconnect();
        else child.send(piece);
      };
      child.on('message', (message) => {
        answers.push(...(message as T[]));
        next();
      });
      child.on('exit', (code) => {
        if (code === 0) resolve();
        else reject(new Error(`a worker ended with code ${code}`));
      });
      next();
    });
  await Promise.all(Array.from({ length: Math.min(availableParallelism(), pieces.length) }, one));
  return answers;
}

/** The other end: does nothing unless `file` is what this process was started for. */
export function answerPieces<T>(file: string, answer: (piece: number) => T[] | Promise<T[]>): void {
  if (process.send === undefined || process.argv[1] !== file) return;
  process.on('message', (piece) => {
    void Promise.resolve(answer(piece as number)).then((answers) => process.send?.(answers));
  });
}
