/** The reference firmware, built once for this process, on an emulated board in its own time. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { ControllerPort } from '../../firmware-protocol/conformance/suite.ts';
import { EmulatedBoard } from '../emulation/emulated-board.ts';
import { buildFirmware, type FirmwareBuild } from '../../firmware-protocol/firmware/build.ts';
import { LONGEST_TO_HOST } from '../../firmware-protocol/line/codec.ts';
import { LineSplitter } from '../../firmware-protocol/line/line-splitter.ts';
import type { Input } from '../../firmware-protocol/line/messages.ts';
import type { PlantPort, RailOutputs } from '../../firmware-protocol/simulator/plant/plant-port.ts';

const built = new Map<string, FirmwareBuild>();

/** `defines`: of a board of another make. */
export function firmware(defines: Readonly<Record<string, string>> = {}): FirmwareBuild {
  const key = JSON.stringify(defines);
  let it = built.get(key);
  if (it === undefined) {
    const folder = mkdtempSync(join(tmpdir(), 'railhouse-firmware-'));
    it = buildFirmware(folder, '0001', defines);
    rmSync(folder, { recursive: true, force: true });
    built.set(key, it);
  }
  return it;
}

/** A bench at rest on which nothing ever happens; for tests of the firmware alone. `interlocks` can be changed. */
export function stillPlant(): PlantPort & {
  interlocks: number;
  supplyMv: number;
  pressurePa: number;
  currentMa: number;
  railMilliC: number;
  meterMilliC: number;
  frozen: readonly Input[];
  rail: RailOutputs;
} {
  return {
    interlocks: 0b111,
    supplyMv: 0,
    pressurePa: 100_000,
    currentMa: 0,
    railMilliC: 20_000,
    meterMilliC: 20_000,
    advanceTo: () => undefined,
    pulse: () => undefined,
    setSupply(mv) {
      this.supplyMv = mv;
    },
    frozen: [],
    rail: { pump: false, reliefShut: false, shutOff: false },
    setRail(outputs) {
      this.rail = outputs;
    },
    drivenMa: () => 0,
    setPressure(pa) {
      this.pressurePa = pa;
    },
    read() {
      return {
        supplyMv: this.supplyMv, currentMa: this.currentMa, pressurePa: this.pressurePa, railMilliC: this.railMilliC, meterMilliC: this.meterMilliC,
        edges: 0, lastEdgeUs: 0, frozen: this.frozen, interlocks: this.interlocks,
      };
    },
  };
}

export interface PulseAt {
  readonly channel: number;
  readonly start: number;
  readonly end: number;
}

/** A board with a host's end of the line; waiting is letting the board's clock go on, in whole microseconds. */
export class BoardPort implements ControllerPort {
  readonly board: EmulatedBoard;
  readonly lines: string[] = [];
  nowUs = 0;

  constructor(hex: string, plant: PlantPort, onPulse: (pulse: PulseAt) => void = () => undefined) {
    const splitter = new LineSplitter(LONGEST_TO_HOST, (line) => this.lines.push(line));
    this.board = new EmulatedBoard({
      hex,
      plant,
      emit: (line) => {
        splitter.push(Buffer.from(line, 'latin1'));
      },
      onPulse: (channel, start, end) => {
        onPulse({ channel, start, end });
      },
    });
  }

  send(text: string): void {
    this.board.receive(Buffer.from(text, 'latin1'));
  }

  nextLine(timeoutMs: number): Promise<string | null> {
    const end = this.nowUs + Math.round(timeoutMs * 1_000);
    while (this.lines.length === 0 && this.nowUs < end) this.#passTo(Math.min(end, this.board.nextDueUs()));
    return Promise.resolve(this.lines.shift() ?? null);
  }

  wait(ms: number): Promise<void> {
    this.#passTo(this.nowUs + Math.round(ms * 1_000));
    return Promise.resolve();
  }

  reset(): Promise<void> {
    this.board.reset();
    return Promise.resolve();
  }

  #passTo(us: number): void {
    this.nowUs = Math.max(this.nowUs, us);
    this.board.advanceTo(this.nowUs);
  }
}
