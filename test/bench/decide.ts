/** What a decision of the schedule costs at 2 000 windows that count, in a process like the desk that makes it, and in one whose memory is held to nothing. */
import { fork } from 'node:child_process';
import { once } from 'node:events';
import type { BenchReport } from './report.ts';
import { timedDecisions, type Timed } from './timed-decisions.ts';

async function timedAsDesk(): Promise<readonly Timed[]> {
  const desk = fork(new URL('decide-as-desk.ts', import.meta.url));
  try {
    const [timed] = (await Promise.race([once(desk, 'message'), once(desk, 'exit').then(() => Promise.reject(new Error('The process that decides ended.')))])) as [readonly Timed[]];
    return timed;
  } finally {
    desk.kill();
  }
}

function figuresOf(timed: readonly Timed[], where: string, aim = ''): BenchReport['figures'] {
  const times = timed.map((t) => t.time).sort((a, b) => a - b);
  return [
    { label: `${where}: median of ${timed.length}${aim}`, value: times[Math.floor(times.length / 2)] ?? Number.NaN, unit: 'ms' },
    // Some machines count processor time in steps of 4 ms: of single decisions a median would be one of them.
    { label: `${where}: mean of processor time, whatever else runs`, value: timed.reduce((sum, t) => sum + t.cpu, 0) / timed.length, unit: 'ms' },
    { label: `${where}: longest`, value: times.at(-1) ?? Number.NaN, unit: 'ms' },
  ];
}

export async function bench(): Promise<BenchReport> {
  const asDesk = await timedAsDesk();
  const free = timedDecisions((work) => work());
  const measured = free.map((t) => t.measured).sort((a, b) => a - b);
  return {
    name: `A decision of the schedule at ${measured[Math.floor(measured.length / 2)] ?? Number.NaN} windows that count`,
    figures: [...figuresOf(asDesk, 'at the desk', ' (aim 20)'), ...figuresOf(free, 'memory held to nothing')],
  };
}
