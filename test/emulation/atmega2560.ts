 
/**
 * An ATmega2560 at 16 MHz as far as the reference firmware uses it. The instructions are carried out by avr8js; the
 * peripherals are here, because the package's own are those of a smaller chip, have no input capture, and count their
 * fast PWM one tick short. They follow Microchip's data sheet "ATmega640/1280/1281/2560/2561" (DS40002211), to the clock
 * cycle; a mode of a peripheral that is not modelled throws, so that the firmware cannot lean on something untrue.
 *
 * Peripherals are not stepped: each knows the cycle at which something next happens to it, and a sleeping processor
 * jumps there.
 */
import { avrInstruction, CPU } from 'avr8js';

export const CLOCK_HZ = 16_000_000;

const PIN = { A: 0x20, B: 0x23, C: 0x26, E: 0x2c } as const;
const DDR = 1;
const PORT = 2;
const TIFR1 = 0x36, TIFR2 = 0x37, TIFR5 = 0x3a;
const EECR = 0x3f, EEDR = 0x40, EEARL = 0x41, EEARH = 0x42;
const SMCR = 0x53, MCUSR = 0x54, SREG = 0x5f, WDTCSR = 0x60;
const TIMSK1 = 0x6f, TIMSK2 = 0x70, TIMSK5 = 0x73;
const ADCL = 0x78, ADCH = 0x79, ADCSRA = 0x7a, ADMUX = 0x7c;
const TCCR1A = 0x80, TCCR1B = 0x81, TCCR1C = 0x82, TCNT1 = 0x84, ICR1 = 0x86, OCR1B = 0x8a;
const TCCR3A = 0x90, TCCR3B = 0x91, ICR3 = 0x96, OCR3A = 0x98, OCR3B = 0x9a;
const TCCR2A = 0xb0, TCCR2B = 0xb1, OCR2A = 0xb3;
const UCSR0A = 0xc0, UCSR0B = 0xc1, UBRR0L = 0xc4, UBRR0H = 0xc5, UDR0 = 0xc6;
const SPMCSR = 0x57;
const TCCR5A = 0x120, TCCR5B = 0x121, TCNT5 = 0x124, ICR5 = 0x126;

const LPM = 0x95c8;
const SLEEP = 0x9588, SEI = 0x9478, RETI = 0x9518;
const NEVER = Number.POSITIVE_INFINITY;
/** Interrupt response with a 22-bit program counter; one that wakes a sleeping processor takes four more. */
const RESPONSE = 5;
const WAKING = 4;
/** Timers 1 and 5 run from the free-running prescaler: they count at multiples of this. */
const TICK = 8;
/** The input capture noise canceller wants four equal samples. */
const CANCELLER = 4;
const HOST_BYTE_CYCLES = (10 * CLOCK_HZ) / 115_200;
/** Erase and write of one EEPROM byte, 3.4 ms. */
const EEPROM_WRITE_CYCLES = 0.0034 * CLOCK_HZ;
const WATCHDOG_LEAST_CYCLES = 2048 * (CLOCK_HZ / 128_000);

interface Interrupt {
  readonly vector: number;
  readonly flags: number;
  readonly flag: number;
  readonly mask: number;
  readonly enable: number;
  /** Cleared when it is served; the serial port's are levels and stay. */
  readonly clears: boolean;
}

/** In the order of their priority. */
const interrupts: readonly Interrupt[] = [
  { vector: 13, flags: TIFR2, flag: 0x02, mask: TIMSK2, enable: 0x02, clears: true },
  { vector: 18, flags: TIFR1, flag: 0x04, mask: TIMSK1, enable: 0x04, clears: true },
  { vector: 20, flags: TIFR1, flag: 0x01, mask: TIMSK1, enable: 0x01, clears: true },
  { vector: 25, flags: UCSR0A, flag: 0x80, mask: UCSR0B, enable: 0x80, clears: false },
  { vector: 26, flags: UCSR0A, flag: 0x20, mask: UCSR0B, enable: 0x20, clears: false },
  { vector: 29, flags: ADCSRA, flag: 0x10, mask: ADCSRA, enable: 0x08, clears: true },
  { vector: 46, flags: TIFR5, flag: 0x20, mask: TIMSK5, enable: 0x20, clears: true },
  { vector: 50, flags: TIFR5, flag: 0x01, mask: TIMSK5, enable: 0x01, clears: true },
];
const NONE = -1;

