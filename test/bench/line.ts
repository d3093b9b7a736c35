/** Lines in a second through the codec, each with its checksum. */
import { decodeFromController, encodeTelemetry } from '../../firmware-protocol/line/messages.ts';
import { LineSplitter } from '../../firmware-protocol/line/line-splitter.ts';
import { LONGEST_TO_HOST } from '../../firmware-protocol/line/codec.ts';
import { SimulatedBench } from '../../firmware-protocol/simulator/simulated-bench.ts';
import { encodeRequest } from '../../firmware-protocol/line/messages.ts';
import { scenario } from '../builders/in-process.ts';
import type { BenchReport } from './report.ts';

const LINES = 300_000;

/** Real telemetry of the simulated bench, as text without LF. */
function recorded(): string[] {
  const lines: string[] = [];
  const splitter = new LineSplitter(LONGEST_TO_HOST, (line) => lines.push(line));
  const bench = new SimulatedBench(scenario(), (bytes) => {
    splitter.push(bytes);
  });
  bench.receive(Buffer.from(encodeRequest(0, { word: 'hello', token: 'bench' })));
  bench.advanceTo(1e6);
  bench.receive(Buffer.from(encodeRequest(1, { word: 'telemetry', hz: 200 })));
  bench.advanceTo(10e6);
  return lines.filter((line) => decodeFromController(line).kind === 'telemetry');
}

function perSecond(count: number, work: () => void): number {
  work();
  const started = performance.now();
  work();
  return (count * 1000) / (performance.now() - started);
}

export function bench(): Promise<BenchReport> {
  const lines = recorded();
  const bytes = Buffer.from(lines.map((line) => `${line}\n`).join(''), 'latin1');
  const frames = lines.flatMap((line) => {
    const said = decodeFromController(line);
    return said.kind === 'telemetry' ? [said.telemetry] : [];
  });
  const rounds = Math.ceil(LINES / lines.length);
  let sink = 0;
  const decoded = perSecond(rounds * lines.length, () => {
    for (let round = 0; round < rounds; round += 1) for (const line of lines) sink += decodeFromController(line).kind.length;
  });
  const encoded = perSecond(rounds * frames.length, () => {
    for (let round = 0; round < rounds; round += 1) for (const frame of frames) sink += encodeTelemetry(frame).length;
  });
  const split = perSecond(rounds * lines.length, () => {
    const splitter = new LineSplitter(LONGEST_TO_HOST, (line) => {
      sink += decodeFromController(line).kind.length;
    });
    for (let round = 0; round < rounds; round += 1) splitter.push(bytes);
  });
  if (sink === 0) throw new Error('nothing was measured');
  return Promise.resolve({
    name: `The line: telemetry of ${(bytes.length / lines.length).toFixed(0)} bytes a line`,
    figures: [
      { label: 'lines parsed', value: decoded, unit: '1/s' },
      { label: 'lines split from bytes and parsed', value: split, unit: '1/s' },
      { label: 'lines written', value: encoded, unit: '1/s' },
    ],
  });
}
