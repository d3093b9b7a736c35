/**
 * What the reference firmware promises, measured on the emulated board: each function runs one proof at the asked size and
 * gives its figures. `npm run show -- firmware` runs them at full size; the tests beside this file run them small.
 */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { runConformance, type ConformanceResult } from '../../firmware-protocol/conformance/suite.ts';
import { CLOCK_HZ } from '../emulation/atmega2560.ts';
import { EmulatedBoard } from '../emulation/emulated-board.ts';
import { sealLine } from '../../firmware-protocol/line/codec.ts';
import {
  decodeFromController, encodeRequest, type FromController, type Refusal, type Reply, type Request, type Telemetry,
} from '../../firmware-protocol/line/messages.ts';
import { createPlant } from '../../firmware-protocol/simulator/plant/plant.ts';
import type { PlantPort } from '../../firmware-protocol/simulator/plant/plant-port.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import type { Channel, ChannelEvents } from '../../main/link/channel.ts';
import { loadRun, RunService } from '../../main/service/run-service.ts';
import { BoardPort, firmware, stillPlant, type PulseAt } from '../builders/emulated-firmware.ts';
import { reduction, runInProcess, sampleEquipment, samplePlan, scenario, scratchFolder } from '../builders/in-process.ts';

const ANSWER_US = 2_000_000;

function hex(defines: Readonly<Record<string, string>> = {}): string {
  const built = firmware(defines);
  if (!built.ok) throw new Error(built.text);
  return built.hex;
}

/** A host that is one line of program after the other. */
export class Bench {
  readonly port: BoardPort;
  readonly pulses: PulseAt[] = [];
  frames = 0;
  badLines = 0;
  latest: Telemetry | null = null;
  /** Greatest time between two frames, us of the controller's clock. */
  longestGapUs = 0;
  #seq = 0;
  #tokens = 0;

  constructor(plant: PlantPort, defines: Readonly<Record<string, string>> = {}) {
    this.port = new BoardPort(hex(defines), plant, (pulse) => this.pulses.push(pulse));
  }