export interface ChipPins {
  /** A byte has left the serial port. */
  readonly onByte: (byte: number) => void;
  /** A port pin or the pulse output (port B bit 6, OC1B) may have changed, at this cycle. */
  readonly onOutputs: (cycle: number) => void;
  /** Duty of OC3A and OC3B, 0 to 1. */
  readonly onDuties: (a: number, b: number, cycle: number) => void;
  /** Voltage at an analog input, as a share of the reference, at the moment of sampling. */
  readonly analog: (input: number) => number;
  readonly portC: () => number;
}

export class Atmega2560 {
  /** Resets by the watchdog since power-on. */
  watchdogResets = 0;
  /** Bytes from the host that were lost because the processor did not fetch them in time. */
  overruns = 0;
  /** Cycles that the processor slept; the rest is its load. */
  sleptCycles = 0;

  readonly #pins: ChipPins;
  readonly #cpu: CPU;
  readonly #data: Uint8Array;
  readonly #program: Uint16Array;
  /** What the chip keeps without power; a test may write into it before the start. */
  readonly eeprom = new Uint8Array(4096).fill(0xff);
  /** Low, lock, extended and high byte, in the order in which they are read: as the firmware's README sets them. */
  readonly fuses = [0xff, 0xff, 0xfc, 0xc1];
  #fuseOpenUntil = -1;
  #converterStopped = false;

  #nextDue = NEVER;
  #pending = NONE;
  #sleeping = false;
  #stalled = false;
  #high = 0;

  #t1Zero = 0; // tick at which the counter was 0
  #t1Stopped = 0; // its count while it stands still
  #t1Runs = false;
  #t1Ocr = 0;
  #t1OcrBuffer = 0;
  #t1Match = NEVER; // cycles
  #t1Bottom = NEVER;
  #oc1b = false;

  #t2Due = NEVER;
  #t5Zero = 0;
  #t5Runs = false;
  #t5Turn = NEVER;
  readonly #edges: number[] = []; // cycles of the meter's edges to come
  #capture = NEVER;

  #adcDue = NEVER;
  #adcValue = 0;
  #txDue = NEVER;
  #txShift = 0;
  #txBuffer: number | null = null;
  readonly #rxFifo: number[] = [];
  readonly #rxQueue: number[] = [];
  #rxAt = 0; // position in the queue; it is emptied when it has been read to its end
  #rxDue = NEVER;
  #watchdogDue = NEVER;
  #watchdogOpenUntil = -1;
  #eepromDue = NEVER;
  #eepromOpenUntil = -1;

  /** `program`: flash from address 0, in words. Power comes on at cycle 0. */
  constructor(program: Uint16Array, pins: ChipPins) {
    this.#pins = pins;
    this.#program = program;
    // The register space of this chip is 0x200 bytes, the package counts 0x100 of it itself.
    this.#cpu = new CPU(program, 8192 + 0x100);
    this.#data = this.#cpu.data;
    this.#data.fill(0xa5);
    this.#hook();
    this.reset(0x01);
  }

  get cycles(): number {
    return this.#cpu.cycles;
  }

