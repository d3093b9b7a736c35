/** A signal that is added to the table of signals, from the line to the pages, with nothing else changed but a plant that has it. */
import { beforeAll, describe, expect, it, vi } from 'vitest';
import { furtherSignals, readingOf, spreadOf } from '../../app/bench/readings.ts';
import type { SignalId } from '../../app/bench/readings.ts';
import type { BenchFrame } from '../../app/bench/port.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { I32, LONGEST_TO_HOST, U32, U48 } from '../../firmware-protocol/line/codec.ts';
import { decodeFromController, encodeRequest, encodeTelemetry, type Request, type Telemetry } from '../../firmware-protocol/line/messages.ts';
import { createPlant, type Plant } from '../../firmware-protocol/simulator/plant/plant.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { SimulatedBench } from '../../firmware-protocol/simulator/simulated-bench.ts';
import type { StoredAttempt } from '../../main/archive/read.ts';
import { decodeFrames, encodeFrames } from '../../main/archive/telemetry-chunk.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { csvFiles } from '../../main/export/csv.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { LiveBench } from '../../renderer/live/live-bench.ts';
import { readingsOf } from '../../renderer/pages/run/readings.ts';
import { unitsFor } from '../../renderer/settings/units.ts';
import { reduction, runInProcess, sampleEquipment, samplePlan, scenario, withoutLeakChecks, type InProcessResult } from '../builders/in-process.ts';

vi.mock(import('../../app/bench/signals.ts'), async (original) => {
  const real = await original();
  const boardTemperature = {
    ...real.signalTable.railTemperature, input: 'board', field: 'boardMilliC', label: 'Board temperature', name: 'temperature of the board', column: 'board_temperature',
    guard: 'board-temperature-c', check: 'Look at the fan.', band: null, lively: false, further: true,
  };
  return { ...real, signalTable: { ...real.signalTable, boardTemperature } } as unknown as typeof real;
});

/** The compiler knows the table as it stands. */
const board = 'boardTemperature' as SignalId;
const boardOf = (frame: BenchFrame): number => (readingOf(frame, board) ?? Number.NaN) - 273.15;

/** 31 to 32 degC. */
function withABoard(of: Scenario): Plant {
  const plant = createPlant(of);
  const read = plant.read.bind(plant);
  let reads = 0;
  plant.read = () => ({ ...read(), boardMilliC: 31_000 + ((reads += 1) % 1_000) }) as ReturnType<Plant['read']>;
  return plant;
}

const plain = withoutLeakChecks(samplePlan('small-plan'));
const plan: Plan = { ...plain, guards: [...plain.guards, { id: 'board', signal: 'board-temperature-c' as never, high: 31.2, hysteresis: 0, dwellS: 0, level: 'note', maxResumes: 0, clearS: 0 }] };

async function measured(makePlant?: (of: Scenario) => Plant): Promise<{ readonly result: InProcessResult; readonly attempts: readonly StoredAttempt[]; readonly frames: readonly BenchFrame[] }> {
  let attempts: readonly StoredAttempt[] = [];
  let frames: readonly BenchFrame[] = [];
  const result = await runInProcess({
    plan, scenario: scenario(), channel: (_, clock) => new SimulatedChannel(new RunningBench(scenario(), clock, makePlant)),
    atRest: (_, { archive, service }) => {
      attempts = [...archive.everyAttempt(service.id)];
      frames = [...archive.telemetryChunks(service.id)].flatMap((chunk) => chunk.frames);
      return null;
    },
  });
  return { result, attempts, frames };
}

async function attemptsCsv({ result, attempts }: Awaited<ReturnType<typeof measured>>): Promise<readonly string[]> {
  const { state } = result;
  const file = csvFiles({
    provenance: { runId: 'r', order: '', began: unixMillis(0), archiveId: 'a', head: 'h' }, notTraceable: [], plan: state.plan, equipment: state.equipment,
    points: expandPlan(state.plan), attempts, reduction: reduction(state),
  }).find(({ name }) => name === 'attempts.csv');
  let text = '';
  for await (const piece of file?.pieces ?? []) text += piece;
  return text.split('\r\n').slice(0, -1);
}

