import type { ExitCode } from './exit-codes.ts';

/** Ends a command with an exit code and lines for people; anything else that is thrown is a defect. */
export class Stop extends Error {
  override readonly name = 'Stop';
  readonly exitCode: ExitCode;
  readonly lines: readonly string[];

  constructor(code: ExitCode, ...lines: readonly string[]) {
    super(lines.join('\n'));
    this.exitCode = code;
    this.lines = lines;
  }
}