  /** `cause`: bits of MCUSR; 2 is the reset button. EEPROM and the cycle count go on. */
  reset(cause = 0x02): void {
    const cycles = this.#cpu.cycles;
    this.#cpu.reset();
    this.#cpu.cycles = cycles;
    this.#data.fill(0, 0x20, 0x5d);
    this.#data.fill(0, 0x5f, 0x200);
    this.#data[MCUSR] = cause;
    this.#data[UCSR0A] = 0x20;
    this.#pending = NONE;
    this.#sleeping = false;
    this.#stalled = false;
    this.#converterStopped = false;
    this.#fuseOpenUntil = -1;
    this.#t1Runs = false;
    this.#t1Stopped = 0;
    this.#t1Ocr = 0;
    this.#t1OcrBuffer = 0;
    this.#oc1b = false;
    this.#t5Runs = false;
    this.#txBuffer = null;
    this.#rxFifo.length = 0;
    this.#t1Match = this.#t1Bottom = this.#t2Due = this.#t5Turn = this.#adcDue = this.#txDue = NEVER;
    this.#watchdogDue = this.#eepromDue = NEVER;
    // A reset by the watchdog leaves it running at its shortest time.
    if ((cause & 0x08) !== 0) this.#writeWatchdog(0x08);
    this.#schedule();
    this.#pins.onDuties(0, 0, cycles);
    this.#pins.onOutputs(cycles);
  }

  /** What a disturbance can do: the processor runs in a circle of one instruction, interrupts off, until it is reset. */
  stall(): void {
    this.#stalled = true;
  }

  /** What a disturbance can do: the conversion that is under way never ends. */
  stopConverter(): void {
    this.#converterStopped = true;
    this.#adcDue = NEVER;
    this.#schedule();
  }