describe('RUN-190 a signal that is added to the table', () => {
  let run: Awaited<ReturnType<typeof measured>>;
  beforeAll(async () => {
    run = await measured(withABoard);
  }, 60_000);

  it('is in every stored frame', () => {
    expect(run.result.verified).toBe(true);
    expect(run.frames.length).toBeGreaterThan(100);
    for (const frame of run.frames) {
      expect(boardOf(frame)).toBeGreaterThanOrEqual(31 - 1e-9);
      expect(boardOf(frame)).toBeLessThan(32);
    }
  });

  it('is summarised in the windows and written into attempts.csv', async () => {
    const [header = '', ...rows] = await attemptsCsv(run);
    const column = header.split(',').indexOf('board_temperature_mean_C');
    expect(header.split(',')[column + 1]).toBe('board_temperature_sd_K');
    expect(rows).toHaveLength(run.attempts.length);
    for (const [i, { body }] of run.attempts.entries()) {
      const mean = body.window === null ? Number.NaN : (spreadOf(body.window, board)?.mean ?? Number.NaN);
      expect(mean - 273.15).toBeGreaterThan(31);
      expect(Number(rows[i]?.split(',')[column])).toBeCloseTo(mean - 273.15, 6);
    }
  });

  it('may be watched by a guard', () => {
    expect(run.result.events.find((event) => event.kind === 'guard-noted')).toMatchObject({
      guard: 'board', text: expect.stringMatching(/^Temperature of the board 31\.\d degC, allowed at most 31\.2 degC\.$/) as string,
    });
  });

  it('is shown: as it comes, and of a window', () => {
    const live = new LiveBench();
    live.push(run.frames.slice(0, 50), 0);
    expect([...live.trend(board, 'ten-minutes').view.low].every((value) => value >= 273.15 + 31 - 1e-9)).toBe(true);
    expect(live.trend(board, 'ten-minutes').view.times.length).toBeGreaterThan(0);
    const [attempt] = run.attempts;
    const point = attempt === undefined ? undefined : expandPlan(plan)[attempt.point];
    if (attempt?.body.window == null || point === undefined) throw new Error('the run has a window');
    const rows = readingsOf(point, attempt.body.window, { plan, equipment: sampleEquipment(), leak: null, units: unitsFor('mg', null), capabilities: null });
    expect(rows.find(({ label }) => label.startsWith('Board temperature'))?.value).toMatch(/^31\.\d\d\u00a0°C$/u);
  });

  it('is absent, and never 0, of a bench that does not read it', async () => {
    const without = await measured();
    expect(without.result.verified).toBe(true);
    expect(without.frames.some((frame) => board in frame)).toBe(false);
    expect(without.attempts.some(({ body }) => body.window !== null && board in body.window)).toBe(false);
    const [header = '', row = ''] = await attemptsCsv(without);
    expect(row.split(',')[header.split(',').indexOf('board_temperature_mean_C')]).toBe('');
    expect(without.result.events.some((event) => event.kind === 'guard-noted')).toBe(false);
  });

  it('comes back from a chunk in which some frames have it', () => {
    const some = run.frames.slice(0, 9).map((frame, i) => (i % 2 === 0 ? frame : (Object.fromEntries(Object.entries(frame).filter(([key]) => key !== board)) as unknown as BenchFrame)));
    expect(decodeFrames(encodeFrames(some))).toStrictEqual(some);
  });
});

describe('LINE-114 LINE-115 a reading beyond LINE-41', () => {
  const seen = (requests: readonly Request[], makePlant?: (of: Scenario) => Plant): { readonly answers: readonly unknown[]; readonly frames: readonly Telemetry[] } => {
    const answers: unknown[] = [];
    const frames: Telemetry[] = [];
    const bench = new SimulatedBench(scenario(), (bytes) => {
      const heard = decodeFromController(Buffer.from(bytes).toString('latin1').trimEnd());
      if (heard.kind === 'telemetry') frames.push(heard.telemetry);
      else if (heard.kind === 'reply') answers.push(heard.reply);
    }, makePlant);
    for (const [seq, request] of requests.entries()) {
      bench.receive(Buffer.from(encodeRequest(seq, request)));
      bench.advanceTo((seq + 1) * 1e6);
    }
    return { answers, frames };
  };
  const hello: Request = { word: 'hello', token: 't' };
  const has = (frame: Telemetry | undefined): boolean => frame !== undefined && 'boardMilliC' in frame;

  it('is in the frames once it was asked for, until the next hello', () => {
    const { answers, frames } = seen([hello, { word: 'signals', names: ['weather', 'board'] }, { word: 'hello', token: 'u' }], withABoard);
    expect(answers[1]).toEqual({ word: 'signals', names: ['board'] });
    const had = frames.map(has);
    expect([had.slice(0, 9), had.slice(12, 19), had.slice(22)]).toEqual([had.slice(0, 9).fill(false), had.slice(12, 19).fill(true), had.slice(22).fill(false)]);
  });

  it('is not promised by a controller that does not read it, and not given to a host that did not ask for it', () => {
    expect(seen([hello, { word: 'signals', names: ['board'] }]).answers[1]).toEqual({ word: 'signals', names: [] });
    const others = seen([hello, { word: 'signals', names: ['weather'] }], withABoard);
    expect(others.answers[1]).toEqual({ word: 'signals', names: [] });
    expect(others.frames.some(has)).toBe(false);
  });

  it('gives way in a frame that has no room for it', () => {
    expect(furtherSignals.map(({ key }) => key)).toEqual(['supply-in-pulse-mv', 'board-mdegc']);
    const short = { atUs: 1, frame: 1, boot: 'f', supplyMv: 1, currentMa: 1, pressurePa: 1, railMilliC: 1, meterMilliC: 1, edges: 1, lastEdgeUs: 1, burst: 1, active: true, commanded: 1, done: 1, armed: true, fault: '', interlocks: 1, boardMilliC: -I32 };
    const long = { ...short, atUs: U48, frame: U48, boot: 'ffffffff', supplyMv: -I32, currentMa: -I32, pressurePa: -I32, railMilliC: -I32, meterMilliC: -I32, edges: U48, lastEdgeUs: U48, burst: U32, commanded: U32, done: U32, fault: 'f'.repeat(24) };
    expect(decodeFromController(encodeTelemetry(short).trimEnd())).toMatchObject({ telemetry: { boardMilliC: -I32 } });
    expect(encodeTelemetry(long).length).toBeLessThanOrEqual(LONGEST_TO_HOST);
    expect(decodeFromController(encodeTelemetry(long).trimEnd())).toMatchObject({ kind: 'telemetry', telemetry: { atUs: U48 } });
  });
});
