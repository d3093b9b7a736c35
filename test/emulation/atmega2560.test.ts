/**
 * The emulated chip against things that are known without it: small C programs, compiled for the purpose, in which the
 * compiler and the data sheet (DS40002211) say what must happen.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { Atmega2560, CLOCK_HZ, flashImage } from './atmega2560.ts';

const tool = (name: string, ...options: string[]) => spawnSync(`avr-${name}`, options, { encoding: 'utf8' });
const compiler = tool('gcc', '--version').error === undefined;

function compile(source: string, ...options: string[]): string {
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-avr-'));
  try {
    writeFileSync(join(folder, 'main.c'), source);
    const at = (name: string) => join(folder, name);
    const built = tool('gcc', '-mmcu=atmega2560', `-DF_CPU=${CLOCK_HZ}UL`, '-Os', ...options, at('main.c'), '-o', at('main.elf'));
    if (built.status !== 0) throw new Error(built.stderr);
    tool('objcopy', '-O', 'ihex', '-R', '.eeprom', at('main.elf'), at('main.hex'));
    return readFileSync(at('main.hex'), 'utf8');
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

interface Seen {
  readonly chip: Atmega2560;
  /** Changes of port B bit 6: level and cycle. */
  readonly pulse: { readonly level: boolean; readonly cycle: number }[];
  readonly bytes: { readonly byte: number; readonly cycle: number }[];
}

function power(hex: string): Seen {
  const pulse: { level: boolean; cycle: number }[] = [];
  const bytes: { byte: number; cycle: number }[] = [];
  let made: Atmega2560 | null = null;
  const chip = new Atmega2560(flashImage(hex), {
    onByte: (byte) => bytes.push({ byte, cycle: made?.cycles ?? 0 }),
    onOutputs: (cycle) => {
      const level = made?.output('B', 6) ?? false;
      if (level !== (pulse.at(-1)?.level ?? false)) pulse.push({ level, cycle });
    },
    onDuties: () => undefined,
    analog: (input) => input / 8,
    portC: () => 0,
  });
  made = chip;
  return { chip, pulse, bytes };
}

const serial = `
#include <avr/io.h>
#include <avr/interrupt.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>
static void say(char c) { while (!(UCSR0A & _BV(UDRE0))); UDR0 = c; }
static void serial(void) { UCSR0A = _BV(U2X0); UBRR0 = 16; UCSR0C = 6; UCSR0B = _BV(RXEN0) | _BV(TXEN0); }
`;