  /** Bytes begin to arrive at the present instant or behind those that are still arriving. */
  receive(bytes: Uint8Array): void {
    for (const byte of bytes) this.#rxQueue.push(byte);
    if (this.#rxDue === NEVER && bytes.length > 0) this.#rxDue = this.cycles + HOST_BYTE_CYCLES;
    this.#schedule();
  }

  /** A rising edge at the capture pin of timer 5, at a cycle that is still to come, later than all before it. */
  meterEdge(cycle: number): void {
    this.#edges.push(cycle);
    if (this.#capture === NEVER) this.#capture = cycle + CANCELLER;
    this.#schedule();
  }

  /** Level that a port pin drives; undriven pins are pulled down on the board. */
  output(port: 'A' | 'B' | 'E', bit: number): boolean {
    const drives = ((this.#data[PIN[port] + DDR] ?? 0) & (1 << bit)) !== 0;
    if (!drives) return false;
    if (port === 'B' && bit === 6 && ((this.#data[TCCR1A] ?? 0) & 0x30) !== 0) return this.#oc1b;
    return ((this.#data[PIN[port] + PORT] ?? 0) & (1 << bit)) !== 0;
  }

  /** Runs until the cycle count has reached `target`; it may pass it by the rest of an instruction. */
   
  runTo(target: number): void {
    const cpu = this.#cpu;
    const data = this.#data;
    const program = this.#program;
    let held = false; // the instruction after SEI or RETI comes before any interrupt
    while (cpu.cycles < target) {
      if (cpu.cycles >= this.#nextDue) this.#serve();
      if (this.#stalled) {
        cpu.cycles += 2;
        continue;
      }
      if (this.#pending !== NONE && !held && ((data[SREG] ?? 0) & 0x80) !== 0) this.#interrupt();
      held = false;
      if (this.#sleeping) {
        const wake = Math.min(this.#nextDue, target);
        this.sleptCycles += wake - cpu.cycles;
        cpu.cycles = Math.ceil(wake);
        continue;
      }
      const opcode = program[cpu.pc];
      if (opcode === SLEEP && ((data[SMCR] ?? 0) & 1) !== 0) {
        this.#sleeping = true;
        cpu.pc += 1;
        cpu.cycles += 1;
        continue;
      }
      if (cpu.cycles <= this.#fuseOpenUntil && opcode !== undefined && (opcode === LPM || (opcode & 0xfe0f) === 0x9004)) {
        // A fuse in place of a byte of the program.
        data[opcode === LPM ? 0 : (opcode >> 4) & 0x1f] = this.fuses[data[30] ?? 0] ?? 0;
        this.#fuseOpenUntil = -1;
        cpu.pc += 1;
        cpu.cycles += 3;
        continue;
      }
      avrInstruction(cpu);
      held = opcode === SEI || opcode === RETI;
    }
    if (cpu.cycles >= this.#nextDue) this.#serve();
  }

  #interrupt(): void {
    const taken = interrupts[this.#pending];
    if (taken === undefined) throw new Error('no such interrupt');
    const { cpu, data } = { cpu: this.#cpu, data: this.#data };
    if (this.#sleeping) cpu.cycles += WAKING;
    this.#sleeping = false;
    const sp = cpu.SP;
    data[sp] = cpu.pc & 0xff;
    data[sp - 1] = (cpu.pc >> 8) & 0xff;
    data[sp - 2] = (cpu.pc >> 16) & 0xff;
    cpu.SP = sp - 3;
    data[SREG] = (data[SREG] ?? 0) & 0x7f;
    cpu.pc = taken.vector * 2;
    cpu.cycles += RESPONSE;
    if (taken.clears) data[taken.flags] = (data[taken.flags] ?? 0) & ~taken.flag;
    this.#look();
  }

  /** Which interrupt is to be served next, if any. */
  #look(): void {
    const data = this.#data;
    this.#pending = NONE;
    for (let i = 0; i < interrupts.length; i += 1) {
      const it = interrupts[i];
      if (it !== undefined && ((data[it.flags] ?? 0) & it.flag) !== 0 && ((data[it.mask] ?? 0) & it.enable) !== 0) {
        this.#pending = i;
        return;
      }
    }
  }

  #raise(register: number, flag: number): void {
    this.#data[register] = (this.#data[register] ?? 0) | flag;
  }

  #schedule(): void {
    this.#nextDue = Math.min(
      this.#t1Match, this.#t1Bottom, this.#t2Due, this.#t5Turn, this.#capture, this.#adcDue, this.#txDue, this.#rxDue,
      this.#watchdogDue, this.#eepromDue,
    );
  }

  #serve(): void {
    while (this.cycles >= this.#nextDue) {
      const due = this.#nextDue;
      if (due === this.#t1Match) this.#matchTimer1(due);
      else if (due === this.#t1Bottom) this.#bottomTimer1(due);
      else if (due === this.#capture) this.#captureEdge(due);
      else if (due === this.#t5Turn) {
        this.#t5Zero += 0x10000;
        this.#t5Turn += 0x10000 * TICK;
        this.#raise(TIFR5, 0x01);
      } else if (due === this.#t2Due) {
        this.#t2Due += ((this.#data[OCR2A] ?? 0) + 1) * 64;
        this.#raise(TIFR2, 0x02);
      } else if (due === this.#adcDue) {
        this.#adcDue = NEVER;
        this.#data[ADCSRA] = (this.#data[ADCSRA] ?? 0) & ~0x40;
        this.#data[ADCL] = this.#adcValue & 0xff;
        this.#data[ADCH] = this.#adcValue >> 8;
        this.#raise(ADCSRA, 0x10);
      } else if (due === this.#txDue) this.#byteSent();
      else if (due === this.#rxDue) this.#byteArrived();
      else if (due === this.#eepromDue) {
        this.#eepromDue = NEVER;
        this.#data[EECR] = (this.#data[EECR] ?? 0) & ~0x02;
      } else {
        this.watchdogResets += 1;
        this.reset(0x08);
      }
      this.#schedule();
    }
    this.#look();
  }

  // ---- timer 1: normal mode standing still, fast PWM with ICR1 as TOP (mode 14) running; output B ----

  #tick(): number {
    return Math.floor(this.cycles / TICK);
  }

  /** The clear-on-match happens with the tick after the match, so that a match at OCR is OCR + 1 ticks after 0. */
  #planTimer1(): void {
    const top = this.#word(ICR1);
    const count = this.#tick() - this.#t1Zero;
    const last = count <= top ? top : 0xffff;
    this.#t1Bottom = (this.#t1Zero + last + 1) * TICK;
    this.#t1Match = count <= this.#t1Ocr && this.#t1Ocr <= last ? (this.#t1Zero + this.#t1Ocr + 1) * TICK : NEVER;
  }

  #matchTimer1(cycle: number): void {
    this.#t1Match = NEVER;
    this.#raise(TIFR1, 0x04);
    // With the match at TOP the output stays set: clearing and setting fall together.
    const mode = this.#outputMode();
    if (cycle !== this.#t1Bottom && mode !== 0) this.#driveOc1b(mode === 3, cycle);
  }

  #bottomTimer1(cycle: number): void {
    this.#t1Zero = cycle / TICK;
    this.#t1Ocr = this.#t1OcrBuffer;
    this.#raise(TIFR1, 0x01);
    const mode = this.#outputMode();
    if (mode !== 0) this.#driveOc1b(mode === 2, cycle);
    const top = this.#word(ICR1);
    this.#t1Bottom = cycle + (top + 1) * TICK;
    this.#t1Match = this.#t1Ocr <= top ? cycle + (this.#t1Ocr + 1) * TICK : NEVER;
  }

  /** 0 off, 2 set at 0 and clear at the match, 3 the other way round. */
  #outputMode(): number {
    const mode = ((this.#data[TCCR1A] ?? 0) >> 4) & 3;
    if (mode === 1) throw new Error('toggling OC1B is not modelled');
    return mode;
  }

  #driveOc1b(level: boolean, cycle: number): void {
    if (this.#oc1b === level) return;
    this.#oc1b = level;
    this.#pins.onOutputs(cycle);
  }

  #controlTimer1(): void {
    const b = this.#data[TCCR1B] ?? 0;
    const runs = (b & 0x07) !== 0;
    if (runs && ((b & 0x1f) !== 0x1a || ((this.#data[TCCR1A] ?? 0) & 0x03) !== 0x02)) {
      throw new Error('timer 1 runs in a mode that is not modelled');
    }
    if (runs && !this.#t1Runs) {
      this.#t1Zero = this.#tick() - this.#t1Stopped;
      this.#t1Runs = true;
      this.#planTimer1();
    } else if (!runs && this.#t1Runs) {
      this.#t1Stopped = this.#tick() - this.#t1Zero;
      this.#t1Runs = false;
      this.#t1Match = this.#t1Bottom = NEVER;
    }
  }

  // ---- timer 5: normal mode, input capture ----

  #captureEdge(due: number): void {
    this.#edges.shift();
    const next = this.#edges[0];
    this.#capture = next === undefined ? NEVER : Math.max(next + CANCELLER, due + 1);
    if (!this.#t5Runs) return;
    const count = (Math.floor(due / TICK) - this.#t5Zero) & 0xffff;
    this.#data[ICR5] = count & 0xff;
    this.#data[ICR5 + 1] = count >> 8;
    this.#raise(TIFR5, 0x20);
  }

  // ---- serial port ----

  #byteCycles(): number {
    const cycles = 10 * 8 * (this.#word(UBRR0L) + 1);
    if (((this.#data[UCSR0A] ?? 0) & 0x02) === 0 || Math.abs(cycles / HOST_BYTE_CYCLES - 1) > 0.025) {
      throw new Error('the serial port is not at 115200 baud');
    }
    return cycles;
  }

  #byteSent(): void {
    this.#pins.onByte(this.#txShift);
    if (this.#txBuffer === null) {
      this.#txDue = NEVER;
    } else {
      this.#txShift = this.#txBuffer;
      this.#txBuffer = null;
      this.#txDue += this.#byteCycles();
      this.#raise(UCSR0A, 0x20);
    }
  }

  #byteArrived(): void {
    const byte = this.#rxQueue[this.#rxAt];
    this.#rxAt += 1;
    if (this.#rxAt === this.#rxQueue.length) {
      this.#rxQueue.length = 0;
      this.#rxAt = 0;
      this.#rxDue = NEVER;
    } else {
      this.#rxDue += HOST_BYTE_CYCLES;
    }
    if (byte === undefined || ((this.#data[UCSR0B] ?? 0) & 0x10) === 0) return;
    // Two bytes of buffer and the shift register.
    if (this.#rxFifo.length === 3) {
      this.overruns += 1;
      return;
    }
    this.#rxFifo.push(byte);
    this.#raise(UCSR0A, 0x80);
  }

  // ---- watchdog ----

  #writeWatchdog(value: number): void {
    const old = this.#data[WDTCSR] ?? 0;
    if ((value & 0x18) === 0x18) {
      this.#watchdogOpenUntil = this.cycles + 4;
      this.#data[WDTCSR] = old | 0x08;
    } else if (this.cycles <= this.#watchdogOpenUntil) {
      this.#data[WDTCSR] = value & 0x2f;
    } else {
      // Without the timed sequence it can be switched on, not off or changed.
      this.#data[WDTCSR] = old | (value & 0x08);
    }
    this.#restartWatchdog();
  }

  #restartWatchdog(): void {
    const value = this.#data[WDTCSR] ?? 0;
    const steps = ((value & 0x20) >> 2) | (value & 0x07);
    this.#watchdogDue = (value & 0x08) === 0 ? NEVER : this.cycles + WATCHDOG_LEAST_CYCLES * 2 ** steps;
    this.#schedule();
  }

  // ---- registers ----

  #word(low: number): number {
    return (this.#data[low] ?? 0) | ((this.#data[low + 1] ?? 0) << 8);
  }

  #onWrite(address: number, hook: (value: number) => void): void {
    this.#cpu.writeHooks[address] = (value) => {
      hook(value);
      this.#schedule();
      this.#look();
      return true;
    };
  }

  /** Sixteen-bit registers are written high byte first, into a register that all of them share. */
  #onWriteWord(low: number, hook: (value: number) => void): void {
    this.#onWrite(low + 1, (value) => {
      this.#high = value;
    });
    this.#onWrite(low, (value) => {
      hook((this.#high << 8) | value);
    });
  }

  #store(low: number, value: number): void {
    this.#data[low] = value & 0xff;
    this.#data[low + 1] = value >> 8;
  }

  #onReadCounter(low: number, count: () => number): void {
    this.#cpu.readHooks[low] = () => {
      const value = count() & 0xffff;
      this.#data[low + 1] = value >> 8;
      return value & 0xff;
    };
  }

   
  #hook(): void {
    const data = this.#data;
    const set = (address: number, value: number) => {
      data[address] = value;
    };
    this.#cpu.onWatchdogReset = () => {
      this.#restartWatchdog();
    };
    for (const flags of [TIFR1, TIFR2, TIFR5]) {
      this.#onWrite(flags, (value) => {
        set(flags, (data[flags] ?? 0) & ~value);
      });
    }
    for (const mask of [TIMSK1, TIMSK2, TIMSK5, UCSR0B]) {
      this.#onWrite(mask, (value) => {
        set(mask, value);
      });
    }
    for (const pin of [PIN.A, PIN.B, PIN.E]) {
      for (const register of [pin + DDR, pin + PORT]) {
        this.#onWrite(register, (value) => {
          set(register, value);
          this.#pins.onOutputs(this.cycles);
        });
      }
    }
    this.#cpu.readHooks[PIN.A] = () => (data[PIN.A + PORT] ?? 0) & (data[PIN.A + DDR] ?? 0);
    this.#cpu.readHooks[PIN.B] = () => (this.output('B', 6) ? 0x40 : 0);
    this.#onWrite(SPMCSR, (value) => {
      if (value !== 0x09) throw new Error('the program memory is written, which is not modelled');
      this.#fuseOpenUntil = this.cycles + 3;
    });
    this.#cpu.readHooks[PIN.C] = () => this.#pins.portC();

