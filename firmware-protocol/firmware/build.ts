/**
 * Builds the firmware with Debian's gcc-avr and avr-libc: `node firmware-protocol/firmware/build.ts [serial-number]`.
 * Leaves `railhouse.elf` and `railhouse.hex` in `dist/firmware/` and prints what they take of the chip.
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

const CHIP = 'atmega2560';
const FLASH_BYTES = 256 * 1024;
const RAM_BYTES = 8 * 1024;

export type FirmwareBuild =
  | {
      readonly ok: true;
      /** The Intel HEX file that is flashed. */
      readonly hex: string;
      readonly hexPath: string;
      readonly flashBytes: number;
      /** Static data; what is left of `ramSize` is the stack. */
      readonly ramBytes: number;
      readonly flashSize: number;
      readonly ramSize: number;
    }
  /** `missing`: there is no compiler on this machine; otherwise the sources do not compile. */
  | { readonly ok: false; readonly missing: boolean; readonly text: string };

function run(command: string, args: readonly string[]): { readonly missing: boolean; readonly ok: boolean; readonly out: string } {
  const result = spawnSync(command, args, { encoding: 'utf8' });
  if (result.error !== undefined) return { missing: true, ok: false, out: result.error.message };
  return { missing: false, ok: result.status === 0, out: result.stdout + result.stderr };
}

/**
 * `serialNumber`: 1 to 24 characters of a name of the line. `outFolder` is made if it is not there. `defines` take the
 * place of what `board.h` says, for a board of another make.
 */
export function buildFirmware(outFolder: string, serialNumber = '0001', defines: Readonly<Record<string, string>> = {}): FirmwareBuild {
  if (!/^[A-Za-z0-9._-]{1,24}$/.test(serialNumber)) {
    return { ok: false, missing: false, text: `"${serialNumber}" is not a serial number: 1 to 24 letters, digits, '.', '_' or '-'.` };
  }
  mkdirSync(outFolder, { recursive: true });
  const sources = readdirSync(import.meta.dirname).filter((name) => name.endsWith('.c')).map((name) => join(import.meta.dirname, name));
  const elf = join(outFolder, 'railhouse.elf');
  const hexPath = join(outFolder, 'railhouse.hex');
  const compiled = run('avr-gcc', [
    `-mmcu=${CHIP}`, '-DF_CPU=16000000UL', `-DSERIAL_NUMBER="${serialNumber}"`, ...Object.entries(defines).map(([name, value]) => `-D${name}=${value}`), '-std=gnu11', '-Os', '-flto',
    '-Wall', '-Wextra', '-Werror', '-ffunction-sections', '-fdata-sections', '-Wl,--gc-sections', ...sources, '-o', elf,
  ]);
  if (compiled.missing) {
    return { ok: false, missing: true, text: 'avr-gcc was not found. On Debian: apt-get install gcc-avr avr-libc binutils-avr' };
  }
  if (!compiled.ok) return { ok: false, missing: false, text: `The firmware does not compile.\n${compiled.out}` };
  const copied = run('avr-objcopy', ['-O', 'ihex', '-R', '.eeprom', elf, hexPath]);
  const sized = run('avr-size', [elf]);
  const [text, data, bss] = (/^\s*(\d+)\s+(\d+)\s+(\d+)/m.exec(sized.out) ?? []).slice(1).map(Number);
  if (!copied.ok || !sized.ok || text === undefined || data === undefined || bss === undefined) {
    return { ok: false, missing: false, text: `The firmware was compiled but not finished.\n${copied.out}${sized.out}` };
  }
  return {
    ok: true, hex: readFileSync(hexPath, 'utf8'), hexPath,
    flashBytes: text + data, ramBytes: data + bss, flashSize: FLASH_BYTES, ramSize: RAM_BYTES,
  };
}

if (import.meta.main) {
  const built = buildFirmware(join(import.meta.dirname, '../../dist/firmware'), process.argv[2]);
  if (built.ok) {
    const share = (part: number, whole: number) => `${part} of ${whole} bytes (${((100 * part) / whole).toFixed(1)} %)`;
    process.stdout.write(`${built.hexPath}\nflash ${share(built.flashBytes, built.flashSize)}\nRAM   ${share(built.ramBytes, built.ramSize)}\n`);
  } else {
    process.stderr.write(`${built.text}\n`);
    process.exitCode = 1;
  }
}
