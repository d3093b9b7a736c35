/**
 * The one way of the commands onto standard output and error (CLI-13, CLI-15): whatever a name, a path or a controller brings along, a
 * line stays one line, and a terminal obeys nothing in it. Nothing is coloured.
 */
import { shown } from '../../app/boundary/text.ts';
import { machineClock } from '../clock/machine.ts';

/** Lines on standard output. */
export const say = (...lines: readonly string[]): void => put(process.stdout, lines);

/** Lines on standard error: what is not the answer itself. */
export const tell = (...lines: readonly string[]): void => put(process.stderr, lines);

function put(stream: NodeJS.WriteStream, lines: readonly string[]): void {
  if (lines.length > 0) stream.write(lines.map((line) => `${shown(line)}\n`).join(''));
}

/** JSON as any program reads it, without characters that a terminal obeys or that turn the direction of writing. */
export const jsonText = (value: unknown, indent?: number): string =>
  JSON.stringify(value, null, indent).replaceAll(/[\u007f-\u009f\u2028-\u202e\u2066-\u2069]/gu, (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, '0')}`);

/** A JSON document, or with `indent` left out one line of it. */
export const sayJson = (value: unknown, indent?: number): void => void process.stdout.write(`${jsonText(value, indent)}\n`);

/** A script for another program, made of this program's own words alone. */
export const sayScript = (text: string): void => void process.stdout.write(text);

const USUAL_WIDTH = 80;
const NARROWEST = 20;

/** Columns of the terminal behind a stream; `otherwise` where there is no terminal. One that does not tell its width has 80. */
export function widthOf(stream: NodeJS.WriteStream, otherwise = USUAL_WIDTH): number {
  if (!stream.isTTY) return otherwise;
  return stream.columns > 0 ? Math.max(NARROWEST, stream.columns) : USUAL_WIDTH;
}

/** `text` in lines of at most `width`, broken at blanks; a longer word stands alone. */
export function wrapped(text: string, width: number): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else line = line === '' ? word : `${line} ${word}`;
  }
  return [...lines, line];
}

/** How often somebody is told how far something is: at a terminal in one line that changes, else in a line now and then. ms */
const LIVE_EVERY_MS = 200;
const PLAIN_EVERY_MS = 10_000;

/** One line on standard error that changes where the terminal can take it back (CLI-8), and plain lines now and then where not. */
export class LiveLine {
  readonly #live = process.stderr.isTTY && process.env['TERM'] !== 'dumb';
  #last = machineClock.now();

  /** `texts`: the same from the longest to the shortest; the first that fits is shown, else the beginning of the last. */
  show(texts: () => readonly string[]): void {
    // How often a person is shown something hangs on the machine's time, however fast the bench's goes.
    const now = machineClock.now();
    // A terminal or a reader that stands still gets the line as it is then.
    if (process.stderr.writableLength > 0 || now - this.#last < (this.#live ? LIVE_EVERY_MS : PLAIN_EVERY_MS)) return;
    this.#last = now;
    const choice = texts();
    if (!this.#live) {
      tell(choice[0] ?? '');
      return;
    }
    const room = widthOf(process.stderr) - 1;
    const text = choice.find((one) => one.length <= room) ?? (choice.at(-1) ?? '').slice(0, room);
    process.stderr.write(`\r\x1b[2K${shown(text)}`);
  }

  /** Takes the line back, so that others can be said. */
  clear(): void {
    if (this.#live) process.stderr.write('\r\x1b[2K');
  }
}
