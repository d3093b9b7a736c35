/** What the process says to the shell when it ends. Documented in the README; scripts may rely on the numbers. */
export const exitCode = {
  done: 0,
  /** A programming error: please report it with the text printed. */
  defect: 1,
  /** The command line, a plan, an equipment record or a scenario is not valid. */
  badInput: 2,
  /** The pre-flight sheet or a guard refused the start; nothing was energised. */
  refused: 3,
  /** The run ended, and some points have no accepted attempt. */
  pointsFailed: 4,
  /** The run rests unfinished and can be continued. */
  unfinished: 5,
  /** The bench could not be reached, was lost and did not come back, or has not confirmed that it is safe. */
  bench: 6,
  /** The archive could not be opened or written (busy, newer, damaged, disk full). */
  archive: 7,
  /** A check ran to its end and found something wrong. */
  checkFailed: 8,
} as const;

export type ExitCode = (typeof exitCode)[keyof typeof exitCode];
