/** The ways out of the machine to whoever is on call: HTTP and a command. HOST-81, HOST-82 */
import { spawn } from 'node:child_process';
import type { Clock } from '../clock/clock.ts';
import type { OnCallWays } from './on-call.ts';

const POST_DEADLINE_MS = 10_000;
const COMMAND_DEADLINE_MS = 30_000;

/** A POST of JSON that is to be answered with 2xx within 10 s. It follows no redirection: the address that was set is the one that is told. */
const postOverHttp =
  (clock: Clock): OnCallWays['post'] =>
  async (address, message, signal) => {
    const late = new AbortController();
    const cancel = clock.after(POST_DEADLINE_MS, () => late.abort(new Error(`no answer within ${POST_DEADLINE_MS / 1000} s`)));
    try {
      const answer = await fetch(address, { method: 'POST', headers: { 'content-type': 'application/json' }, body: message, redirect: 'manual', signal: AbortSignal.any([signal, late.signal]) });
      await answer.body?.cancel();
      return answer.ok ? null : `it was answered with ${answer.status}.`;
    } catch (error) {
      const { message: text, cause } = error as Error;
      return `it could not be reached (${cause instanceof Error && cause.message !== '' ? cause.message : text}).`;
    } finally {
      cancel();
    }
  };

/** The program and its arguments as they are, by no shell; the message comes to its standard input, and 0 is to come back within 30 s. */
const runCommand =
  (clock: Clock): OnCallWays['run'] =>
  ([program = '', ...args], message, signal) =>
    new Promise((resolve) => {
      const child = spawn(program, args, { shell: false, stdio: ['pipe', 'ignore', 'ignore'], windowsHide: true });
      let why = '';
      const kill = (reason: string): void => {
        why = reason;
        child.kill('SIGKILL');
      };
      const cancel = clock.after(COMMAND_DEADLINE_MS, () => kill(`it did not end within ${COMMAND_DEADLINE_MS / 1000} s.`));
      const onAbort = (): void => kill('the host has ended.');
      signal.addEventListener('abort', onAbort, { once: true });
      const over = (problem: string | null): void => {
        cancel();
        signal.removeEventListener('abort', onAbort);
        resolve(problem);
      };
      child.on('error', (error) => over(`it could not be started (${error.message}).`));
      child.on('exit', (code, by) => over(code === 0 ? null : why === '' ? `it ended with ${code ?? by ?? 'nothing'}.` : why));
      // A program that does not read it may still be one that calls.
      child.stdin.on('error', () => undefined);
      child.stdin.end(message);
    });

export const onCallWays = (clock: Clock): OnCallWays => ({ post: postOverHttp(clock), run: runCommand(clock) });
