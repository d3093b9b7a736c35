import type { ExitCode } from './exit-codes.ts';

/** Ends a command with an exit code and a text for people; anything else that is thrown is a defect. */
export class Stop extends Error {
  override readonly name = 'Stop';
  readonly exitCode: ExitCode;

  constructor(code: ExitCode, text: string) {
    super(text);
    this.exitCode = code;
  }
}