    this.#onWrite(TCCR1A, (value) => {
      set(TCCR1A, value);
      if (this.#t1Runs && (value & 0x03) !== 0x02) throw new Error('timer 1 leaves its mode while it runs');
      this.#pins.onOutputs(this.cycles);
    });
    this.#onWrite(TCCR1B, (value) => {
      set(TCCR1B, value);
      this.#controlTimer1();
    });
    this.#onWrite(TCCR1C, (value) => {
      // A forced compare works in the modes without PWM only.
      const pwm = ((data[TCCR1A] ?? 0) & 0x03) !== 0 || ((data[TCCR1B] ?? 0) & 0x18) !== 0;
      const mode = this.#outputMode();
      if ((value & 0x40) !== 0 && !pwm && mode !== 0) this.#driveOc1b(mode === 3, this.cycles);
    });
    this.#onWriteWord(TCNT1, (value) => {
      if (this.#t1Runs) throw new Error('TCNT1 is written while timer 1 runs');
      this.#t1Stopped = value;
    });
    this.#onReadCounter(TCNT1, () => (this.#t1Runs ? this.#tick() - this.#t1Zero : this.#t1Stopped));
    this.#onWriteWord(ICR1, (value) => {
      this.#store(ICR1, value);
      if (this.#t1Runs) this.#planTimer1();
    });
    this.#onWriteWord(OCR1B, (value) => {
      this.#store(OCR1B, value);
      this.#t1OcrBuffer = value;
      if (!this.#t1Runs) this.#t1Ocr = value;
    });

    this.#onWrite(TCCR2B, (value) => {
      set(TCCR2B, value);
      if (value !== 0 && (value !== 0x04 || data[TCCR2A] !== 0x02)) throw new Error('timer 2 runs in a mode that is not modelled');
      this.#t2Due = value === 0 ? NEVER : (Math.floor(this.cycles / 64) + (data[OCR2A] ?? 0) + 1) * 64;
    });

    const duties = () => {
      const a = data[TCCR3A] ?? 0;
      const runs = (a & 0x03) === 0x02 && data[TCCR3B] === 0x19;
      const duty = (bit: number, mode: number, compare: number) =>
        runs && (a & mode) !== 0 && ((data[PIN.E + DDR] ?? 0) & (1 << bit)) !== 0
          ? Math.min(1, (this.#word(compare) + 1) / (this.#word(ICR3) + 1))
          : 0;
      this.#pins.onDuties(duty(3, 0x80, OCR3A), duty(4, 0x20, OCR3B), this.cycles);
    };
    for (const register of [TCCR3A, TCCR3B]) {
      this.#onWrite(register, (value) => {
        set(register, value);
        duties();
      });
    }
    for (const low of [ICR3, OCR3A, OCR3B]) {
      this.#onWriteWord(low, (value) => {
        this.#store(low, value);
        duties();
      });
    }

    this.#onWrite(TCCR5B, (value) => {
      set(TCCR5B, value);
      if (value !== 0xc2 || data[TCCR5A] !== 0) throw new Error('timer 5 runs in a mode that is not modelled');
      this.#t5Runs = true;
      this.#t5Zero = this.#tick();
      this.#t5Turn = (this.#t5Zero + 0x10000) * TICK;
    });
    this.#onReadCounter(TCNT5, () => (this.#t5Runs ? this.#tick() - this.#t5Zero : 0));

    this.#onWrite(ADCSRA, (value) => {
      const clears = (value & 0x10) !== 0;
      const flag = clears ? 0 : (data[ADCSRA] ?? 0) & 0x10;
      const busy = (data[ADCSRA] ?? 0) & 0x40;
      const first = ((data[ADCSRA] ?? 0) & 0x80) === 0;
      set(ADCSRA, (value & ~0x10) | flag | busy);
      if ((value & 0xc0) !== 0xc0 || busy !== 0) return;
      if ((value & 0x07) !== 0x07) throw new Error('the converter runs at a clock that is not modelled');
      // Readings are those of this moment; the end of sampling is 12 us from here.
      this.#adcValue = Math.min(1023, Math.max(0, Math.floor(this.#pins.analog((data[ADMUX] ?? 0) & 0x1f) * 1024)));
      if (!this.#converterStopped) this.#adcDue = (Math.floor(this.cycles / 128) + (first ? 25 : 13) + 1) * 128;
    });

    this.#onWrite(UCSR0A, (value) => {
      set(UCSR0A, ((data[UCSR0A] ?? 0) & 0xe0) | (value & 0x03));
    });
    this.#onWriteWord(UBRR0L, (value) => {
      this.#store(UBRR0L, value);
    });
    this.#onWrite(UBRR0H, (value) => {
      set(UBRR0H, value);
      this.#high = value;
    });
    this.#onWrite(UDR0, (value) => {
      if (((data[UCSR0B] ?? 0) & 0x08) === 0) return;
      if (this.#txDue === NEVER) {
        this.#txShift = value;
        this.#txDue = this.cycles + this.#byteCycles();
      } else {
        this.#txBuffer = value;
        set(UCSR0A, (data[UCSR0A] ?? 0) & ~0x20);
      }
    });
    this.#cpu.readHooks[UDR0] = () => {
      const byte = this.#rxFifo.shift() ?? 0;
      if (this.#rxFifo.length === 0) set(UCSR0A, (data[UCSR0A] ?? 0) & ~0x80);
      this.#look();
      return byte;
    };

    this.#onWrite(WDTCSR, (value) => {
      this.#writeWatchdog(value);
    });
    this.#onWrite(EECR, (value) => {
      const address = ((data[EEARH] ?? 0) << 8) | (data[EEARL] ?? 0);
      if ((value & 0x01) !== 0) set(EEDR, this.eeprom[address & 0xfff] ?? 0xff);
      if ((value & 0x06) === 0x04) this.#eepromOpenUntil = this.cycles + 4;
      if ((value & 0x02) !== 0 && this.cycles <= this.#eepromOpenUntil && this.#eepromDue === NEVER) {
        this.eeprom[address & 0xfff] = data[EEDR] ?? 0;
        this.#eepromDue = this.cycles + EEPROM_WRITE_CYCLES;
        set(EECR, 0x02);
      } else {
        set(EECR, ((data[EECR] ?? 0) & 0x02) | (value & 0x04));
      }
    });
  }
}

/** The flash image in an Intel HEX file. Throws where the file is damaged. */
export function flashImage(hex: string): Uint16Array {
  const flash = new Uint8Array(0x40000).fill(0xff);
  let base = 0;
  for (const line of hex.split('\n').map((text) => text.trim()).filter((text) => text !== '')) {
    const record = Uint8Array.from(line.slice(1).match(/../g) ?? [], (pair) => Number.parseInt(pair, 16));
    const [length = 0, high = 0, low = 0, type = -1] = record;
    if (!line.startsWith(':') || record.length !== length + 5 || record.reduce((sum, byte) => sum + byte, 0) % 256 !== 0) {
      throw new Error(`damaged HEX record: ${line}`);
    }
    const content = record.subarray(4, 4 + length);
    if (type === 0) flash.set(content, base + high * 256 + low);
    else if (type === 2 || type === 4) base = ((content[0] ?? 0) * 256 + (content[1] ?? 0)) * (type === 2 ? 16 : 65_536);
  }
  return new Uint16Array(flash.buffer);
}