describe.skipIf(!compiler)(`the emulated ATmega2560${compiler ? '' : ' (skipped: avr-gcc was not found; apt-get install gcc-avr avr-libc)'}`, () => {
  it('counts cycles as the compiler does: __builtin_avr_delay_cycles is exact by definition', () => {
    for (const cycles of [1, 10, 1_000, 123_457]) {
      const { chip, pulse } = power(compile(`#include <avr/io.h>
        int main(void) { DDRB = 0x40; PORTB |= 0x40; __builtin_avr_delay_cycles(${cycles}); PORTB &= ~0x40; for (;;); }`));
      chip.runTo(200_000);
      // Between the two changes of the port lies one of the instructions that make them, two cycles.
      expect(pulse.map((p) => p.level)).toEqual([true, false]);
      expect((pulse[1]?.cycle ?? NaN) - (pulse[0]?.cycle ?? NaN)).toBe(cycles + 2);
    }
  });

  it('calls, returns, jumps and reads beyond 128 KiB: three-byte return addresses, EIND and RAMPZ', () => {
    const { chip, bytes } = power(compile(
      `${serial}
      __attribute__((section(".far"), noinline, used)) void far(char c) { say(c); if (c > 'a') far(c - 1); }
      __attribute__((section(".fardata"), used)) const char text[] = "xyz";
      int main(void) {
        void (*volatile pointer)(char) = far;
        serial(); far('c'); pointer('b');
        for (uint8_t i = 0; i < 3; i++) say(pgm_read_byte_far(0x38000UL + i));
        for (;;);
      }`,
      '-Wl,--section-start=.far=0x30000', '-Wl,--section-start=.fardata=0x38000',
    ));
    chip.runTo(200_000);
    expect(String.fromCharCode(...bytes.map((b) => b.byte))).toBe('cbabaxyz');
  });

  it('a byte takes ten bits of 136 cycles at 115200 baud with double speed (UBRR 16), and the port holds two', () => {
    const { chip, bytes } = power(compile(`${serial} int main(void) { serial(); say(1); say(2); say(3); for (;;); }`));
    chip.runTo(10_000);
    expect(bytes.map((b) => b.byte)).toEqual([1, 2, 3]);
    expect(Math.abs((bytes[2]?.cycle ?? NaN) - (bytes[1]?.cycle ?? NaN) - 1_360)).toBeLessThanOrEqual(5);
  });

  const pwm = (top: number, compare: number) => `#include <avr/io.h>
    int main(void) { DDRB = 0x40; ICR1 = ${top}; OCR1B = ${compare}; TCCR1A = _BV(COM1B1) | _BV(WGM11);
      TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11); for (;;); }`;

  it('fast PWM is high for OCR + 1 ticks of ICR + 1, from the tick at which the counter returns to 0', () => {
    const { chip, pulse } = power(compile(pwm(999, 249)));
    chip.runTo(100_000);
    const first = pulse.findIndex((p) => p.level);
    const cycles = pulse.slice(first).map((p) => p.cycle - (pulse[first]?.cycle ?? NaN));
    expect(cycles.slice(0, 6)).toEqual([0, 2_000, 8_000, 10_000, 16_000, 18_000]);
    expect((pulse[first]?.cycle ?? NaN) % 8).toBe(0);
  });

  it('fast PWM with OCR at TOP is constantly high (data sheet, fast PWM mode)', () => {
    const { chip, pulse } = power(compile(pwm(999, 999)));
    chip.runTo(100_000);
    expect(pulse.map((p) => p.level)).toEqual([true]);
  });

  it('OCR1B is taken over when the counter returns to 0, ICR1 at once', () => {
    const { chip, pulse } = power(compile(`#include <avr/io.h>
      int main(void) { DDRB = 0x40; ICR1 = 999; OCR1B = 99; TCCR1A = _BV(COM1B1) | _BV(WGM11);
        TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
        while (!(TIFR1 & _BV(TOV1))); OCR1B = 199; ICR1 = 499; for (;;); }`));
    chip.runTo(40_000);
    const rises = pulse.filter((p) => p.level).map((p) => p.cycle);
    const widths = pulse.filter((p) => !p.level).map((p, i) => p.cycle - (rises[i] ?? NaN));
    expect(widths.slice(0, 3)).toEqual([800, 1_600, 1_600]);
    expect((rises[1] ?? NaN) - (rises[0] ?? NaN)).toBe(4_000);
  });

  it('input capture keeps the time of the edge, four cycles late through the noise canceller', () => {
    const { chip, bytes } = power(compile(`${serial} int main(void) { serial(); TCCR5B = _BV(ICNC5) | _BV(ICES5) | _BV(CS51);
      uint16_t last = 0; for (;;) { if (TIFR5 & _BV(ICF5)) { TIFR5 = _BV(ICF5); uint16_t now = ICR5; uint16_t d = now - last; last = now; say(d >> 8); say(d); } } }`));
    for (const cycle of [10_000, 30_000, 130_000, 630_004]) chip.meterEdge(cycle);
    chip.runTo(700_000);
    const words = [1, 2, 3].map((i) => (bytes[2 * i]?.byte ?? NaN) * 256 + (bytes[2 * i + 1]?.byte ?? NaN));
    expect(words).toEqual([2_500, 12_500, 62_501]);
  });

  it('the watchdog resets the chip after its time unless it is fed, and MCUSR tells', () => {
    const fed = power(compile(`${serial} int main(void) { MCUSR = 0; wdt_enable(WDTO_120MS); for (;;) wdt_reset(); }`));
    fed.chip.runTo(CLOCK_HZ);
    expect(fed.chip.watchdogResets).toBe(0);
    const left = power(compile(`${serial} int main(void) { uint8_t why = MCUSR; MCUSR = 0; wdt_enable(WDTO_120MS); serial(); say(why); for (;;); }`));
    left.chip.runTo(0.3 * CLOCK_HZ);
    // 16384 cycles of 128 kHz: 128 ms.
    expect(left.chip.watchdogResets).toBe(2);
    expect(left.bytes.map((b) => b.byte)).toEqual([0x01, 0x08, 0x08]);
  });

  it('EEPROM keeps its bytes over a reset', () => {
    const { chip, bytes } = power(compile(`#include <avr/eeprom.h>
      ${serial} int main(void) { serial(); uint8_t n = eeprom_read_byte((uint8_t *)300); say(n); eeprom_update_byte((uint8_t *)300, n + 1); for (;;); }`));
    for (let i = 1; i <= 3; i += 1) {
      chip.runTo(i * 200_000);
      chip.reset();
    }
    expect(bytes.map((b) => b.byte)).toEqual([0xff, 0x00, 0x01]);
  });

  it('the instruction after SEI comes before a waiting interrupt, so a processor cannot fall asleep over it', () => {
    const { chip, bytes } = power(compile(`#include <avr/sleep.h>
      ${serial} ISR(USART0_RX_vect) { say(UDR0); }
      int main(void) { serial(); UCSR0B |= _BV(RXCIE0); sleep_enable(); for (;;) { cli(); sei(); sleep_cpu(); } }`));
    chip.runTo(1_000);
    chip.receive(Uint8Array.of(7, 8, 9));
    chip.runTo(20_000);
    expect(bytes.map((b) => b.byte)).toEqual([7, 8, 9]);
  });

  it('what is not modelled says so', () => {
    const { chip } = power(compile('#include <avr/io.h>\nint main(void) { TCCR1A = _BV(COM1B0); TCCR1B = _BV(CS10); for (;;); }'));
    expect(() => {
      chip.runTo(1_000);
    }).toThrow('not modelled');
  });

  it('a damaged HEX file is refused', () => {
    expect(() => flashImage(':100000000C94720\n')).toThrow('damaged');
    expect(() => flashImage(':0400000001020304F3\n')).toThrow('damaged');
  });
});