  send(request: Request): number {
    this.#seq = (this.#seq + 1) & 0xffff;
    this.port.send(encodeRequest(this.#seq, request));
    return this.#seq;
  }

  async ask(request: Request): Promise<Reply | Refusal> {
    // After power-on the controller first counts the start in its EEPROM.
    if (this.port.nowUs === 0) await this.port.wait(100);
    const seq = this.send(request);
    const until = this.port.nowUs + ANSWER_US;
    for (;;) {
      const line = await this.hear((until - this.port.nowUs) / 1e3);
      if (line === null || this.port.nowUs >= until) throw new Error(`no answer to ${request.word}`);
      if (line.kind === 'reply' && line.seq === seq) return line.reply;
      if (line.kind === 'refusal' && line.seq === seq) return line.refusal;
    }
  }

  async done(request: Request): Promise<Reply> {
    const answer = await this.ask(request);
    if ('code' in answer) throw new Error(`${request.word} was refused: ${answer.code} (${answer.text})`);
    return answer;
  }

  /** A hello, armed, and a long dead-man. */
  async arm(deadmanMs = 10_000): Promise<void> {
    this.#tokens += 1;
    await this.done({ word: 'hello', token: `t${this.#tokens}` });
    await this.done({ word: 'deadman', ms: deadmanMs });
    await this.done({ word: 'arm' });
  }

  async hear(timeoutMs: number): Promise<FromController | null> {
    const text = await this.port.nextLine(timeoutMs);
    if (text === null) return null;
    const line = decodeFromController(text);
    if (line.kind === 'bad') this.badLines += 1;
    if (line.kind === 'telemetry') {
      this.frames += 1;
      if (this.latest?.boot === line.telemetry.boot) {
        this.longestGapUs = Math.max(this.longestGapUs, line.telemetry.atUs - this.latest.atUs);
      }
      this.latest = line.telemetry;
    }
    return line;
  }

  /** Listens for so long. */
  async listen(ms: number): Promise<void> {
    const until = this.port.nowUs + Math.round(ms * 1e3);
    while (this.port.nowUs < until) await this.hear((until - this.port.nowUs) / 1e3);
    while (this.port.lines.length > 0) await this.hear(0);
  }

  /** The next frame that was sampled after this call. */
  async frame(): Promise<Telemetry> {
    while (this.port.lines.length > 0) await this.hear(0);
    for (let seen = 0; ; ) {
      const line = await this.hear(2_000);
      if (line === null) throw new Error('no telemetry for two seconds');
      if (line.kind === 'telemetry' && ++seen === 2) return line.telemetry;
    }
  }
}

export function conformance(over: Partial<Scenario> = {}): Promise<readonly ConformanceResult[]> {
  return runConformance(new BoardPort(hex(), createPlant(scenario(over))), { energise: true });
}

export interface Train {
  readonly widthNs: number;
  readonly periodUs: number;
  readonly count: number;
}

export interface TrainsReport {
  readonly trains: number;
  readonly commanded: number;
  readonly seen: number;
  /** By telemetry, at the end of each burst. */
  readonly reportedDone: number;
  /** Against the width that the controller stated, and against whole periods from the first start. CPU cycles. */
  readonly greatestWidthError: number;
  readonly greatestStartError: number;
  /** Greatest less least, over the pulses of one train. */
  readonly greatestWidthJitter: number;
  readonly greatestPeriodJitter: number;
  readonly onWrongChannel: number;
  readonly frames: number;
  readonly damagedLines: number;
  readonly watchdogResets: number;
  readonly emulatedS: number;
}

/** Equal time for every period: `total` pulses of widths from 0.5 to 20 ms every 4 to 100 ms. */
export function trainsOf(total: number): readonly Train[] {
  const periods = [4_000, 8_000, 20_000, 33_333, 66_667, 100_000];
  const widths = [500_000, 1_000_500, 2_500_000, 3_999_500, 9_876_500, 20_000_000];
  const pairs = periods.flatMap((periodUs) => widths.filter((w) => w < periodUs * 1e3).map((widthNs) => ({ widthNs, periodUs })));
  const shares = pairs.map(({ periodUs }) => 1 / periodUs);
  const sum = shares.reduce((a, b) => a + b, 0);
  const trains = pairs.map((pair, i) => ({ ...pair, count: Math.max(1, Math.round((total * (shares[i] ?? 0)) / sum)) }));
  const missing = total - trains.reduce((n, { count }) => n + count, 0);
  return trains.map((train, i) => (i === 0 ? { ...train, count: train.count + missing } : train));
}

/** Drives each train while telemetry runs at its highest rate and the line is full of damaged lines. */
export async function pulseTrains(trains: readonly Train[], seed = 1): Promise<TrainsReport> {
  const bench = new Bench(stillPlant());
  const random = RandomSource.named(seed, 'damaged lines');
  let seen = 0, reportedDone = 0, damagedLines = 0, onWrongChannel = 0;
  let widthError = 0, startError = 0, widthJitter = 0, periodJitter = 0;
  await bench.arm();
  await bench.done({ word: 'telemetry', hz: 20 });
  for (const [i, train] of trains.entries()) {
    const channel = 1 + (i % 8);
    bench.pulses.length = 0;
    const reply = await bench.done({ word: 'burst', channel, ...train });
    const width = (reply.word === 'burst' ? reply.widthNs : NaN) * (CLOCK_HZ / 1e9);
    const endUs = bench.port.nowUs + train.periodUs * train.count + 20_000;
    while (bench.port.nowUs < endUs) {
      // Half the line's capacity: damaged requests, now and then a whole one.
      for (let n = 0; n < 4; n += 1) {
        bench.port.send(damaged(random));
        damagedLines += 1;
      }
      bench.send({ word: 'alive' });
      await bench.listen(40);
    }
    const frame = await bench.frame();
    if (frame.active || frame.fault !== '') throw new Error(`the burst did not end well: ${JSON.stringify(frame)}`);
    reportedDone += frame.done;
    seen += bench.pulses.length;
    const first = bench.pulses[0]?.start ?? NaN;
    const period = train.periodUs * (CLOCK_HZ / 1e6);
    const widths = bench.pulses.map((p) => p.end - p.start);
    const starts = bench.pulses.map((p, n) => p.start - first - n * period);
    onWrongChannel += bench.pulses.filter((p) => p.channel !== channel).length;
    widthError = Math.max(widthError, greatest(widths.map((w) => Math.abs(w - width))));
    startError = Math.max(startError, greatest(starts.map(Math.abs)));
    widthJitter = Math.max(widthJitter, spread(widths));
    periodJitter = Math.max(periodJitter, spread(bench.pulses.slice(1).map((p, n) => p.start - (bench.pulses[n]?.start ?? NaN))));
  }
  return {
    trains: trains.length,
    commanded: trains.reduce((n, { count }) => n + count, 0),
    seen, reportedDone, damagedLines, onWrongChannel,
    greatestWidthError: widthError,
    greatestStartError: startError,
    greatestWidthJitter: widthJitter,
    greatestPeriodJitter: periodJitter,
    frames: bench.frames,
    watchdogResets: bench.port.board.chip.watchdogResets,
    emulatedS: bench.port.nowUs / 1e6,
  };
}

function greatest(values: readonly number[]): number {
  return values.reduce((a, b) => Math.max(a, b), 0);
}

function spread(values: readonly number[]): number {
  return values.length === 0 ? 0 : greatest(values) - values.reduce((a, b) => Math.min(a, b), Infinity);
}

/** A request that would do harm if it were taken, with one byte spoiled; never with a right checksum. */
function damaged(random: RandomSource): string {
  const line = encodeRequest(Math.floor(random.uniform() * 65_536), random.uniform() < 0.5 ? { word: 'safe' } : { word: 'halt' });
  const at = Math.floor(random.uniform() * (line.length - 1));
  return line.slice(0, at) + String.fromCharCode(line.charCodeAt(at) ^ (1 << Math.floor(random.uniform() * 5))) + line.slice(at + 1);
}

export interface SilenceReport {
  readonly setMs: number;
  /** From the end of the host's last line to the last output off, ms: enable line low, pulse low. */
  readonly leastMs: number;
  readonly greatestMs: number;
  readonly trials: number;
  /** Every time: fault dead-man, disarmed, supply commanded to 0, no pulse after. */
  readonly allSafe: boolean;
}

/** A host that falls silent in mid burst, `trials` times, at any point of the pulse period. */
export async function silentHost(setMs: number, trials: number, seed = 1): Promise<SilenceReport> {
  const plant = stillPlant();
  const bench = new Bench(plant);
  const random = RandomSource.named(seed, 'silence');
  let least = Infinity, most = 0, allSafe = true;
  for (let trial = 0; trial < trials; trial += 1) {
    await bench.arm();
    await bench.done({ word: 'supply', mv: 13_500 });
    await bench.done({ word: 'burst', channel: 1 + (trial % 8), widthNs: 12_000_000, periodUs: 20_000, count: 100_000 });
    await bench.listen(40 + random.uniform() * 40);
    // The answer that ends the talk is that to a request which was heard to its end some milliseconds before.
    const before = bench.port.nowUs;
    const line = encodeRequest(bench.send({ word: 'deadman', ms: setMs }), { word: 'deadman', ms: setMs });
    const heardAtUs = before + (line.length * 1e7) / 115_200;
    const { board } = bench.port;
    while (board.chip.output('A', 3)) {
      await bench.port.wait(0.1);
      if (bench.port.nowUs - heardAtUs > 1e6 + setMs * 1e3) throw new Error('the outputs stayed on');
    }
    const offUs = bench.port.nowUs - heardAtUs;
    least = Math.min(least, offUs / 1e3);
    most = Math.max(most, offUs / 1e3);
    const pulses = bench.pulses.length;
    await bench.listen(300);
    const frame = await bench.frame();
    allSafe &&= frame.fault === 'dead-man' && !frame.armed && !frame.active && plant.supplyMv === 0 && bench.pulses.length === pulses;
    await bench.done({ word: 'clear' });
  }
  return { setMs, leastMs: least, greatestMs: most, trials, allSafe };
}

export interface FirmwareFuzzReport {
  readonly lines: number;
  readonly bytes: number;
  readonly answers: number;
  /** Lines of the controller that the host's codec refuses. */
  readonly badLines: number;
  readonly watchdogResets: number;
  readonly longestFrameGapUs: number;
  /** It answered a plain request after every batch. */
  readonly aliveChecks: number;
  readonly pulses: number;
}

/** Random, mutated, cut, joined and over-long lines, as fast as the line carries them; nothing of it arms the bench. */
export async function fuzzFirmware(lines: number, seed = 1): Promise<FirmwareFuzzReport> {
  const bench = new Bench(stillPlant());
  const random = RandomSource.named(seed, 'fuzz');
  const whole = (n: number) => Math.floor(random.uniform() * n);
  const words: readonly Request[] = [
    { word: 'alive' }, { word: 'describe', topic: 'safety' }, { word: 'deadman', ms: whole(12_000) }, { word: 'telemetry', hz: 20 },
    { word: 'safe' }, { word: 'supply', mv: whole(20_000) }, { word: 'pressure', pa: whole(700_000) }, { word: 'halt' }, { word: 'clear' },
    { word: 'burst', channel: whole(10), widthNs: whole(2 ** 32), periodUs: whole(2 ** 32), count: whole(2 ** 32) },
  ];
  const any = (length: number) => String.fromCharCode(...Array.from({ length }, () => whole(256)));
  const one = (): string => {
    const good = encodeRequest(whole(65_536), words[whole(words.length)] ?? { word: 'alive' });
    const at = whole(good.length);
    switch (whole(7)) {
      case 0:
        return good;
      case 1:
        return good.slice(0, at) + any(1) + good.slice(at + 1);
      case 2:
        return good.slice(0, at);
      case 3:
        return good.slice(0, at) + good;
      case 4:
        return any(whole(200)) + (whole(2) === 0 ? '\n' : '');
      case 5:
        // The checksum is right, and what it covers is anything printable.
        return sealLine(`? ${whole(65_536)} ${any(1 + whole(90)).replace(/[^ -~]/g, 'x')}`);
      default:
        return good.replace(/=\d+/, `=${any(1 + whole(40)).replace(/[^ -~]/g, '9')}`);
    }
  };
  let bytes = 0, sent = 0, aliveChecks = 0, answers = 0;
  await bench.done({ word: 'hello', token: 'fuzz' });
  while (sent < lines) {
    for (let n = 0; n < 20 && sent < lines; n += 1, sent += 1) {
      const text = one();
      bytes += text.length;
      bench.port.send(text);
    }
    // To the end of what is on the line, and then a proof of life.
    const until = bench.port.nowUs + 20 * 200 * 90;
    while (bench.port.nowUs < until) {
      const line = await bench.hear((until - bench.port.nowUs) / 1e3);
      if (line === null) break;
      if (line.kind === 'reply' || line.kind === 'refusal') answers += 1;
    }
    bench.port.send('\n');
    await bench.done({ word: 'hello', token: `f${aliveChecks}` });
    aliveChecks += 1;
  }
  return {
    lines: sent, bytes, answers, badLines: bench.badLines, watchdogResets: bench.port.board.chip.watchdogResets,
    longestFrameGapUs: bench.longestGapUs, aliveChecks, pulses: bench.pulses.length,
  };
}

/** USB hands bytes on in parcels about so far apart; a common driver's latency timer, from memory, 1 to 16 ms. */
const WIRE_STEP_MS = 4;

/** A wire from the host's link to an emulated board, in the time of a clock. */
class BoardChannel implements Channel {
  readonly description = 'emulated controller board';
  readonly #clock: VirtualClock;
  readonly #board: EmulatedBoard;
  #events: ChannelEvents | null = null;
  #on = true;

  constructor(clock: VirtualClock, plant: PlantPort) {
    this.#clock = clock;
    this.#board = new EmulatedBoard({
      hex: hex(),
      plant,
      emit: (line) => this.#events?.onBytes(Buffer.from(line, 'latin1')),
    });
    this.#live();
  }

  open(events: ChannelEvents): Promise<{ ok: true }> {
    this.#events = events;
    return Promise.resolve({ ok: true });
  }

  write(bytes: Uint8Array): void {
    this.#board.receive(bytes);
  }

  close(): Promise<void> {
    this.#events = null;
    return Promise.resolve();
  }

  switchOff(): void {
    this.#on = false;
  }

  readonly #live = (): void => {
    if (!this.#on) return;
    this.#board.advanceTo(this.#clock.now() * 1e3);
    this.#clock.after(WIRE_STEP_MS, this.#live);
  };
}

export interface SweepCell {
  readonly injector: string;
  readonly voltage: number;
  readonly simulatedS: number;
  readonly firmwareS: number;
  /** The two stated expanded uncertainties together. */
  readonly expandedUncertaintyS: number;
}

/** The same sweep on the same bench at 400 kPa, once by the simulated controller and once by the firmware. */
export async function sweep(injectors: number, voltages: readonly number[], widthsMs: readonly number[], replicates: number): Promise<readonly SweepCell[]> {
  const plan = samplePlan('plan', (whole) => ({
    ...whole,
    injectors: whole.injectors.slice(0, injectors),
    axes: { ...whole.axes, voltageV: [...voltages], widthMs: [...widthsMs], replicates },
  }));
  const bench = scenario();
  const simulated = reduction((await runInProcess({ plan, scenario: bench })).state);
  const folder = scratchFolder();
  const clock = new VirtualClock(Date.UTC(2026, 1, 1));
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => clock.unixNow(), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const channel = new BoardChannel(clock, createPlant(bench));
  try {
    const started = await RunService.open(
      {
        archive: opened.archive, clock, simulated: true, entropy: machineEntropy, freeDiskBytes: () => null,
        channels: () => Promise.resolve([channel]),
      },
      { kind: 'new', plan, equipment: sampleEquipment(), operator: 'test', software: 'test' },
    );
    if (!started.ok) throw new Error(started.text);
    const { service } = started;
    await service.rest();
    const answer = service.command({ kind: 'start' }, 'test');
    if (!answer.accepted) throw new Error(answer.reason);
    const rest = await service.rest();
    await service.close();
    if (rest.kind !== 'resting' || rest.mode !== 'ended') throw new Error('the sweep on the emulated board did not end');
    const stored = loadRun(opened.archive, service.id);
    if (!stored.ok) throw new Error(stored.text);
    const onBoard = reduction(stored.state);
    return simulated.cells.map((cell, i) => {
      const other = onBoard.cells[i];
      if (cell.kind !== 'line') throw new Error(`simulated controller: no line: ${cell.text}`);
      if (other?.kind !== 'line') throw new Error(`firmware: no line: ${other?.text ?? 'no cell'}`);
      return {
        injector: cell.serialNumber,
        voltage: cell.voltage,
        simulatedS: cell.deadTime.value,
        firmwareS: other.deadTime.value,
        expandedUncertaintyS: Math.hypot(cell.deadTime.expanded, other.deadTime.expanded),
      };
    });
  } finally {
    channel.switchOff();
    clock.stop();
    opened.archive.close();
    rmSync(folder, { recursive: true, force: true });
  }
}
